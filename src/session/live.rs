//! The live reading: what sounds now, without a take.

use std::collections::VecDeque;

use super::meter::{HOP_S, Meter, level_db};
use crate::analysis::{self, Expectation, Reading};
use crate::audio;
use crate::take::Take;

/// The sound that is looked at, s: enough for a bass reed, short enough to follow a file.
const WINDOW_S: f64 = 1.0;
/// How often it is looked at, s: until a note has been read, and from then on.
const SOON_S: f64 = 0.04;
const EVERY_S: f64 = 0.25;
/// A note stands out from this far above the quietest of the last seconds, dB, and not below this level, dBFS.
const STANDS_OUT_DB: f64 = 12.0;
const LEAST_DBFS: f64 = -70.0;
/// How long the quietest is remembered, s: a long note is not taken for the room.
const MEMORY_S: f64 = 60.0;
/// Below this an input is muted, dBFS.
const MUTED_DBFS: f64 = -110.0;
/// The level is averaged over this, s.
const WIDTH_S: f64 = 0.03;

/// Follows running sound.
#[derive(Debug)]
pub struct Live {
    rate_hz: u32,
    channels: usize,
    expectation: Expectation,
    meter: Meter,
    sound: VecDeque<f32>,
    recent: VecDeque<f64>,
    levels: VecDeque<f64>,
    since_look: usize,
    sounds_for: usize,
    is_read: bool,
}

/// What is heard.
#[derive(Debug, Clone, PartialEq)]
pub enum LiveState {
    /// A note, and how long it has sounded, s.
    Note(Box<Reading>, f64),
    /// The note has ended.
    Quiet,
}

impl Live {
    /// For `channels` interleaved channels, at least one.
    pub fn new(rate_hz: u32, channels: usize, expectation: Expectation) -> Self {
        Self {
            rate_hz,
            channels: channels.max(1),
            expectation,
            meter: Meter::new(rate_hz, channels),
            sound: VecDeque::new(),
            recent: VecDeque::new(),
            levels: VecDeque::new(),
            since_look: 0,
            sounds_for: 0,
            is_read: false,
        }
    }

    /// Take in interleaved frames; the newest there is to say.
    pub fn hear(&mut self, sound: &[f32]) -> Option<LiveState> {
        let mut now = None;
        for frame in sound.chunks_exact(self.channels) {
            self.sound.extend(frame);
            if let Some(hop) = self.meter.frame(frame) {
                now = self.hop(hop.power).or(now);
            }
        }
        let keep = (WINDOW_S * f64::from(self.rate_hz)) as usize * self.channels;
        self.sound.drain(..self.sound.len().saturating_sub(keep));
        // Looked at once a call, however much sound came: a slow computer skips looks and falls not behind.
        let every = if self.is_read { EVERY_S } else { SOON_S };
        if self.sounds_for > 0 && self.since_look as f64 * HOP_S >= every {
            self.since_look = 0;
            now = self.look().or(now);
        }
        now
    }

    fn hop(&mut self, power: f64) -> Option<LiveState> {
        keep_last(&mut self.recent, power, WIDTH_S);
        let level = level_db(self.recent.iter().sum::<f64>() / self.recent.len() as f64);
        // A muted input is no room: remembered, it would let the room itself stand out for a minute.
        if level > MUTED_DBFS {
            keep_last(&mut self.levels, level, MEMORY_S);
        }
        let quietest = self.levels.iter().copied().fold(f64::INFINITY, f64::min);
        let sounds = level > (quietest + STANDS_OUT_DB).max(LEAST_DBFS);
        self.since_look += 1;
        self.sounds_for = if sounds { self.sounds_for + 1 } else { 0 };
        let has_ended = !sounds && self.is_read;
        self.is_read &= sounds;
        has_ended.then_some(LiveState::Quiet)
    }

    fn look(&mut self) -> Option<LiveState> {
        // Nothing of the note before, and a little quiet to tell this one's start from.
        let hops = self.sounds_for + (0.05 / HOP_S) as usize;
        let frames = (hops as f64 * HOP_S * f64::from(self.rate_hz)) as usize;
        let all: &[f32] = self.sound.make_contiguous();
        let from = all.len().saturating_sub(frames * self.channels);
        let sound = all.get(from..).unwrap_or_default();
        let channel = audio::clearest_channel(sound, self.channels, self.rate_hz);
        let samples = sound.chunks_exact(self.channels).filter_map(|frame| frame.get(channel).copied());
        let take = Take::new(samples.collect(), self.rate_hz);
        let reading = analysis::read(&take, &self.expectation).ok()?;
        self.is_read = true;
        Some(LiveState::Note(Box::new(reading), self.sounds_for as f64 * HOP_S))
    }
}

fn keep_last(values: &mut VecDeque<f64>, value: f64, seconds: f64) {
    values.push_back(value);
    while values.len() as f64 * HOP_S > seconds {
        values.pop_front();
    }
}
