//! A disk that is made read-only under the program and writable again (`read_only_disk.c`).

use crate::interrupted::{
    SLOW_EVERY_S, SLOW_RATE, assert_polled, noon, wait_for_reading, wait_until,
};
use crate::output::{open_store, times_so_far};
use crate::reloaded::{page_of, with_page};
use crate::site::Site;
use analysis::reading::Span;
use std::ffi::OsStr;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use tests::Program;

/// What stands between the program and its disk.
struct Disk {
    folder: tempfile::TempDir,
}

impl Disk {
    fn new() -> Self {
        let disk = Self {
            folder: tempfile::tempdir().expect("a folder"),
        };
        let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("acceptance/run/read_only_disk.c");
        let mut compiler = Command::new("cc");
        compiler.args(["-shared", "-fPIC", "-o"]);
        let compiler = compiler.arg(disk.stand_in()).arg(source).arg("-ldl");
        assert!(compiler.status().expect("installed by tests/run").success());
        disk
    }

    fn stand_in(&self) -> PathBuf {
        self.folder.path().join("disk.so")
    }

    fn switch(&self) -> PathBuf {
        self.folder.path().join("read-only")
    }

    fn start(&self, arguments: Vec<String>, below: &Path) -> Program {
        let (stand_in, switch) = (self.stand_in(), self.switch());
        let variables: [(&str, &OsStr); 3] = [
            ("LD_PRELOAD", stand_in.as_os_str()),
            ("DISK_FOLDER", below.as_os_str()),
            ("DISK_SWITCH", switch.as_os_str()),
        ];
        Program::start_with(arguments, &variables)
    }
}

#[test]
fn what_a_read_only_disk_refuses_is_stored_when_it_can_be_written_again() {
    const CHANNEL: &str = "hut/ac_power_w";
    let mut server = noon(0, "2026-03-20T11:00:00Z", &[]);
    let device = ("hut", server.port());
    let site = Site::new(&[device], None, SLOW_EVERY_S);
    site.write(&with_page(&[device], SLOW_EVERY_S));
    let disk = Disk::new();
    let mut program = disk.start(site.rehearsal(&mut server, SLOW_RATE), &site.out());
    let mut page = page_of(&mut program);
    wait_for_reading(&site, "hut");

    fs::write(disk.switch(), "").expect("room for it");
    let line = program.wait_for_line("not stored yet");
    assert!(line.contains("ERROR"), "{line}");
    let committed = times_so_far(&site, CHANNEL);
    let from = server.now();
    wait_until(&mut server, from + Span::from_s(60));
    assert_eq!(page.get("/").status, 200);
    assert_eq!(times_so_far(&site, CHANNEL), committed);
    let to = server.now();

    fs::remove_file(disk.switch()).expect("it is there");
    program.wait_for_line("stored again");
    assert_eq!(page.get("/").status, 200);
    let ended = program.terminate();
    assert_eq!(ended.code, Some(0), "{}", ended.err);
    let stored = times_so_far(&site, CHANNEL);
    assert!(stored.starts_with(&committed), "{stored:?}");
    assert_polled(&site, "hut", from, to);
    assert!(open_store(&site).span().is_ok());
}
