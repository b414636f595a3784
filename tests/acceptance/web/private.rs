//! What nobody is told, and that nobody reads along.

use super::Plant;
use super::access::{PASSWORD, sign_in, with_passwords};
use std::fs;
use std::io::Write;
use std::process::Command;
use tests::python;

#[test]
fn nothing_that_is_answered_names_a_path_or_a_secret() {
    let plant = with_passwords(Plant::start);
    let folder = plant.site.out();
    let folder = folder.to_str().expect("a plain path");
    let mut browser = plant.browser();
    assert_eq!(sign_in(&mut browser, PASSWORD), 303);
    let pages = [
        "/",
        "/findings",
        "/devices",
        "/settings",
        "/design",
        "/maintenance",
        "/ledger/day",
        "/performance/day",
        "/inverters/hut",
        "/api/v1/overview",
        "/api/v1/devices",
        "/metrics",
        "/nothing",
        "/inverters/hut/days/2026-03-20",
    ];
    for path in pages {
        let answer = browser.get(path);
        let text = format!("{:?}{}", answer.head, answer.body);
        for secret in [
            folder,
            "/tmp",
            "$argon2id$",
            PASSWORD,
            "site.toml",
            "noonmark.sqlite",
        ] {
            assert!(!text.contains(secret), "{path} tells {secret}");
        }
        let policy = &answer.head["content-security-policy"];
        assert!(
            policy.contains("default-src 'none'") && !policy.contains("unsafe"),
            "{policy}"
        );
        for inline in ["<style", " style=", "<script>", " onclick=", "javascript:"] {
            assert!(!answer.body.contains(inline), "{path} has {inline}");
        }
    }
    use std::os::unix::fs::PermissionsExt;
    let key = fs::metadata(daemon::web::key_file(&plant.site.out())).expect("a key");
    assert_eq!(key.permissions().mode() & 0o777, 0o600);
}

/// Another library's client believes the certificate and nothing else.
#[test]
fn an_encrypted_page_is_reached_by_its_certificate() {
    let folder = tempfile::tempdir().expect("a folder");
    let made = Command::new("openssl")
        .args("req -x509 -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -days 30".split(' '))
        .args("-subj /CN=page -addext subjectAltName=IP:127.0.0.1".split(' '))
        .args("-keyout key.pem -out page.pem".split(' '))
        .current_dir(folder.path())
        .output()
        .expect("openssl");
    assert!(made.status.success(), "{made:?}");
    let path = |name: &str| folder.path().join(name).display().to_string();
    let (page, key) = (path("page.pem"), path("key.pem"));
    let plant = Plant::start(&format!(
        "certificate_file = \"{page}\"\nkey_file = \"{key}\"\n"
    ));
    let script = "import ssl, sys, urllib.request as u\n\
                  c = ssl.create_default_context(cafile=sys.argv[2])\n\
                  a = u.urlopen(f'https://{sys.argv[1]}/', context=c, timeout=60)\n\
                  print(a.status, a.headers['strict-transport-security'], a.headers['set-cookie'])";
    let output = Command::new(python())
        .args(["-c", script, &plant.address, &page])
        .output();
    let output = output.expect("it starts");
    let said = String::from_utf8_lossy(&output.stdout);
    assert!(
        said.starts_with("200 max-age") && said.contains("; Secure"),
        "{output:?}"
    );
    // In the clear it does not answer at all.
    let mut stream = std::net::TcpStream::connect(&plant.address).expect("it listens");
    stream
        .write_all(b"GET / HTTP/1.1\r\nhost: 127.0.0.1\r\n\r\n")
        .expect("room");
    let mut text = Vec::new();
    let _ = std::io::Read::read_to_end(&mut stream, &mut text);
    assert!(
        !text.starts_with(b"HTTP"),
        "{}",
        String::from_utf8_lossy(&text)
    );
}
