//! Days in the life of a policy: news come, time goes on, mails are made. Property of our own rules.

use super::*;
use crate::store::{NewDelivery, Target, What as Answer};
use crate::text::at_site;
use analysis::detect::Kind;
use analysis::diagnose::Subject;
use analysis::reading::{DeviceId, Energy};
use chrono::{DateTime, NaiveTime, TimeZone};
use chrono_tz::Europe::Vienna;
use config::checked::{QuietHours, Reader, Role};

/// Looks once a minute from a time on, and keeps what was made, as the store would.
struct Days {
    now: Time,
    alerts: Alerts,
    news: Vec<News>,
    findings: BTreeMap<FindingId, Finding>,
    mails: Vec<Delivery>,
    answers: Answers,
}

impl Days {
    fn new(readers: &[Reader]) -> Self {
        Self {
            now: local("2026-06-22 12:00"),
            alerts: Alerts {
                readers: readers.to_vec(),
                ..Alerts::nobody()
            },
            news: Vec::new(),
            findings: BTreeMap::new(),
            mails: Vec::new(),
            answers: Answers::default(),
        }
    }

    /// Something is found now.
    fn find(&mut self, kind: Kind, input: u8) -> FindingId {
        let subject = Subject::input(&DeviceId::new("barn"), input);
        let id = FindingId::new(&subject, kind, self.now);
        let finding = Finding {
            id: id.clone(),
            subject,
            kind,
            severity: kind.severity(),
            began: self.now,
            found: self.now,
            ended: None,
            confidence: 0.9,
            causes: Vec::new(),
            evidence: BTreeMap::new(),
            lost: Energy::from_wh(0.0),
            summary: String::new(),
            advice: Vec::new(),
            caution: Vec::new(),
        };
        self.findings.insert(id.clone(), finding);
        self.tell(&id, Turn::Found);
        id
    }

    fn end(&mut self, id: &FindingId) {
        self.findings.get_mut(id).expect("it was found").ended = Some(self.now);
        self.tell(id, Turn::Ended);
    }

    fn tell(&mut self, finding: &FindingId, what: Turn) {
        self.news.push(News {
            id: self.news.len() as i64 + 1,
            at: self.now,
            finding: finding.clone(),
            what,
        });
    }

    /// Goes on to a time at the site; every mail leaves at once.
    fn until(&mut self, time: &str) -> &mut Self {
        let until = local(time);
        assert!(self.now < until, "time goes on");
        while self.now < until {
            self.now = self.now + Span::from_min(1);
            let decision = decide(&Situation {
                now: self.now,
                timezone: Vienna,
                alerts: &self.alerts,
                news: &self.news,
                findings: &self.findings,
                told: &self.mails,
                answers: &self.answers,
                first_slot: Some(local("2026-05-20 12:00")),
            });
            for due in decision.mails {
                let id = self.mails.len() as i64 + 1;
                self.mails.push(Delivery {
                    id,
                    made: NewDelivery {
                        target: Target::Mail(self.alerts.readers[due.reader].email.clone()),
                        about: due.about,
                        stable_id: id.to_string(),
                        at: self.now,
                        news: due.news,
                    },
                    tries: 1,
                    next_try: None,
                    last_error: None,
                    sent: Some(self.now),
                });
            }
            for finding in decision.unanswered {
                self.tell(&finding, Turn::Unanswered);
            }
        }
        self
    }

    /// Every mail as `time reader what news`.
    fn said(&self) -> Vec<String> {
        let said = |mail: &Delivery| {
            let at = at_site(mail.made.at, Vienna)
                .expect("a date")
                .format("%d %H:%M");
            let reader = mail.made.target.name().split('@').next().expect("a name");
            let period = mail.made.about.period().unwrap_or_default();
            let about = match mail.made.about {
                About::News => "news".to_owned(),
                About::Day(_) => format!("day {period}"),
                About::Month(_) => format!("month {period}"),
            };
            let news: Vec<_> = mail.made.news.iter().map(ToString::to_string).collect();
            format!("{at} {reader} {about} {}", news.join(" "))
                .trim()
                .to_owned()
        };
        self.mails.iter().map(said).collect()
    }
}

fn local(time: &str) -> Time {
    let naive = chrono::NaiveDateTime::parse_from_str(time, "%Y-%m-%d %H:%M").expect("a time");
    let date: DateTime<Tz> = Vienna.from_local_datetime(&naive).single().expect("once");
    Time::from_unix_ms(date.timestamp_millis())
}

fn reader(name: &str, role: Role) -> Reader {
    Reader {
        name: name.to_owned(),
        email: format!("{name}@example.org"),
        role,
        told_from: Severity::Soon,
        most_per_day: 4,
    }
}

/// No summary falls into the days of most tests: the owner's comes in July.
fn owner() -> Reader {
    reader("owner", Role::Owner)
}

#[test]
fn what_has_one_cause_makes_one_mail() {
    let mut days = Days::new(&[owner()]);
    days.find(Kind::StringOpen, 1);
    days.until("2026-06-22 12:10");
    days.find(Kind::StringOpen, 2);
    days.until("2026-06-23 12:00");
    assert_eq!(days.said(), ["22 12:20 owner news 1 2"]);
}

/// Nothing was mended: the program or the site file was changed, and the same is found again.
#[test]
fn what_is_looked_for_anew_is_neither_over_nor_new() {
    let mut days = Days::new(&[owner()]);
    let id = days.find(Kind::StringOpen, 1);
    days.until("2026-06-22 15:00");
    days.findings.get_mut(&id).expect("it was found").ended = Some(days.now);
    days.tell(&id, Turn::Unwatched);
    days.until("2026-06-23 15:00");
    let again = days.find(Kind::StringOpen, 1);
    days.until("2026-06-25 12:00").end(&again);
    days.until("2026-06-26 12:00");
    assert_eq!(
        days.said(),
        ["22 12:20 owner news 1", "25 12:20 owner news 4"]
    );
}

/// Whoever comes near it has to know, once more rather than not at all.
#[test]
fn a_hazard_that_is_found_anew_is_told_again() {
    let mut days = Days::new(&[owner()]);
    let id = days.find(Kind::IsolationLow, 1);
    days.until("2026-06-22 15:00");
    days.findings.get_mut(&id).expect("it was found").ended = Some(days.now);
    days.tell(&id, Turn::Unwatched);
    days.find(Kind::IsolationLow, 1);
    days.until("2026-06-22 16:00");
    let said = days.said();
    assert!(
        said.iter().any(|mail| mail.ends_with("owner news 3")),
        "{said:?}"
    );
}

#[test]
fn a_mail_about_something_else_does_not_hold_a_hazard_back() {
    let mut days = Days::new(&[owner()]);
    days.find(Kind::StringOpen, 1);
    days.until("2026-06-22 12:20");
    days.find(Kind::IsolationLow, 1);
    days.until("2026-06-22 12:40");
    assert_eq!(
        days.said(),
        ["22 12:20 owner news 1", "22 12:21 owner news 2"]
    );
}

#[test]
fn a_summary_waits_for_the_end_of_quiet_hours() {
    let mut days = Days::new(&[reader("service", Role::Technician)]);
    let at = |h| NaiveTime::from_hms_opt(h, 0, 0).expect("a time");
    days.alerts.summary_at = at(6);
    days.alerts.quiet = Some(QuietHours {
        from: at(20),
        to: at(8),
    });
    days.find(Kind::Soiling, 1);
    days.until("2026-06-23 12:00");
    assert_eq!(days.said(), ["23 08:00 service day 2026-06-22 1"]);
}

/// Quiet hours end when summaries are made, or later.
#[test]
fn what_leaves_in_a_mail_of_its_own_makes_no_summary_beside_it() {
    let mut days = Days::new(&[reader("service", Role::Technician)]);
    let at = |h| NaiveTime::from_hms_opt(h, 0, 0).expect("a time");
    days.alerts.quiet = Some(QuietHours {
        from: at(20),
        to: at(8),
    });
    days.until("2026-06-22 22:00");
    days.find(Kind::StringOpen, 1);
    days.until("2026-06-23 12:00");
    assert_eq!(days.said(), ["23 08:00 service news 1"]);
    // What is for the summary alone is in it, and what left is not told again.
    days.until("2026-06-23 22:00");
    days.find(Kind::InputDead, 2);
    days.find(Kind::Soiling, 1);
    days.until("2026-06-24 12:00");
    let said = days.said();
    let wanted = [
        "24 08:00 service news 2",
        "24 08:00 service day 2026-06-23 3",
    ];
    assert_eq!(said[1..], wanted);
}

/// A summary is no way around what holds mails back.
#[test]
fn a_summary_does_not_tell_what_is_put_off() {
    let mut days = Days::new(&[reader("service", Role::Technician)]);
    let id = days.find(Kind::StringOpen, 1);
    days.answers.snoozed.insert(id, local("2026-06-24 12:00"));
    days.answers.maintenance.push(Maintenance {
        device: None,
        from: local("2026-06-22 11:00"),
        to: local("2026-06-23 09:00"),
        at: local("2026-06-22 10:00"),
        who: "technician".to_owned(),
        reason: "new fuse".to_owned(),
    });
    days.find(Kind::Soiling, 1);
    days.until("2026-06-25 12:00");
    assert_eq!(
        days.said(),
        [
            "23 09:00 service day 2026-06-22 2",
            "24 12:00 service news 1"
        ]
    );
}

/// The server was off over the weekend.
#[test]
fn what_summaries_that_were_not_made_had_to_tell_is_in_the_next_one() {
    let mut days = Days::new(&[reader("service", Role::Technician)]);
    days.find(Kind::Soiling, 1);
    days.now = local("2026-06-25 12:00");
    days.until("2026-06-26 12:00");
    assert_eq!(days.said(), ["25 12:01 service day 2026-06-24 1"]);
}

#[test]
fn the_end_is_told_to_whoever_was_told_the_beginning() {
    let mut days = Days::new(&[owner()]);
    let id = days.find(Kind::StringOpen, 1);
    days.until("2026-06-22 15:00").end(&id);
    days.until("2026-06-23 12:00");
    assert_eq!(
        days.said(),
        ["22 12:20 owner news 1", "22 15:20 owner news 2"]
    );
}

#[test]
fn what_is_over_before_it_is_told_is_no_mail_to_an_owner() {
    let mut days = Days::new(&[owner(), reader("service", Role::Technician)]);
    let id = days.find(Kind::ProtectionActed, 1);
    days.until("2026-06-22 12:05").end(&id);
    days.until("2026-06-22 18:00");
    assert_eq!(days.said(), ["22 12:20 service news 1 2"]);
}

#[test]
fn a_link_that_is_back_soon_is_no_mail() {
    let mut days = Days::new(&[owner(), reader("service", Role::Technician)]);
    let id = days.find(Kind::LinkLost, 1);
    days.until("2026-06-22 14:50").end(&id);
    days.until("2026-06-22 16:00");
    assert_eq!(days.said(), [""; 0]);
    days.find(Kind::LinkLost, 1);
    days.until("2026-06-24 16:00");
    let said = days.said();
    let news: Vec<&String> = said.iter().filter(|said| said.contains("news")).collect();
    assert_eq!(news, ["22 19:00 service news 3", "23 16:00 owner news 3"]);
}

#[test]
fn repeats_of_a_device_error_give_one_message() {
    let mut days = Days::new(&[owner(), reader("service", Role::Technician)]);
    for repeat in 0..110 {
        days.now = local("2026-06-22 12:00") + Span::from_ms(repeat * 3_270);
        let id = days.find(Kind::ProtectionActed, 1);
        days.now = days.now + Span::from_s(1);
        days.end(&id);
    }
    days.until("2026-06-22 23:00");
    assert_eq!(days.mails.len(), 1, "{:?}", days.said());
    assert_eq!(days.mails[0].made.news.len(), 220);
    assert_eq!(days.mails[0].made.target.name(), "service@example.org");
}

#[test]
fn what_comes_and_goes_for_days_does_not_flood() {
    let mut days = Days::new(&[reader("service", Role::Technician)]);
    for hour in 0..24 {
        let id = days.find(Kind::InverterOff, 1);
        days.until(&format!(
            "2026-06-{} {:02}:30",
            22 + (hour + 12) / 24,
            (hour + 12) % 24
        ));
        days.end(&id);
        days.until(&format!(
            "2026-06-{} {:02}:00",
            22 + (hour + 13) / 24,
            (hour + 13) % 24
        ));
    }
    let news = days
        .said()
        .iter()
        .filter(|said| said.contains("news"))
        .count();
    assert!(news <= 4, "{:#?}", days.said());
}

#[test]
fn quiet_hours_hold_back_all_but_a_hazard() {
    let mut days = Days::new(&[owner()]);
    days.alerts.quiet = Some(QuietHours {
        from: NaiveTime::from_hms_opt(21, 0, 0).expect("a time"),
        to: NaiveTime::from_hms_opt(6, 30, 0).expect("a time"),
    });
    days.until("2026-06-22 22:00");
    days.find(Kind::InverterOff, 1);
    days.until("2026-06-23 05:00");
    assert_eq!(days.said(), [""; 0]);
    days.find(Kind::IsolationLow, 2);
    days.until("2026-06-23 05:02");
    // What waits goes along.
    assert_eq!(days.said(), ["23 05:01 owner news 1 2"]);
    days.find(Kind::InputDead, 3);
    days.until("2026-06-23 09:00");
    assert_eq!(days.said()[1..], ["23 06:30 owner news 3"]);
}

#[test]
fn a_reader_gets_at_most_so_many_mails_a_day_but_every_hazard() {
    let one_a_day = Reader {
        most_per_day: 1,
        ..owner()
    };
    let mut days = Days::new(&[one_a_day]);
    days.find(Kind::StringOpen, 1);
    days.until("2026-06-22 13:00");
    days.find(Kind::InputDead, 2);
    days.until("2026-06-22 14:00");
    assert_eq!(days.said(), ["22 12:20 owner news 1"]);
    days.until("2026-06-23 00:30");
    assert_eq!(days.said()[1..], ["23 00:00 owner news 2"]);
    days.find(Kind::ResidualCurrentHigh, 3);
    days.until("2026-06-23 01:00");
    assert_eq!(days.said()[2..], ["23 00:31 owner news 3"]);
}

#[test]
fn what_is_less_urgent_waits_for_the_summary() {
    let mut days = Days::new(&[reader("service", Role::Technician), owner()]);
    days.find(Kind::Shade, 1);
    days.find(Kind::Snow, 1);
    days.until("2026-06-24 12:00");
    // A note alone is worth no summary, and a day without news has none.
    assert_eq!(days.said(), ["23 07:00 service day 2026-06-22 1"]);
    days.find(Kind::Limited, 1);
    days.until("2026-06-25 12:00");
    assert_eq!(days.said().len(), 1);
}

#[test]
fn an_owner_gets_a_summary_of_each_month_once() {
    let mut days = Days::new(&[owner()]);
    days.until("2026-07-02 12:00").until("2026-08-01 08:00");
    let wanted = [
        "01 07:00 owner month 2026-06",
        "01 07:00 owner month 2026-07",
    ];
    assert_eq!(days.said()[..], wanted);
}

#[test]
fn all_readers_are_reminded_of_what_nobody_answers() {
    let only_hazards = Reader {
        told_from: Severity::Now,
        ..owner()
    };
    let mut days = Days::new(&[reader("service", Role::Technician), only_hazards]);
    let id = days.find(Kind::StringOpen, 1);
    days.until("2026-07-08 12:00");
    let said = days.said();
    let news: Vec<&String> = said.iter().filter(|s| s.contains("news")).collect();
    // After three, six and twelve days; the owner hears of it then too.
    assert_eq!(
        news,
        [
            "22 12:20 service news 1",
            "25 12:21 owner news 1 2",
            "25 12:40 service news 2",
            "28 12:40 service news 3",
            "28 12:40 owner news 3",
            "04 12:40 service news 4",
            "04 12:40 owner news 4",
        ]
    );
    days.end(&id);
    days.until("2026-07-08 13:00");
    assert_eq!(days.said().last().expect("one"), "08 12:20 owner news 5");
}

#[test]
fn a_hazard_is_reminded_of_on_the_next_day() {
    let mut days = Days::new(&[owner()]);
    days.find(Kind::IsolationLow, 1);
    days.until("2026-06-24 08:00");
    assert_eq!(
        days.said(),
        ["22 12:01 owner news 1", "23 12:02 owner news 2"]
    );
}

#[test]
fn an_answer_ends_the_reminders() {
    let mut days = Days::new(&[reader("service", Role::Technician)]);
    let id = days.find(Kind::StringOpen, 1);
    days.until("2026-06-22 13:00")
        .answers
        .acknowledged
        .insert(id);
    days.until("2026-06-30 12:00");
    assert_eq!(days.said(), ["22 12:20 service news 1"]);
}

#[test]
fn snoozed_and_in_maintenance_is_held_back() {
    let mut days = Days::new(&[reader("service", Role::Technician)]);
    let id = days.find(Kind::StringOpen, 1);
    days.answers.snoozed.insert(id, local("2026-06-22 16:00"));
    days.answers.maintenance.push(Maintenance {
        device: Some(DeviceId::new("barn")),
        from: local("2026-06-22 11:00"),
        to: local("2026-06-22 14:00"),
        at: local("2026-06-22 10:00"),
        who: "technician".to_owned(),
        reason: "new fuse".to_owned(),
    });
    let during = days.find(Kind::InverterOff, 1);
    let stands = days.find(Kind::InputDead, 2);
    days.until("2026-06-22 13:30").end(&during);
    days.until("2026-06-22 18:00");
    assert_eq!(
        days.said(),
        ["22 14:00 service news 2 3 4", "22 16:00 service news 1"],
        "{stands}"
    );
}

#[test]
fn a_reader_who_is_new_is_told_what_stands_and_not_what_was() {
    let mut days = Days::new(&[owner()]);
    let over = days.find(Kind::InputDead, 1);
    days.find(Kind::StringOpen, 2);
    days.until("2026-06-23 10:00").end(&over);
    days.until("2026-06-26 10:00");
    days.alerts
        .readers
        .push(reader("service", Role::Technician));
    days.until("2026-06-26 10:05");
    let to_service: Vec<_> = days
        .said()
        .into_iter()
        .filter(|s| s.contains("service"))
        .collect();
    assert!(
        to_service[0].starts_with("26 10:01 service news 2"),
        "{to_service:?}"
    );
}

#[test]
fn the_latest_answer_counts() {
    let finding = FindingId::from_stored("barn.input-1.string_open.1");
    let response = |what, until| Response {
        finding: finding.to_string(),
        at: local("2026-06-22 12:00"),
        who: "technician".to_owned(),
        what,
        until,
        text: String::new(),
    };
    let until = local("2026-06-25 12:00");
    let snoozed = response(Answer::Snoozed, Some(until));
    let answers = Answers::of(
        &[response(Answer::Note, None), snoozed.clone()],
        Vec::new(),
        &[],
    );
    assert_eq!(answers.snoozed.get(&finding), Some(&until));
    assert!(answers.acknowledged.is_empty());
    let answers = Answers::of(
        &[snoozed, response(Answer::Acknowledged, None)],
        Vec::new(),
        &[],
    );
    assert!(answers.snoozed.is_empty() && answers.acknowledged.contains(&finding));
}

#[test]
fn what_was_put_off_is_told_at_once_when_it_becomes_a_hazard() {
    for answer in [Answer::Snoozed, Answer::Acknowledged] {
        let mut days = Days::new(&[reader("service", Role::Technician)]);
        let id = days.find(Kind::ResistanceHigh, 1);
        days.until("2026-06-22 13:00");
        let said = Response {
            finding: id.to_string(),
            at: days.now,
            who: "technician".to_owned(),
            what: answer,
            until: (answer == Answer::Snoozed).then(|| local("2026-07-20 00:00")),
            text: String::new(),
        };
        days.answers = Answers::of(std::slice::from_ref(&said), Vec::new(), &days.news);
        days.until("2026-06-24 15:00");
        let finding = days.findings.get_mut(&id).expect("it was found");
        finding.severity = Severity::Now;
        days.tell(&id, Turn::Worse);
        days.answers = Answers::of(&[said], Vec::new(), &days.news);
        days.until("2026-06-24 16:00");
        // Not before he has had time for it is he told that nobody has answered.
        assert_eq!(
            days.said(),
            ["22 12:20 service news 1", "24 15:01 service news 2"]
        );
        days.until("2026-06-27 12:00");
        assert_eq!(days.said().len(), 4, "{:?}", days.said());
    }
}
