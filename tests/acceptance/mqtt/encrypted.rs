//! Encrypted connections: whom the program believes, and who it says that it is.
//!
//! Kind of truth: reference for the protocol (mosquitto with OpenSSL, certificates by OpenSSL).

use crate::{JSON, Site};
use analysis::reading::Value;
use std::path::{Path, PathBuf};
use tests::broker::{Access, Broker};

fn encrypted(authority: &Path) -> String {
    format!(
        "security = \"tls\"\nca_file = \"{}\"\n",
        authority.display()
    )
}

fn as_who((certificate, key): &(PathBuf, PathBuf)) -> String {
    let (certificate, key) = (certificate.display(), key.display());
    format!("certificate_file = \"{certificate}\"\nkey_file = \"{key}\"\n")
}

fn assert_reads(broker: &Broker, settings: &str) {
    let site = Site::new(broker, settings);
    let program = site.start_connected();
    broker.publish("wharf/inv-1", JSON.as_bytes(), false);
    site.wait_for("inv-1/ac_power_w", Value::Good(8125.0));
    program.terminate();
}

/// What is said first of a broker with which there is no connection.
fn refusal(broker: &Broker, settings: &str) -> String {
    let site = Site::new(broker, settings);
    let mut program = site.start();
    let line = program.wait_for_line("no connection; trying again");
    program.terminate();
    line
}

#[test]
fn an_encrypted_connection_wants_the_right_authority_and_a_valid_certificate() {
    let broker = Broker::start(Access::Encrypted(30));
    assert_reads(&broker, &encrypted(&broker.authority()));
    let expired = Broker::start(Access::Encrypted(-1));
    for (broker, why) in [
        (&expired, "the certificate of the other side has expired"),
        (&broker, "nobody whom we believe has signed the certificate"),
    ] {
        let line = refusal(broker, &encrypted(&expired.authority()));
        assert!(line.contains(why), "{line}");
    }
}

#[test]
fn a_broker_that_wants_a_certificate_gets_ours() {
    let broker = Broker::start(Access::Certificate);
    let believed = encrypted(&broker.authority());
    let ours = as_who(&broker.identity("ours", 30));
    for version in ["3.1.1", "5"] {
        let version = format!("version = \"{version}\"\n");
        assert_reads(&broker, &[&version, &believed[..], &ours].concat());
    }
    let foreign = Broker::start(Access::Certificate);
    let foreign = as_who(&foreign.identity("foreign", 30));
    let expired = as_who(&broker.identity("expired", -1));
    for (who, why) in [
        ("", "the other side wants a certificate of ours"),
        (
            &foreign[..],
            "the other side does not know who has signed our certificate",
        ),
        (&expired[..], "our certificate has expired"),
    ] {
        let line = refusal(&broker, &format!("{believed}{who}"));
        assert!(line.contains(why), "{line}");
    }
}
