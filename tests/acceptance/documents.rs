//! What other programs and people get to know of the program: schemas of its files, completions, manual
//! pages, help; and the text for whoever helps from afar.
//!
//! Kind of truth: reference for the schemas (a validator of somebody else's reads the examples) and for
//! completions (the shell itself reads them); property for the rest.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use tests::{COMMANDS, Ended, Program, judged};

fn noonmark(arguments: &[&str]) -> Ended {
    Program::start(arguments).end()
}

fn config(folder: &str) -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../config")
        .join(folder);
    let entries = fs::read_dir(folder).expect("a folder");
    let paths = entries.map(|entry| entry.expect("it can be listed").path());
    paths
        .filter(|path| path.extension().is_some_and(|e| e == "toml"))
        .collect()
}

#[test]
fn every_example_fits_its_schema_and_nothing_unknown_does() {
    let folder = tempfile::tempdir().expect("a folder");
    for (kind, examples, least) in [
        ("site", config("sites"), 100),
        ("map", config("registers"), 50),
        ("messages", config("messages"), 20),
    ] {
        let printed = noonmark(&["schema", kind]);
        assert_eq!((printed.code, printed.err.as_str()), (Some(0), ""));
        let schema = folder.path().join(kind);
        fs::write(&schema, printed.out).expect("room for it");
        let files = [schema].into_iter().chain(examples.iter().cloned());
        let out = judged("schemas.py", files);
        let counts: Vec<usize> = out
            .split_whitespace()
            .map(|n| n.parse().expect("a number"))
            .collect();
        assert_eq!(counts[0], examples.len());
        assert!(
            counts[1] >= least,
            "{kind}: only {} changes were tried",
            counts[1]
        );
    }
}

#[test]
fn a_shell_takes_its_completions_and_knows_every_command() {
    for shell in ["bash", "zsh", "fish"] {
        let printed = noonmark(&["completions", shell]);
        assert_eq!(
            (printed.code, printed.err.as_str()),
            (Some(0), ""),
            "{shell}"
        );
        for command in COMMANDS {
            assert!(printed.out.contains(command), "{shell}: {command}");
        }
    }
    // What a person gets who has typed so much.
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("completions");
    fs::write(&file, noonmark(&["completions", "bash"]).out).expect("room for it");
    let script = "source \"$1\"; COMP_WORDS=(noonmark ver); COMP_CWORD=1; \
                  _noonmark noonmark ver noonmark; echo \"${COMPREPLY[@]}\"";
    let output = Command::new("bash")
        .args(["-c", script, "bash"])
        .arg(&file)
        .output();
    let output = output.expect("there is a shell");
    assert_eq!(String::from_utf8_lossy(&output.stdout).trim(), "verify");
}

#[test]
fn every_command_has_a_manual_page_and_help_with_an_example() {
    let folder = tempfile::tempdir().expect("a folder");
    let into = folder.path().join("man1");
    let written = noonmark(&["man", into.to_str().expect("a plain path")]);
    assert_eq!((written.code, written.err.as_str()), (Some(0), ""));
    assert!(into.join("noonmark.1").is_file());
    for command in COMMANDS {
        let page = into.join(format!("noonmark-{command}.1"));
        let page = fs::read_to_string(&page).unwrap_or_else(|error| panic!("{command}: {error}"));
        assert!(
            page.contains(".TH noonmark-") && page.contains("Example"),
            "{command}: {page}"
        );
        let help = noonmark(&[command, "--help"]);
        let example = format!("  noonmark {command}");
        assert!(help.out.contains("Example"), "{command}: {}", help.out);
        assert!(
            help.out.lines().any(|line| line.starts_with(&example)),
            "{command}: {}",
            help.out
        );
    }
}

/// Everything that lets somebody in, or is somebody, where a person may have put it.
const SECRETS: [&str; 12] = [
    "planted-user",
    "planted-mail-password",
    "planted-page-hash",
    "planted-comment",
    "planted-key",
    "planted-owner",
    "planted-from",
    "planted-variable",
    "planted-file-name",
    "planted-url",
    "planted-webhook-file",
    "planted-webhook-secret",
];

#[test]
fn the_text_for_helpers_has_no_secret_in_it() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = |name: &str| folder.path().join(name);
    let example =
        Path::new(env!("CARGO_MANIFEST_DIR")).join("../config/sites/quince-row-dairy.toml");
    let example = fs::read_to_string(example).expect("an example");
    let (places, _) = example.split_once("[alerts.mail]").expect("it has mails");
    let alerts = "[alerts.mail] # planted-comment\nserver = \"mail.example.org:465\"\n\
                  user = \"planted-user\"\npassword_file = \"planted-file-name\"\n\
                  from = \"planted-from@example.org\"\n\
                  [[alerts.reader]]\nname = \"planted-owner\"\n\
                  email = \"planted-owner@example.org\"\nrole = \"owner\"\n\
                  [[alerts.webhook]]\nid = \"desk\"\n\
                  url = \"https://desk.example.org/in?key=planted-url\"\n\
                  secret_file = \"planted-webhook-file\"\n";
    let site = at("site.toml");
    fs::write(&site, format!("{places}{alerts}")).expect("room for it");
    fs::write(at("planted-file-name"), "planted-mail-password").expect("room for it");
    fs::write(at("planted-webhook-file"), "planted-webhook-secret").expect("room for it");
    fs::write(at("page"), "planted-page-hash").expect("room for it");
    let doctor = |name: &str| {
        let (site, store, out) = (site.clone(), folder.path().to_owned(), at(name));
        let paths = [site, store, out].map(|path| path.to_str().expect("a plain path").to_owned());
        let ended = noonmark(&[
            "doctor", &paths[0], "--store", &paths[1], "--out", &paths[2],
        ]);
        assert_eq!(
            (ended.code, ended.err.as_str()),
            (Some(0), ""),
            "{}",
            ended.out
        );
        let text = fs::read_to_string(&paths[2]).expect("it was written");
        for secret in SECRETS {
            assert!(!text.contains(secret), "{secret}: {text}");
        }
        text
    };
    let text = doctor("right.txt");
    for part in [
        "== program\nnoonmark ",
        "== system\n",
        "kernel ",
        "MB free of",
        "\nsite.latitude_deg = ",
        "\nalerts.mail.server = \"mail.example.org:465\"\n",
        "\nalerts.mail.user = ***\n",
        "\nmail: in a file, can be read\n",
        "\nwebhook: in a file, can be read\n",
        "== store\nnot there",
        "== log\n",
    ] {
        assert!(text.contains(part), "{part}: {text}");
    }
    // A file that is wrong, with a password where none belongs.
    let wrong =
        "[web]\npassword = \"planted-key\"\npassword_env = \"planted-variable\"\nlisten = 7\n";
    fs::write(&site, format!("{places}{alerts}{wrong}")).expect("room for it");
    let text = doctor("wrong.txt");
    assert!(
        text.contains("wrong at ") && text.contains("web.*** = ***"),
        "{text}"
    );
    fs::write(&site, format!("{places}{alerts}{wrong}x = \"planted-key")).expect("room for it");
    let text = doctor("no-toml.txt");
    assert!(text.contains("not shown: it is no TOML"), "{text}");
}
