//! Visitors on connections that stay open, those who follow, and those who never read.

use std::time::Duration;
use tokio::io::{AsyncBufReadExt, AsyncReadExt, AsyncWriteExt, BufReader};
use tokio::net::TcpStream;
use tokio::task::JoinSet;
use tokio::time::{Instant, sleep};

/// The longest that somebody looks at a page.
const LOOKS_MS: u64 = 8000;

/// Looks at pages, one after the other, for so long; which, and what each took until all of it was there.
pub async fn all(
    address: &str,
    pages: &[String],
    visitors: usize,
    lasts: Duration,
) -> Vec<(usize, Duration)> {
    let mut visits = JoinSet::new();
    for n in 0..visitors {
        let (address, pages) = (address.to_owned(), pages.to_vec());
        visits.spawn(visit(n as u64, address, pages, lasts));
    }
    visits.join_all().await.concat()
}

async fn visit(
    seed: u64,
    address: String,
    pages: Vec<String>,
    lasts: Duration,
) -> Vec<(usize, Duration)> {
    let mut random = fastrand::Rng::with_seed(seed);
    let until = Instant::now() + lasts;
    let mut connection = connect(&address).await;
    let mut taken = Vec::new();
    loop {
        sleep(Duration::from_millis(random.u64(0..LOOKS_MS))).await;
        if Instant::now() >= until {
            return taken;
        }
        let page = random.usize(0..pages.len());
        let begun = Instant::now();
        let (status, stays) = ask(&mut connection, &address, &pages[page]).await;
        assert_eq!(status, 200, "{}", pages[page]);
        taken.push((page, begun.elapsed()));
        if !stays {
            connection = connect(&address).await;
        }
    }
}

async fn connect(address: &str) -> BufReader<TcpStream> {
    let stream = TcpStream::connect(address).await.expect("it listens");
    stream.set_nodelay(true).expect("set");
    BufReader::new(stream)
}

fn request(address: &str, path: &str) -> String {
    format!("GET {path} HTTP/1.1\r\nhost: {address}\r\naccept: */*\r\n\r\n")
}

/// The status of an answer that was read to its end, and whether the connection stays.
async fn ask(connection: &mut BufReader<TcpStream>, address: &str, path: &str) -> (u16, bool) {
    let request = request(address, path);
    let sent = connection.get_mut().write_all(request.as_bytes()).await;
    sent.expect("it is open");
    let (mut status, mut length, mut stays) = (0, 0, true);
    loop {
        let mut line = String::new();
        let read = connection.read_line(&mut line).await.expect("text");
        assert!(read > 0, "cut off at {path}");
        let line = line.trim_end().to_ascii_lowercase();
        match line.split_once(": ") {
            None if line.is_empty() => break,
            None => {
                status = line
                    .split(' ')
                    .nth(1)
                    .and_then(|s| s.parse().ok())
                    .unwrap_or(0)
            }
            Some(("content-length", value)) => length = value.parse().expect("a number"),
            Some(("connection", "close")) => stays = false,
            Some(_) => {}
        }
    }
    let mut body = vec![0; length];
    connection.read_exact(&mut body).await.expect("all of it");
    (status, stays)
}

/// They ask for the charting library and do not read it.
pub async fn never_read(address: &str, count: usize) -> Vec<BufReader<TcpStream>> {
    let mut silent = Vec::new();
    for _ in 0..count {
        let mut connection = connect(address).await;
        let request = request(address, "/assets/uplot.js").repeat(20);
        let sent = connection.get_mut().write_all(request.as_bytes()).await;
        sent.expect("room");
        silent.push(connection);
    }
    silent
}

/// They listen for changes, and look at the first page after each, as the script of the pages does.
pub async fn follow(address: &str, count: usize) -> JoinSet<()> {
    let mut following = JoinSet::new();
    for _ in 0..count {
        let address = address.to_owned();
        following.spawn(async move {
            let mut events = connect(&address).await;
            let request = request(&address, "/live");
            let sent = events.get_mut().write_all(request.as_bytes()).await;
            sent.expect("room");
            loop {
                let mut line = String::new();
                match events.read_line(&mut line).await {
                    Ok(0) | Err(_) => return,
                    Ok(_) if line.starts_with("event: change") => {}
                    Ok(_) => continue,
                }
                // Long enough apart that a connection would not be kept for it.
                ask(&mut connect(&address).await, &address, "/").await;
            }
        });
    }
    following
}
