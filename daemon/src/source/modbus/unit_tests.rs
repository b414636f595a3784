//! Property and behaviour tests of the client, against devices that answer wrongly.

use super::*;
use crate::source::modbus::{MAX_REGISTERS, Trouble};
use proptest::prelude::*;
use tokio::io::{AsyncReadExt, AsyncWriteExt, DuplexStream, duplex};
use tokio::time::timeout;

const WITHIN: Duration = Duration::from_secs(3);
/// Transaction, protocol, length, unit; then function, first, count.
const REQUEST_BYTES: usize = 12;

fn pair() -> (ReadOnlyClient, DuplexStream) {
    let (near, far) = duplex(4096);
    (ReadOnlyClient::over_tcp_framing(near, 7, WITHIN), far)
}

/// Takes one request and sends back what `answer` makes of it.
async fn answer_once(mut device: DuplexStream, answer: impl Fn([u8; REQUEST_BYTES]) -> Vec<u8>) {
    let mut request = [0; REQUEST_BYTES];
    device.read_exact(&mut request).await.expect("request");
    device.write_all(&answer(request)).await.expect("answer");
    // Kept open: only the answer is under test.
    let mut rest = Vec::new();
    device.read_to_end(&mut rest).await.expect("client closes");
}

async fn read_two(
    answer: impl Fn([u8; REQUEST_BYTES]) -> Vec<u8>,
) -> (Result<Vec<u16>, ModbusError>, bool) {
    let (mut client, device) = pair();
    let reading = async {
        let result = client.registers(RegisterKind::Holding, 100, 2).await;
        let open = client.is_open();
        drop(client);
        (result, open)
    };
    tokio::join!(reading, answer_once(device, answer)).0
}

fn frame(transaction: [u8; 2], unit: u8, pdu: &[u8]) -> Vec<u8> {
    let mut bytes = vec![
        transaction[0],
        transaction[1],
        0,
        0,
        0,
        pdu.len() as u8 + 1,
        unit,
    ];
    bytes.extend_from_slice(pdu);
    bytes
}

#[tokio::test]
async fn what_was_answered_last_is_kept_until_it_is_taken() {
    let (mut client, device) = pair();
    let reading = async {
        let values = client.registers(RegisterKind::Input, 100, 2).await;
        assert_eq!(values.expect("two"), [0x1234, 0xFFFE]);
        let heard = client.take_heard();
        assert_eq!(heard, Words::from([((4, 100), vec![0x1234, 0xFFFE])]));
        assert!(client.take_heard().is_empty());
        drop(client);
    };
    let answer = |request: [u8; REQUEST_BYTES]| {
        frame([request[0], request[1]], 7, &[4, 4, 0x12, 0x34, 0xFF, 0xFE])
    };
    tokio::join!(reading, answer_once(device, answer));
}

#[tokio::test]
async fn two_registers_arrive() {
    let (result, open) = read_two(|request| {
        assert_eq!(request[6..], [7, 3, 0, 100, 0, 2]);
        frame([request[0], request[1]], 7, &[3, 4, 0x12, 0x34, 0xFF, 0xFE])
    })
    .await;
    assert_eq!(result.expect("good answer"), [0x1234, 0xFFFE]);
    assert!(open);
}

#[tokio::test]
async fn a_refusal_keeps_its_code_and_the_connection() {
    let (result, open) = read_two(|r| frame([r[0], r[1]], 7, &[0x83, 2])).await;
    let error = result.expect_err("refused");
    assert!(matches!(error, ModbusError::Refused { code: 2, .. }));
    assert_eq!(error.trouble(), Trouble::Refused);
    assert!(open);
    assert_eq!(
        error.to_string(),
        "read holding registers 100-101: the device refused with exception 2 (illegal data address)"
    );
}

#[tokio::test]
async fn an_answer_with_another_transaction_id_ends_the_connection() {
    let good = [3, 4, 0, 1, 0, 2];
    let (result, open) = read_two(|r| frame([r[0], r[1].wrapping_add(1)], 7, &good)).await;
    let error = result.expect_err("another transaction");
    assert!(matches!(error, ModbusError::NotForUs { .. }), "{error}");
    assert_eq!(error.trouble(), Trouble::Undecodable);
    assert!(!open);
}

#[tokio::test]
async fn an_answer_of_another_unit_or_function_is_not_taken() {
    let good = [3, 4, 0, 1, 0, 2];
    let (unit, _) = read_two(|r| frame([r[0], r[1]], 8, &good)).await;
    assert!(matches!(unit, Err(ModbusError::NotForUs { .. })));
    let (function, _) = read_two(|r| frame([r[0], r[1]], 7, &[4, 4, 0, 1, 0, 2])).await;
    assert!(matches!(function, Err(ModbusError::NotForUs { .. })));
}

#[tokio::test]
async fn an_answer_of_another_length_is_an_error_and_not_a_panic() {
    let (result, open) = read_two(|r| frame([r[0], r[1]], 7, &[3, 2, 0, 1])).await;
    let error = result.expect_err("one register for two");
    assert!(matches!(error, ModbusError::Length { got: 1, .. }));
    assert!(!open);
}

#[tokio::test(start_paused = true)]
async fn silence_is_a_timeout_and_the_late_answer_is_never_read() {
    let (mut client, _device) = pair();
    let first = client.registers(RegisterKind::Holding, 0, 1).await;
    let error = first.expect_err("nobody answers");
    assert!(matches!(error, ModbusError::Timeout { within: WITHIN, .. }));
    assert_eq!(error.trouble(), Trouble::Link);
    let second = client.registers(RegisterKind::Holding, 0, 1).await;
    assert!(matches!(second, Err(ModbusError::GivenUp { .. })));
}

#[tokio::test(start_paused = true)]
async fn a_request_that_nobody_waits_for_any_more_ends_the_connection() {
    let (mut client, _device) = pair();
    let impatient = timeout(WITHIN / 2, client.registers(RegisterKind::Holding, 0, 1)).await;
    assert!(impatient.is_err());
    assert!(!client.is_open());
}

#[tokio::test]
async fn a_closed_connection_is_a_broken_link() {
    let (mut client, device) = pair();
    drop(device);
    let error = client.coils(0, 1).await.expect_err("closed");
    assert!(matches!(error, ModbusError::Broken { .. }), "{error}");
}

#[tokio::test]
async fn bits_are_cut_to_what_was_asked_for() {
    let (mut client, device) = pair();
    let reading = async {
        let bits = client.discrete_inputs(0, 3).await;
        drop(client);
        bits
    };
    let device = answer_once(device, |r| frame([r[0], r[1]], 7, &[2, 1, 0b1111_1101]));
    let bits = tokio::join!(reading, device).0.expect("bits");
    assert_eq!(bits, [true, false, true]);
}

#[tokio::test]
async fn a_request_that_the_protocol_cannot_carry_is_not_sent() {
    let (mut client, _device) = pair();
    for (first, count) in [(0, 0), (0, MAX_REGISTERS + 1), (65_535, 2)] {
        let result = client.registers(RegisterKind::Input, first, count).await;
        assert!(matches!(result, Err(ModbusError::Span { .. })));
    }
    assert!(client.is_open());
}

/// Some registers, not always two, with an honest count of their bytes.
fn well_formed() -> impl Strategy<Value = Vec<u8>> {
    prop::collection::vec(any::<[u8; 2]>(), 0..5).prop_map(|registers| {
        let mut bytes = vec![registers.len() as u8 * 2];
        bytes.extend(registers.concat());
        bytes
    })
}

proptest! {
    /// Whatever bytes come back, there is an answer or a typed error.
    #[test]
    fn no_answer_makes_the_client_panic(
        pdu in prop_oneof![prop::collection::vec(any::<u8>(), 0..80), well_formed()],
        function in prop_oneof![Just(3u8), Just(0x83), any::<u8>()],
        honest_header in any::<bool>(),
        noise in prop::collection::vec(any::<u8>(), 0..40),
    ) {
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_time()
            .start_paused(true)
            .build()
            .expect("runtime");
        runtime.block_on(async {
            let (result, open) = read_two(|r| {
                if !honest_header {
                    return noise.clone();
                }
                let mut body = vec![function];
                body.extend_from_slice(&pdu);
                frame([r[0], r[1]], 7, &body)
            })
            .await;
            match result {
                Ok(values) => assert_eq!((values.len(), open), (2, true)),
                Err(error) => assert_eq!(open, error.trouble() == Trouble::Refused),
            }
        });
    }

    /// The same on a serial line, for a unit that has answered late before and for one that has not:
    /// noise, pieces of frames and whole ones of this unit and of others.
    #[test]
    fn no_noise_on_a_line_makes_the_client_panic(
        pieces in prop::collection::vec(
            (prop::collection::vec(any::<u8>(), 0..12), any::<bool>(), 0..3u8, 0..4u8),
            1..6,
        ),
        is_late_first in any::<bool>(),
    ) {
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_time()
            .start_paused(true)
            .build()
            .expect("runtime");
        runtime.block_on(async {
            let (near, mut device) = duplex(4096);
            let framing = Framing::Rtu {
                gap: Duration::from_millis(2),
                quiet: Duration::from_millis(50),
            };
            let line = Line::over(Connection::over_rtu(near), framing);
            let mut client = ReadOnlyClient::on(line, 7, WITHIN);
            let late = rtu_frame(7, 2, [0xDE, 0xAD]);
            let mut is_owed = is_late_first;
            let noise = async {
                let mut request = [0; RTU_REQUEST_BYTES];
                if is_late_first {
                    device.read_exact(&mut request).await.expect("a first request");
                }
                for (bytes, is_frame, unit, registers) in &pieces {
                    if device.read_exact(&mut request).await.is_err() {
                        return;
                    }
                    let frame = rtu_frame(5 + unit, usize::from(*registers), [0x12, 0x34]);
                    let answer = match (is_frame, std::mem::take(&mut is_owed)) {
                        (false, false) => bytes.clone(),
                        (true, false) => [bytes, &frame[..]].concat(),
                        // What was asked for first comes now, and the right answer behind it.
                        (_, true) => [late.clone(), frame].concat(),
                    };
                    if device.write_all(&answer).await.is_err() {
                        return;
                    }
                }
            };
            let reading = async {
                if is_late_first {
                    let late = client.registers(RegisterKind::Holding, 100, 2).await;
                    assert!(late.is_err());
                }
                for _ in 0..pieces.len() {
                    if let Ok(values) = client.registers(RegisterKind::Holding, 100, 2).await {
                        assert_eq!(values, [0x1234, 0x1234]);
                    }
                }
                drop(client);
            };
            tokio::join!(reading, noise);
        });
    }
}

/// Unit, function, first, count; checksum.
const RTU_REQUEST_BYTES: usize = 8;

/// A right answer of so many registers with the same content.
fn rtu_frame(unit: u8, registers: usize, content: [u8; 2]) -> Vec<u8> {
    let mut frame = vec![unit, 3, registers as u8 * 2];
    frame.extend(content.repeat(registers));
    let checksum = frame.iter().fold(0xFFFF_u16, |crc, byte| {
        (0..8).fold(crc ^ u16::from(*byte), |crc, _| match crc & 1 {
            1 => crc >> 1 ^ 0xA001,
            _ => crc >> 1,
        })
    });
    frame.extend(checksum.to_le_bytes());
    frame
}
