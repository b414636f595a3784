//! The Debian package: built of the program of the tests, put into a root of its own by dpkg itself, used,
//! brought up to date, removed and purged. Nothing of this machine is touched.
//!
//! Kind of truth: reference for the unit (systemd's own checks); property for what stays when.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use tempfile::TempDir;
use tests::{book, noonmark, python};

/// Tenths of systemd's exposure level, which goes from 0 to 10: what it calls OK ends at 4.
const MOST_EXPOSED: &str = "20";

/// Another root, with what every Debian has of users and packages.
struct Root {
    folder: TempDir,
}

impl Root {
    fn new() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let root = Self { folder };
        for folder in [
            "etc",
            "tmp",
            "usr/bin",
            "var/lib/dpkg/info",
            "var/lib/dpkg/updates",
        ] {
            fs::create_dir_all(root.path(folder)).expect("room");
        }
        fs::write(root.path("var/lib/dpkg/status"), "").expect("room");
        fs::write(root.path("etc/passwd"), "root:x:0:0:root:/root:/bin/sh\n").expect("room");
        fs::write(root.path("etc/group"), "root:x:0:\ndialout:x:20:\n").expect("room");
        root
    }

    fn path(&self, path: &str) -> PathBuf {
        self.folder.path().join(path)
    }

    fn text(&self, path: &str) -> String {
        fs::read_to_string(self.path(path)).unwrap_or_else(|error| panic!("{path}: {error}"))
    }

    fn has(&self, path: &str) -> bool {
        self.path(path).exists()
    }

    /// Its scripts run outside of the root and are told where it is. What the package depends on is this
    /// machine's.
    fn dpkg(&self, arguments: &[&str]) {
        run(Command::new("dpkg")
            .arg(format!("--root={}", text(self.folder.path())))
            .args([
                "--force-script-chrootless",
                "--force-not-root",
                "--force-depends",
            ])
            .arg(format!("--log={}", text(&self.path("tmp/dpkg.log"))))
            .args(arguments));
    }

    fn version(&self) -> String {
        let admin = format!("--admindir={}", text(&self.path("var/lib/dpkg")));
        let shown =
            run(Command::new("dpkg-query").args([&admin, "-W", "-f=${Version}", "noonmark"]));
        String::from_utf8(shown.stdout).expect("text")
    }
}

fn text(path: &Path) -> &str {
    path.to_str().expect("a plain path")
}

fn run(command: &mut Command) -> Output {
    let output = command
        .output()
        .unwrap_or_else(|error| panic!("{command:?}: {error}"));
    let (out, err) = (&output.stdout, &output.stderr);
    let said = [out, err].map(|text| String::from_utf8_lossy(text).into_owned());
    assert!(output.status.success(), "{command:?}: {}", said.concat());
    output
}

/// The package's file.
fn built(into: &Path, revision: &str) -> PathBuf {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("../daemon/packaging/build-deb");
    let output = run(Command::new("bash")
        .arg(script)
        .arg(noonmark())
        .arg(into)
        // What is unpacked at once need not be small.
        .args([revision, "-Znone"]));
    PathBuf::from(String::from_utf8(output.stdout).expect("a path").trim_end())
}

#[test]
fn a_package_is_installed_brought_up_to_date_removed_and_purged() {
    let of_this_machine =
        || ["/etc/passwd", "/etc/group"].map(|file| fs::read(file).expect("it is there"));
    let before = of_this_machine();
    let packages = tempfile::tempdir().expect("a folder");
    let (first, second) = (built(packages.path(), "1"), built(packages.path(), "2"));
    let root = Root::new();

    root.dpkg(&["--install", text(&first)]);
    assert!(root.version().ends_with("-1"), "{}", root.version());
    assert!(
        root.text("etc/passwd").contains("\nnoonmark:x:"),
        "{}",
        root.text("etc/passwd")
    );
    assert!(
        root.text("etc/group").contains("dialout:x:20:noonmark\n"),
        "{}",
        root.text("etc/group")
    );
    let enabled = "etc/systemd/system/multi-user.target.wants/noonmark.service";
    assert!(
        root.path(enabled).is_symlink(),
        "it starts with the machine"
    );
    assert_used(&root);
    assert_documents(&root);
    assert_unit(&root);

    // What a person and the daemon put there.
    fs::create_dir_all(root.path("var/lib/noonmark")).expect("room");
    for file in [
        "etc/noonmark/site.toml",
        "etc/noonmark/mail-password",
        "var/lib/noonmark/noonmark.sqlite",
    ] {
        fs::write(root.path(file), file).expect("room");
    }
    let kept = |root: &Root| {
        for file in [
            "etc/noonmark/site.toml",
            "etc/noonmark/mail-password",
            "var/lib/noonmark/noonmark.sqlite",
        ] {
            assert_eq!(root.text(file), file);
        }
    };
    root.dpkg(&["--install", text(&second)]);
    assert!(root.version().ends_with("-2"), "{}", root.version());
    assert!(root.has("usr/bin/noonmark"));
    kept(&root);

    root.dpkg(&["--remove", "noonmark"]);
    for gone in [
        "usr/bin/noonmark",
        "usr/lib/systemd/system/noonmark.service",
        "usr/share/doc/noonmark",
    ] {
        assert!(!root.has(gone), "{gone}");
    }
    kept(&root);

    root.dpkg(&["--purge", "noonmark"]);
    for gone in ["etc/noonmark", "var/lib/noonmark", enabled] {
        assert!(!root.has(gone), "{gone}");
    }
    assert_eq!(of_this_machine(), before, "users of this machine");
}

/// Everything of others that is in the program, to whoever gets it and to programs.
#[test]
fn the_bill_of_materials_fits_its_schema_and_names_what_is_in_the_program() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("noonmark.cdx.json");
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("../daemon/packaging/sbom.py");
    run(Command::new(python()).arg(script).arg(&file));
    let bill = fs::read_to_string(file).expect("written");
    let bill: serde_json::Value = serde_json::from_str(&bill).expect("JSON");
    assert_eq!(bill["bomFormat"], "CycloneDX");
    let parts = bill["components"].as_array().expect("a list");
    let names = |name: &str| parts.iter().any(|part| part["name"] == name);
    // Crates, one of a crate's crates, and what no crate brings; nothing for the tests alone.
    for inside in [
        "serde",
        "rusqlite",
        "ring",
        "libsqlite3-sys",
        "SQLite",
        "uPlot",
    ] {
        assert!(names(inside), "{inside}");
    }
    for outside in ["proptest", "spdx", "noonmark-tests"] {
        assert!(!names(outside), "{outside}");
    }
    let crates = parts.iter().filter(|part| !part["purl"].is_null());
    for part in crates {
        assert!(!part["hashes"].is_null(), "{part}");
        assert!(!part["licenses"].is_null(), "{part}");
    }
}

/// The installed program reads the installed examples, and its documents are there.
fn assert_used(root: &Root) {
    let program = root.path("usr/bin/noonmark");
    for site in ["hillside-barn", "wharf-loft", "quince-row-dairy"] {
        let site = root.path(&format!(
            "usr/share/doc/noonmark/examples/sites/{site}.toml"
        ));
        run(Command::new(&program).arg("check").arg(site));
    }
    for file in [
        "usr/share/man/man1/noonmark.1.gz",
        "usr/share/man/man1/noonmark-run.1.gz",
        "usr/share/bash-completion/completions/noonmark",
        "usr/share/noonmark/site.schema.json",
        "usr/share/doc/noonmark/copyright",
        "etc/noonmark",
    ] {
        assert!(root.has(file), "{file}");
    }
    let copyright = root.text("usr/share/doc/noonmark/copyright");
    for told in [
        "The Noonmark developers",
        "\nserialport 4",
        "MPL-2.0",
        "/usr/share/common-licenses",
        "\nuPlot 1.6.32",
        "Bitstream Vera",
        "pvlib python Contributors",
    ] {
        assert!(copyright.contains(told), "{told}");
    }
}

/// The README and every chapter of the book are there, and so is whatever they lead to.
fn assert_documents(root: &Root) {
    let documents = root.path("usr/share/doc/noonmark");
    let chapters = book::chapters().into_keys();
    let chapters = chapters.map(|path| Path::new("book/src").join(path));
    for document in chapters.chain([PathBuf::from("README.md")]) {
        let path = documents.join(&document);
        let text = fs::read_to_string(&path);
        let text = text.unwrap_or_else(|error| panic!("{}: {error}", path.display()));
        let beside = path.parent().expect("a folder");
        let inside = book::links(&text);
        for link in inside.into_iter().filter(|link| !link.contains(':')) {
            let file = link.split('#').next().unwrap_or_default();
            assert!(
                beside.join(file).exists(),
                "{}: {link} is not in the package",
                document.display()
            );
        }
    }
}

fn assert_unit(root: &Root) {
    let unit = root.path("usr/lib/systemd/system/noonmark.service");
    // Where the program is in this root, so that it is found.
    let there = root.text("usr/lib/systemd/system/noonmark.service");
    let there = there.replace("/usr/bin/noonmark", text(&root.path("usr/bin/noonmark")));
    let here = root.path("tmp/noonmark.service");
    fs::write(&here, there).expect("room");
    let verified = run(Command::new("systemd-analyze")
        .args(["verify", "--man=no"])
        .arg(&here));
    assert_eq!(String::from_utf8_lossy(&verified.stderr), "");
    run(Command::new("systemd-analyze")
        .args(["security", "--offline=true", "--threshold", MOST_EXPOSED])
        .arg(unit));
}
