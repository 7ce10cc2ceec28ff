//! One channel: its level hop by hop, its own noise, and its sound kept for a while at the lower rate.

use std::collections::VecDeque;

use super::decimator::Decimator;

/// Corner of the high pass before the level is taken, Hz: steps and hum lie below it, and no reed is without partials above.
const RUMBLE_HZ: f64 = 120.0;
/// Samples at or above this count as clipped when three follow each other.
const FULL_SCALE: f32 = 0.992;
/// Width of the level, hops: two periods of the lowest reed, less a little.
const WIDTH_HOPS: usize = 12;
/// No channel's noise counts as lower than this, dBFS: after digital silence any dither would stand out.
pub(super) const QUIETEST_DBFS: f64 = -80.0;
/// How fast the noise may grow unheard between two notes, dB a hop: 0.3 dB/s.
const GROWS_DB: f64 = 0.0015;

/// What a channel gives for a hop.
#[derive(Debug, Clone, Copy)]
pub(super) struct Hop {
    /// Level, dBFS.
    pub level_db: f32,
    /// Above the channel's own noise, dB.
    pub excess_db: f32,
    pub is_clipped: bool,
}

#[derive(Debug)]
pub(super) struct Channel {
    decimator: Decimator,
    pole: f64,
    low: f64,
    lower: f64,
    recent: VecDeque<f64>,
    clip_run: u32,
    noise_db: f64,
    /// The quietest since the recording began, dBFS; until the first stop the noise is not known.
    lowest_db: f64,
    /// At the lower rate.
    pub sound: VecDeque<f32>,
    hop_sound: Vec<f32>,
    /// The room alone: the two newest quiets that were long enough, at the lower rate; empty until there was one.
    pub room: [Vec<f64>; 2],
    /// The hops that belong to `sound`.
    pub hops: VecDeque<Hop>,
}

impl Channel {
    pub fn new(rate_hz: u32, low_rate: f64) -> Self {
        Self {
            decimator: Decimator::new(rate_hz),
            pole: (-std::f64::consts::TAU * RUMBLE_HZ / low_rate).exp(),
            low: 0.0,
            lower: 0.0,
            recent: VecDeque::new(),
            clip_run: 0,
            noise_db: QUIETEST_DBFS,
            lowest_db: f64::INFINITY,
            sound: VecDeque::new(),
            hop_sound: Vec::new(),
            room: [Vec::new(), Vec::new()],
            hops: VecDeque::new(),
        }
    }

    /// Take in one hop at the full rate; `is_between` while no note sounds.
    pub fn hear(&mut self, samples: &mut [f32], is_between: bool) -> Hop {
        let mut is_clipped = false;
        for sample in samples.iter_mut() {
            self.clip_run = if sample.abs() >= FULL_SCALE { self.clip_run + 1 } else { 0 };
            is_clipped |= self.clip_run >= 3;
            // What is no number would stay in the filter for ever.
            *sample = if sample.is_finite() { sample.clamp(-1e3, 1e3) } else { 0.0 };
        }
        self.hop_sound.clear();
        self.decimator.hear(samples, &mut self.hop_sound);
        let mut sum = 0.0;
        for &sample in &self.hop_sound {
            self.low = self.pole * self.low + (1.0 - self.pole) * f64::from(sample);
            let once = f64::from(sample) - self.low;
            self.lower = self.pole * self.lower + (1.0 - self.pole) * once;
            let twice = once - self.lower;
            sum += twice * twice;
        }
        self.sound.extend(&self.hop_sound);
        self.recent.push_back(sum / self.hop_sound.len().max(1) as f64);
        if self.recent.len() > WIDTH_HOPS {
            self.recent.pop_front();
        }
        let power = self.recent.iter().sum::<f64>() / self.recent.len() as f64;
        let level = 10.0 * power.max(1e-16).log10();
        if self.recent.len() == WIDTH_HOPS {
            self.lowest_db = self.lowest_db.min(level);
        }
        let grown = if is_between { self.noise_db + GROWS_DB } else { self.noise_db };
        self.noise_db = grown.min(level).max(QUIETEST_DBFS);
        let hop = Hop { level_db: level as f32, excess_db: (level - self.noise_db) as f32, is_clipped };
        self.hops.push_back(hop);
        hop
    }

    /// How far a hop stands over the noise as it is known now, dB.
    pub fn over_noise(&self, hop: &Hop) -> f64 {
        f64::from(hop.level_db) - self.noise_db
    }

    /// The first stop has come: the quietest so far is the noise.
    pub fn settle(&mut self) {
        if self.lowest_db.is_finite() {
            self.noise_db = self.lowest_db.max(QUIETEST_DBFS);
        }
    }
}
