//! What is round the daemon that is not left alone, and how the plan's acts are done to it.
//! Never in here: when.

use super::devices::{Devices, Lines};
use super::judge::Judgement;
use super::plan::Act;
use super::watched::Watched;
use crate::broker::{Access, Broker};
use crate::mail_server::MailServer;
use analysis::reading::Span;
use daemon::clock::Clock;
use std::collections::BTreeSet;

/// How long the broker keeps what has ended (book/src/announcements.md), and what the end of it may be off.
const KEPT_H: i64 = 7 * 24;
const EDGE_H: i64 = 12;

/// A mail server with what it has taken.
pub struct Mailed(MailServer);

impl Mailed {
    /// Starts one.
    pub fn start() -> Self {
        Self(MailServer::start("none"))
    }

    /// Where it is.
    pub fn address(&self) -> String {
        self.0.address()
    }

    /// Everything that has arrived.
    pub fn all(self) -> Vec<serde_json::Value> {
        self.0.all()
    }
}

/// Broker and mail server.
pub struct Round {
    /// The broker.
    pub broker: Broker,
    /// The mail server.
    pub mails: Mailed,
}

impl Round {
    /// Starts both.
    pub fn start() -> Self {
        Self {
            broker: Broker::start(Access::Everybody),
            mails: Mailed::start(),
        }
    }

    /// Does one act of the plan.
    pub fn act(
        &mut self,
        act: Act,
        daemon: &mut Watched,
        site: &str,
        lines: &Lines,
        devices: &Devices,
    ) {
        match act {
            Act::Device(inverter, trouble) => lines.set(inverter, Some(trouble)),
            Act::DeviceRight(inverter) => lines.set(inverter, None),
            Act::Moved(inverter, is_moved) => devices.set_moved(inverter, is_moved),
            Act::Broker(true) => self.broker.start_again(),
            Act::Broker(false) => self.broker.stop(),
            Act::Mail(mode) => self.mails.0.set(mode),
            Act::MailServer(true) => self.mails.0.start_again(),
            Act::MailServer(false) => self.mails.0.stop(),
            Act::Disk(takes) => daemon.program().limit_files((!takes).then_some(0)),
            Act::Kill => {
                daemon.kill();
                daemon.start_again();
            }
            Act::Terminate => {
                daemon.terminate();
                daemon.start_again();
            }
            Act::Reload(is_right) => {
                daemon.write_site(if is_right { site } else { "nothing = 1\n" });
                daemon.reload(is_right);
                daemon.write_site(site);
            }
        }
    }

    /// Judges what the broker knows when everything has left: all that stands, and what has ended of late.
    pub fn judge_announced(&self, daemon: &Watched, clock: Clock, judgement: &mut Judgement) {
        const PREFIX: &str = "noonmark/soak/findings/";
        const END: &str = "noonmark/soak-is-over";
        let now = clock.now();
        let findings = daemon.store().findings().expect("reads");
        let ended_within = |hours: i64| {
            let since = now - Span::from_h(hours);
            let recent = findings
                .iter()
                .filter(move |f| f.ended.is_none_or(|at| at >= since));
            recent
                .map(|f| (f.id.to_string(), f.ended.is_some()))
                .collect::<BTreeSet<_>>()
        };
        let (must, may) = (ended_within(KEPT_H - EDGE_H), ended_within(KEPT_H + EDGE_H));
        judgement.announced = must.len();
        let listener = self.broker.listen("noonmark/#");
        let mut told = BTreeSet::new();
        let mut is_over = false;
        // The status comes at once, so it is known then that somebody listens.
        while !is_over {
            let line = listener.line();
            if told.is_empty() {
                self.broker.publish(END, b"now", false);
            }
            is_over = line.contains(END);
            if let Some((_, rest)) = line.split_once(PREFIX) {
                let (id, finding) = rest.split_once(' ').unwrap_or((rest, "null"));
                let finding: serde_json::Value = serde_json::from_str(finding).unwrap_or_default();
                told.insert((id.to_owned(), !finding["ended"].is_null()));
            }
        }
        let missing = must
            .difference(&told)
            .map(|of| format!("the broker does not know {of:?}"));
        judgement.wrong.extend(missing);
        let strange = told
            .difference(&may)
            .map(|of| format!("the broker still knows {of:?}"));
        judgement.wrong.extend(strange);
    }
}
