//! The live reading: what sounds now, without a take.

use super::listener::{Listener, Quietest};
use crate::analysis::{self, Expectation, Reading};
use crate::segmentation::level::HOP_S;

/// The sound that is looked at, s: enough for a bass reed, short enough to follow a file.
const WINDOW_S: f64 = 1.0;
/// How often it is looked at, s: until a note has been read, and from then on.
const SOON_S: f64 = 0.04;
const EVERY_S: f64 = 0.25;
/// A note stands out from this far above the quietest of the last seconds, dB, and not below this level, dBFS.
const STANDS_OUT_DB: f64 = 12.0;
const LEAST_DBFS: f64 = -70.0;
/// Below this an input is muted, dBFS.
const MUTED_DBFS: f64 = -110.0;
/// The level is averaged over this, s.
const WIDTH_S: f64 = 0.03;

/// Follows running sound.
#[derive(Debug)]
pub struct Live {
    listener: Listener,
    quietest: Quietest,
    expectation: Expectation,
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
            listener: Listener::new(rate_hz, channels, WIDTH_S),
            quietest: Quietest::above(MUTED_DBFS),
            expectation,
            since_look: 0,
            sounds_for: 0,
            is_read: false,
        }
    }

    /// Take in interleaved frames; the newest there is to say.
    pub fn hear(&mut self, sound: &[f32]) -> Option<LiveState> {
        let mut now = None;
        for frame in sound.chunks_exact(self.listener.channels()) {
            if self.listener.frame(frame).is_some() {
                now = self.hop().or(now);
            }
        }
        self.listener.keep(WINDOW_S);
        // Looked at once a call, however much sound came: a slow computer skips looks and falls not behind.
        let every = if self.is_read { EVERY_S } else { SOON_S };
        if self.sounds_for > 0 && self.since_look as f64 * HOP_S >= every {
            self.since_look = 0;
            now = self.look().or(now);
        }
        now
    }

    fn hop(&mut self) -> Option<LiveState> {
        let level = self.listener.level_db();
        let quietest = self.quietest.with(level);
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
        let take = self.listener.last(hops as f64 * HOP_S);
        let reading = analysis::read(&take, &self.expectation).ok()?;
        self.is_read = true;
        Some(LiveState::Note(Box::new(reading), self.sounds_for as f64 * HOP_S))
    }
}
