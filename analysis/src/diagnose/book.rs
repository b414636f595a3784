//! The book of findings: which stand, what they have cost so far, which have just changed.
//!
//! One finding for one subject and kind at a time. Flapping within `REOPENED_WITHIN` continues the
//! old finding instead of starting another. Whether it does is asked of the data alone, never of
//! how often somebody looked: so the last ended finding of each subject and kind is kept for good.
//! Never in here: evidence; only its bookkeeping.

use super::advice::{advice, caution};
use super::explain::NEUTRAL_LOST;
use super::{Cause, Evidence, Finding, FindingId, Subject};
use crate::detect::{Kind, Severity};
use crate::reading::{Energy, Span, Time};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// A finding that comes back within this time is the same one.
const REOPENED_WITHIN: Span = Span::from_h(1);

/// What a detector or a diagnosis hands to the book.
#[derive(Debug, Clone, PartialEq)]
pub struct NewFinding {
    /// What it is about.
    pub subject: Subject,
    /// What it says.
    pub kind: Kind,
    /// First evidence.
    pub began: Time,
    /// When it could be said.
    pub found: Time,
    /// 0 to 1.
    pub confidence: f64,
    /// Most probable first.
    pub causes: Vec<Cause>,
    /// The numbers that decided.
    pub evidence: Evidence,
    /// Energy lost between `began` and `found`.
    pub lost: Energy,
    /// One sentence for people.
    pub summary: String,
}

/// What one finding has that others of its kind have not.
#[derive(Debug, Clone, PartialEq)]
pub struct Urgency {
    /// In place of the kind's.
    pub severity: Severity,
    /// Before the kind's.
    pub advice: Vec<String>,
    /// Before the kind's.
    pub caution: Vec<String>,
}

/// What a finding is about, and which one of its kind: of repeated trips there is one for each class,
/// by its leading cause.
type Key = (Subject, Kind, Option<String>);

/// Which findings stand, and which was the last to end.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Book {
    standing: BTreeMap<Key, Finding>,
    /// The last of each subject and kind.
    ended: BTreeMap<Key, Finding>,
    /// Opened since the last look, and standing.
    opened: BTreeSet<Key>,
    /// Ended since the last look: several of one subject and kind, if it was long ago.
    closed: BTreeMap<FindingId, Finding>,
    ending: BTreeMap<Key, Time>,
}

impl Book {
    /// An empty book.
    pub fn new() -> Self {
        Self::default()
    }

    /// Whether a finding of this kind stands on this subject.
    pub fn stands(&self, subject: &Subject, kind: Kind) -> bool {
        // A book in which nothing stands is asked most often.
        !self.standing.is_empty() && self.standing.contains_key(&key(subject, kind))
    }

    /// Since when a finding of this kind has stood on this subject.
    pub fn since(&self, subject: &Subject, kind: Kind) -> Option<Time> {
        let standing = self.standing.get(&key(subject, kind));
        standing.map(|finding| finding.began)
    }

    /// Since when the first finding of this kind has stood on a string of this input.
    pub fn since_on_string(&self, input: &Subject, kind: Kind) -> Option<Time> {
        let standing = self.standing();
        let on_string = standing.filter(|f| f.kind == kind && f.subject.is_string_of(input));
        on_string.map(|f| f.began).min()
    }

    /// The numbers of a standing finding.
    pub fn evidence(&self, subject: &Subject, kind: Kind) -> Option<&Evidence> {
        let standing = self.standing.get(&key(subject, kind));
        standing.map(|finding| &finding.evidence)
    }

    /// Whether a finding of this kind stands on a string of this input.
    pub fn stands_on_string(&self, input: &Subject, kind: Kind) -> bool {
        let of_input = |(subject, of, _): &Key| *of == kind && subject.is_string_of(input);
        self.standing.keys().any(of_input)
    }

    /// Opens a finding, or goes on with the one that stands or ended a moment ago.
    pub fn open(&mut self, new: NewFinding) {
        let key = key_of(&new);
        // What comes back before its end has been booked has not ended.
        self.ending.remove(&key);
        if let Some(standing) = self.standing.get_mut(&key) {
            // Another string has opened, say: what is known now replaces what was known first.
            if leading(&standing.causes) != leading(&new.causes) {
                bring_up_to_date(standing, new);
                self.opened.insert(key);
            }
            return;
        }
        let finding = match self.ended.remove(&key) {
            Some(old) if flaps(&old, &new) => {
                self.closed.remove(&old.id);
                // What the new one saw before the old one's end has been counted.
                let is_apart = old.ended.is_none_or(|end| new.began >= end);
                let more = if is_apart { new.lost.wh() } else { 0.0 };
                Finding {
                    ended: None,
                    lost: Energy::from_wh(old.lost.wh() + more),
                    ..old
                }
            }
            _ => Finding {
                id: FindingId::new(&new.subject, new.kind, new.began),
                kind: new.kind,
                severity: severity(&new),
                began: new.began,
                found: new.found,
                ended: None,
                confidence: new.confidence,
                causes: new.causes,
                evidence: new.evidence,
                lost: new.lost,
                summary: new.summary,
                advice: advice(new.kind, &new.subject),
                caution: caution(new.kind),
                subject: new.subject,
            },
        };
        self.opened.insert(key.clone());
        self.standing.insert(key, finding);
    }

    /// Opens a finding, or brings the one that stands up to date; `again`: and tells it once more.
    pub fn keep(&mut self, new: NewFinding, again: bool) {
        let key = key_of(&new);
        match self.standing.get_mut(&key) {
            Some(standing) if leading(&standing.causes) == leading(&new.causes) => {
                bring_up_to_date(standing, new);
                if again {
                    self.opened.insert(key);
                }
            }
            _ => self.open(new),
        }
    }

    /// Opens a finding, or brings the one that stands up to date. Another leading cause than it has takes
    /// the place only from this probability: two that are nearly as probable would be told in turn.
    pub fn keep_steady(&mut self, new: NewFinding, another: f64) {
        let standing = self.standing.get(&key_of(&new));
        let is_another = standing.is_some_and(|old| leading(&old.causes) != leading(&new.causes));
        let probability = new.causes.first().map_or(0.0, |cause| cause.probability);
        if !is_another || probability >= another {
            self.keep(new, false);
        }
    }

    /// Gives a standing finding an urgency of its own, or takes it back to its kind's; tells it again
    /// where that is new.
    pub fn urge(&mut self, subject: &Subject, kind: Kind, urgency: Option<Urgency>) {
        let key = key(subject, kind);
        let Some(standing) = self.standing.get_mut(&key) else {
            return;
        };
        let own = urgency.unwrap_or_else(|| Urgency {
            severity: kind.severity(),
            advice: Vec::new(),
            caution: Vec::new(),
        });
        let steps = [own.advice, advice(kind, subject)].concat();
        let cautions = [own.caution, caution(kind)].concat();
        let known = (&standing.severity, &standing.advice, &standing.caution);
        if known == (&own.severity, &steps, &cautions) {
            return;
        }
        standing.severity = own.severity;
        (standing.advice, standing.caution) = (steps, cautions);
        self.opened.insert(key);
    }

    /// Ends a finding, if it stands.
    pub fn end(&mut self, subject: &Subject, kind: Kind, at: Time) {
        self.end_key(key(subject, kind), at);
    }

    /// Ends a finding in favour of another that says the same better, if it stands: what it has cost is
    /// handed over.
    pub fn give_way(&mut self, subject: &Subject, kind: Kind, at: Time) -> Energy {
        let nothing = Energy::from_wh(0.0);
        let standing = self.standing.get_mut(&key(subject, kind));
        let lost = standing.map(|finding| std::mem::replace(&mut finding.lost, nothing));
        self.end(subject, kind, at);
        lost.unwrap_or(nothing)
    }

    /// Ends the repeated trips of one class, if they stand.
    pub fn end_class(&mut self, subject: &Subject, kind: Kind, class: &str, at: Time) {
        self.end_key((subject.clone(), kind, Some(class.to_owned())), at);
    }

    fn end_key(&mut self, key: Key, at: Time) {
        if let Some(mut finding) = self.standing.remove(&key) {
            finding.ended = Some(at.max(finding.began));
            self.opened.remove(&key);
            self.closed.insert(finding.id.clone(), finding.clone());
            self.ended.insert(key, finding);
        }
    }

    /// Ends a finding as of `at`, once the slot that is being filled has been closed: what it costs
    /// in that slot is its own.
    pub fn end_with_slot(&mut self, subject: &Subject, kind: Kind, at: Time) {
        let key = key(subject, kind);
        if self.standing.contains_key(&key) {
            self.ending.insert(key, at);
        }
    }

    /// Ends what was to end with the slot that has just been closed.
    pub fn end_due(&mut self) {
        for (key, at) in std::mem::take(&mut self.ending) {
            self.end_key(key, at);
        }
    }

    /// Adds to what a standing finding has cost.
    pub fn add_lost(&mut self, subject: &Subject, kind: Kind, lost: Energy) {
        if let Some(finding) = self.standing.get_mut(&key(subject, kind)) {
            finding.lost = Energy::from_wh(finding.lost.wh() + lost.wh());
        }
    }

    /// Adds numbers to the evidence of a standing finding; they are told with its end, or when it is
    /// asked for what stands.
    pub fn add_evidence(&mut self, subject: &Subject, kind: Kind, numbers: Evidence) {
        if let Some(finding) = self.standing.get_mut(&key(subject, kind)) {
            finding.evidence.extend(numbers);
        }
    }

    /// All findings that stand, with what they have cost so far.
    pub fn standing(&self) -> impl Iterator<Item = &Finding> {
        self.standing.values()
    }

    /// The findings that were opened or ended since the last call: those that ended, then those
    /// that stand.
    pub fn take_changed(&mut self) -> Vec<Finding> {
        let closed = std::mem::take(&mut self.closed).into_values();
        let opened = std::mem::take(&mut self.opened);
        let standing = opened.iter().filter_map(|key| self.standing.get(key));
        closed.chain(standing.cloned()).collect()
    }
}

fn bring_up_to_date(standing: &mut Finding, new: NewFinding) {
    standing.confidence = new.confidence;
    standing.causes = new.causes;
    standing.evidence = new.evidence;
    standing.summary = new.summary;
}

fn key(subject: &Subject, kind: Kind) -> Key {
    (subject.clone(), kind, None)
}

fn key_of(new: &NewFinding) -> Key {
    let is_of_class = new.kind == Kind::GridTripsRepeated;
    let class = leading(&new.causes).filter(|_| is_of_class);
    (new.subject.clone(), new.kind, class.map(str::to_owned))
}

fn leading(causes: &[Cause]) -> Option<&str> {
    causes.first().map(|cause| cause.cause.as_str())
}

/// Without its neutral a supply hurts people and what is plugged in: no other trip is a hazard.
fn severity(new: &NewFinding) -> Severity {
    match leading(&new.causes) {
        Some(NEUTRAL_LOST) => Severity::Now,
        _ => new.kind.severity(),
    }
}

/// Each trip is one of its own: how often they come is what matters.
fn flaps(old: &Finding, new: &NewFinding) -> bool {
    let lately = |end| new.began - end <= REOPENED_WITHIN;
    new.kind != Kind::GridTrip && old.ended.is_some_and(lately)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::DeviceId;

    fn subject() -> Subject {
        Subject {
            device: DeviceId::new("inv-1"),
            input: Some(2),
            string: None,
        }
    }

    fn at(min: i64) -> Time {
        Time::from_unix_ms(min * 60_000)
    }

    fn dead(began: Time) -> NewFinding {
        NewFinding {
            subject: subject(),
            kind: Kind::InputDead,
            began,
            found: began,
            confidence: 1.0,
            causes: Vec::new(),
            evidence: Evidence::new(),
            lost: Energy::from_wh(0.0),
            summary: String::new(),
        }
    }

    #[test]
    fn flapping_is_one_finding() {
        let mut book = Book::new();
        book.open(dead(at(0)));
        let first = book.take_changed();
        book.end(&subject(), Kind::InputDead, at(10));
        book.open(dead(at(30)));
        let again = book.take_changed();
        assert_eq!(first[0].id, again[0].id);
        assert_eq!((again.len(), again[0].ended), (1, None));
        book.end(&subject(), Kind::InputDead, at(40));
        book.open(dead(at(300)));
        let later = book.take_changed();
        let ids: Vec<&FindingId> = later.iter().map(|f| &f.id).collect();
        assert_eq!(later.len(), 2, "the end of the first is told too: {ids:?}");
        assert_eq!((&later[0].id, later[0].ended), (&first[0].id, Some(at(40))));
        assert_ne!(later[1].id, first[0].id);
    }

    /// A trip is told ten minutes after it began: by then it must not matter whether somebody
    /// looked in the meantime.
    #[test]
    fn looking_more_often_does_not_make_two_findings_of_one() {
        let mut book = Book::new();
        book.open(dead(at(0)));
        book.end(&subject(), Kind::InputDead, at(10));
        let first = book.take_changed();
        assert_eq!(book.take_changed(), []);
        let told_late = NewFinding {
            found: at(75),
            ..dead(at(65))
        };
        book.open(told_late);
        assert_eq!(book.take_changed()[0].id, first[0].id);
    }

    #[test]
    fn two_trips_in_an_hour_are_two_findings() {
        let trip = |began| NewFinding {
            kind: Kind::GridTrip,
            ..dead(began)
        };
        let mut book = Book::new();
        book.open(trip(at(0)));
        book.end(&subject(), Kind::GridTrip, at(5));
        book.open(trip(at(20)));
        assert_eq!(book.take_changed().len(), 2);
    }

    #[test]
    fn another_leading_cause_is_told() {
        let because = |cause: &str| NewFinding {
            causes: vec![Cause {
                cause: cause.to_owned(),
                probability: 1.0,
            }],
            ..dead(at(0))
        };
        let mut book = Book::new();
        book.open(because("one string open"));
        book.take_changed();
        book.open(because("one string open"));
        assert_eq!(book.take_changed().len(), 0);
        book.open(because("2 strings open"));
        assert_eq!(
            leading(&book.take_changed()[0].causes),
            Some("2 strings open")
        );
    }

    #[test]
    fn two_causes_that_are_nearly_as_probable_are_not_told_in_turn() {
        let because = |cause: &str, probability| NewFinding {
            kind: Kind::SectionLost,
            confidence: probability,
            causes: vec![Cause {
                cause: cause.to_owned(),
                probability,
            }],
            ..dead(at(0))
        };
        let mut book = Book::new();
        book.keep_steady(because("one section", 0.55), 0.9);
        assert_eq!(book.take_changed().len(), 1);
        for _ in 0..3 {
            book.keep_steady(because("2 sections", 0.55), 0.9);
            book.keep_steady(because("one section", 0.6), 0.9);
            assert_eq!(book.take_changed(), []);
        }
        let stands = |book: &Book| book.standing().next().map(|f| f.confidence);
        assert_eq!(stands(&book), Some(0.6), "numbers are kept up to date");
        book.keep_steady(because("2 sections", 0.95), 0.9);
        let told = book.take_changed();
        assert_eq!(leading(&told[0].causes), Some("2 sections"));
    }

    #[test]
    fn repeated_trips_are_one_finding_for_each_class_and_told_again_when_asked() {
        let repeated = |class: &str, began, confidence| NewFinding {
            kind: Kind::GridTripsRepeated,
            confidence,
            causes: vec![Cause {
                cause: class.to_owned(),
                probability: 1.0,
            }],
            ..dead(began)
        };
        let mut book = Book::new();
        book.keep(repeated("over-voltage", at(0), 0.5), false);
        book.keep(repeated("supply lost", at(5), 0.5), false);
        assert_eq!(book.take_changed().len(), 2);
        book.keep(repeated("over-voltage", at(0), 0.7), false);
        assert_eq!(book.take_changed(), []);
        book.keep(repeated("over-voltage", at(0), 0.8), true);
        let again = book.take_changed();
        assert_eq!((again.len(), again[0].confidence), (1, 0.8));
        book.end_class(&subject(), Kind::GridTripsRepeated, "supply lost", at(9));
        let ended = book.take_changed();
        assert_eq!((ended.len(), ended[0].began), (1, at(5)));
        assert_eq!(book.standing().count(), 1);
    }

    #[test]
    fn what_gives_way_hands_its_cost_over() {
        let of = |kind, wh| NewFinding {
            kind,
            lost: Energy::from_wh(wh),
            ..dead(at(0))
        };
        let mut book = Book::new();
        book.open(of(Kind::SectionLost, 5.0));
        book.add_lost(&subject(), Kind::SectionLost, Energy::from_wh(7.0));
        let (mut from, mut to) = (Kind::SectionLost, Kind::ResistanceHigh);
        // There, back and there again.
        for _ in 0..3 {
            let lost = book.give_way(&subject(), from, at(0));
            book.open(of(to, lost.wh()));
            let told = book.take_changed();
            let lost = |kind| told.iter().find(|f| f.kind == kind).map(|f| f.lost.wh());
            assert_eq!((lost(from), lost(to)), (Some(0.0), Some(12.0)));
            (from, to) = (to, from);
        }
        assert_eq!(book.give_way(&subject(), Kind::Snow, at(0)).wh(), 0.0);
    }

    #[test]
    fn an_urgency_is_told_once_and_taken_back() {
        let mut book = Book::new();
        let kind = Kind::ResistanceHigh;
        book.open(NewFinding {
            kind,
            ..dead(at(0))
        });
        let usual = book.take_changed().remove(0);
        let urgent = || Urgency {
            severity: Severity::Now,
            advice: vec!["Stop.".to_owned()],
            caution: Vec::new(),
        };
        book.urge(&subject(), kind, Some(urgent()));
        let told = book.take_changed();
        assert_eq!(
            (told[0].severity, told[0].advice[0].as_str()),
            (Severity::Now, "Stop.")
        );
        book.urge(&subject(), kind, Some(urgent()));
        assert_eq!(book.take_changed(), []);
        book.urge(&subject(), kind, None);
        assert_eq!(book.take_changed(), [usual]);
    }

    #[test]
    fn what_is_lost_adds_up_while_it_stands() {
        let mut book = Book::new();
        book.open(dead(at(0)));
        book.add_lost(&subject(), Kind::InputDead, Energy::from_wh(5.0));
        book.add_lost(&subject(), Kind::InputDead, Energy::from_wh(7.0));
        assert_eq!(book.standing().next().map(|f| f.lost.wh()), Some(12.0));
    }
}
