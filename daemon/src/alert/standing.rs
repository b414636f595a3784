//! What a broker is to know of all findings: their lines while they stand and for a week after; then
//! nothing.
//! Never in here: a connection.

use super::announcement::AnnouncementError;
use super::policy::LOOK_BACK;
use super::sender::AtStore;
use crate::mqtt::{Message, Prefix};
use crate::report::finding_line;
use analysis::detect::Severity;
use analysis::diagnose::{Finding, FindingId};
use analysis::reading::{Span, Time};
use config::checked::Announcer;
use std::collections::BTreeMap;
use tracing::warn;

/// So long the line of a finding stays after its end: whoever was away for a holiday still sees it.
pub const CLEAR_AFTER: Span = Span::from_h(24 * 7);

/// Knows what the broker is to know.
#[derive(Debug)]
pub struct Standing {
    prefix: Prefix,
    told_from: Severity,
    at_store: AtStore,
    /// The lines of this connection; empty of those that are cleared.
    lines: BTreeMap<FindingId, String>,
}

impl Standing {
    /// Of the findings in a store.
    pub fn new(told: &Announcer, at_store: AtStore) -> Self {
        Self {
            prefix: Prefix::of(told),
            told_from: told.told_from,
            at_store,
            lines: BTreeMap::new(),
        }
    }

    /// All of it, for a broker of which nothing is known.
    pub async fn all(&mut self, now: Time) -> Vec<Message> {
        self.lines.clear();
        self.changed(now).await
    }

    /// What is another line than at the last look: what a finding costs grows while it stands, and what
    /// has ended is cleared. A store that cannot be read just now is looked at the next time.
    pub async fn changed(&mut self, now: Time) -> Vec<Message> {
        let lines = match self.read(now).await {
            Ok(lines) => lines,
            Err(error) => {
                warn!(%error, "the broker is not told what stands; tried again");
                return Vec::new();
            }
        };
        let is_news = |(id, line): &(&FindingId, &String)| self.lines.get(*id) != Some(*line);
        let message = |(id, line): (&FindingId, &String)| Message {
            topic: self.prefix.finding(id),
            payload: line.clone(),
            is_retained: true,
        };
        let messages = lines.iter().filter(is_news).map(message).collect();
        self.lines = lines;
        messages
    }

    async fn read(&self, now: Time) -> Result<BTreeMap<FindingId, String>, AnnouncementError> {
        let told_from = self.told_from;
        let plant = self.at_store.plant.clone();
        let read = self.at_store.with(move |store| {
            let mut findings = store.findings()?;
            findings.retain(|finding| {
                let is_known = finding.ended.is_none_or(|ended| now - ended < LOOK_BACK);
                finding.severity >= told_from && is_known
            });
            let line = |finding: &Finding| {
                let line = match is_over(finding, now) {
                    true => String::new(),
                    false => finding_line(finding, &plant.site)?,
                };
                Ok((finding.id.clone(), line))
            };
            findings.iter().map(line).collect()
        });
        read.await
    }
}

fn is_over(finding: &Finding, now: Time) -> bool {
    finding
        .ended
        .is_some_and(|ended| now - ended >= CLEAR_AFTER)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::{EngineState, Layout, Step, Store};
    use analysis::detect::Kind;
    use analysis::diagnose::{Evidence, Subject};
    use analysis::reading::{DeviceId, Energy};
    use std::path::Path;
    use std::sync::Arc;

    const NOON: Time = Time::from_unix_ms(1_782_129_600_000);

    fn finding(input: u8) -> Finding {
        let subject = Subject::input(&DeviceId::new("shed"), input);
        Finding {
            id: FindingId::new(&subject, Kind::StringOpen, NOON),
            subject,
            kind: Kind::StringOpen,
            severity: Kind::StringOpen.severity(),
            began: NOON,
            found: NOON,
            ended: None,
            confidence: 0.97,
            causes: Vec::new(),
            evidence: Evidence::new(),
            lost: Energy::from_wh(1_000.0),
            summary: String::new(),
            advice: Vec::new(),
            caution: Vec::new(),
        }
    }

    fn know(store: &mut Store, findings: &[Finding]) {
        let state = EngineState {
            version: 1,
            bytes: Vec::new(),
        };
        let step = Step {
            findings,
            ..Step::nothing(&state)
        };
        store.commit(&step).expect("room on the disk");
    }

    #[tokio::test]
    async fn a_line_is_told_again_once_when_it_has_changed_and_cleared_once_after_its_end() {
        let example = include_str!("../../../config/sites/quince-row-dairy.toml");
        let (before, _) = example.split_once("\n[alerts]\n").expect("the last table");
        let text = format!("{before}\n[alerts.mqtt]\naddress = \"127.0.0.1:1883\"\n");
        let site = config::parse("an example", &text, Path::new("")).expect("it is right");
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("site.sqlite");
        let opened = Store::open(&file, &Layout::of(&site.plant)).expect("a store");
        let mut store = opened.store;
        let plant = Arc::new(site.plant);
        let told = site.alerts.mqtt.expect("it is told");
        let mut standing = Standing::new(&told, AtStore { file, plant });

        let [mut one, other] = [finding(1), finding(2)];
        know(&mut store, &[one.clone(), other.clone()]);
        assert_eq!(standing.all(NOON).await.len(), 2);
        assert_eq!(standing.changed(NOON).await, []);
        one.lost = Energy::from_wh(2_000.0);
        know(&mut store, std::slice::from_ref(&one));
        let changed = standing.changed(NOON).await;
        assert_eq!(changed.len(), 1);
        assert!(changed[0].topic.as_str().ends_with(one.id.as_str()));
        assert!(changed[0].is_retained);
        assert!(
            changed[0].payload.contains("\"lost_kwh\":2.0"),
            "{changed:?}"
        );
        assert_eq!(standing.changed(NOON).await, []);

        one.ended = Some(NOON);
        know(&mut store, std::slice::from_ref(&one));
        assert_eq!(standing.changed(NOON).await.len(), 1);
        let cleared = standing.changed(NOON + CLEAR_AFTER).await;
        let payloads: Vec<_> = cleared.iter().map(|m| m.payload.as_str()).collect();
        assert_eq!(payloads, [""]);
        assert_eq!(standing.changed(NOON + CLEAR_AFTER).await, []);
        // A broker that was away is told both.
        assert_eq!(standing.all(NOON + CLEAR_AFTER).await.len(), 2);
    }
}
