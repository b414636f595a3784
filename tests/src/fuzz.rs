//! What decoders have to stand: one function for each, from bytes of any content.
//!
//! `tests/acceptance/fuzzed.rs` runs each on its corpus and on mutations of it; `tests/fuzz` runs them
//! under a fuzzer that is guided by coverage. A property that does not hold panics.

use analysis::reading::Quantity;
use config::messages::{MessageMap, parse_message_map};
use config::registers::parse_map;
use daemon::source::modbus::{ReadOnlyClient, RegisterKind};
use daemon::source::mqtt::{EdgeNode, Verb, parts};
use daemon::source::recording::{Recording, RecordingSettings};
use daemon::source::registers::{decode as decode_register, plan};
use daemon::source::sunspec::{BASES, Device, MARKER, decode, discover, read, read_settings};
use std::collections::{BTreeMap, BTreeSet};
use std::io::Cursor;
use std::path::Path;
use std::sync::LazyLock;
use std::time::Duration;
use tokio::io::{AsyncReadExt, AsyncWriteExt, DuplexStream, duplex};

/// A target with the name of its corpus.
pub type Target = (&'static str, fn(&[u8]));

/// All of them.
pub const TARGETS: [Target; 7] = [
    ("device", device),
    ("answers", answers),
    ("recording", recording),
    ("site_file", site_file),
    ("register_map", register_map),
    ("document", document),
    ("sparkplug", sparkplug),
];

const UNIT: u8 = 7;
/// Nobody waits for longer than this; the clock of the tests stands still.
const WITHIN: Duration = Duration::from_secs(1);
/// Transaction, protocol, length, unit; then function, first, count.
const REQUEST_BYTES: usize = 12;
const MAX_REGISTERS: usize = 125;
const ILLEGAL_ADDRESS: u8 = 2;

/// A device whose registers hold this: it is asked what models it has, for their values and for how it is
/// set. The first byte says where its marker stands.
pub fn device(data: &[u8]) {
    let Some((first, rest)) = data.split_first() else {
        return;
    };
    let base = BASES[usize::from(*first) % BASES.len()];
    let words = rest.chunks_exact(2);
    let words = words.map(|pair| u16::from_be_bytes([pair[0], pair[1]]));
    let image: BTreeMap<u16, u16> = (base..=u16::MAX)
        .zip(MARKER.into_iter().chain(words))
        .collect();
    block_on(async {
        let (near, far) = duplex(4096);
        let mut client = ReadOnlyClient::over_tcp_framing(near, UNIT, WITHIN);
        let asking = async move {
            if let Ok(device) = discover(&mut client).await {
                ask_for_all(&mut client, &device).await;
            }
        };
        tokio::join!(asking, serve(far, &image));
    });
}

async fn ask_for_all(client: &mut ReadOnlyClient, device: &Device) {
    for model in device.used() {
        let Ok(Some(image)) = read(client, device.kind, &model).await else {
            continue;
        };
        for decoded in decode(model.id, &image) {
            let good = decoded.value.good();
            assert!(good.is_none_or(f64::is_finite), "{decoded:?}");
        }
    }
    if let Ok(settings) = read_settings(client, device).await {
        // It is printed as it is and kept as it is.
        assert!(!format!("{settings:?}").is_empty());
    }
}

/// Answers reads from the image as a device does, until nobody asks any more.
async fn serve(mut far: DuplexStream, image: &BTreeMap<u16, u16>) {
    let mut request = [0; REQUEST_BYTES];
    while far.read_exact(&mut request).await.is_ok() {
        let number = |at: usize| u16::from_be_bytes([request[at], request[at + 1]]);
        let (first, count) = (number(8), number(10));
        let last = first.saturating_add(count - 1);
        let found: Vec<u8> = image
            .range(first..=last)
            .flat_map(|(_, word)| word.to_be_bytes())
            .collect();
        let function = request[7];
        let is_whole = found.len() == 2 * usize::from(count);
        let pdu = match is_whole {
            true => [vec![function, found.len() as u8], found].concat(),
            false => vec![function | 0x80, ILLEGAL_ADDRESS],
        };
        let head = [
            request[0],
            request[1],
            0,
            0,
            0,
            pdu.len() as u8 + 1,
            request[6],
        ];
        if far.write_all(&[&head[..], &pdu].concat()).await.is_err() {
            return;
        }
    }
}

/// Whatever a device sends in answer: registers as many as were asked for, or an error.
pub fn answers(data: &[u8]) {
    let Some((first, rest)) = data.split_first() else {
        return;
    };
    let count = u16::from(*first) % (MAX_REGISTERS as u16) + 1;
    block_on(async {
        let (near, mut far) = duplex(1 << 16);
        let mut client = ReadOnlyClient::over_tcp_framing(near, UNIT, WITHIN);
        let asking = async move {
            while client.is_open() {
                let asked = client.registers(RegisterKind::Holding, 40_000, count).await;
                if let Ok(registers) = &asked {
                    assert_eq!(registers.len(), usize::from(count));
                }
            }
        };
        let answering = async move {
            let mut request = [0; REQUEST_BYTES];
            // Split where the data says, each part in answer to one request.
            let mut left = rest;
            while far.read_exact(&mut request).await.is_ok() && !left.is_empty() {
                let length = usize::from(left[0]) % left.len() + 1;
                let (part, more) = left.split_at(length);
                left = more;
                if far.write_all(part).await.is_err() {
                    return;
                }
            }
        };
        tokio::join!(asking, answering);
    });
}

/// A recording: every line is a row or counted with a reason.
pub fn recording(data: &[u8]) {
    static SETTINGS: LazyLock<RecordingSettings> = LazyLock::new(|| {
        let site = config::load(Path::new(concat!(
            env!("CARGO_MANIFEST_DIR"),
            "/../config/sites/test-field.toml"
        )));
        let site = site.expect("the example is right");
        let recording = site.recording.as_ref().expect("it names a recording");
        RecordingSettings::of(recording, &site.plant)
    });
    let Ok(mut recording) = Recording::new(Cursor::new(data), &SETTINGS) else {
        return;
    };
    let mut used = 0;
    for row in recording.by_ref() {
        let Ok(row) = row else {
            assert_eq!(
                used, 0,
                "memory can be read: the one error is that no row can be used"
            );
            break;
        };
        assert_eq!(row.readings.len(), SETTINGS.columns.len());
        used += 1;
    }
    let report = recording.report();
    assert_eq!(report.rows_used, used);
    assert_eq!(report.rows_read, used + report.rows_skipped());
    for column in &report.columns {
        let fields = column.good + column.missing + column.not_a_number + column.out_of_range;
        assert_eq!(fields, used);
    }
}

/// A site file: a plant with channels, or problems that each say where they are.
pub fn site_file(data: &[u8]) {
    let text = String::from_utf8_lossy(data);
    match config::parse("fuzzed.toml", &text, Path::new(".")) {
        Ok(site) => {
            let channels = site.plant.channels.iter();
            let powers = channels.filter(|(_, c)| c.quantity == Quantity::AcPower);
            assert_eq!(powers.count(), site.plant.inverters.len());
        }
        Err(errors) => assert!(!errors.to_string().is_empty()),
    }
}

/// A register map, and what its registers hold: the text ends at a zero, words follow.
pub fn register_map(data: &[u8]) {
    let mut parts = data.splitn(2, |byte| *byte == 0);
    let text = String::from_utf8_lossy(parts.next().unwrap_or_default());
    let words = parts.next().unwrap_or_default().chunks_exact(2);
    let words: Vec<u16> = words
        .map(|pair| u16::from_be_bytes([pair[0], pair[1]]))
        .collect();
    let Ok(map) = parse_map("fuzzed.toml", &text) else {
        return;
    };
    let all = (0..map.registers.len()).collect();
    for block in plan(&map.registers, &all, &BTreeSet::new(), &map.limits) {
        assert!(block.count <= map.limits.max_block);
    }
    for register in &map.registers {
        let width = usize::from(register.encoding.kind.width());
        for words in words.chunks(width) {
            let good = decode_register(register, words).good();
            assert!(good.is_none_or(f64::is_finite), "{register:?} {words:?}");
        }
    }
}

/// A message with a JSON document, as the example's map wants it.
pub fn document(data: &[u8]) {
    static MAP: LazyLock<MessageMap> = LazyLock::new(|| {
        let text = include_str!("../../config/messages/string-inverter.toml");
        parse_message_map("example", text).expect("the example is right")
    });
    for topic in ["", "earth"] {
        let Ok((at, parts)) = parts(&MAP, topic, data) else {
            continue;
        };
        assert!(parts.is_empty() || at.is_some(), "the map wants a time");
        assert!(parts.len() <= MAP.values.len());
        for part in parts {
            assert!(part.value.good().is_none_or(f64::is_finite), "{part:?}");
        }
    }
}

/// A life of an edge node: each message begins with what it is and how long it is.
pub fn sparkplug(data: &[u8]) {
    let mut node = EdgeNode::default();
    let mut left = data;
    while let [kind, length, rest @ ..] = left {
        let (message, more) = rest.split_at(usize::from(*length).min(rest.len()));
        left = more;
        let verb = [Verb::Birth, Verb::Data, Verb::Death][usize::from(kind % 3)];
        let device = (kind & 0x80 != 0).then_some("device");
        if let Ok((_, odd)) = node.take(verb, device, message) {
            assert!(odd.len() <= 2, "{odd:?}");
        }
    }
}

fn block_on(future: impl Future<Output = ()>) {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_time()
        .start_paused(true)
        .build();
    runtime.expect("a runtime without sockets").block_on(future);
}
