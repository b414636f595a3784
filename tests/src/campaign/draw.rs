//! Numbers drawn one after the other from a seed: the same seed gives the same plant on any machine
//! and with any number of threads.
//! Never in here: what is drawn.

/// SplitMix64 with the usual constants (public domain; from memory, only its evenness matters here).
#[derive(Debug, Clone)]
pub struct Draw {
    state: u64,
}

impl Draw {
    /// Stream number `stream` of a seed.
    pub fn new(seed: u64, stream: u64) -> Self {
        let mut draw = Self {
            state: seed ^ stream.wrapping_mul(0xD1B5_4A32_D192_ED03),
        };
        // Neighbouring seeds part ways.
        draw.state = draw.bits() ^ stream.rotate_left(32);
        draw
    }

    /// The next 64 bits.
    pub fn bits(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// Evenly between 0 and 1, without 1.
    pub fn uniform(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Evenly between two numbers.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.uniform()
    }

    /// Between two positive numbers, evenly in the logarithm.
    pub fn log_between(&mut self, low: f64, high: f64) -> f64 {
        self.between(low.ln(), high.ln()).exp()
    }

    /// True so often.
    pub fn chance(&mut self, probability: f64) -> bool {
        self.uniform() < probability
    }

    /// A whole number from `low` to `high`, both included.
    pub fn whole(&mut self, low: i64, high: i64) -> i64 {
        low + (self.uniform() * (high - low + 1) as f64) as i64
    }

    /// One of several.
    pub fn pick<T: Copy>(&mut self, of: &[T]) -> T {
        of[self.whole(0, of.len() as i64 - 1) as usize]
    }

    /// Normal with mean 0 and standard deviation 1 (Box and Muller).
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.uniform()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.uniform()).cos()
    }

    /// Normal, drawn again while it is farther than `most` standard deviations from the mean.
    pub fn normal_within(&mut self, most: f64) -> f64 {
        loop {
            let drawn = self.normal();
            if drawn.abs() <= most {
                return drawn;
            }
        }
    }
}
