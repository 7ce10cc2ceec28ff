//! Counting what was found: exact binomial intervals, root mean squares, quantiles; and runs over many seeds.

use rayon::prelude::*;
use std::fmt;

/// So many hits in so many trials.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rate {
    /// How many times it came true.
    pub hits: usize,
    /// Out of how many.
    pub trials: usize,
}

impl Rate {
    /// Count the trials that came true.
    pub fn of(trials: impl IntoIterator<Item = bool>) -> Self {
        trials.into_iter().fold(Self { hits: 0, trials: 0 }, |r, hit| Self {
            hits: r.hits + usize::from(hit),
            trials: r.trials + 1,
        })
    }

    /// Hits over trials; 0 of 0 is 0, so that an empty run passes no test for a rate.
    pub fn value(self) -> f64 {
        self.hits as f64 / self.trials.max(1) as f64
    }

    /// Exact interval of Clopper and Pearson (1934) that leaves `outside` out, half on either side.
    pub fn interval(self, outside: f64) -> (f64, f64) {
        let low = if self.hits == 0 {
            0.0
        } else {
            // P(X ≥ hits) rises with p.
            bisect(|p| 1.0 - below_or_at(self.hits - 1, self.trials, p) - 0.5 * outside)
        };
        let high = if self.hits == self.trials {
            1.0
        } else {
            bisect(|p| 0.5 * outside - below_or_at(self.hits, self.trials, p))
        };
        (low, high)
    }
}

impl fmt::Display for Rate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (low, high) = self.interval(0.05);
        write!(f, "{:.4} ({low:.4}..{high:.4}), {} of {}", self.value(), self.hits, self.trials)
    }
}

/// P(X ≤ k) of n trials with probability p.
fn below_or_at(k: usize, n: usize, p: f64) -> f64 {
    if p <= 0.0 {
        return 1.0;
    }
    if p >= 1.0 {
        return if k >= n { 1.0 } else { 0.0 };
    }
    let (log_p, log_q) = (p.ln(), (1.0 - p).ln());
    let mut log_choose = 0.0;
    let mut sum = 0.0;
    for i in 0..=k.min(n) {
        if i > 0 {
            log_choose += ((n - i + 1) as f64 / i as f64).ln();
        }
        sum += (log_choose + i as f64 * log_p + (n - i) as f64 * log_q).exp();
    }
    sum.min(1.0)
}

/// Where a rising function of 0..1 crosses 0.
fn bisect(f: impl Fn(f64) -> f64) -> f64 {
    let (mut lo, mut hi) = (0.0, 1.0);
    for _ in 0..60 {
        let middle = 0.5 * (lo + hi);
        if f(middle) < 0.0 { lo = middle } else { hi = middle }
    }
    0.5 * (lo + hi)
}

/// Root of the mean square.
pub fn rms(values: &[f64]) -> f64 {
    (values.iter().map(|v| v * v).sum::<f64>() / values.len().max(1) as f64).sqrt()
}

/// The value below which this part of the values lies, straight between neighbours; NaN of nothing, which fails
/// every comparison.
pub fn quantile(values: &[f64], part: f64) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let Some(last) = sorted.len().checked_sub(1) else { return f64::NAN };
    let at = part.clamp(0.0, 1.0) * last as f64;
    let low = at as usize;
    let high = (low + 1).min(last);
    // Readings that failed count as infinite errors, between which nothing can be interpolated.
    if sorted[low] == sorted[high] {
        return sorted[low];
    }
    sorted[low] + (at - low as f64) * (sorted[high] - sorted[low])
}

/// One result per seed, in the order of the seeds, on as many threads as there are.
pub fn over_seeds<T: Send>(first: u64, count: u64, trial: impl Fn(u64) -> T + Sync + Send) -> Vec<T> {
    (first..first + count).into_par_iter().map(trial).collect()
}

/// How many trials of `full` are run: a quarter, or `least` where a quarter would not show what is stated; all with
/// `PLATENOTE_TRIALS=full`. The trials of a short run are the first ones of a full run.
pub fn trials(full: u64, least: u64) -> u64 {
    let is_full = std::env::var("PLATENOTE_TRIALS").is_ok_and(|wish| wish == "full");
    if is_full { full } else { full.div_ceil(4).max(least).min(full) }
}
