//! What a supervisor hears, over a socket as it has one (sd_notify(3), the protocol's description).

use crate::site::Site;
use crate::{EVERY_S, RATE, day};
use std::ffi::OsStr;
use std::os::unix::net::UnixDatagram;
use tempfile::TempDir;
use tests::{Browser, DEADLINE, Program};

/// The supervisor's end.
struct Supervisor {
    folder: TempDir,
    socket: UnixDatagram,
}

impl Supervisor {
    fn new() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let socket = UnixDatagram::bind(folder.path().join("notify")).expect("a socket");
        socket.set_read_timeout(Some(DEADLINE)).expect("a time");
        Self { folder, socket }
    }

    /// Gives up on a silence of this many microseconds.
    fn start(&self, arguments: Vec<String>, watchdog_us: &str) -> Program {
        let path = self.folder.path().join("notify");
        let variables = [
            ("NOTIFY_SOCKET", path.as_os_str()),
            ("WATCHDOG_USEC", OsStr::new(watchdog_us)),
        ];
        Program::start_with(arguments, &variables)
    }

    /// The next message, its lines.
    fn hears(&self) -> Vec<String> {
        let mut buffer = [0; 4096];
        let length = self.socket.recv(&mut buffer).expect("a message in time");
        let text = std::str::from_utf8(&buffer[..length]).expect("text");
        text.lines().map(str::to_owned).collect()
    }

    /// The next message that is no sign of life.
    fn hears_news(&self) -> Vec<String> {
        loop {
            let message = self.hears();
            if message != ["WATCHDOG=1"] {
                return message;
            }
        }
    }
}

fn has(message: &[String], line: &str) -> bool {
    message.iter().any(|found| found == line)
}

#[test]
fn a_supervisor_hears_of_start_life_reloads_and_end() {
    let mut server = day();
    let site = Site::new(&[("hut", server.port())], None, EVERY_S);
    let supervisor = Supervisor::new();
    let mut program = supervisor.start(site.rehearsal(&mut server, RATE), "400000");

    let first = supervisor.hears();
    assert!(has(&first, "READY=1"), "{first:?}");
    assert!(site.store().is_file(), "ready without a store");
    for _ in 0..3 {
        assert_eq!(supervisor.hears(), ["WATCHDOG=1"]);
    }

    let right = std::fs::read_to_string(site.file()).expect("a file");
    site.write("nothing = 1");
    program.reload();
    assert_reloading(&supervisor.hears_news());
    let kept = supervisor.hears_news();
    assert!(has(&kept, "READY=1"), "{kept:?}");
    assert!(
        kept.iter().any(|line| line.contains("as it was")),
        "{kept:?}"
    );
    program.wait_for_line("is not taken");

    site.write(&right);
    program.reload();
    assert_reloading(&supervisor.hears_news());
    let again = supervisor.hears_news();
    assert!(has(&again, "READY=1"), "{again:?}");
    assert_eq!(supervisor.hears(), ["WATCHDOG=1"]);

    let ended = program.terminate();
    assert_eq!(ended.code, Some(0), "{}", ended.err);
    let last = supervisor.hears_news();
    assert!(has(&last, "STOPPING=1"), "{last:?}");
}

/// On the clock that counts from the start of the machine.
fn assert_reloading(message: &[String]) {
    assert!(has(message, "RELOADING=1"), "{message:?}");
    let since = message
        .iter()
        .find_map(|line| line.strip_prefix("MONOTONIC_USEC="));
    let since: i64 = since.and_then(|n| n.parse().ok()).expect("a number");
    let now = rustix::time::clock_gettime(rustix::time::ClockId::Monotonic);
    let now = now.tv_sec * 1_000_000 + now.tv_nsec / 1000;
    assert!(since > 0 && since <= now, "{since} of {now}");
}

/// `technician:correct horse`, as programs send it.
const AUTHORISATION: &str = "Basic dGVjaG5pY2lhbjpjb3JyZWN0IGhvcnNl";

#[test]
fn a_password_among_the_credentials_of_the_service_guards_the_page() {
    let mut server = day();
    let site = Site::new(&[("hut", server.port())], None, EVERY_S);
    let text = std::fs::read_to_string(site.file()).expect("a file");
    let web = "[web]\nlisten = \"127.0.0.1:0\"\n\
               password_file = \"${CREDENTIALS_DIRECTORY}/page\"\n";
    site.write(&format!("{web}{text}"));
    let credentials = tempfile::tempdir().expect("a folder");
    let hash = daemon::web::hash("correct horse").expect("long enough");
    std::fs::write(credentials.path().join("page"), hash).expect("room for it");
    let variables = [("CREDENTIALS_DIRECTORY", credentials.path().as_os_str())];
    let mut program = Program::start_with(site.rehearsal(&mut server, RATE), &variables);
    let line = program.wait_for_line("the page is at http://");
    let (_, address) = line.split_once("http://").expect("an address");
    let mut page = Browser::new(address.trim_end_matches('/'));
    program.wait_for_line("running");
    assert_eq!(page.get("/api/v1/overview").status, 401);
    let head = [("authorization", AUTHORISATION)];
    assert_eq!(page.send("GET", "/api/v1/overview", &head, "").status, 200);
    assert_eq!(program.terminate().code, Some(0));
}
