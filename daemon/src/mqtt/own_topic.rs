//! Topics of ours: below the prefix of the site file, by construction.
//! Never in here: a way to make one from any text.

use analysis::diagnose::FindingId;
use config::checked::Announcer;
use percent_encoding::{AsciiSet, CONTROLS, utf8_percent_encode};

/// What means something in a topic, and what says that something is written so.
const SPECIAL: &AsciiSet = &CONTROLS.add(b'/').add(b'+').add(b'#').add(b'%');

/// What all topics of ours stand below.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Prefix(String);

/// A topic that we may publish on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OwnTopic(String);

/// Something to publish, at least once.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Message {
    /// Where.
    pub topic: OwnTopic,
    /// What; nothing takes back what was kept.
    pub payload: String,
    /// Whether the broker keeps it for whoever comes later.
    pub is_retained: bool,
}

impl Prefix {
    /// That of a checked site file: no wildcard, and no source reads there.
    pub fn of(announcer: &Announcer) -> Self {
        Self(announcer.prefix.clone())
    }

    /// Whether we are there.
    pub fn status(&self) -> OwnTopic {
        self.below("status")
    }

    /// What is new, as it happens.
    pub fn events(&self) -> OwnTopic {
        self.below("events")
    }

    /// What is known of a finding.
    pub fn finding(&self, id: &FindingId) -> OwnTopic {
        // Labels of strings are text of people; one of them is one level.
        let level = utf8_percent_encode(id.as_str(), SPECIAL);
        self.below(&format!("findings/{level}"))
    }

    fn below(&self, rest: &str) -> OwnTopic {
        OwnTopic(format!("{}/{rest}", self.0))
    }
}

impl OwnTopic {
    /// As text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn prefix() -> Prefix {
        Prefix("noonmark/barn".to_owned())
    }

    #[test]
    fn a_finding_has_a_topic_that_people_can_read() {
        let topic = |id: &str| prefix().finding(&FindingId::from_stored(id)).0;
        assert_eq!(
            topic("barn.input-2.string_open.1782129600"),
            "noonmark/barn/findings/barn.input-2.string_open.1782129600"
        );
        assert_eq!(
            topic("barn.string-N1/a+ 50%.x"),
            "noonmark/barn/findings/barn.string-N1%2Fa%2B 50%25.x"
        );
        assert_eq!(prefix().status().as_str(), "noonmark/barn/status");
    }

    proptest! {
        /// Property: whatever a finding is called, its topic is one level below `findings`, and two
        /// findings have two.
        #[test]
        fn no_name_leads_out_of_the_prefix(one in "\\PC{0,40}", other in "[/+#%a]{0,6}") {
            let topic = |id: &str| prefix().finding(&FindingId::from_stored(id)).0;
            for id in [&one, &other] {
                let topic = topic(id);
                let level = topic.strip_prefix("noonmark/barn/findings/").expect("below the prefix");
                prop_assert!(!level.contains(['/', '+', '#', '\0']), "{level}");
            }
            prop_assert_eq!(topic(&one) == topic(&other), one == other);
        }
    }
}
