//! A visitor of the page, as plain as one can be: one request for each connection, cookies kept, so
//! that tests decide every line of the head.

use std::collections::BTreeMap;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::Duration;

/// Longer than any answer takes on a busy machine.
const LONGEST: Duration = Duration::from_secs(60);

/// Somebody with a jar of cookies.
#[derive(Debug, Clone)]
pub struct Browser {
    /// `127.0.0.1:port`.
    pub address: String,
    cookies: BTreeMap<String, String>,
}

/// An answer.
#[derive(Debug, Clone)]
pub struct Answer {
    /// As 200.
    pub status: u16,
    /// Names in small letters.
    pub head: BTreeMap<String, String>,
    /// As it came.
    pub body: String,
}

impl Browser {
    /// A new one.
    pub fn new(address: &str) -> Self {
        Self {
            address: address.to_owned(),
            cookies: BTreeMap::new(),
        }
    }

    /// Fetches a page.
    pub fn get(&mut self, path: &str) -> Answer {
        self.send("GET", path, &[], "")
    }

    /// Sends a form, with lines of the head beside the usual ones.
    pub fn post(&mut self, path: &str, head: &[(&str, &str)], form: &str) -> Answer {
        self.send("POST", path, head, form)
    }

    /// Asks for something. A line `host` among `head` takes the place of the right one.
    pub fn send(&mut self, method: &str, path: &str, head: &[(&str, &str)], body: &str) -> Answer {
        let mut lines: BTreeMap<&str, String> = BTreeMap::from([
            ("host", self.address.clone()),
            ("connection", "close".to_owned()),
        ]);
        if method == "POST" {
            lines.insert(
                "content-type",
                "application/x-www-form-urlencoded".to_owned(),
            );
            lines.insert("content-length", body.len().to_string());
        }
        if !self.cookies.is_empty() {
            let pairs = self
                .cookies
                .iter()
                .map(|(name, value)| format!("{name}={value}"));
            lines.insert("cookie", pairs.collect::<Vec<_>>().join("; "));
        }
        lines.extend(
            head.iter()
                .map(|(name, value)| (*name, (*value).to_owned())),
        );
        let mut request = format!("{method} {path} HTTP/1.1\r\n");
        for (name, value) in &lines {
            request += &format!("{name}: {value}\r\n");
        }
        request += &format!("\r\n{body}");
        let mut stream = TcpStream::connect(&self.address).expect("the page listens");
        stream.set_read_timeout(Some(LONGEST)).expect("a time");
        stream.write_all(request.as_bytes()).expect("it reads");
        let mut text = Vec::new();
        stream.read_to_end(&mut text).expect("it answers");
        let answer = parsed(&String::from_utf8_lossy(&text));
        if let Some(cookie) = answer.head.get("set-cookie") {
            let pair = cookie
                .split(';')
                .next()
                .and_then(|pair| pair.split_once('='));
            let (name, value) = pair.expect("a name and a value");
            self.cookies.insert(name.to_owned(), value.to_owned());
        }
        answer
    }
}

fn parsed(text: &str) -> Answer {
    let (head, body) = text.split_once("\r\n\r\n").expect("a head and a body");
    let mut lines = head.lines();
    let status = lines.next().and_then(|line| line.split(' ').nth(1));
    let status = status
        .and_then(|status| status.parse().ok())
        .expect("a status");
    let pairs = lines.filter_map(|line| line.split_once(": "));
    let head = pairs.map(|(name, value)| (name.to_lowercase(), value.to_owned()));
    Answer {
        status,
        head: head.collect(),
        body: body.to_owned(),
    }
}

impl Answer {
    /// What the forms of the page carry to show that they are its own.
    pub fn token(&self) -> String {
        let (_, rest) = self
            .body
            .split_once("name=\"token\" value=\"")
            .expect("a form");
        rest.split('"').next().expect("an end").to_owned()
    }

    /// The body as JSON.
    pub fn json(&self) -> serde_json::Value {
        serde_json::from_str(&self.body).unwrap_or_else(|error| panic!("{error}: {}", self.body))
    }
}
