//! An authority and a server's certificate, made by another program for one test.

use std::fs;
use std::path::Path;
use std::process::Command;
use std::sync::atomic::{AtomicU32, Ordering};

/// Writes `ca.pem`, and `server.pem` with `server-key.pem` for `localhost`, valid for so many days from
/// now (until yesterday where negative). Two calls have two authorities, told apart by their names.
pub fn write_certificates(folder: &Path, days: i32) {
    static AUTHORITIES: AtomicU32 = AtomicU32::new(0);
    let openssl = |line: &str| run(folder, "openssl", &line.split(' ').collect::<Vec<_>>());
    let number = AUTHORITIES.fetch_add(1, Ordering::Relaxed);
    let name = format!("/CN=authority-{}-{number}", std::process::id());
    openssl(&format!(
        "req -x509 -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -days 30 -subj {name} \
         -keyout ca-key.pem -out ca.pem"
    ));
    openssl(
        "req -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -subj /CN=localhost \
         -keyout server-key.pem -out request.pem",
    );
    fs::write(folder.join("names"), "subjectAltName=DNS:localhost\n").expect("room");
    let days = days.to_string();
    openssl(&format!(
        "x509 -req -in request.pem -CA ca.pem -CAkey ca-key.pem -CAcreateserial -days {days} \
         -extfile names -out server.pem"
    ));
}

/// Writes `NAME.pem` with `NAME-key.pem`, a certificate that the authority of [`write_certificates`] has
/// signed for somebody of that name, valid as there.
pub fn write_identity(folder: &Path, name: &str, days: i32) {
    let openssl = |line: &str| run(folder, "openssl", &line.split(' ').collect::<Vec<_>>());
    // Without an extension it would be of version 1, which nobody takes any more.
    fs::write(folder.join("client"), "basicConstraints=CA:FALSE\n").expect("room");
    openssl(&format!(
        "req -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -subj /CN={name} \
         -keyout {name}-key.pem -out {name}-request.pem"
    ));
    openssl(&format!(
        "x509 -req -in {name}-request.pem -CA ca.pem -CAkey ca-key.pem -CAcreateserial -days {days} \
         -extfile client -out {name}.pem"
    ));
}

/// Runs a program to its end in a folder; panics with what it says if it fails.
pub fn run(folder: &Path, program: &str, arguments: &[&str]) {
    let output = Command::new(program)
        .args(arguments)
        .current_dir(folder)
        .output()
        .unwrap_or_else(|error| panic!("{program}: {error}"));
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{program} {arguments:?}: {said}");
}
