//! Intervals of counts: of a rate from a number of events, of a share from a number of hits.
//!
//! Model:   Poisson, exact: from chi2(0.025; 2k)/2 to chi2(0.975; 2k+2)/2, which are the means with
//!          which k or more, and k or fewer, events have a probability of 2.5 %; found by halving.
//!          Binomial, exact (Clopper, Pearson): the shares with which k or more, and k or fewer, of n
//!          have 2.5 %.
//! Range:   k up to some thousands.
//! Source:  F. Garwood, Biometrika 28 (1936); C. Clopper and E. Pearson, Biometrika 26 (1934); the
//!          formulas from memory.
//! Check:   tests/campaign/statistics.rs: Garwood's table for 0, 1 and 10 events, Clopper and Pearson
//!          for 0 and 5 of 10.

/// An interval with its ends.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Between {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

const TAIL: f64 = 0.025;
const HALVINGS: u32 = 60;

/// Mean number of events, given so many.
pub fn poisson_95(events: u32) -> Between {
    let k = f64::from(events);
    let most = 20.0 + 2.0 * k + 10.0 * k.sqrt();
    Between {
        low: if events == 0 {
            0.0
        } else {
            // P(X >= k) = 1 - P(X <= k - 1) rises with the mean.
            halve(0.0, most, |mean| {
                1.0 - poisson_up_to(events - 1, mean) < TAIL
            })
        },
        high: halve(0.0, most, |mean| poisson_up_to(events, mean) > TAIL),
    }
}

/// Share, given so many hits of so many.
pub fn share_95(hits: u32, of: u32) -> Between {
    Between {
        low: if hits == 0 {
            0.0
        } else {
            halve(0.0, 1.0, |p| 1.0 - binomial_up_to(hits - 1, of, p) < TAIL)
        },
        high: if hits == of {
            1.0
        } else {
            halve(0.0, 1.0, |p| binomial_up_to(hits, of, p) > TAIL)
        },
    }
}

/// Where `below` turns from true to false.
fn halve(mut low: f64, mut high: f64, below: impl Fn(f64) -> bool) -> f64 {
    for _ in 0..HALVINGS {
        let middle = f64::midpoint(low, high);
        if below(middle) {
            low = middle;
        } else {
            high = middle;
        }
    }
    f64::midpoint(low, high)
}

fn poisson_up_to(k: u32, mean: f64) -> f64 {
    let mut log_term = -mean;
    let mut sum = log_term.exp();
    for n in 1..=k {
        log_term += (mean / f64::from(n)).ln();
        sum += log_term.exp();
    }
    sum
}

fn binomial_up_to(k: u32, n: u32, p: f64) -> f64 {
    let (log_p, log_q) = (p.ln(), (1.0 - p).ln());
    let mut log_choose = 0.0;
    let mut sum = 0.0;
    for i in 0..=k {
        if i > 0 {
            log_choose += (f64::from(n - i + 1) / f64::from(i)).ln();
        }
        sum += (log_choose + f64::from(i) * log_p + f64::from(n - i) * log_q).exp();
    }
    sum
}
