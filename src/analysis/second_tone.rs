//! The opposite reed in the steady tone: a second series at one distance in cents, judged by all partials together.

use std::rc::Rc;

use rustfft::num_complex::Complex;

use super::sidebands::{Line, Look};

/// Strengths tried, dB re the sounding reed.
const STRENGTHS_DB: std::ops::RangeInclusive<i32> = -30..=4;
/// Step of the strengths, dB.
const STRENGTH_STEP_DB: f64 = 3.0;
/// The opposite reed's partials scatter about the sounding reed's by this much, dB: three points stand for it.
const SCATTER_DB: f64 = 7.0;
/// Share of lines that carry something that is no second reed.
const STRAY_SHARE: f64 = 0.03;
/// Mains frequencies and how far they and their harmonics may stray, Hz per harmonic; harmonics looked out for.
const MAINS_HZ: [f64; 2] = [50.0, 60.0];
const MAINS_STRAY_HZ: f64 = 0.12;
const MAINS_HARMONICS: f64 = 12.0;
/// Share of its mean power that a line shows in the unlucky cases of the limit.
const UNLUCKY_SHARE: f64 = 0.2;
/// Candidates looked at closely.
const CANDIDATES: usize = 16;
/// The best of them, from which the top is climbed.
const CLIMBS: usize = 3;
/// Half width of the offset's interval in standard errors: 1.96 for lines that err alone; a room moves neighbouring lines
/// together, and the sweep over natural takes asks for this.
const OFFSET_95: f64 = 4.0;
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
    /// Length of the stretch, s.
    pub length_s: f64,
    /// Power of all lines of the series, were each as strong as the sounding reed's spectrum there.
    pub reference_power: f64,
    /// Power of the sounding reed.
    pub sounding_power: f64,
}

impl Search {
    fn distance_hz(&self, line: &Line, cents: f64) -> f64 {
        line.number as f64 * self.origin_hz * (((cents - self.origin_cents) / 1200.0).exp2() - 1.0)
    }

    fn looks(&self, cents: f64) -> impl Iterator<Item = (&Line, Look)> {
        self.lines.iter().filter(|line| (self.belongs)(line.number)).filter_map(move |line| {
            let distance = self.distance_hz(line, cents);
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
        let uncertainty = self.cents_uncertainty(cents, strength);
        Some(Found {
            cents,
            cents_uncertainty: uncertainty,
            evidence,
            power_ratio: self.power_ratio(cents, strength),
        })
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

    /// Half the 95 % interval of a series' distance: each line's own place, and how far the lines agree.
    fn cents_uncertainty(&self, cents: f64, strength: f64) -> f64 {
        let (mut weights, mut sum, mut squares, mut count) = (0.0, 0.0, 0.0, 0.0);
        for (line, look) in self.looks(cents) {
            if strength * look.yield_at_unity < 4.0 || look.excess < 8.0 {
                continue;
            }
            let per_hz = 1200.0 / std::f64::consts::LN_2 / (line.number as f64 * self.origin_hz);
            // A parabola through the levels half a cycle to either side places this line.
            let width = 0.5 / self.length_s * per_hz;
            let level = |c: f64| line.look(self.distance_hz(line, c)).map(|look| look.excess.max(1e-9).ln());
            let (Some(left), Some(right)) = (level(cents - width), level(cents + width)) else { continue };
            let curvature = left - 2.0 * look.excess.ln() + right;
            if curvature >= 0.0 {
                continue;
            }
            let place = (0.5 * (left - right) / curvature).clamp(-2.0, 2.0) * width;
            // Standard error of one line's frequency under a Hann window: about 0.9 / (pi T sqrt(2 snr)) Hz.
            let sigma = 0.4 / self.length_s / (2.0 * look.excess).sqrt() * per_hz;
            let weight = 1.0 / (sigma * sigma);
            weights += weight;
            sum += weight * place;
            squares += weight * place * place;
            count += 1.0;
        }
        if count < 1.0 {
            return 1.96 * self.step_cents() * 5.0;
        }
        let mean: f64 = sum / weights;
        let disagreement =
            if count > 1.0 { ((squares - weights * mean * mean) / (count - 1.0)).max(1.0) } else { 4.0 };
        OFFSET_95 * (disagreement / weights).sqrt() + mean.abs()
    }

    /// Log-likelihood ratio of a series at `cents`, on every `stride`-th partial only, and the strength that gives it.
    pub fn evidence(&self, cents: f64, stride: usize) -> (f64, f64) {
        let looks: Vec<Look> =
            self.looks(cents).filter(|(line, _)| line.number % stride == 0).map(|(_, look)| look).collect();
        STRENGTHS_DB
            .map(|i| 10f64.powf(f64::from(i) * STRENGTH_STEP_DB / 10.0))
            .map(|strength| (looks.iter().map(|look| gain(*look, strength)).sum::<f64>(), strength))
            .fold((0.0, 0.0), |best, tried| if tried.0 > best.0 { tried } else { best })
    }

    /// Complex amplitude of each line of the series at `cents`, re its partial, with its distance in Hz.
    pub fn amplitudes(&self, cents: f64) -> Vec<(usize, f64, Complex<f64>)> {
        self.lines
            .iter()
            .filter_map(|line| {
                let distance = self.distance_hz(line, cents);
                Some((line.number, distance, line.amplitude(distance)?))
            })
            .collect()
    }

    /// Power of the series at `cents` re the sounding reed's: measured where a line can be told from the partial's own
    /// slow course, and there alone compared with the partial; the other lines are taken to be like these.
    fn power_ratio(&self, cents: f64, strength: f64) -> f64 {
        let (mut second, mut sounding) = (0.0, 0.0);
        for (line, look) in self.looks(cents) {
            let distance = self.distance_hz(line, cents);
            // A line counts where one of this strength would show.
            if strength * look.yield_at_unity > 2.0
                && let Some(amplitude) = line.amplitude(distance)
            {
                let noise = line.reference / look.yield_at_unity;
                second += (amplitude.norm_sqr() / line.passed(distance) * line.reference - noise).max(0.0);
                sounding += line.reference;
            }
        }
        if sounding > 0.0 { second / sounding * self.whole_share() } else { strength * self.whole_share() }
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

/// What one line adds: likelihood of an amplitude drawn around `strength` against none.
///
/// Without a second reed the power follows the background but for a small share of lines that carry something else:
/// hum, tremor, another note. Their power may be anything, so one line alone can never decide.
fn gain(look: Look, strength: f64) -> f64 {
    let spread = 10f64.powf(SCATTER_DB / 10.0);
    // Three points of a normal distribution in dB (Gauss-Hermite, weights 1/6, 2/3, 1/6).
    let one = |strength: f64| {
        let s = 1.0 + strength * look.yield_at_unity;
        (-look.excess / s).exp() / s
    };
    let stray = STRAY_SHARE * stray_density(look.excess);
    let with = (one(strength / spread) + 4.0 * one(strength) + one(strength * spread)) / 6.0;
    let without = (1.0 - STRAY_SHARE) * (-look.excess).exp() + stray;
    // The same stray share on both sides: a line that neither explains says nothing.
    (((1.0 - STRAY_SHARE) * with + stray) / without).ln()
}

/// Density of the power of a stray line over the background: flat in the logarithm over many decades.
fn stray_density(excess: f64) -> f64 {
    let x = 1.0 + excess;
    // 1 / (x (1 + ln x)²) integrates to 1 from 0 to infinity.
    1.0 / (x * (1.0 + x.ln()).powi(2))
}
