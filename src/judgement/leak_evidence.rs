//! From what a leak seems to take from a reed to evidence, size and interval.

use super::leak_size;
use super::scatter::Estimate;

/// The losses that stand for all sizes of leak, dB, equally likely: 0.3 to 5 of the opening.
pub(crate) const SIZES_DB: [f64; 6] = [0.8, 1.7, 2.8, 4.0, 5.0, 6.5];
/// The gains of a leak behind a flatter partner, dB (two-reed model: up to 1.7).
const GAINS_DB: [f64; 3] = [0.6, 1.1, 1.7];
/// Plates differ in what a leak of one size takes, as a share of it (two-reed model).
const PLATES_DIFFER: f64 = 0.2;

/// From this many times the usual share of leaking valves on, standard deviations for the logarithm of it, up to a bound
/// (`tests/rooms/judgement/whole_blocks.rs`, a third leaking).
const COMMON_FROM: f64 = 2.0;
const COMMON_COUNTS: f64 = 0.35;
const COMMON_AT_MOST: f64 = 0.4;

/// What the signs of an ordinary pass say of a leak behind a valve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LeakEvidence {
    /// Log-likelihood ratio, natural logarithm, of a leak against a tight valve, sizes of leak averaged over.
    pub evidence: f64,
    /// The likeliest size, as a share of the opposite tongue's opening at rest; `None` where nothing points to a leak.
    pub size: Option<f64>,
    /// The lower end of the 95 % interval of the size; 0 where a tight valve is among what may be.
    pub low: Option<f64>,
    /// The upper end; `None` where no size can be left out.
    pub high: Option<f64>,
    /// Place in the order to look, 1 first; `None` where nothing points to a leak.
    pub rank: Option<u32>,
}

impl LeakEvidence {
    /// The word for the unit of its sizes in JSON and CSV.
    pub const UNIT: &str = "share_of_opening";
    /// Nothing known from the ordinary pass.
    pub(crate) const NONE: Self = Self { evidence: 0.0, size: None, low: None, high: None, rank: None };
}

/// Log-likelihood ratio of a loss of `size` dB against none, where `loss` ± `sd` was found.
pub(crate) fn ratio(loss: f64, sd: f64, size: f64) -> f64 {
    (loss * size - 0.5 * size * size) / (sd * sd)
}

impl Estimate {
    /// Evidence, size and interval; the rank is given later.
    pub(crate) fn leak(&self) -> LeakEvidence {
        let sd = self.sd * self.widened();
        let weaker = mean_exp(&SIZES_DB.map(|size| ratio(self.loss, sd, size)));
        let stronger = self
            .gain
            .map(|(gain, sd)| mean_exp(&GAINS_DB.map(|size| ratio(gain, sd * self.widened(), size))));
        let evidence = stronger.map_or(weaker, |stronger| mean_exp(&[weaker, stronger]));
        if stronger.is_some_and(|stronger| stronger > weaker && stronger > 0.0) {
            // Behind a flatter partner gains do not grow with the leak: it may be any size.
            return LeakEvidence { evidence, size: None, low: None, high: None, rank: None };
        }
        let half = 1.96 * sd.hypot(PLATES_DIFFER * self.loss.max(0.0));
        LeakEvidence {
            evidence,
            size: (self.loss > 0.0).then(|| leak_size::of_loss(self.loss).unwrap_or(leak_size::LARGEST)),
            low: Some(leak_size::of_loss(self.loss - half).unwrap_or(leak_size::LARGEST)),
            high: leak_size::of_loss(self.loss + half),
            rank: None,
        }
    }

    /// How far the signs lie towards a leak, in standard deviations of a tight plate, few plates allowed for.
    pub(crate) fn deviations(&self) -> f64 {
        let weaker = self.normal(self.loss / self.sd);
        // Two ways to look are two chances to err.
        let toward = self.gain.map_or(weaker, |(gain, sd)| weaker.max(self.normal(gain / sd)) - 0.25);
        // Where many valves of a block leak, the next one is likelier to, and their scatter has widened the block's.
        toward + (COMMON_COUNTS * (self.commonness / COMMON_FROM).ln()).clamp(0.0, COMMON_AT_MOST)
    }

    /// Student's deviate with the scatter's freedom as a normal one (Wallace 1959, from memory).
    fn normal(&self, t: f64) -> f64 {
        let n = self.freedom.max(1.0);
        t.signum() * (8.0 * n + 1.0) / (8.0 * n + 3.0) * (n * (t * t / n).ln_1p()).sqrt()
    }

    /// What few plates widen an interval by.
    pub(crate) fn widened(&self) -> f64 {
        let n = self.freedom.max(3.0);
        1.0 + 1.25 / n
    }
}

/// Logarithm of the mean of the exponentials.
fn mean_exp(values: &[f64]) -> f64 {
    let largest = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    largest + (values.iter().map(|value| (value - largest).exp()).sum::<f64>() / values.len() as f64).ln()
}
