//! Noise for the tests of detectors, the same on every machine.

/// Even numbers between -1 and 1 that repeat (Lehmer, 48271 modulo 2^31 - 1).
pub fn noise(seed: u64, n: usize) -> f64 {
    let mut z = (seed * 7919 + n as u64 * 104_729 + 1) % 2_147_483_647;
    for _ in 0..4 {
        z = z * 48_271 % 2_147_483_647;
    }
    2.0 * z as f64 / 2_147_483_647.0 - 1.0
}
