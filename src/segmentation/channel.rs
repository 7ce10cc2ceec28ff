//! One channel: its level hop by hop, its own noise, and its sound kept for a while at the lower rate.

use std::collections::VecDeque;

use super::decimator::Decimator;
use super::level::{ClipCounter, HighPass, MovingLevel, finite};

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
    high_pass: HighPass,
    level: MovingLevel,
    clips: ClipCounter,
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
            high_pass: HighPass::new(low_rate),
            level: MovingLevel::over(WIDTH_HOPS),
            clips: ClipCounter::default(),
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
            is_clipped |= self.clips.is_clipped(*sample);
            *sample = finite(*sample);
        }
        self.hop_sound.clear();
        self.decimator.hear(samples, &mut self.hop_sound);
        let mut sum = 0.0;
        for &sample in &self.hop_sound {
            sum += self.high_pass.pass(f64::from(sample)).powi(2);
        }
        self.sound.extend(&self.hop_sound);
        let level = self.level.with(sum / self.hop_sound.len().max(1) as f64);
        if self.level.is_full() {
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
