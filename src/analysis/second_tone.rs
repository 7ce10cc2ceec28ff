//! The opposite reed in the steady tone: a second series at one distance in cents, judged by all partials together.

use std::rc::Rc;

use rustfft::num_complex::Complex;

use super::sidebands::{Line, Look};

/// The opposite reed's partials scatter about the sounding reed's by this much, dB: three points stand for it.
const SCATTER_DB: f64 = 7.0;
/// Strengths tried re the sounding reed, in half steps of the scatter, so that neighbours share their points.
const STRENGTHS: std::ops::RangeInclusive<i32> = -26..=3;
/// Share of lines that carry something that is no second reed.
const STRAY_SHARE: f64 = 0.03;
/// Mains frequencies and how far they and their harmonics may stray, Hz per harmonic; harmonics looked out for.
const MAINS_HZ: [f64; 2] = [50.0, 60.0];
const MAINS_STRAY_HZ: f64 = 0.12;
const MAINS_HARMONICS: f64 = 12.0;
/// Share of its mean power that a line shows in the unlucky cases of the limit.
const UNLUCKY_SHARE: f64 = 0.2;
/// A partial carries the series when it would stand so far over the background, power ratio.
const CARRIED: f64 = 2.0;
/// The top of a line is looked for from points so far to either side of its place, cycles over the stretch.
const TOP_CYCLES: f64 = 0.3;
/// Candidates looked at closely.
const CANDIDATES: usize = 16;
/// The best of them, from which the top is climbed.
const CLIMBS: usize = 3;
/// Half width of the offset's interval in standard errors: 1.96 for lines that err alone; a room moves neighbouring lines
/// together, and the sweep over natural takes asks for this.
const OFFSET_95: f64 = 3.3;
/// A room and its own slow course pull each line by this much, cycles over the stretch.
const OWN_CYCLES: f64 = 0.03;
/// Rounds of moving to where the lines lie.
const PLACING_ROUNDS: usize = 6;
/// One line adds no more than this to the first look: no single line makes a candidate.
const FIRST_LOOK_CAP: f64 = 12.0;
/// Strength for which the first look is weighted, power ratio (-40 dB).
const FIRST_LOOK_STRENGTH: f64 = 1e-4;

/// A second series that was looked for.
#[derive(Clone, Copy, Debug)]
pub(super) struct Found {
    /// Distance from the sounding reed, cents.
    pub cents: f64,
    /// Half the 95 % interval of that from the noise, cents.
    pub cents_uncertainty: f64,
    /// Log-likelihood ratio against no second series.
    pub evidence: f64,
    /// Power of the series re the sounding reed's.
    pub power_ratio: f64,
}

/// Lines and the rule that ties a distance in cents to a distance in Hz on each.
pub(super) struct Search {
    /// The lines.
    pub lines: Rc<Vec<Line>>,
    /// Which of them belong to the series.
    pub belongs: fn(usize) -> bool,
    /// Pitch of the series at `origin_cents`, Hz.
    pub origin_hz: f64,
    /// Distance of that from the sounding reed, cents.
    pub origin_cents: f64,
    /// Whether the series' partials are like the sounding reed's; else it has a spectrum of its own.
    pub is_alike: bool,
    /// Length of the stretch, s.
    pub length_s: f64,
    /// Power of all lines of the series, were each as strong as the sounding reed's spectrum there.
    pub reference_power: f64,
    /// Power of the sounding reed.
    pub sounding_power: f64,
}

impl Search {
    /// How far the fundamental of a series at `cents` lies from the origin, Hz; its `k`-th line lies `k` times as far.
    fn distance_hz(&self, cents: f64) -> f64 {
        self.origin_hz * (((cents - self.origin_cents) / 1200.0).exp2() - 1.0)
    }

    fn looks(&self, cents: f64) -> impl Iterator<Item = (&Line, Look)> {
        let apart = self.distance_hz(cents);
        self.lines.iter().filter(|line| (self.belongs)(line.number)).filter_map(move |line| {
            let distance = line.number as f64 * apart;
            if self.is_mains(line.number as f64 * self.origin_hz + distance) {
                return None;
            }
            Some((line, line.look(distance)?))
        })
    }

    /// Whether a frequency may be mains hum, which no reed can be told from.
    fn is_mains(&self, hz: f64) -> bool {
        // Beyond the harmonics looked out for there is nothing to ask.
        hz < (MAINS_HARMONICS + 0.5) * MAINS_HZ[1]
            && MAINS_HZ.iter().any(|mains| {
                let harmonic = (hz / mains).round();
                harmonic <= MAINS_HARMONICS
                    && (hz - harmonic * mains).abs() < MAINS_STRAY_HZ * harmonic + 1.5 / self.length_s
            })
    }

    /// Step in cents that moves the highest line by a third of a cycle over the stretch.
    pub fn step_cents(&self) -> f64 {
        let highest = self.lines.iter().map(|line| line.number).max().unwrap_or(1) as f64;
        (0.33 / self.length_s / highest / self.origin_hz * 1200.0 / std::f64::consts::LN_2).max(1e-4)
    }

    /// The best second series between two distances, in cents.
    pub fn best(&self, low: f64, high: f64) -> Option<Found> {
        let step = self.step_cents();
        let steps = (((high - low) / step).ceil() as usize).clamp(1, 60_000);
        let step = (high - low) / steps as f64;
        let first: Vec<f64> = (0..=steps)
            .map(|i| {
                self.looks(low + i as f64 * step)
                    .map(|(_, look)| {
                        let strength = FIRST_LOOK_STRENGTH * look.yield_at_unity;
                        (look.excess.min(FIRST_LOOK_CAP) - 1.0) * strength / (1.0 + strength)
                    })
                    .sum()
            })
            .collect();
        let mut peaks: Vec<usize> = (0..=steps)
            .filter(|&i| (i == 0 || first[i] >= first[i - 1]) && (i == steps || first[i] > first[i + 1]))
            .collect();
        peaks.sort_by(|a, b| first[*b].total_cmp(&first[*a]));
        peaks.truncate(CANDIDATES);
        let mut starts: Vec<(f64, f64, f64)> = peaks
            .into_iter()
            .map(|peak| {
                let cents = low + peak as f64 * step;
                let (evidence, strength) = self.evidence(cents, 1);
                (cents, evidence, strength)
            })
            .collect();
        starts.sort_by(|a, b| b.1.total_cmp(&a.1));
        starts.truncate(CLIMBS);
        let (cents, evidence, strength) = starts
            .into_iter()
            .map(|start| self.climb(start, 0.5 * step, low, high))
            .max_by(|a, b| a.1.total_cmp(&b.1))?;
        let (cents, cents_uncertainty) = self.place(cents, strength);
        let cents = cents.clamp(low, high);
        Some(Found { cents, cents_uncertainty, evidence, power_ratio: self.level(cents, strength) })
    }

    /// Climb to the top with ever smaller steps: distance, evidence, strength.
    fn climb(&self, start: (f64, f64, f64), step: f64, low: f64, high: f64) -> (f64, f64, f64) {
        let (mut cents, mut evidence, mut strength) = start;
        let mut nudge = step;
        while nudge > 0.005 * step {
            let tried = [cents - nudge, cents + nudge]
                .map(|cents| cents.clamp(low, high))
                .map(|cents| (cents, self.evidence(cents, 1)));
            match tried.into_iter().filter(|(_, (e, _))| *e > evidence).max_by(|a, b| a.1.0.total_cmp(&b.1.0))
            {
                Some((c, (e, s))) => (cents, evidence, strength) = (c, e, s),
                None => nudge *= 0.4,
            }
        }
        (cents, evidence, strength)
    }

    /// Where the lines themselves lie, near `cents`, and half the 95 % interval of that.
    ///
    /// The likelihood asks how strong a line is; for strong lines its top is flat, and their own tops tell the place.
    fn place(&self, mut cents: f64, strength: f64) -> (f64, f64) {
        let mut error = 1.96 * self.step_cents() * 5.0;
        for _ in 0..PLACING_ROUNDS {
            let tops = self.tops(cents, strength);
            let Some((mean, spread)) = weighted_mean(&tops) else { break };
            cents += mean;
            error = OFFSET_95 * spread + mean.abs();
            if mean.abs() < 0.02 * spread {
                break;
            }
        }
        (cents, error)
    }

    /// How far each line's top lies from `cents`, with the variance of that, cents.
    fn tops(&self, cents: f64, strength: f64) -> Vec<(f64, f64)> {
        let top = |(line, look): (&Line, Look)| {
            if strength * look.yield_at_unity < 4.0 || look.excess < 8.0 {
                return None;
            }
            let per_hz = 1200.0 / std::f64::consts::LN_2 / (line.number as f64 * self.origin_hz);
            // A parabola through the levels half a cycle to either side places this line.
            let width = 0.5 / self.length_s * per_hz;
            let level =
                |c: f64| Some(line.look(line.number as f64 * self.distance_hz(c))?.excess.max(1e-9).ln());
            let (left, right) = (level(cents - width)?, level(cents + width)?);
            let curvature = left - 2.0 * look.excess.ln() + right;
            if curvature >= 0.0 {
                return None;
            }
            let place = (0.5 * (left - right) / curvature).clamp(-2.0, 2.0) * width;
            // Standard error of one line's frequency under a Hann window: about 0.9 / (pi T sqrt(2 snr)) Hz.
            let noise = 0.4 / self.length_s / (2.0 * look.excess).sqrt() * per_hz;
            Some((place, noise.powi(2) + (OWN_CYCLES / self.length_s * per_hz).powi(2)))
        };
        self.looks(cents).filter_map(top).collect()
    }

    /// Log-likelihood ratio of a series at `cents`, on every `stride`-th partial only, and the strength that gives it.
    pub fn evidence(&self, cents: f64, stride: usize) -> (f64, f64) {
        let (first, last) = STRENGTHS.into_inner();
        // Two more at either end for the scatter.
        let strengths: Vec<f64> =
            (first - 2..=last + 2).map(|i| 10f64.powf(0.05 * SCATTER_DB * f64::from(i))).collect();
        let mut sums = vec![0.0; strengths.len() - 4];
        // Ratios are multiplied up before the logarithm is taken; eight of them stay far within range.
        let mut products = vec![1.0; sums.len()];
        let mut likelihoods = vec![0.0; strengths.len()];
        let lines = self.looks(cents).filter(|(line, _)| line.number % stride == 0);
        for (line_idx, (_, look)) in lines.enumerate() {
            for (likelihood, strength) in likelihoods.iter_mut().zip(&strengths) {
                *likelihood = likelihood_at(look, *strength);
            }
            let (stray, without) = without_second(look);
            for (product, points) in products.iter_mut().zip(likelihoods.windows(5)) {
                if let [weak, _, middle, _, strong] = points {
                    *product *= with_second(*weak, *middle, *strong, stray) / without;
                }
            }
            if line_idx % 8 == 7 {
                drain(&mut products, &mut sums);
            }
        }
        drain(&mut products, &mut sums);
        sums.into_iter()
            .zip(strengths.into_iter().skip(2))
            .fold((0.0, 0.0), |best, tried| if tried.0 > best.0 { tried } else { best })
    }

    /// Complex amplitude of each line of the series at `cents`, re its partial, with its distance in Hz.
    pub fn amplitudes(&self, cents: f64) -> Vec<(usize, f64, Complex<f64>)> {
        self.lines
            .iter()
            .filter_map(|line| {
                let distance = line.number as f64 * self.distance_hz(cents);
                Some((line.number, distance, line.amplitude(distance)?))
            })
            .collect()
    }

    /// Level of the series at `cents` re the sounding reed, power ratio.
    ///
    /// Measured where a line of this strength would show and can be told from the partial's own slow course. Beside the
    /// sounding reed's own partials: the median of line over partial, since a room and the two tongues weigh each line at
    /// random. A series with a spectrum of its own: the power of its lines together.
    fn level(&self, cents: f64, strength: f64) -> f64 {
        let carried: Vec<(f64, f64)> = self
            .looks(cents)
            .filter(|(_, look)| strength * look.yield_at_unity > CARRIED)
            .filter_map(|(line, look)| {
                let noise = 1.0 / look.yield_at_unity;
                let seen = self.peak_power(line, line.number as f64 * self.distance_hz(cents))?;
                Some(((seen - noise).max(0.1 * noise), line.reference))
            })
            .collect();
        let level = if self.is_alike { median(carried) } else { together(&carried) };
        level.unwrap_or(strength) * self.whole_share()
    }

    /// Power of a line re its partial, at its top near `distance_hz`: a tongue that wanders by itself moves its high lines.
    fn peak_power(&self, line: &Line, distance_hz: f64) -> Option<f64> {
        let power = |distance: f64| Some(line.amplitude(distance)?.norm_sqr() / line.passed(distance));
        let step = TOP_CYCLES / self.length_s;
        let here = power(distance_hz)?;
        let (Some(left), Some(right)) = (power(distance_hz - step), power(distance_hz + step)) else {
            return Some(here);
        };
        let (l, h, r) = (left.max(1e-30).ln(), here.max(1e-30).ln(), right.max(1e-30).ln());
        let curvature = l - 2.0 * h + r;
        if curvature >= 0.0 {
            return Some(here.max(left).max(right));
        }
        let at = (0.5 * (l - r) / curvature).clamp(-1.5, 1.5);
        Some((h + 0.5 * at * (r - l) + 0.5 * at * at * curvature).exp())
    }

    /// What the lines' references together are of the sounding reed's power: not 1 for the lines of another note.
    fn whole_share(&self) -> f64 {
        self.reference_power / self.sounding_power.max(1e-300)
    }

    /// The strength from which a series at `cents` would be found in 95 % of cases, power ratio; `None` when none would.
    pub fn sure_strength(&self, cents: f64, threshold: f64) -> Option<f64> {
        let yields: Vec<f64> = self.looks(cents).map(|(_, look)| look.yield_at_unity).collect();
        let found = |strength: f64| {
            yields
                .iter()
                .map(|y| {
                    let look = Look { excess: 1.0 + UNLUCKY_SHARE * strength * y, yield_at_unity: *y };
                    gain(look, strength)
                })
                .sum::<f64>()
                >= threshold
        };
        let (mut low, mut high) = (-120.0, 6.0);
        if !found(10f64.powf(high / 10.0)) {
            return None;
        }
        while high - low > 0.1 {
            let middle = 0.5 * (low + high);
            if found(10f64.powf(middle / 10.0)) { high = middle } else { low = middle }
        }
        Some(10f64.powf(high / 10.0) * self.whole_share())
    }
}

/// Mean of values with their variances, and its standard error: at least what the values' disagreement asks for.
fn weighted_mean(values: &[(f64, f64)]) -> Option<(f64, f64)> {
    let weights: f64 = values.iter().map(|(_, variance)| 1.0 / variance).sum();
    if weights <= 0.0 {
        return None;
    }
    let mean = values.iter().map(|(value, variance)| value / variance).sum::<f64>() / weights;
    let squares: f64 = values.iter().map(|(value, variance)| (value - mean).powi(2) / variance).sum();
    let disagreement = match values.len() {
        1 => 4.0,
        count => (squares / (count as f64 - 1.0)).max(1.0),
    };
    Some((mean, (disagreement / weights).sqrt()))
}

/// Median of levels, each with what it is relative to.
fn median(mut levels: Vec<(f64, f64)>) -> Option<f64> {
    levels.sort_by(|a, b| a.0.total_cmp(&b.0));
    let last = levels.len().checked_sub(1)?;
    let (lower, upper) = (levels.get(last / 2)?, levels.get(last.div_ceil(2))?);
    Some((lower.0 * upper.0).sqrt())
}

/// Power of levels together, over that of what they are relative to.
fn together(levels: &[(f64, f64)]) -> Option<f64> {
    let whole: f64 = levels.iter().map(|(_, reference)| reference).sum();
    (whole > 0.0).then(|| levels.iter().map(|(level, reference)| level * reference).sum::<f64>() / whole)
}

/// What one line adds: logarithm of the likelihood of an amplitude drawn around `strength` against none.
///
/// Without a second reed the power follows the background but for a small share of lines that carry something else:
/// hum, tremor, another note. Their power may be anything, so one line alone can never decide.
fn gain(look: Look, strength: f64) -> f64 {
    let spread = 10f64.powf(0.1 * SCATTER_DB);
    let (stray, without) = without_second(look);
    let [weak, middle, strong] =
        [strength / spread, strength, strength * spread].map(|strength| likelihood_at(look, strength));
    (with_second(weak, middle, strong, stray) / without).ln()
}

/// Likelihood of a line's power when a series of one strength adds to the background.
fn likelihood_at(look: Look, strength: f64) -> f64 {
    let s = 1.0 + strength * look.yield_at_unity;
    (-look.excess / s).exp() / s
}

/// Likelihood of a line with a second series: three points of a normal distribution in dB (Gauss-Hermite, weights
/// 1/6, 2/3, 1/6). The same stray share as without one: a line that neither explains says nothing.
fn with_second(weak: f64, middle: f64, strong: f64, stray: f64) -> f64 {
    (1.0 - STRAY_SHARE) * (weak + 4.0 * middle + strong) / 6.0 + stray
}

/// Likelihood of a line of a stray, and without a second series at all.
fn without_second(look: Look) -> (f64, f64) {
    let stray = STRAY_SHARE * stray_density(look.excess);
    (stray, (1.0 - STRAY_SHARE) * (-look.excess).exp() + stray)
}

/// Move the products' logarithms to the sums.
fn drain(products: &mut [f64], sums: &mut [f64]) {
    for (product, sum) in products.iter_mut().zip(sums) {
        *sum += product.ln();
        *product = 1.0;
    }
}

/// Density of the power of a stray line over the background: flat in the logarithm over many decades.
fn stray_density(excess: f64) -> f64 {
    let x = 1.0 + excess;
    // 1 / (x (1 + ln x)²) integrates to 1 from 0 to infinity.
    1.0 / (x * (1.0 + x.ln()).powi(2))
}
