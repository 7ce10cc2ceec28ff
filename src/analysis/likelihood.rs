//! How likely the lines of a possible second series are, for every spectrum that an opposite tongue may have.
//!
//! Each line's power over background is exponential; with a second reed its mean grows by the reed's share. The spectrum has
//! a strength, a slope and a last partial; all three are unknown.

use super::sidebands::Look;

/// The opposite reed's partials scatter about its slope: three points of a normal distribution stand for it, so many half
/// steps of the strengths apart (7 dB: the nodes of a deviation of 4 dB, Gauss-Hermite).
const HALF_STEP_DB: f64 = 3.5;
/// Strengths tried re the sounding reed, in half steps, -66.5 to +10.5 dB: a weaker tone
/// is no leak, and the rest of a swell leaves such.
const FIRST_STEP: i32 = -19;
const STEPS: usize = 23;
/// How a softly driven tongue's spectrum may fall against the played reed's, dB an octave: from alike to nearly all fundamental.
const SLOPES_DB: [f64; 5] = [0.0, -6.0, -12.0, -18.0, -24.0];
/// Logarithm of the odds against each of these slopes, and against an end at each of some forty partials, before anything is
/// heard: one of five, and one half for all ends together.
const SLOPE_ODDS: f64 = 1.6;
const END_ODDS: f64 = 4.4;
/// Share of lines that carry something that is no second reed.
const STRAY_SHARE: f64 = 0.01;
/// Largest logarithm of a likelihood ratio that is added up.
const MOST_LOG: f64 = 500.0;

/// One line of a possible second series.
pub(super) struct SeriesLine {
    /// Its number in the series.
    pub number: usize,
    /// Squared amplitude of the sounding reed's partial of that number.
    pub reference: f64,
    /// What is seen at its place; `None` where nothing can be seen.
    pub look: Option<Look>,
}

/// The spectrum of a second series against the sounding reed's.
#[derive(Clone, Copy, Debug)]
pub(super) struct Spectrum {
    /// Power ratio at the first partial.
    strength: f64,
    /// Fall, dB an octave.
    slope_db: f64,
    /// The last partial.
    last: usize,
}

impl Spectrum {
    /// Whether the series goes as far as this partial.
    pub fn reaches(&self, number: usize) -> bool {
        number <= self.last
    }

    /// Power ratio at a partial.
    pub fn at(&self, number: usize) -> f64 {
        if !self.reaches(number) {
            return 0.0;
        }
        self.strength * 10f64.powf(0.1 * self.slope_db * (number as f64).log2())
    }
}

/// Power ratio of a step of the strengths; two more lie at either end for the scatter.
fn strength(step: usize) -> f64 {
    10f64.powf(0.1 * HALF_STEP_DB * f64::from(FIRST_STEP + step as i32))
}

/// Logarithm of the likelihood ratio of one line at each strength.
fn gains(look: Look, strengths: &[f64], gains: &mut [f64; STEPS]) {
    let mut likelihoods = [0.0; STEPS + 4];
    for (likelihood, strength) in likelihoods.iter_mut().zip(strengths) {
        let s = 1.0 + strength * look.yield_at_unity;
        *likelihood = (-look.excess / s).exp() / s;
    }
    // A line that neither a reed nor chance explains says nothing: the same stray share with and without one.
    let stray = STRAY_SHARE * stray_density(look.excess);
    let without = (1.0 - STRAY_SHARE) * (-look.excess).exp() + stray;
    for (gain, points) in gains.iter_mut().zip(likelihoods.windows(5)) {
        if let [weak, _, middle, _, strong] = points {
            *gain = (((1.0 - STRAY_SHARE) * (weak + 4.0 * middle + strong) / 6.0 + stray) / without).ln();
        }
    }
}

/// The strengths with two more at either end.
fn strengths() -> Vec<f64> {
    (0..STEPS + 4).map(|i| 10f64.powf(0.1 * HALF_STEP_DB * f64::from(FIRST_STEP + i as i32 - 2))).collect()
}

/// How many steps weaker a line is than the first one.
fn steps_down(slope_db: f64, number: usize) -> usize {
    (-slope_db * (number as f64).log2() / HALF_STEP_DB).round() as usize
}

/// Log-likelihood ratio against no second series, at the spectrum that explains the lines best, less the odds against it.
///
/// Lines beyond the series' end say nothing of it.
pub(super) fn best_spectrum(lines: &[SeriesLine]) -> (f64, Option<Spectrum>) {
    let strengths = strengths();
    let mut gain = [0.0; STEPS];
    let mut sums = [[0.0; STEPS]; SLOPES_DB.len()];
    let mut best = (0.0, None);
    let last_seen = lines.iter().filter(|line| line.look.is_some()).map(|line| line.number).max();
    for line in lines {
        let Some(look) = line.look else { continue };
        gains(look, &strengths, &mut gain);
        let is_last = Some(line.number) == last_seen;
        for (slope_db, sums) in SLOPES_DB.iter().zip(&mut sums) {
            // Lines weaker than the weakest strength tried say nothing.
            for (sum, gain) in sums.iter_mut().skip(steps_down(*slope_db, line.number)).zip(&gain) {
                *sum += gain;
            }
            let odds = if is_last { 0.0 } else { END_ODDS } + if *slope_db == 0.0 { 0.0 } else { SLOPE_ODDS };
            for (step, sum) in sums.iter().enumerate() {
                if sum - odds > best.0 {
                    let last = if is_last { usize::MAX } else { line.number };
                    let spectrum = Spectrum { strength: strength(step), slope_db: *slope_db, last };
                    best = (sum - odds, Some(spectrum));
                }
            }
        }
    }
    best
}

/// How the power of a second series is distributed once its lines have been looked at.
pub(super) struct PowerPosterior {
    /// Weight at each level from `LOWEST_DB` on.
    weights: Vec<f64>,
}

/// Ends of the series for which its power is told: closer together than an octave's half, so that none lies far from one of them.
const ENDS: [usize; 10] = [1, 2, 3, 4, 6, 8, 12, 16, 24, 32];
/// The upper of three points of a normal distribution, and the weight of the others (Gauss-Hermite).
const UPPER_DEVIATIONS: f64 = 1.732;
const MIDDLE: f64 = 5.0 / 6.0;
/// Weight of all half steps below the weakest strength against that one, even in amplitude: 1 / (10^(3.5/20) - 1).
const STEPS_BELOW: f64 = 2.0;
/// Levels told apart, dB.
const LOWEST_DB: f64 = -130.0;
const LEVEL_STEP_DB: f64 = 0.5;
const LEVELS: usize = 300;

impl PowerPosterior {
    /// Before any place has been looked at.
    pub fn new() -> Self {
        Self { weights: vec![0.0; LEVELS] }
    }

    /// Add what the lines at one place say, with the place's own weight; powers are told over `unit`.
    ///
    /// The prior of the strength is even in amplitude, so that it is the sound and not the prior that bounds it from above.
    /// A place counts by the likeliest spectrum there, none at all included: by the whole of its strengths a place where little
    /// can be seen, such as nearly at unison, would outweigh all that were looked at and found empty.
    /// A line that is seen has, for each spectrum, the power that it shows, to within its noise; one that is hidden what the
    /// spectrum gives it.
    pub fn add(&mut self, lines: &[SeriesLine], weight: f64, unit: f64) {
        let strengths = strengths();
        let mut gain = [0.0; STEPS];
        // Mean and variance of the power.
        let mut power = [(0.0, 0.0); STEPS];
        let mut sums = [[(0.0, 0.0, 0.0); STEPS]; SLOPES_DB.len()];
        let ends = ENDS.len() as f64;
        // Weaker than all that is tried: the sound may exclude every strength, and then this is what is left.
        let whole: f64 = lines.iter().map(|line| line.reference).sum();
        let below = SLOPES_DB.len() as f64 * STEPS_BELOW * strengths[2].sqrt();
        let mut here = Self::new();
        let mut likeliest: f64 = 0.0;
        here.put(strengths[2] * whole / unit, below);
        for (idx, line) in lines.iter().enumerate() {
            match line.look {
                Some(look) => {
                    gains(look, &strengths, &mut gain);
                    let noise = line.reference / look.yield_at_unity;
                    for (power, strength) in power.iter_mut().zip(&strengths[2..]) {
                        let share = strength * look.yield_at_unity;
                        let share = share / (1.0 + share);
                        *power = (
                            noise * share * (share * look.excess + 1.0),
                            (noise * share).powi(2) * (2.0 * share * look.excess + 1.0),
                        );
                    }
                }
                None => {
                    gain = [0.0; STEPS];
                    for (power, strength) in power.iter_mut().zip(&strengths[2..]) {
                        *power = (strength * line.reference, 0.0);
                    }
                }
            }
            // One half for all ends together.
            let at_end = match idx + 1 == lines.len() {
                true => 0.5,
                false if ENDS.contains(&line.number) => 0.5 / ends,
                false => 0.0,
            };
            for (slope_db, sums) in SLOPES_DB.iter().zip(&mut sums) {
                let down = steps_down(*slope_db, line.number);
                for ((sum, mean, variance), (gain, power)) in
                    sums.iter_mut().skip(down).zip(gain.iter().zip(&power))
                {
                    *sum += gain;
                    *mean += power.0;
                    *variance += power.1;
                }
                if at_end == 0.0 {
                    continue;
                }
                for ((sum, mean, variance), strength) in sums.iter().zip(&strengths[2..]) {
                    let share = at_end * f64::sqrt(*strength) * sum.min(MOST_LOG).exp();
                    likeliest = likeliest.max(*sum);
                    here.put(mean / unit, MIDDLE * share);
                    here.put((mean + UPPER_DEVIATIONS * variance.sqrt()) / unit, (1.0 - MIDDLE) * share);
                }
            }
        }
        self.join(&here, weight * likeliest.min(MOST_LOG).exp());
    }

    /// Add another one, scaled to a total.
    fn join(&mut self, other: &Self, total: f64) {
        let scale = total / other.weights.iter().sum::<f64>().max(1e-300);
        self.weights.iter_mut().zip(&other.weights).for_each(|(own, weight)| *own += scale * weight);
    }

    fn put(&mut self, ratio: f64, weight: f64) {
        let level = 10.0 * ratio.max(1e-30).log10();
        let at = ((level - LOWEST_DB) / LEVEL_STEP_DB).clamp(0.0, LEVELS as f64 - 1.0) as usize;
        self.weights[at] += weight;
    }

    /// The power ratio that is exceeded with this probability.
    pub fn exceeded_with(&self, probability: f64) -> f64 {
        let total: f64 = self.weights.iter().sum();
        let mut above = 0.0;
        let mut at = LEVELS;
        while at > 0 && above + self.weights[at - 1] <= probability * total {
            at -= 1;
            above += self.weights[at];
        }
        10f64.powf(0.1 * (LOWEST_DB + LEVEL_STEP_DB * at as f64))
    }
}

/// Density of the power of a stray line over the background: flat in the logarithm over many decades.
fn stray_density(excess: f64) -> f64 {
    let x = 1.0 + excess;
    // 1 / (x (1 + ln x)²) integrates to 1 from 0 to infinity.
    1.0 / (x * (1.0 + x.ln()).powi(2))
}
