//! The level of the incoming sound, hop by hop, with rumble and hum weakened.

/// Length of a hop, s.
pub(super) const HOP_S: f64 = 0.005;
/// Corner of the high pass, Hz: steps and mains hum lie below it, and no reed is without partials above.
const RUMBLE_HZ: f64 = 120.0;
/// Samples at or above this count as clipped when three follow each other.
const FULL_SCALE: f32 = 0.992;

/// A hop of all channels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Hop {
    /// Mean square of the loudest channel.
    pub power: f64,
    /// Whether any channel was clipped in it.
    pub is_clipped: bool,
}

/// Follows all channels; the loudest one counts.
#[derive(Debug)]
pub(super) struct Meter {
    ears: Vec<ChannelState>,
    pole: f64,
    hop_frames: usize,
    frames: usize,
}

#[derive(Debug, Clone, Default)]
struct ChannelState {
    low: f64,
    lower: f64,
    sum: f64,
    run: u32,
    is_clipped: bool,
}

impl Meter {
    /// A meter for `channels` interleaved channels, at least one.
    pub fn new(rate_hz: u32, channels: usize) -> Self {
        let rate = f64::from(rate_hz);
        Self {
            ears: vec![ChannelState::default(); channels.max(1)],
            pole: (-std::f64::consts::TAU * RUMBLE_HZ / rate).exp(),
            hop_frames: ((HOP_S * rate).round() as usize).max(1),
            frames: 0,
        }
    }

    /// Take in one frame; gives a hop when one is full.
    pub fn frame(&mut self, frame: &[f32]) -> Option<Hop> {
        for (ear, &sample) in self.ears.iter_mut().zip(frame) {
            ear.hear(sample, self.pole);
        }
        self.frames += 1;
        if self.frames < self.hop_frames {
            return None;
        }
        let mut hop = Hop { power: 0.0, is_clipped: false };
        for ear in &mut self.ears {
            hop.power = hop.power.max(ear.sum / self.frames as f64);
            hop.is_clipped |= ear.is_clipped;
            (ear.sum, ear.is_clipped) = (0.0, false);
        }
        self.frames = 0;
        Some(hop)
    }
}

impl ChannelState {
    fn hear(&mut self, sample: f32, pole: f64) {
        self.run = if sample.abs() >= FULL_SCALE { self.run + 1 } else { 0 };
        self.is_clipped |= self.run >= 3;
        // What is no number would stay in the filter for ever.
        let value = if sample.is_finite() { f64::from(sample).clamp(-1e3, 1e3) } else { 0.0 };
        self.low = pole * self.low + (1.0 - pole) * value;
        let once = value - self.low;
        self.lower = pole * self.lower + (1.0 - pole) * once;
        let twice = once - self.lower;
        self.sum += twice * twice;
    }
}

/// A power as level, dBFS, never below -160.
pub(super) fn level_db(power: f64) -> f64 {
    10.0 * power.max(1e-16).log10()
}
