//! Every decoder on its corpus and on mutations of it: a short, seeded run of what `tests/fuzz` does for
//! as long as one likes. What a fuzzer finds joins the corpus.

use fastrand::Rng;
use std::fs;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;
use tests::fuzz::{TARGETS, Target};

/// Mutations of each target.
const MUTATIONS: u32 = 30_000;
const SEED: u64 = 1;
/// Bytes that stand at edges.
const EDGES: [u8; 6] = [0, 1, 0x7F, 0x80, 0xFE, 0xFF];

fn corpus(name: &str) -> Vec<Vec<u8>> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fuzz/corpus")
        .join(name);
    let mut files: Vec<_> = fs::read_dir(&folder)
        .expect("each target has a corpus")
        .map(|entry| entry.expect("listed").path())
        .collect();
    files.sort();
    assert!(files.len() > 1, "{}: too few to mutate", folder.display());
    files
        .iter()
        .map(|file| fs::read(file).expect("readable"))
        .collect()
}

fn run((name, target): Target, data: &[u8]) {
    let outcome = catch_unwind(AssertUnwindSafe(|| target(data)));
    assert!(
        outcome.is_ok(),
        "{name} fails on {} (as the text of a corpus file: {:?})",
        data.iter()
            .map(|byte| format!("{byte:02x}"))
            .collect::<String>(),
        String::from_utf8_lossy(data)
    );
}

/// One to four changes: a byte set or moved, a part cut out, doubled, or taken from another file.
fn mutated(rng: &mut Rng, from: &[u8], other: &[u8]) -> Vec<u8> {
    let mut data = from.to_vec();
    for _ in 0..rng.u8(1..=4) {
        let at = rng.usize(..=data.len());
        let span = |rng: &mut Rng, length: usize| rng.usize(..=length.min(16));
        match rng.u8(..6) {
            0 if at < data.len() => data[at] = rng.u8(..),
            1 if at < data.len() => data[at] = EDGES[rng.usize(..EDGES.len())],
            2 if at < data.len() => data[at] ^= 1 << rng.u8(..8),
            3 => {
                let end = at + span(rng, data.len() - at);
                data.drain(at..end);
            }
            4 => {
                let end = at + span(rng, data.len() - at);
                let part = data[at..end].to_vec();
                data.splice(at..at, part);
            }
            _ => {
                let start = rng.usize(..=other.len());
                let end = start + span(rng, other.len() - start);
                data.splice(at..at, other[start..end].iter().copied());
            }
        }
    }
    data
}

#[test]
fn decoders_stand_their_corpus_and_its_mutations() {
    for target in TARGETS {
        let corpus = corpus(target.0);
        for data in &corpus {
            run(target, data);
        }
        let mut rng = Rng::with_seed(SEED);
        for _ in 0..MUTATIONS {
            let one = &corpus[rng.usize(..corpus.len())];
            let other = &corpus[rng.usize(..corpus.len())];
            run(target, &mutated(&mut rng, one, other));
        }
    }
}
