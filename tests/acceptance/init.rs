//! `noonmark init` and `noonmark check --live` in front of devices, a broker and a mail server of
//! somebody else's.
//!
//! Kind of truth: reference for what devices say (their models are typed from the standard in
//! `sunspec_server.py`); property for the rest: what is begun is named by the check until it is filled
//! in, and nothing is overwritten, written to, published or sent.

use std::fs;
use std::io::Write;
use std::net::TcpListener;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use tempfile::TempDir;
use tests::broker::{Access, Broker};
use tests::mail_server::MailServer;
use tests::{Ended, Program, SunspecServer, noonmark};

const USAGE: Option<i32> = Some(64);
const UNREACHABLE: Option<i32> = Some(69);
const CANNOT_CREATE: Option<i32> = Some(73);
const BAD_SITE_FILE: Option<i32> = Some(78);

/// Keys that are to be filled in, as somebody does who has the datasheet at hand; the first line of a key
/// counts for all of its places.
const FILLED: [(&str, &str); 21] = [
    ("altitude_m", "20"),
    ("commissioned", "2026-01-12"),
    ("grid_rules", "\"en50549-1\""),
    ("voc_v", "37.6"),
    ("isc_a", "13.95"),
    ("vmp_v", "31.3"),
    ("imp_a", "13.2"),
    ("cells_in_series", "54"),
    ("isc_temp_ratio_per_k", "0.00045"),
    ("voc_temp_ratio_per_k", "-0.0026"),
    ("pmax_temp_ratio_per_k", "-0.0031"),
    ("tilt_deg", "3"),
    ("azimuth_deg", "180"),
    ("mounting", "\"open-rack\""),
    // Of the mast: the strings have theirs.
    ("plane", "\"plane-1\""),
    ("max_dc_voltage_v", "1000"),
    ("start_voltage_v", "200"),
    ("tracking_min_v", "180"),
    ("tracking_max_v", "850"),
    ("max_operating_current_a", "32"),
    ("max_short_circuit_current_a", "40"),
];

fn folder() -> (TempDir, PathBuf) {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("site.toml");
    (folder, file)
}

fn text(path: &Path) -> &str {
    path.to_str().expect("a plain path")
}

fn check(file: &Path, live: bool) -> Ended {
    let options: &[&str] = if live { &["--live"] } else { &[] };
    Program::start([&["check", text(file)], options].concat()).end()
}

/// With `Program`, nothing can be read from standard input.
fn init(file: &Path, options: &[&str]) -> Ended {
    Program::start([&["init", "--out", text(file)], options].concat()).end()
}

/// As a script that pipes answers.
fn piped(file: &Path, answers: &str) -> (Option<i32>, String) {
    let mut child = Command::new(noonmark())
        .args(["init", "--out", text(file)])
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .expect("started");
    let mut stdin = child.stdin.take().expect("piped");
    stdin.write_all(answers.as_bytes()).expect("taken");
    drop(stdin);
    let output = child.wait_with_output().expect("ended");
    (
        output.status.code(),
        String::from_utf8_lossy(&output.stderr).into_owned(),
    )
}

fn device(server: &SunspecServer, unit: u8) -> String {
    format!("127.0.0.1:{},{unit}", server.port())
}

const PLACE: [&str; 8] = [
    "--name",
    "Lagoon cold store",
    "--latitude",
    "-0.4",
    "--longitude",
    "1.9",
    "--timezone",
    "Africa/Accra",
];

/// Every mark of the file has a problem at its line, and there is no other problem.
fn assert_named(file: &Path) -> usize {
    let text = fs::read_to_string(file).expect("it was written");
    let marked = text
        .lines()
        .enumerate()
        .filter(|(_, line)| line.ends_with("= \"FILL IN\""));
    let marked: Vec<usize> = marked.map(|(index, _)| index + 1).collect();
    let errors = config::load(file).expect_err("it is only begun");
    let named: Vec<usize> = errors
        .problems()
        .iter()
        .map(|problem| problem.line)
        .collect();
    assert_eq!(named, marked, "{errors}");
    let checked = check(file, false);
    assert_eq!(checked.code, BAD_SITE_FILE);
    assert!(
        checked.out.contains(&format!("{} problems", marked.len())),
        "{}",
        checked.out
    );
    marked.len()
}

/// As somebody fills it in.
fn fill_in(file: &Path) {
    let text = fs::read_to_string(file).expect("it was written");
    let mut label = 0;
    let line = |line: &str| {
        let Some(key) = line.strip_suffix(" = \"FILL IN\"") else {
            return line.to_owned();
        };
        label += 1;
        match FILLED.iter().find(|(known, _)| *known == key) {
            Some((_, value)) => format!("{key} = {value}"),
            None if key == "label" => format!("label = \"{label}\""),
            None if key == "count" => "count = 18".to_owned(),
            None => panic!("{key} is to be filled in"),
        }
    };
    let filled: Vec<String> = text.lines().map(line).collect();
    fs::write(file, filled.join("\n")).expect("room for it");
}

#[test]
fn a_site_file_is_begun_by_options_and_what_devices_say() {
    for (nameplate, rated, apparent) in [
        ("120", "33000", "36000"),
        ("121", "30000", "32000"),
        ("702", "33000", "36000"),
    ] {
        let server = SunspecServer::start(0, &["--nameplate", nameplate]);
        let (_folder, file) = folder();
        let (inverter, station) = (device(&server, 1), device(&server, 2));
        let devices = ["--device", inverter.as_str(), "--device", &station];
        let begun = init(&file, &[&PLACE[..], &devices[..]].concat());
        assert_eq!(
            (begun.code, begun.err.as_str()),
            (Some(0), ""),
            "{}",
            begun.out
        );

        let marks = assert_named(&file);
        assert!(
            begun
                .out
                .contains(&format!("{marks} values to be filled in")),
            "{}",
            begun.out
        );
        let text = fs::read_to_string(&file).expect("it was written");
        for line in [
            "latitude_deg = -0.4",
            &format!("rated_ac_w = {rated}"),
            &format!("max_apparent_va = {apparent}"),
            "phases = 3",
            "[[weather]]",
            "plane = \"FILL IN\"",
            "unit = 2",
        ] {
            assert!(text.lines().any(|found| found == line), "{line}: {text}");
        }
        assert_eq!(text.matches("[[inverter.input]]").count(), 3, "{text}");
        assert_eq!(text.matches("plane = \"FILL IN\"").count(), 1, "{text}");
        assert!(
            begun.out.contains("with a sensor in a plane"),
            "{}",
            begun.out
        );
        assert!(
            !text.contains("SAMPLE-"),
            "a serial number is nobody's business: {text}"
        );

        fill_in(&file);
        let checked = check(&file, false);
        assert_eq!(checked.code, Some(0), "{}", checked.out);
        let live = check(&file, true);
        assert_eq!(live.code, Some(0), "{}", live.out);
        let lines: Vec<&str> = live.out.lines().collect();
        assert_eq!(lines.len(), 2, "{lines:?}");
        assert!(
            lines[0].starts_with("ok       inverter-1 at 127.0.0.1:"),
            "{lines:?}"
        );
        assert!(lines[0].contains("SunSpec models 1, 103,"), "{lines:?}");
        assert!(
            lines[1].starts_with("ok       weather-1 at 127.0.0.1:"),
            "{lines:?}"
        );
    }
}

#[test]
fn inputs_are_counted_by_ports_of_modules_too() {
    let server = SunspecServer::start(0, &["--ports"]);
    let (_folder, file) = folder();
    let inverter = device(&server, 1);
    let begun = init(&file, &[&PLACE[..], &["--device", &inverter]].concat());
    assert_eq!(begun.code, Some(0), "{}", begun.err);
    let text = fs::read_to_string(&file).expect("it was written");
    assert_eq!(text.matches("[[inverter.input]]").count(), 3, "{text}");
    assert!(text.contains("\nrated_ac_w = \"FILL IN\"\n"), "{text}");
    assert_named(&file);
}

/// Nobody is asked, and no device: the address is one of the marks, and is told once.
#[test]
fn without_any_device_the_marks_are_counted_as_the_check_counts_them() {
    let (_folder, file) = folder();
    let begun = init(&file, &PLACE);
    assert_eq!(begun.code, Some(0), "{}", begun.err);
    let marks = assert_named(&file);
    let says = format!("{marks} values to be filled in");
    assert!(begun.out.contains(&says), "{marks}: {}", begun.out);
    let text = fs::read_to_string(&file).expect("it was written");
    let text = text.replace("\n# ", " ");
    for rules in config::grid::names() {
        assert!(text.contains(rules), "whoever fills in is told of {rules}");
    }
}

#[test]
fn what_is_not_given_is_read_from_a_pipe() {
    let server = SunspecServer::start(0, &[]);
    let (_folder, file) = folder();
    let inverter = device(&server, 1);
    let answers = format!(
        "The \"old\" store\n0.4\n1.9\n\nAfrica/Accra\nen50549-1\n2026-01-12\n{inverter}\n\n"
    );
    let (code, err) = piped(&file, &answers);
    assert_eq!((code, err.as_str()), (Some(0), ""));
    let text = fs::read_to_string(&file).expect("it was written");
    for line in [
        "name = \"The \\\"old\\\" store\"",
        "altitude_m = \"FILL IN\"",
        "commissioned = 2026-01-12",
    ] {
        assert!(text.lines().any(|found| found == line), "{line}: {text}");
    }
    assert_named(&file);
}

#[test]
fn nothing_is_written_after_a_wrong_answer_over_a_file_or_without_the_device() {
    let (_folder, file) = folder();
    let (code, err) = piped(&file, "A store\n91\n");
    assert_eq!(code, USAGE);
    assert!(
        err.contains("latitude_deg") && err.contains("from -90 to 90"),
        "{err}"
    );
    let wrong = init(&file, &["--timezone", "Accra"]);
    assert_eq!(wrong.code, USAGE, "{}", wrong.err);

    let free = TcpListener::bind("127.0.0.1:0").expect("a free port");
    let nobody = free.local_addr().expect("bound").to_string();
    drop(free);
    let silent = init(&file, &[&PLACE[..], &["--device", &nobody]].concat());
    assert_eq!(silent.code, UNREACHABLE, "{}", silent.err);
    assert!(!file.exists());

    fs::write(&file, "# mine").expect("room for it");
    let refused = init(&file, &PLACE);
    assert_eq!(refused.code, CANNOT_CREATE);
    assert!(refused.err.contains("there already"), "{}", refused.err);
    assert_eq!(fs::read_to_string(&file).expect("it is there"), "# mine");
}

/// The example with all kinds of connections, each to a server of its own.
fn with_everything(server: &SunspecServer, broker: &Broker, mails: &MailServer) -> String {
    let inputs = |n: u8| {
        format!(
            "[[inverter.input]]\nnumber = {n}\nmax_operating_current_a = 32\n\
             max_short_circuit_current_a = 40\n\
             string = [{{ label = \"{n}\", module = \"module-1\", count = 18, plane = \"plane-1\" }}]\n"
        )
    };
    let (_folder, file) = folder();
    let inverter = device(server, 1);
    let begun = init(&file, &[&PLACE[..], &["--device", &inverter]].concat());
    assert_eq!(begun.code, Some(0), "{}", begun.err);
    let text = fs::read_to_string(&file).expect("it was written");
    fs::write(
        &file,
        text.replace("rated_ac_w = \"FILL IN\"", "rated_ac_w = 33000"),
    )
    .expect("room");
    fill_in(&file);
    let mut text = fs::read_to_string(&file).expect("it is there");
    text += &format!(
        "\n[[weather]]\nid = \"mast\"\n[weather.source]\nkind = \"mqtt\"\naddress = {:?}\n\
         topic = \"site/mast\"\nmap = {:?}\n",
        broker.address(),
        concat!(
            env!("CARGO_MANIFEST_DIR"),
            "/../config/messages/sparkplug-mast.toml"
        ),
    );
    text += &format!(
        "[alerts.mail]\nserver = {:?}\nsecurity = \"none\"\nfrom = \"site@example.org\"\n\
         [[alerts.reader]]\nname = \"Owner\"\nemail = \"owner@example.org\"\nrole = \"owner\"\n",
        mails.address()
    );
    // One input more than the device has.
    let more = format!("{}[[weather]]\nid = \"mast\"", inputs(4));
    text.replace("[[weather]]\nid = \"mast\"", &more)
}

#[test]
fn every_connection_is_tried_and_nothing_is_sent() {
    let server = SunspecServer::start(0, &[]);
    let mut broker = Broker::start(Access::Everybody);
    let mails = MailServer::start("none");
    let (_folder, file) = folder();
    fs::write(&file, with_everything(&server, &broker, &mails)).expect("room for it");

    let tried = check(&file, true);
    assert_eq!(tried.code, BAD_SITE_FILE, "{}{}", tried.out, tried.err);
    let lines: Vec<&str> = tried.out.lines().collect();
    assert_eq!(lines.len(), 3, "{lines:?}");
    assert!(lines[0].starts_with("differs  inverter-1"), "{lines:?}");
    assert!(
        lines[0].ends_with(
            "wanted also inverter-1/input-4/dc_voltage_v, inverter-1/input-4/dc_current_a"
        ),
        "{lines:?}"
    );
    assert!(
        lines[1].starts_with("ok       broker localhost:"),
        "{lines:?}"
    );
    assert!(
        lines[2].starts_with("ok       mail server localhost:"),
        "{lines:?}"
    );
    assert!(!mails.has_mail(), "a greeting is no mail");

    // Where nothing is said of it, mails are to be encrypted.
    let text = fs::read_to_string(&file).expect("it is there");
    fs::write(&file, text.replace("security = \"none\"\n", "")).expect("room for it");
    let tried = check(&file, true);
    assert_eq!(tried.code, UNREACHABLE, "{}", tried.out);
    let wanted = format!(
        "failed   mail server {address}: failed to hand a mail to {address}: found no STARTTLS in what it \
         offers; wanted by `security` in [alerts.mail]",
        address = mails.address()
    );
    assert!(tried.out.contains(&wanted), "{}", tried.out);
    fs::write(&file, text).expect("room for it");

    broker.stop();
    drop(server);
    let tried = check(&file, true);
    assert_eq!(tried.code, UNREACHABLE, "{}", tried.out);
    let failed = tried.out.lines().filter(|line| line.starts_with("failed "));
    assert_eq!(failed.count(), 2, "{}", tried.out);
}
