//! Noise that is the same at the same time, whatever was asked before.
//! Never in here: a generator with a state.

/// Evenly between 0 and 1, by a seed and what it is for: the finaliser of SplitMix64 (public
/// domain; from memory, only its evenness matters here).
pub fn uniform(seed: u64, what: u64) -> f64 {
    let mut z = seed
        .wrapping_mul(0x9E37_79B9_7F4A_7C15)
        .wrapping_add(what.wrapping_mul(0xD1B5_4A32_D192_ED03));
    for _ in 0..2 {
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^= z >> 31;
    }
    (z >> 11) as f64 / (1_u64 << 53) as f64
}

/// About normal with mean 0 and standard deviation 1: the sum of four even ones.
pub fn normal(seed: u64, what: u64) -> f64 {
    let sum: f64 = (0..4).map(|i| uniform(seed ^ (i << 60), what)).sum();
    (sum - 2.0) * 3.0_f64.sqrt()
}
