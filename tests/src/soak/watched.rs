//! A daemon of a soak: started, started again, looked at by its process, its page and its store.
//! Never in here: what happens to it when.

use crate::program::{Ended, Program};
use crate::{Browser, DEADLINE, cpu_s, until};
use analysis::reading::{Span, Time};
use config::checked::SiteFile;
use daemon::clock::Clock;
use daemon::store::{Layout, Store};
use serde::Serialize;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// Pages that somebody looks at now and then.
const PAGES: [&str; 6] = [
    "/",
    "/findings",
    "/inverters/inv-1",
    "/ledger/day",
    "/api/v1/overview",
    "/metrics",
];

/// One look at the process.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct Sample {
    /// Days of the site since the soak began.
    pub day: f64,
    /// Which process it was, counted from 0.
    pub process: usize,
    /// Memory in use [MB].
    pub memory_mb: f64,
    /// Open file handles.
    pub handles: usize,
    /// Time on a core since this process began [s].
    pub cpu_s: f64,
}

/// A daemon and what was seen of it.
pub struct Watched {
    folder: PathBuf,
    clock: Clock,
    rate: f64,
    program: Option<Program>,
    page: Option<Browser>,
    /// Processes so far.
    pub processes: usize,
    /// Everything that was seen.
    pub samples: Vec<Sample>,
    /// Lines of the log with ERROR, of all processes.
    pub errors: Vec<String>,
    /// Exit codes of the processes that were told to end.
    pub codes: Vec<Option<i32>>,
    /// Pages that came.
    pub pages: usize,
}

impl Watched {
    /// One that works in a folder, with a site file, from now on.
    pub fn start(folder: &Path, site: &str, clock: Clock, rate: f64) -> Self {
        std::fs::create_dir_all(folder).expect("a folder");
        let mut watched = Self {
            folder: folder.to_owned(),
            clock,
            rate,
            program: None,
            page: None,
            processes: 0,
            samples: Vec::new(),
            errors: Vec::new(),
            codes: Vec::new(),
            pages: 0,
        };
        watched.write_site(site);
        watched.start_again();
        watched
    }

    /// Puts another text in the place of the site file.
    pub fn write_site(&self, text: &str) {
        std::fs::write(self.folder.join("site.toml"), text).expect("room for it");
    }

    /// Its site as it is read.
    pub fn site(&self) -> SiteFile {
        let file = config::load(&self.folder.join("site.toml"));
        file.unwrap_or_else(|errors| panic!("{}", errors.render(false)))
    }

    /// Starts the next process.
    pub fn start_again(&mut self) {
        let text = |path: PathBuf| path.to_str().expect("a plain path").to_owned();
        let from = daemon::text::utc(self.clock.now()).expect("inside the calendar");
        let mut program = Program::start_under_a_quota([
            "run".to_owned(),
            text(self.folder.join("site.toml")),
            "--out".to_owned(),
            text(self.folder.join("out")),
            "--rehearse-from".to_owned(),
            from,
            "--rehearse-rate".to_owned(),
            self.rate.to_string(),
        ]);
        let line = program.wait_for_line("the page is at http://");
        let (_, address) = line.split_once("http://").expect("an address");
        self.page = Some(Browser::new(address.trim_end_matches('/')));
        program.wait_for_line("running");
        self.program = Some(program);
        self.processes += 1;
    }

    /// The process at work.
    pub fn program(&self) -> &Program {
        self.program.as_ref().expect("it was started")
    }

    /// Ends it as a power cut does.
    pub fn kill(&mut self) {
        let mut program = self.program.take().expect("it was started");
        self.hear(&program.said());
        program.kill();
    }

    /// Tells it to end, and waits for that.
    pub fn terminate(&mut self) {
        let program = self.program.take().expect("it was started");
        let Ended { code, err, .. } = program.terminate();
        self.hear(&err);
        self.codes.push(code);
    }

    /// Tells it to read its site file again, and waits until it has said what came of it.
    pub fn reload(&mut self, is_right: bool) {
        let program = self.program.as_mut().expect("it was started");
        program.reload();
        if is_right {
            program.wait_for_line("the site file is read again");
            program.wait_for_line("running");
        } else {
            program.wait_for_line("is not taken");
        }
    }

    fn hear(&mut self, log: &str) {
        let errors = log.lines().filter(|line| line.contains("ERROR"));
        self.errors.extend(errors.map(str::to_owned));
        let mut file = std::fs::File::options()
            .create(true)
            .append(true)
            .open(self.folder.join("log.txt"))
            .expect("room for it");
        file.write_all(log.as_bytes()).expect("room for it");
    }

    /// Looks at the process.
    pub fn look(&mut self, began: Time) {
        let pid = self.program().pid();
        let process = format!("/proc/{}", pid.as_raw_nonzero());
        let status = std::fs::read_to_string(format!("{process}/status")).unwrap_or_default();
        let memory = status.lines().find_map(|line| line.strip_prefix("VmRSS:"));
        let kb = memory.and_then(|line| line.trim().strip_suffix("kB")?.trim().parse().ok());
        let handles = std::fs::read_dir(format!("{process}/fd")).map_or(0, Iterator::count);
        // One that has just ended by itself shows nothing; that it did is seen elsewhere.
        let Some(kb) = kb.filter(|_: &f64| handles > 0) else {
            return;
        };
        self.samples.push(Sample {
            day: (self.clock.now() - began).hours() / 24.0,
            process: self.processes - 1,
            memory_mb: kb / 1024.0,
            handles,
            cpu_s: cpu_s(pid),
        });
    }

    /// Looks at its pages as people do.
    pub fn visit(&mut self) {
        let page = self.page.as_mut().expect("it has one");
        for path in PAGES {
            let answer = page.get(path);
            assert_eq!(answer.status, 200, "{path}: {}", answer.body);
            self.pages += 1;
        }
    }

    /// The file of the store.
    pub fn store_file(&self) -> PathBuf {
        self.folder.join("out/noonmark.sqlite")
    }

    /// The store as it is now.
    pub fn store(&self) -> Store {
        let layout = Layout::of(&self.site().plant);
        Store::open_to_read(&self.store_file(), &layout).expect("it is there")
    }

    /// Waits until nothing waits in its outbox any more. What still does at the deadline, and why.
    pub fn wait_until_all_has_left(&self) -> Vec<String> {
        let began = Instant::now();
        loop {
            let waiting = self.store().waiting().expect("reads");
            if waiting.is_empty() || began.elapsed() >= DEADLINE {
                return waiting.iter().map(|left| format!("{left:?}")).collect();
            }
            std::thread::sleep(Duration::from_millis(100));
        }
    }

    /// Waits until what it has analysed is past a time.
    pub fn wait_until_past(&self, at: Time) {
        until("the last slot", || {
            let (_, last) = self.store().span().expect("reads")?;
            (last + Span::from_min(10) >= at).then_some(())
        });
    }
}
