//! Turns on a line, against a device on the other end of a pipe.

use super::*;
use crate::source::modbus::{ReadOnlyClient, RegisterKind};
use tokio::io::{AsyncReadExt, AsyncWriteExt, DuplexStream, duplex};
use tokio::time::sleep;

const WITHIN: Duration = Duration::from_secs(3);

/// A line whose device answers one register to everybody, and tells who has asked.
fn line() -> (Line, tokio::task::JoinHandle<Vec<u8>>) {
    let (near, far) = duplex(4096);
    let line = Line::over(Connection::over_tcp(near), Framing::Tcp);
    (line, tokio::spawn(answer(far)))
}

async fn answer(mut device: DuplexStream) -> Vec<u8> {
    let mut asked = Vec::new();
    let mut request = [0; 12];
    while device.read_exact(&mut request).await.is_ok() {
        asked.push(request[6]);
        let mut frame = vec![request[0], request[1], 0, 0, 0, 5, request[6]];
        frame.extend([request[7], 2, 0, request[6]]);
        device.write_all(&frame).await.expect("the client listens");
    }
    asked
}

async fn ask(client: &mut ReadOnlyClient) {
    let answer = client.registers(RegisterKind::Holding, 0, 1).await;
    answer.expect("it answers");
}

/// Asks three times in one turn, with a pause before each request but the first.
async fn poll(line: Line, unit: u8, pause: Duration) {
    let mut client = ReadOnlyClient::on(line, unit, WITHIN);
    client.begin_turn().await;
    ask(&mut client).await;
    for _ in 0..2 {
        sleep(pause).await;
        ask(&mut client).await;
    }
    client.end_turn();
}

#[tokio::test(start_paused = true)]
async fn a_poll_is_not_parted_by_another_one() {
    let (line, device) = line();
    let short = Duration::from_millis(10);
    let polls = [4, 5, 6].map(|unit| tokio::spawn(poll(line.clone(), unit, short)));
    drop(line);
    for poll in polls {
        poll.await.expect("no panic");
    }
    assert_eq!(device.await.expect("no panic"), [4, 4, 4, 5, 5, 5, 6, 6, 6]);
}

#[tokio::test(start_paused = true)]
async fn a_poll_that_takes_long_lets_the_others_go_first() {
    let (line, device) = line();
    let long = LONGEST_TURN + Duration::from_millis(1);
    let slow = tokio::spawn(poll(line.clone(), 4, long));
    let quick = tokio::spawn(poll(line, 5, Duration::ZERO));
    slow.await.expect("no panic");
    quick.await.expect("no panic");
    assert_eq!(device.await.expect("no panic"), [4, 5, 5, 5, 4, 4]);
}

#[tokio::test(start_paused = true)]
async fn whoever_stops_waiting_leaves_the_line_to_the_next() {
    let (near, _nobody_answers) = duplex(4096);
    let line = Line::over(Connection::over_tcp(near), Framing::Tcp);
    let waiting = tokio::spawn(poll(line.clone(), 4, Duration::ZERO));
    sleep(Duration::from_millis(1)).await;
    waiting.abort();
    let mut client = ReadOnlyClient::on(line, 5, WITHIN);
    // Not the answer to the other: that connection is gone.
    let result = client.registers(RegisterKind::Holding, 0, 1).await;
    assert!(
        matches!(result, Err(ModbusError::GivenUp { .. })),
        "{result:?}"
    );
}

#[test]
fn one_endpoint_is_one_line() {
    let endpoint = |address: &str| Endpoint::Tcp {
        address: address.to_owned(),
    };
    let mut lines = Lines::default();
    let one = lines.line(&endpoint("192.0.2.7:502"));
    let same = lines.line(&endpoint("192.0.2.7:502"));
    let other = lines.line(&endpoint("192.0.2.7:503"));
    assert!(Arc::ptr_eq(&one.state, &same.state));
    assert!(!Arc::ptr_eq(&one.state, &other.state));
}
