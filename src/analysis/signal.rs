//! The samples made fit for measuring: finite, without a constant, clipping counted.

use crate::take::Take;

use super::Refusal;

/// Full scale for the clipping count: the largest code of 16-bit files lies at 0.99997.
const FULL_SCALE: f64 = 0.9999;
/// From here on samples that stay at one value count as clipped too.
const NEAR_FULL_SCALE: f64 = 0.98;
/// Consecutive samples at full scale that count as clipped (common practice, no source).
const CLIP_RUN: usize = 3;
/// Up to this share of clipped samples is left out of the fit; beyond it nothing can be said of weak tones.
const CLIPPED_SHARE: f64 = 0.02;
/// A take whose strongest 10 ms lie below this level is silence, dBFS: the last bit of 24-bit sound is -138 dBFS.
const SILENCE_DBFS: f64 = -120.0;

/// Samples fit for measuring.
pub(super) struct Signal {
    /// Finite, mean removed, full scale at ±1.
    pub samples: Vec<f64>,
    /// Samples per second.
    pub rate: f64,
    /// Which samples lie in runs at full scale.
    pub clipped: Vec<usize>,
    /// How many samples were not finite.
    pub not_finite: usize,
}

impl Signal {
    /// Check and clean the samples of a take.
    pub fn new(take: &Take) -> Result<Self, Refusal> {
        if !(8_000..=384_000).contains(&take.rate_hz) {
            return Err(Refusal::Rate { rate_hz: take.rate_hz });
        }
        if take.samples.is_empty() {
            return Err(Refusal::Empty);
        }
        let mut not_finite = 0;
        let mut samples: Vec<f64> = Vec::with_capacity(take.samples.len());
        for &sample in &take.samples {
            if sample.is_finite() {
                // A float file may hold values far above full scale; beyond 1e6 they are not sound.
                samples.push(f64::from(sample).clamp(-1e6, 1e6));
            } else {
                not_finite += 1;
                samples.push(0.0);
            }
        }
        let clipped = find_clipped(&samples);
        let mean = samples.iter().sum::<f64>() / samples.len() as f64;
        for sample in &mut samples {
            *sample -= mean;
        }
        let signal = Self { samples, rate: f64::from(take.rate_hz), clipped, not_finite };
        let block = (0.010 * signal.rate) as usize;
        let loudest = signal
            .samples
            .chunks(block.max(1))
            .map(|chunk| chunk.iter().map(|x| x * x).sum::<f64>() / chunk.len() as f64)
            .fold(0.0, f64::max);
        if loudest < 10f64.powf(SILENCE_DBFS / 10.0) {
            return Err(Refusal::Silent);
        }
        Ok(signal)
    }

    /// Whether so many samples are clipped that nothing can be said of weak tones.
    pub fn is_badly_clipped(&self) -> bool {
        self.clipped.len() as f64 > CLIPPED_SHARE * self.samples.len() as f64
    }

    /// How long the take lasts, s.
    pub fn length_s(&self) -> f64 {
        self.samples.len() as f64 / self.rate
    }
}

/// Samples in runs of `CLIP_RUN` or more at full scale, or stuck at one value just below it (8-bit files end at 0.992).
fn find_clipped(samples: &[f64]) -> Vec<usize> {
    let mut clipped = Vec::new();
    let mut run: (usize, f64) = (0, 0.0);
    for (i, &sample) in samples.iter().chain([&0.0]).enumerate() {
        let goes_on = run.0 > 0
            && sample.signum() == run.1.signum()
            && ((sample.abs() >= FULL_SCALE && run.1.abs() >= FULL_SCALE) || sample == run.1);
        if !goes_on {
            if run.0 >= CLIP_RUN {
                clipped.extend(i - run.0..i);
            }
            run.0 = 0;
        }
        if sample.abs() >= NEAR_FULL_SCALE {
            run = (run.0 + 1, sample);
        } else {
            run.0 = 0;
        }
    }
    clipped
}
