//! The level of running sound, hop by hop, with rumble and hum weakened: for one channel, or for the loudest of several.

use std::collections::VecDeque;

/// Length of a hop, s.
pub(crate) const HOP_S: f64 = 0.005;
/// Corner of the high pass, Hz: steps and mains hum lie below it, and no reed is without partials above.
const RUMBLE_HZ: f64 = 120.0;
/// Samples at or above this count as clipped when three follow each other.
const FULL_SCALE: f32 = 0.992;

/// Two poles off rumble and hum.
#[derive(Debug, Clone)]
pub(crate) struct HighPass {
    pole: f64,
    low: f64,
    lower: f64,
}

impl HighPass {
    /// For so many samples a second.
    pub fn new(rate_hz: f64) -> Self {
        Self { pole: (-std::f64::consts::TAU * RUMBLE_HZ / rate_hz).exp(), low: 0.0, lower: 0.0 }
    }

    /// The next sample, filtered.
    pub fn pass(&mut self, value: f64) -> f64 {
        self.low = self.pole * self.low + (1.0 - self.pole) * value;
        let once = value - self.low;
        self.lower = self.pole * self.lower + (1.0 - self.pole) * once;
        once - self.lower
    }
}

/// Counts samples at full scale that follow each other.
#[derive(Debug, Clone, Default)]
pub(crate) struct ClipCounter {
    run: u32,
}

impl ClipCounter {
    /// Whether the sample belongs to a clipped run.
    pub fn is_clipped(&mut self, sample: f32) -> bool {
        self.run = if sample.abs() >= FULL_SCALE { self.run + 1 } else { 0 };
        self.run >= 3
    }
}

/// A sample that a filter can take: what is no number would stay in it for ever.
pub(crate) fn finite(sample: f32) -> f32 {
    if sample.is_finite() { sample.clamp(-1e3, 1e3) } else { 0.0 }
}

/// The mean level of the last hops.
#[derive(Debug)]
pub(crate) struct MovingLevel {
    powers: VecDeque<f64>,
    width: usize,
}

impl MovingLevel {
    /// Over so many hops.
    pub fn over(width: usize) -> Self {
        Self { powers: VecDeque::new(), width }
    }

    /// The level with the power of one more hop, dBFS.
    pub fn with(&mut self, power: f64) -> f64 {
        push(&mut self.powers, power, self.width);
        level_db(self.powers.iter().sum::<f64>() / self.powers.len() as f64)
    }

    /// Whether so many hops have come that it covers its whole width.
    pub fn is_full(&self) -> bool {
        self.powers.len() == self.width
    }
}

/// A hop of all channels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Hop {
    /// Mean square of the loudest channel.
    pub power: f64,
    /// Whether any channel was clipped in it.
    pub is_clipped: bool,
}

/// Follows all channels of interleaved sound; the loudest one counts.
#[derive(Debug)]
pub(crate) struct LevelMeter {
    channels: Vec<ChannelPower>,
    hop_frames: usize,
    frames: usize,
}

#[derive(Debug, Clone)]
struct ChannelPower {
    high_pass: HighPass,
    clips: ClipCounter,
    sum: f64,
    is_clipped: bool,
}

impl LevelMeter {
    /// For so many interleaved channels, at least one.
    pub fn new(rate_hz: u32, channels: usize) -> Self {
        let rate = f64::from(rate_hz);
        let channel = ChannelPower {
            high_pass: HighPass::new(rate),
            clips: ClipCounter::default(),
            sum: 0.0,
            is_clipped: false,
        };
        Self {
            channels: vec![channel; channels.max(1)],
            hop_frames: ((HOP_S * rate).round() as usize).max(1),
            frames: 0,
        }
    }

    /// Take in one frame; gives a hop when one is full.
    pub fn frame(&mut self, frame: &[f32]) -> Option<Hop> {
        for (channel, &sample) in self.channels.iter_mut().zip(frame) {
            channel.is_clipped |= channel.clips.is_clipped(sample);
            channel.sum += channel.high_pass.pass(f64::from(finite(sample))).powi(2);
        }
        self.frames += 1;
        if self.frames < self.hop_frames {
            return None;
        }
        let mut hop = Hop { power: 0.0, is_clipped: false };
        for channel in &mut self.channels {
            hop.power = hop.power.max(channel.sum / self.frames as f64);
            hop.is_clipped |= channel.is_clipped;
            (channel.sum, channel.is_clipped) = (0.0, false);
        }
        self.frames = 0;
        Some(hop)
    }
}

/// A power as level, dBFS, never below -160.
pub(crate) fn level_db(power: f64) -> f64 {
    10.0 * power.max(1e-16).log10()
}

/// A time as a number of hops.
pub(crate) fn hops(seconds: f64) -> usize {
    (seconds / HOP_S).round() as usize
}

/// Remember a value, and forget the oldest of more than `most`.
pub(crate) fn push(values: &mut VecDeque<f64>, value: f64, most: usize) {
    values.push_back(value);
    while values.len() > most {
        values.pop_front();
    }
}
