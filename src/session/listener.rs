//! Running sound of a microphone: its level, the quiet between notes, and its last seconds as a take.

use std::collections::VecDeque;

use crate::audio;
use crate::segmentation::level::{Hop, LevelMeter, MovingLevel, hops, push};
use crate::take::Take;

/// Listens to all channels; keeps what its owner has not let go of.
#[derive(Debug)]
pub(super) struct Listener {
    rate_hz: u32,
    channels: usize,
    meter: LevelMeter,
    level: MovingLevel,
    level_db: f64,
    sound: VecDeque<f32>,
    /// Frames heard, and the first one that is still kept.
    heard: u64,
    from: u64,
}

impl Listener {
    /// For so many interleaved channels, at least one; the level is averaged over `width_s`.
    pub fn new(rate_hz: u32, channels: usize, width_s: f64) -> Self {
        Self {
            rate_hz,
            channels: channels.max(1),
            meter: LevelMeter::new(rate_hz, channels),
            level: MovingLevel::over(hops(width_s)),
            level_db: -160.0,
            sound: VecDeque::new(),
            heard: 0,
            from: 0,
        }
    }

    /// Interleaved samples of one frame.
    pub fn channels(&self) -> usize {
        self.channels
    }

    /// Take in one frame; gives a hop when one is full.
    pub fn frame(&mut self, frame: &[f32]) -> Option<Hop> {
        self.sound.extend(frame);
        self.heard += 1;
        let hop = self.meter.frame(frame)?;
        self.level_db = self.level.with(hop.power);
        Some(hop)
    }

    /// The level now, dBFS, rumble weakened.
    pub fn level_db(&self) -> f64 {
        self.level_db
    }

    /// Frames heard so far.
    pub fn heard(&self) -> u64 {
        self.heard
    }

    /// The first frame that is kept.
    pub fn from(&self) -> u64 {
        self.from
    }

    /// A time as a number of frames.
    pub fn frames(&self, seconds: f64) -> u64 {
        (seconds * f64::from(self.rate_hz)) as u64
    }

    /// Forget all but the last so many seconds.
    pub fn keep(&mut self, seconds: f64) {
        self.forget(self.heard.saturating_sub(self.frames(seconds)));
    }

    /// Forget what lies before the frame `from`.
    pub fn forget(&mut self, from: u64) {
        let gone = from.saturating_sub(self.from).min(self.heard - self.from);
        self.sound.drain(..gone as usize * self.channels);
        self.from += gone;
    }

    /// Everything kept up to the frame `to`, interleaved.
    pub fn sound_to(&self, to: u64) -> Vec<f32> {
        let samples = to.saturating_sub(self.from) as usize * self.channels;
        self.sound.iter().copied().take(samples).collect()
    }

    /// The last so many seconds that are kept, on the channel that carries the tone.
    pub fn last(&mut self, seconds: f64) -> Take {
        let samples = self.frames(seconds) as usize * self.channels;
        let all: &[f32] = self.sound.make_contiguous();
        let sound = all.get(all.len().saturating_sub(samples)..).unwrap_or_default();
        let channel = audio::clearest_channel(sound, self.channels, self.rate_hz);
        let samples = sound.chunks_exact(self.channels).filter_map(|frame| frame.get(channel).copied());
        Take::new(samples.collect(), self.rate_hz)
    }
}

/// The quietest level of the last minute: the room, as far as it was heard alone.
#[derive(Debug)]
pub(super) struct Quietest {
    levels: VecDeque<f64>,
    /// A level below this is a muted input and no room, dBFS.
    least_dbfs: f64,
}

/// How long the quietest is remembered, s: a long note is not taken for the room.
const MEMORY_S: f64 = 60.0;
/// It is known after so long, s.
const KNOWN_S: f64 = 0.3;

impl Quietest {
    /// Of levels above `least_dbfs`.
    pub fn above(least_dbfs: f64) -> Self {
        Self { levels: VecDeque::new(), least_dbfs }
    }

    /// Take in a level; gives the quietest so far, dBFS.
    pub fn with(&mut self, level_db: f64) -> f64 {
        // Remembered, a muted input would let the room itself stand out for a minute.
        if level_db > self.least_dbfs {
            push(&mut self.levels, level_db, hops(MEMORY_S));
        }
        self.lowest()
    }

    /// The quietest, dBFS, once it is known.
    pub fn known_db(&self) -> Option<f64> {
        (self.levels.len() >= hops(KNOWN_S)).then(|| self.lowest())
    }

    fn lowest(&self) -> f64 {
        self.levels.iter().copied().fold(f64::INFINITY, f64::min)
    }
}
