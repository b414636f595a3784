//! The page of `noonmark run`, asked over the loopback as browsers and programs do.
//!
//! Kind of truth: property for who gets in and what is stored; reference for the answers to programs,
//! which are held against the published description by another library.

#[path = "web/access.rs"]
mod access;
#[path = "web/answers.rs"]
mod answers;
#[path = "web/clients.rs"]
mod clients;
#[path = "web/described.rs"]
mod described;
#[path = "web/driven.rs"]
mod driven;
#[path = "web/languages.rs"]
mod languages;
#[path = "web/private.rs"]
mod private;
#[path = "run/site.rs"]
#[expect(dead_code, reason = "another test uses the rest")]
mod site;

use site::{EVERY_S, HEALTHY_DAY, RATE, Site, day};
use tests::{Browser, Program, SunspecServer, until};

/// A plant and its page.
struct Plant {
    site: Site,
    program: Program,
    address: String,
    server: SunspecServer,
}

impl Plant {
    /// One whose string opens after half an hour. With these lines in `[web]`, beside where it listens.
    fn start(web: &str) -> Self {
        Self::with(day(), "127.0.0.1", web)
    }

    /// The same, listening to both families of addresses.
    fn at_any_address(web: &str) -> Self {
        Self::with(day(), "[::]", web)
    }

    /// One whose string opens when its server is told so.
    fn healthy(web: &str) -> Self {
        Self::with(SunspecServer::start(0, &HEALTHY_DAY), "127.0.0.1", web)
    }

    fn with(mut server: SunspecServer, host: &str, web: &str) -> Self {
        let port = server.port();
        let site = Site::new(&[("hut", port)], Some(("mast", port)), EVERY_S);
        let text = std::fs::read_to_string(site.file()).expect("it was written");
        let table = format!("\n[web]\nlisten = \"{host}:0\"\n{web}");
        std::fs::write(site.file(), text + &table).expect("room for it");
        let mut program = site.start(&mut server, RATE);
        let line = program.wait_for_line("the page is at");
        let (_, rest) = line.split_once("://").expect("an address");
        let address = rest.trim_end_matches('/').replace("[::]", "127.0.0.1");
        Self {
            site,
            program,
            address,
            server,
        }
    }

    fn browser(&self) -> Browser {
        Browser::new(&self.address)
    }

    /// Waits until the open string is on the page; its id.
    fn found(&self) -> String {
        self.found_by(&mut self.browser())
    }

    /// The same by somebody who has signed in.
    fn found_by(&self, browser: &mut Browser) -> String {
        until("the open string on the page", || {
            let found = browser.get("/api/v1/findings").json();
            let found = found
                .as_array()?
                .iter()
                .find(|f| f["kind"] == "string_open")?;
            Some(found["id"].as_str()?.to_owned())
        })
    }
}
