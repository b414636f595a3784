//! A site that tells programs, and a finding of which there is news.

use analysis::diagnose::Finding;
use analysis::reading::Time;
use config::checked::SiteFile;
use daemon::alert::{Announcer, AtStore, Caller, Courier, Post, Sender, ToPost};
use daemon::clock::Clock;
use daemon::report::finding_line;
use daemon::store::{Delivery, EngineState, Layout, Step, Store, StoreError};
use std::fs;
use std::path::PathBuf;
use std::sync::Arc;
use tempfile::TempDir;
pub use tests::told::NOON;
use tests::told::{dark_slot, string_open};
use tests::until;
use tokio::runtime::Runtime;
use tokio::task::JoinHandle;

/// Site seconds per second: the minute before the next try passes at once.
const RATE: f64 = 600.0;

/// A folder with a site file and a store.
pub struct Site {
    folder: TempDir,
    pub file: SiteFile,
    pub store: Store,
    post: Post,
    to_post: ToPost,
    runtime: Runtime,
    clock: Clock,
}

impl Site {
    /// The dairy with these tables in place of its own readers, from noon on.
    pub fn new(alerts: &str) -> Self {
        Self::at(tempfile::tempdir().expect("a folder"), alerts, NOON)
    }

    fn at(folder: TempDir, alerts: &str, from: Time) -> Self {
        let example = concat!(
            env!("CARGO_MANIFEST_DIR"),
            "/../config/sites/quince-row-dairy.toml"
        );
        let text = fs::read_to_string(example).expect("an example");
        let (before, _) = text.split_once("\n[alerts]\n").expect("the last table");
        let text = format!("{before}\n[alerts]\n{alerts}");
        let path = folder.path().join("site.toml");
        fs::write(&path, text).expect("room for it");
        let file = config::load(&path);
        let file = file.unwrap_or_else(|errors| panic!("{}", errors.render(false)));
        let layout = Layout::of(&file.plant);
        let store = folder.path().join("site.sqlite");
        // A child that another test is just starting holds the lock of the last store until it is its own program.
        let store = until("store", || match Store::open(&store, &layout) {
            Err(StoreError::InUse { .. }) => None,
            opened => Some(opened.expect("opens").store),
        });
        let (post, to_post) = Post::new(Arc::new(file.alerts.clone()), file.timezone);
        Self {
            folder,
            file,
            store,
            post,
            to_post,
            runtime: Runtime::new().expect("threads"),
            clock: Clock::rehearsal(from, RATE),
        }
    }

    /// The same folder after the program has ended and was started again at a time.
    pub fn again(self, alerts: &str, from: Time) -> Self {
        let Self {
            folder,
            store,
            runtime,
            ..
        } = self;
        drop((store, runtime));
        Self::at(folder, alerts, from)
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// Puts what is new into the outbox.
    pub fn make(&mut self, at: Time) -> usize {
        self.post.make(&mut self.store, at).expect("made")
    }

    /// Everybody who takes something somewhere, at work.
    pub fn send(&self) -> Vec<JoinHandle<()>> {
        let alerts = &self.file.alerts;
        let webhooks = alerts.webhooks.iter().cloned();
        let mut couriers: Vec<Courier> = webhooks
            .map(|webhook| Courier::Webhook(Caller { webhook }))
            .collect();
        let mqtt = alerts.mqtt.clone();
        couriers.extend(mqtt.map(|told| Courier::Mqtt(Announcer::new(told))));
        let start = |courier| {
            let at_store = AtStore {
                file: self.path("site.sqlite"),
                plant: Arc::new(self.file.plant.clone()),
            };
            let sender = Sender::new(courier, at_store, self.to_post.clone());
            let clock = self.clock;
            self.runtime.spawn(async move { sender.run(clock).await })
        };
        couriers.into_iter().map(start).collect()
    }

    /// Notes what the senders report until the outbox is as it should be.
    pub fn noted(&mut self, what: &str, is_so: impl Fn(&[Delivery]) -> bool) -> Vec<Delivery> {
        until(what, || {
            self.post.note(&mut self.store).expect("the store takes it");
            let waiting = self.store.waiting().expect("reads");
            is_so(&waiting).then_some(waiting)
        })
    }

    /// Stores what is known of a finding at a time.
    pub fn know(&mut self, at: Time, finding: &Finding) {
        let state = EngineState {
            version: 1,
            bytes: Vec::new(),
        };
        let step = Step {
            at,
            findings: std::slice::from_ref(finding),
            ..Step::nothing(&state)
        };
        self.store.commit(&step).expect("it fits");
    }

    /// Stores a slot in which nothing was measured: the program was at work then.
    pub fn look(&mut self, start: Time) {
        let slot = dark_slot(&self.file.plant, start);
        let state = EngineState {
            version: 1,
            bytes: Vec::new(),
        };
        let step = Step {
            at: start,
            slots: &[slot],
            ..Step::nothing(&state)
        };
        self.store.commit(&step).expect("it fits");
    }

    /// Its line of `findings.jsonl`.
    pub fn line(&self, finding: &Finding) -> String {
        finding_line(finding, &self.file.plant.site).expect("numbers")
    }
}

/// A string that carries nothing, on an input, since noon; in words that are hard to write down.
pub fn finding(input: u8, ended: Option<Time>) -> Finding {
    Finding {
        summary: "Input of shed: 1 of 2 strings without current, \"N1a\" \u{2014} \u{fc}"
            .to_owned(),
        ..string_open(input, ended)
    }
}

/// Stops senders as a power cut does: nothing is said any more.
pub fn cut(senders: Vec<JoinHandle<()>>) {
    for sender in senders {
        sender.abort();
    }
}
