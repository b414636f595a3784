//! Mails to a server of somebody else's, read by a parser of somebody else's.
//!
//! Kind of truth: reference for the protocol and the shape of a mail (aiosmtpd, Python's email
//! package); property for the outbox: a mail arrives once, whatever the server does, and again with the
//! same Message-ID where it was not noted that it had.

use analysis::diagnose::{Finding, FindingId};
use analysis::reading::{Span, Time};
use config::checked::SiteFile;
use daemon::alert::{AtStore, Composer, Courier, Links, Post, Postman, Sender};
use daemon::clock::Clock;
use daemon::store::{EngineState, Layout, Outcome, Step, Store};
use daemon::web::link::{Key, Purpose, verify};
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;
use tempfile::TempDir;
use tests::mail_server::{LOGIN, MailServer};
use tests::told::{NOON, dark_slot, string_open};
use tests::{Program, until};
use tokio::runtime::Runtime;
use tokio::task::JoinHandle;

/// What a server has here for each mail.
const PATIENCE: Duration = Duration::from_secs(3);
/// Site seconds per second: the minute before the next try passes at once.
const RATE: f64 = 600.0;

/// A folder with the demo's site file, whose mails go to a server.
struct Site {
    folder: TempDir,
    file: SiteFile,
}

impl Site {
    fn new(server: &MailServer, settings: &str) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let example = concat!(
            env!("CARGO_MANIFEST_DIR"),
            "/../config/sites/quince-row-dairy.toml"
        );
        let text = fs::read_to_string(example).expect("an example");
        let of_mail = format!("server = {:?}\n{settings}\nfrom", server.address());
        let text = text.replace("quiet_from = \"21:00\"\nquiet_to = \"06:00\"\n", "");
        let text = text.replace(
            "server = \"127.0.0.1:5025\"\nsecurity = \"none\"\nfrom",
            &of_mail,
        );
        assert!(text.contains(&of_mail), "the example has the server there");
        fs::write(folder.path().join("site.toml"), text).expect("room for it");
        let file = config::load(&folder.path().join("site.toml"));
        let file = file.unwrap_or_else(|errors| panic!("{}", errors.render(false)));
        Self { folder, file }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn store_file(&self) -> PathBuf {
        self.path("site.sqlite")
    }

    fn store(&self) -> Store {
        let layout = Layout::of(&self.file.plant);
        Store::open(&self.store_file(), &layout)
            .expect("opens")
            .store
    }

    fn post(&self) -> (Post, daemon::alert::ToPost) {
        Post::new(Arc::new(self.file.alerts.clone()), self.file.timezone)
    }

    /// A sender at work from a time on.
    fn send(
        &self,
        runtime: &Runtime,
        from: Time,
        to_post: daemon::alert::ToPost,
    ) -> JoinHandle<()> {
        let mut composer = Composer::of(&self.file).expect("it has readers");
        composer.links = Some(Links {
            page: "https://dairy.example.org".to_owned(),
            key: Key::of_folder(self.folder.path()).expect("a key"),
        });
        let server = self.file.alerts.mail.clone().expect("a server");
        let at_store = AtStore {
            file: self.store_file(),
            plant: composer.plant.clone(),
        };
        let courier = Courier::Mail(Box::new(Postman {
            composer,
            server,
            patience: PATIENCE,
        }));
        let sender = Sender::new(courier, at_store, to_post);
        runtime.spawn(async move { sender.run(Clock::rehearsal(from, RATE)).await })
    }
}

fn runtime() -> Runtime {
    Runtime::new().expect("threads")
}

fn finding(ended: bool) -> Finding {
    string_open(1, ended.then_some(NOON + Span::from_h(3)))
}

/// Stores what is known of the finding at a time.
fn store(store: &mut Store, at: Time, ended: bool) {
    let state = EngineState {
        version: 1,
        bytes: Vec::new(),
    };
    let step = Step {
        at,
        findings: &[finding(ended)],
        ..Step::nothing(&state)
    };
    store.commit(&step).expect("it fits");
}

/// When mails about what was found at noon are made.
const TOLD: Time = Time::from_unix_ms(NOON.unix_ms() + 20 * 60_000);

/// A site over a server that wants nothing, on which something was found at noon.
fn found(server: &MailServer) -> (Site, Store) {
    let site = Site::new(server, "security = \"none\"");
    let mut at_store = site.store();
    store(&mut at_store, NOON, false);
    (site, at_store)
}

/// Notes what the sender reports until no mail waits.
fn noted(post: &mut Post, store: &mut Store) {
    until("all mails have left", || {
        post.note(store).expect("the store takes it");
        store.waiting().expect("reads").is_empty().then_some(())
    });
}

fn header<'a>(mail: &'a Value, name: &str) -> &'a str {
    mail["headers"][name]
        .as_str()
        .unwrap_or_else(|| panic!("no {name} in {mail}"))
}

#[test]
fn beginning_and_end_of_a_finding_reach_both_readers_as_a_thread() {
    let mut server = MailServer::start("none");
    let (site, mut at_store) = found(&server);
    let (runtime, (mut post, to_post)) = (runtime(), site.post());
    assert_eq!(post.make(&mut at_store, TOLD).expect("made"), 2);
    let sending = site.send(&runtime, TOLD, to_post);
    let first = [server.mail(), server.mail()];
    noted(&mut post, &mut at_store);
    store(&mut at_store, NOON + Span::from_h(3), true);
    let told = NOON + Span::from_h(4);
    assert_eq!(post.make(&mut at_store, told).expect("made"), 2);
    let second = [server.mail(), server.mail()];
    noted(&mut post, &mut at_store);
    sending.abort();

    let of = |to: &str, mails: &[Value; 2]| {
        let mail = mails.iter().find(|mail| mail["to"][0] == to);
        mail.unwrap_or_else(|| panic!("no mail to {to}")).clone()
    };
    for mail in first.iter().chain(&second) {
        assert_eq!(mail["defects"], serde_json::json!([]), "{mail}");
        assert_eq!(mail["from"], "plant@example.org");
        assert_eq!(header(mail, "auto-submitted"), "auto-generated");
        assert!(
            mail["html"]
                .as_str()
                .expect("text")
                .contains("shed, input 1")
        );
    }
    let (owner, owner_later) = (
        of("family@example.org", &first),
        of("family@example.org", &second),
    );
    assert_eq!(
        header(&owner, "subject"),
        "Quince Row dairy: A string carries nothing"
    );
    assert_eq!(
        header(&owner_later, "subject"),
        "Quince Row dairy: Over: A string carries nothing"
    );
    assert_eq!(
        header(&owner_later, "in-reply-to"),
        header(&owner, "message-id")
    );
    assert_eq!(
        header(&owner_later, "references"),
        header(&owner, "message-id")
    );
    let text = owner["text"].as_str().expect("text");
    // Times are the site's, UTC+10 in June; the owner gets no numbers of evidence.
    assert!(
        text.contains("Since Monday 22 June 2026, 22:00. Lost: 3.2 kWh, 0.58 AUD."),
        "{text}"
    );
    assert!(
        text.contains("Roof and wire service (service@example.org)"),
        "{text}"
    );
    assert!(!text.contains("expected 100 %"), "{text}");
    let mut words = text.split_whitespace();
    let link = words.find(|word| word.starts_with("https://dairy.example.org/link/"));
    let (path, token) = link
        .expect("a link")
        .split_once("?token=")
        .expect("a token");
    let (id, key) = (
        finding(false).id,
        Key::of_folder(site.folder.path()).expect("the key"),
    );
    assert!(path.ends_with(id.as_str()), "{path}");
    verify(&key, Purpose::Acknowledge, id.as_str(), token, NOON).expect("the page takes it");
    let later = owner_later["text"].as_str().expect("text");
    assert!(
        !later.contains("/link/"),
        "what is over needs no answer: {later}"
    );
    let service = of("service@example.org", &first);
    let text = service["text"].as_str().expect("text");
    for wanted in [
        "1 of 2 strings without current",
        "97 % one string open",
        "current: 50 % (expected 100 %)",
        "1. Compare the currents of the strings.",
        "a DC clamp meter",
        "PV strings are live",
    ] {
        assert!(text.contains(wanted), "{wanted}: {text}");
    }
}

/// The server refuses, wants us later, hangs up in the middle and never answers, one after the other.
#[test]
fn a_mail_arrives_once_whatever_the_server_does() {
    let mut server = MailServer::start("none");
    let (site, mut at_store) = found(&server);
    let (runtime, (mut post, to_post)) = (runtime(), site.post());
    server.set("refuse");
    post.make(&mut at_store, TOLD).expect("made");
    let made = at_store.waiting().expect("reads");
    let sending = site.send(&runtime, TOLD, to_post);
    for (mode, says) in [
        ("refuse", "no such person"),
        ("later", "come back later"),
        ("drop", "incomplete response"),
        ("stall", "no answer within 3 s"),
    ] {
        server.set(mode);
        until("both have failed in this way", || {
            post.note(&mut at_store).expect("the store takes it");
            let waiting = at_store.waiting().expect("reads");
            let failed = |error: &String| error.contains(says);
            let mut errors = waiting.iter().map(|mail| mail.last_error.as_ref());
            (waiting.len() == 2 && errors.all(|e| e.is_some_and(failed))).then_some(())
        });
    }
    server.set("accept");
    let got = [server.mail(), server.mail()];
    noted(&mut post, &mut at_store);
    sending.abort();
    assert!(!server.has_mail());
    let mut got: Vec<&str> = got.iter().map(|mail| header(mail, "message-id")).collect();
    let mut made: Vec<&str> = made
        .iter()
        .map(|mail| mail.made.stable_id.as_str())
        .collect();
    got.sort_unstable();
    made.sort_unstable();
    assert_eq!(got, made);
    let mails = at_store.mails_in_question(NOON).expect("reads");
    assert!(
        mails
            .iter()
            .all(|mail| mail.sent.is_some() && mail.tries >= 4),
        "{mails:?}"
    );
}

#[test]
fn what_was_not_noted_goes_out_again_with_the_same_message_id() {
    let mut server = MailServer::start("none");
    let (site, mut at_store) = found(&server);
    let (runtime, (mut post, to_post)) = (runtime(), site.post());
    post.make(&mut at_store, TOLD).expect("made");
    let sending = site.send(&runtime, TOLD, to_post);
    let before = [server.mail(), server.mail()];
    // The program ends here, before anything is noted.
    sending.abort();
    drop((post, at_store));
    let mut at_store = site.store();
    let (mut post, to_post) = site.post();
    let sending = site.send(&runtime, TOLD, to_post);
    let again = [server.mail(), server.mail()];
    noted(&mut post, &mut at_store);
    sending.abort();
    let ids = |mails: &[Value; 2]| mails.each_ref().map(|m| header(m, "message-id").to_owned());
    assert_eq!(ids(&before), ids(&again));
    assert!(!server.has_mail());
}

/// Everything at once, as when the network of a site is gone: the picture needs more room than others.
#[test]
fn a_mail_about_very_many_findings_leaves_with_its_picture() {
    for count in [2, 40, 400] {
        let mut server = MailServer::start("none");
        let site = Site::new(&server, "security = \"none\"");
        let mut at_store = site.store();
        let slot = site.file.plant.timing.slot;
        let slots: Vec<_> = (-144..=0)
            .map(|n| dark_slot(&site.file.plant, NOON + slot * n))
            .collect();
        let findings: Vec<Finding> = (0..count)
            .map(|n| {
                let mut finding = string_open(1, None);
                finding.began = NOON - Span::from_min(n);
                finding.id = FindingId::new(&finding.subject, finding.kind, finding.began);
                finding
            })
            .collect();
        let state = EngineState {
            version: 1,
            bytes: Vec::new(),
        };
        let step = Step {
            at: NOON,
            slots: &slots,
            findings: &findings,
            ..Step::nothing(&state)
        };
        at_store.commit(&step).expect("it fits");
        let (runtime, (mut post, to_post)) = (runtime(), site.post());
        assert_eq!(post.make(&mut at_store, TOLD).expect("made"), 2);
        let sending = site.send(&runtime, TOLD, to_post);
        for mail in [server.mail(), server.mail()] {
            let parts = mail["parts"].as_array().expect("a list");
            let is_there = parts.iter().any(|part| part["type"] == "image/png");
            assert!(is_there, "{count} findings");
            // There is no room for the other inverter.
            let html = mail["html"].as_str().expect("text");
            assert!(
                html.contains("<h2>shed: the day until 22 June 2026"),
                "{html}"
            );
        }
        noted(&mut post, &mut at_store);
        sending.abort();
    }
}

/// A reader who has left the site file gets nothing, and nobody waits for that.
#[test]
fn a_mail_to_somebody_who_is_no_reader_any_more_is_given_up() {
    let mut server = MailServer::start("none");
    let (mut site, mut at_store) = found(&server);
    let runtime = runtime();
    site.post().0.make(&mut at_store, TOLD).expect("made");
    site.file.alerts.readers.truncate(1);
    let (mut post, to_post) = site.post();
    let sending = site.send(&runtime, TOLD, to_post);
    noted(&mut post, &mut at_store);
    sending.abort();
    assert_eq!(server.mail()["to"][0], "family@example.org");
    let mails = at_store.mails_in_question(NOON).expect("reads");
    let given_up: Vec<_> = mails.iter().filter(|mail| mail.sent.is_none()).collect();
    assert_eq!(given_up.len(), 1);
    assert_eq!(given_up[0].made.target.name(), "service@example.org");
    let why = given_up[0].last_error.as_deref().expect("a reason");
    assert!(why.contains("no such reader"), "{why}");
}

/// An error of the store in between is no second mail: the same try can be noted twice.
#[test]
fn a_try_that_is_noted_twice_changes_nothing_more() {
    let server = MailServer::start("none");
    let (site, mut at_store) = found(&server);
    site.post().0.make(&mut at_store, TOLD).expect("made");
    let mail = at_store.waiting().expect("reads").remove(0);
    let tried = daemon::store::Try {
        delivery: mail.id,
        stable_id: mail.made.stable_id,
        at: TOLD,
        outcome: Outcome::Sent,
    };
    at_store.note_try(&tried).expect("noted");
    at_store.note_try(&tried).expect("noted");
    assert_eq!(at_store.waiting().expect("reads").len(), 1);
}

/// `noonmark trial` with everything that can be set.
#[test]
fn trial_mails_leave_by_every_kind_of_connection() {
    for security in ["starttls", "tls"] {
        let mut server = MailServer::start(security);
        let authority = server.authority();
        let settings = |password: &str, authority: &Path| {
            format!(
                "security = {security:?}\nuser = {:?}\npassword_file = {password:?}\nca_file = {authority:?}",
                LOGIN.0
            )
        };
        let site = Site::new(&server, &settings("password", &authority));
        fs::write(site.path("password"), format!("{}\n", LOGIN.1)).expect("room");
        let ended = trial(&site);
        assert_eq!(ended.code, Some(0), "{}{}", ended.out, ended.err);
        let got = [server.mail(), server.mail()];
        assert!(
            got.iter()
                .all(|mail| header(mail, "subject").ends_with("mails arrive"))
        );
        assert_ne!(header(&got[0], "message-id"), header(&got[1], "message-id"));

        fs::write(site.path("password"), "wrong-secret").expect("room");
        let ended = trial(&site);
        assert_eq!(ended.code, Some(69), "{}{}", ended.out, ended.err);
        assert!(ended.out.contains("uthentication"), "{}", ended.out);
        fs::remove_file(site.path("password")).expect("it was there");
        let ended = trial(&site);
        assert!(
            ended.out.contains("read the password of the mail server"),
            "{}",
            ended.out
        );

        // Somebody else's authority.
        let other = MailServer::start("none");
        let site = Site::new(&server, &settings("password", &other.authority()));
        fs::write(site.path("password"), LOGIN.1).expect("room");
        let ended = trial(&site);
        assert_eq!(ended.code, Some(69), "{}{}", ended.out, ended.err);
        assert!(ended.out.contains("certificate"), "{}", ended.out);
        assert!(!server.has_mail());
        for secret in [LOGIN.1, "wrong-secret"] {
            let said = format!("{}{}", ended.out, ended.err);
            assert!(!said.contains(secret), "{said}");
        }
    }
}

fn trial(site: &Site) -> tests::Ended {
    let file = site.path("site.toml");
    Program::start([Path::new("trial"), file.as_path()]).end()
}
