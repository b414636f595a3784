//! The one sentence at the top of the page.
//! Never in here: wording of what was found.

use super::Whole;
use crate::text::percent;
use analysis::detect::Severity;
use analysis::review::{Account, Balance};

/// How the plant does, as a word for the look of the sentence.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tone {
    /// As it should.
    Good,
    /// Less than it should, or something to plan.
    Look,
    /// Something to do soon.
    Bad,
    /// Not known.
    Unknown,
}

impl Tone {
    /// Its name in the style sheet.
    pub const fn name(self) -> &'static str {
        match self {
            Tone::Good => "good",
            Tone::Look => "look",
            Tone::Bad => "bad",
            Tone::Unknown => "unknown",
        }
    }
}

/// Whether the plant does what it should, in a sentence or two.
pub fn sentence(whole: &Whole, site: &Balance) -> (Tone, String) {
    let mut standing: Vec<_> = whole
        .findings
        .iter()
        .filter(|f| f.severity > Severity::Note && whole.stands(f))
        .collect();
    standing.sort_by_key(|f| (std::cmp::Reverse(f.severity), f.began));
    let account = Account::of(site);
    let made = account.share().map_or_else(String::new, |share| {
        format!(
            " It produced {} of what the weather allowed.",
            percent(share)
        )
    });
    if let Some(first) = standing.first() {
        let tone = if first.severity > Severity::Plan {
            Tone::Bad
        } else {
            Tone::Look
        };
        let more = match standing.len() - 1 {
            0 => String::new(),
            1 => " One more finding stands.".to_owned(),
            n => format!(" {n} more findings stand."),
        };
        let (title, since) = (first.title(), whole.local(first.began));
        return (tone, format!("No. {title}, since {since}.{more}{made}"));
    }
    let ended = whole
        .findings
        .iter()
        .filter(|f| f.severity > Severity::Note)
        .count();
    let ended = match ended {
        0 => " Nothing was found.".to_owned(),
        1 => " One finding of the period has ended.".to_owned(),
        n => format!(" {n} findings of the period have ended."),
    };
    let unknown = |why| (Tone::Unknown, format!("Not known: {why}."));
    match account {
        Account::NoLight => unknown("there is no expected power in this period"),
        Account::NotRecorded => unknown("more than half of the light was not recorded"),
        Account::AsExpected(_) => (Tone::Good, format!("Yes.{made} Nothing stands.{ended}")),
        Account::HeldBack(_) => {
            let says = format!("Yes, as far as limits let it.{made} Nothing stands.{ended}");
            (Tone::Good, says)
        }
        Account::Short(_) => {
            let says = format!(
                "Not quite.{made} Nothing stands; the table below says where the rest went.{ended}"
            );
            (Tone::Look, says)
        }
    }
}
