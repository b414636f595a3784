//! Who gets in.

use super::Plant;
use std::fs;
use std::io::Write;
use std::process::{Command, Stdio};
use tests::{Browser, Program, noonmark};

pub const PASSWORD: &str = "correct horse battery";
const READERS: &str = "only looking here";

/// What `noonmark password` makes of a password.
fn hash(password: &str) -> String {
    let mut child = Command::new(noonmark())
        .arg("password")
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("it was built");
    let mut stdin = child.stdin.take().expect("piped");
    writeln!(stdin, "{password}").expect("it reads");
    drop(stdin);
    let output = child.wait_with_output().expect("it ends");
    assert!(output.status.success());
    String::from_utf8(output.stdout)
        .expect("text")
        .trim()
        .to_owned()
}

/// A plant whose page wants a password.
pub fn with_passwords(start: fn(&str) -> Plant) -> Plant {
    let folder = tempfile::tempdir().expect("a folder");
    let file = |name: &str, password: &str| {
        let path = folder.path().join(name);
        fs::write(&path, hash(password)).expect("room");
        path.to_str().expect("a plain path").to_owned()
    };
    let (own, readers) = (file("own", PASSWORD), file("readers", READERS));
    // The hashes are read at the start; the files may go then.
    start(&format!(
        "password_file = \"{own}\"\nreader_password_file = \"{readers}\"\n"
    ))
}

/// Sends the form with a password; the status of the answer.
pub fn sign_in(browser: &mut Browser, password: &str) -> u16 {
    let token = browser.get("/sign-in").token();
    let form = format!(
        "token={token}&to=%2Ffindings&password={}",
        password.replace(' ', "+")
    );
    browser.post("/sign-in", &[], &form).status
}

/// A site file is enough: no device is asked before it is refused.
fn refused(code: i32, web: &str) -> String {
    let folder = tempfile::tempdir().expect("a folder");
    let example = include_str!("../../../config/sites/hillside-barn.toml");
    let (before, _) = example.split_once("\n[web]\n").expect("the last table");
    let file = folder.path().join("site.toml");
    fs::write(&file, format!("{before}\n[web]\n{web}")).expect("room");
    let out = folder.path().join("out");
    let arguments = [
        "run".as_ref(),
        file.as_os_str(),
        "--out".as_ref(),
        out.as_os_str(),
    ];
    let ended = Program::start(arguments).end();
    assert_eq!(ended.code, Some(code), "{}", ended.err);
    ended.err
}

#[test]
fn others_than_this_machine_are_not_let_in_without_a_password_and_encryption() {
    let said = refused(78, "listen = \"0.0.0.0:0\"\n");
    assert!(
        said.contains("web.listen: found text \"0.0.0.0:0\""),
        "{said}"
    );
    assert!(
        said.contains("a password (password_file or password_env)"),
        "{said}"
    );
    assert!(
        said.contains("encryption (certificate_file and key_file"),
        "{said}"
    );
    let said = refused(78, "password_file = \"nowhere\"\n");
    assert!(
        said.contains("read the password's hash") && said.contains("nowhere"),
        "{said}"
    );
}

#[test]
fn an_address_that_is_stated_and_taken_is_an_error() {
    let taken = std::net::TcpListener::bind("127.0.0.1:0").expect("a free port");
    let address = taken.local_addr().expect("bound");
    let said = refused(73, &format!("listen = \"{address}\"\n"));
    let wanted = format!("failed to serve the page at {address}");
    assert!(said.contains(&wanted), "{said}");
}

#[test]
fn a_foreign_name_for_this_machine_opens_nothing() {
    let plant = Plant::start("");
    let mut browser = plant.browser();
    let foreign = browser.send("GET", "/", &[("host", "evil.example")], "");
    assert_eq!(foreign.status, 421);
    assert!(!foreign.body.contains("Lagoon\u{20}cold store</h1>"));
    assert!(!foreign.head.contains_key("set-cookie"));
    assert_eq!(
        browser
            .send("GET", "/api/v1/overview", &[("host", "evil.example")], "")
            .status,
        421
    );
    assert_eq!(
        browser
            .send("GET", "/", &[("host", "localhost")], "")
            .status,
        200
    );
    assert_eq!(browser.get("/").status, 200);
    let passed_on = [("x-forwarded-for", "192.0.2.9")];
    assert_eq!(
        browser.send("GET", "/", &passed_on, "").status,
        421,
        "through a proxy"
    );
    assert_eq!(browser.get("/nothing-here").status, 404);
    assert_eq!(browser.send("DELETE", "/", &[], "").status, 405);
    // Programs only ask.
    let told = browser.send("POST", "/api/v1/overview", &[], "");
    assert_eq!(
        (told.status, told.head["allow"].as_str()),
        (405, "GET, HEAD")
    );
}

/// Where both families are listened to, those of IPv4 come in the form of the other.
#[test]
fn a_proxy_over_ipv4_comes_in_where_ipv6_is_listened_to() {
    let plant = with_passwords(|web| {
        Plant::at_any_address(&format!("{web}trusted_proxy = \"127.0.0.1\"\n"))
    });
    let passed_on = [("x-forwarded-for", "192.0.2.9")];
    let mut browser = plant.browser();
    assert_eq!(browser.send("GET", "/sign-in", &passed_on, "").status, 200);
    assert_eq!(sign_in(&mut browser, PASSWORD), 303);
    assert_eq!(browser.get("/findings").status, 200);
}

#[test]
fn a_form_of_another_page_is_refused() {
    let plant = Plant::start("");
    let mut browser = plant.browser();
    let token = browser.get("/maintenance").token();
    let form = "device=&from=2026-03-20T12:00&to=2026-03-20T14:00&reason=fuses";
    let without = browser.post("/maintenance", &[], form);
    assert_eq!(without.status, 403);
    let right = format!("token={token}&{form}");
    let foreign = [("origin", "http://evil.example")];
    assert_eq!(browser.post("/maintenance", &foreign, &right).status, 403);
    // Of another visitor: a token goes with its session.
    assert_eq!(
        plant.browser().post("/maintenance", &[], &right).status,
        403
    );
    let origin = format!("http://{}", plant.address);
    let own = browser.post("/maintenance", &[("origin", &origin)], &right);
    assert_eq!(own.status, 303, "{}", own.body);
    assert!(browser.get("/maintenance").body.contains("fuses"));
    let backwards =
        format!("token={token}&device=&from=2026-03-20T14:00&to=2026-03-20T12:00&reason=fuses");
    let refused = browser.post("/maintenance", &[], &backwards);
    assert_eq!(refused.status, 400);
    assert!(
        refused.body.contains("ends before it begins"),
        "{}",
        refused.body
    );
}

#[test]
fn passwords_open_what_they_are_for_and_are_not_tried_often() {
    let plant = with_passwords(Plant::start);
    let mut nobody = plant.browser();
    let to = nobody.get("/findings");
    assert_eq!(
        (to.status, to.head["location"].as_str()),
        (303, "/sign-in?to=%2Ffindings")
    );
    assert_eq!(nobody.get("/api/v1/overview").status, 401);
    assert_eq!(nobody.get("/metrics").status, 401);
    assert_eq!(nobody.get("/health").status, 200);

    // From a mail browsers come without the session; what they are given must not take its place.
    let given = &nobody.get("/sign-in").head;
    assert!(!given.contains_key("set-cookie"), "given already");
    let given = plant.browser().get("/sign-in").head["set-cookie"].clone();
    assert!(given.starts_with("noonmark-form-"), "{given}");
    assert!(
        given.contains("HttpOnly") && given.contains("SameSite=Strict"),
        "{given}"
    );

    let mut reader = plant.browser();
    assert_eq!(sign_in(&mut reader, READERS), 303);
    let page = reader.get("/maintenance");
    assert_eq!(page.status, 200);
    let token = reader.get("/").token();
    let plan = "device=&from=2026-03-20T12:00&to=2026-03-20T14:00&reason=fuses";
    let refused = reader.post("/maintenance", &[], &format!("token={token}&{plan}"));
    assert_eq!(refused.status, 403, "a reader changes nothing");

    let mut technician = plant.browser();
    assert_eq!(sign_in(&mut technician, PASSWORD), 303);
    let token = technician.get("/maintenance").token();
    let taken = technician.post("/maintenance", &[], &format!("token={token}&{plan}"));
    assert_eq!(taken.status, 303, "{}", taken.body);
    assert_eq!(
        technician
            .post("/sign-out", &[], &format!("token={token}"))
            .status,
        303
    );
    assert_eq!(technician.get("/findings").status, 303, "signed out");

    let program = |password: &str| {
        use std::fmt::Write;
        let credentials = format!("collector:{password}");
        let mut code = String::new();
        // Base64, a triple at a time.
        const DIGITS: &[u8] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
        for triple in credentials.as_bytes().chunks(3) {
            let byte = |i: usize| u32::from(triple.get(i).copied().unwrap_or(0));
            let bits = (byte(0) << 16) | (byte(1) << 8) | byte(2);
            for i in 0..4 {
                let digit = DIGITS[(bits >> (18 - 6 * i)) as usize & 63] as char;
                write!(code, "{}", if i <= triple.len() { digit } else { '=' }).expect("text");
            }
        }
        let head = [("authorization", format!("Basic {code}"))];
        let head: Vec<(&str, &str)> = head.iter().map(|(n, v)| (*n, v.as_str())).collect();
        plant
            .browser()
            .send("GET", "/api/v1/overview", &head, "")
            .status
    };
    assert_eq!(program(READERS), 200);
    assert_eq!(program("something else entirely"), 401);

    let mut stranger = plant.browser();
    let tries: Vec<u16> = (0..8)
        .map(|_| sign_in(&mut stranger, "guess guess guess"))
        .collect();
    assert_eq!(tries.last(), Some(&429), "{tries:?}");
    assert_eq!(
        sign_in(&mut stranger, PASSWORD),
        429,
        "the right one has to wait too"
    );
}
