//! One reed played again and again: its pitch while it sounds, and the reading as soon as it stops.

use std::collections::VecDeque;

use super::listener::{Listener, Quietest};
use crate::analysis::{self, Expectation, Reading, Refusal};
use crate::segmentation::level::{HOP_S, hops, push};
use crate::take::Take;
use crate::units::{Cents, Hz, Seconds};

/// The live value comes of the last so many seconds: enough for a cent from 100 Hz on, short enough to follow a hand.
const WINDOW_S: f64 = 1.2;
/// How often it is looked at, s, from this time after the note began on.
const EVERY_S: f64 = 0.08;
const SOON_S: f64 = 0.15;
/// A note stands out from this far above the quietest of the last seconds, dB, for so long, s, and not below this, dBFS.
const STANDS_OUT_DB: f64 = 14.0;
const STANDS_OUT_S: f64 = 0.04;
const LEAST_DBFS: f64 = -70.0;
/// It has stopped when it lies so far below the loudest of its last second, or so near to the quiet, dB, for so long, s.
const STOPPED_DB: f64 = 12.0;
const NEAR_QUIET_DB: f64 = 6.0;
const STOPPED_S: f64 = 0.12;
/// Sound kept from before the note, s.
const BEFORE_S: f64 = 0.4;
/// Shorter sounds are knocks of the tool, s.
const KNOCK_S: f64 = 0.4;
/// Of a longer play the last so many seconds speak: the value must come at once.
const LONGEST_S: f64 = 5.0;
/// The level is averaged over this, s.
const WIDTH_S: f64 = 0.03;

/// Follows running sound.
#[derive(Debug)]
pub struct Follow {
    listener: Listener,
    quietest: Quietest,
    expectation: Expectation,
    heard_hops: u64,
    loud_hops: usize,
    since_look: usize,
    note: Option<Sounding>,
}

/// The note that sounds.
#[derive(Debug, Default)]
struct Sounding {
    hops: usize,
    last: VecDeque<f64>,
    stopped_hops: usize,
}

/// What is heard.
#[derive(Debug, Clone, PartialEq)]
pub enum FollowEvent {
    /// A note stands out.
    Began,
    /// Its pitch now.
    Now {
        /// The pitch over the last moment.
        f0: Hz,
        /// Half its 95 % interval.
        uncertainty: Cents,
        /// How long it has sounded.
        since: Seconds,
    },
    /// The play is over.
    Played(Box<Played>),
    /// A sound that gives no reading, and why.
    Nothing(Option<Refusal>),
}

/// A play that is over.
#[derive(Debug, Clone, PartialEq)]
pub struct Played {
    /// What it told.
    pub reading: Reading,
    /// Its sound.
    pub take: Take,
    /// When it was over, counted from the first sound that was heard.
    pub at: Seconds,
}

impl Follow {
    /// For `channels` interleaved channels, at least one.
    pub fn new(rate_hz: u32, channels: usize, expectation: Expectation) -> Self {
        Self {
            listener: Listener::new(rate_hz, channels, WIDTH_S),
            quietest: Quietest::above(f64::NEG_INFINITY),
            expectation,
            heard_hops: 0,
            loud_hops: 0,
            since_look: 0,
            note: None,
        }
    }

    /// From now on a reed of this pitch is expected.
    pub fn expect(&mut self, pitch: Option<Hz>) {
        self.expectation.pitch = pitch;
    }

    /// Level now, dBFS, rumble weakened.
    pub fn level_db(&self) -> f64 {
        self.listener.level_db()
    }

    /// Quietest level of the last minute, dBFS; not known in the first moments.
    pub fn quiet_db(&self) -> Option<f64> {
        self.quietest.known_db()
    }

    /// Time heard so far.
    pub fn at(&self) -> Seconds {
        Seconds::new(self.heard_hops as f64 * HOP_S).unwrap_or(Seconds::ZERO)
    }

    /// Take in interleaved frames.
    pub fn hear(&mut self, sound: &[f32]) -> Vec<FollowEvent> {
        let mut heard = Vec::new();
        for frame in sound.chunks_exact(self.listener.channels()) {
            if self.listener.frame(frame).is_some() {
                heard.extend(self.hop());
            }
        }
        self.listener.keep(LONGEST_S + BEFORE_S + STOPPED_S);
        // Looked at once a call, however much sound came: a slow computer skips looks and falls not behind.
        let is_due = self.note.as_ref().is_some_and(|note| {
            note.stopped_hops == 0 && note.hops >= hops(SOON_S) && self.since_look >= hops(EVERY_S)
        });
        if is_due {
            self.since_look = 0;
            heard.extend(self.look());
        }
        heard
    }

    fn hop(&mut self) -> Option<FollowEvent> {
        self.heard_hops += 1;
        self.since_look += 1;
        let level = self.listener.level_db();
        let quiet = self.quietest.with(level);
        let Some(note) = &mut self.note else {
            let stands_out =
                self.quietest.known_db().is_some() && level > (quiet + STANDS_OUT_DB).max(LEAST_DBFS);
            self.loud_hops = if stands_out { self.loud_hops + 1 } else { 0 };
            if self.loud_hops < hops(STANDS_OUT_S) {
                return None;
            }
            self.note = Some(Sounding { hops: self.loud_hops, ..Sounding::default() });
            self.loud_hops = 0;
            return Some(FollowEvent::Began);
        };
        note.hops += 1;
        let loudest = note.last.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let has_stopped = level < loudest - STOPPED_DB || level < quiet + NEAR_QUIET_DB;
        if !has_stopped {
            note.stopped_hops = 0;
            push(&mut note.last, level, hops(1.0));
            return None;
        }
        note.stopped_hops += 1;
        if note.stopped_hops < hops(STOPPED_S) {
            return None;
        }
        let sounded = (note.hops - note.stopped_hops) as f64 * HOP_S;
        let kept = (note.hops as f64 * HOP_S + BEFORE_S).min(LONGEST_S + STOPPED_S);
        self.note = None;
        if sounded < KNOCK_S {
            return Some(FollowEvent::Nothing(None));
        }
        let take = self.listener.last(kept);
        Some(match analysis::listen(&take, &self.expectation) {
            Ok(mut listened) => {
                let reading = listened.reading(self.expectation.opposite);
                FollowEvent::Played(Box::new(Played { reading, take, at: self.at() }))
            }
            Err(refusal) => FollowEvent::Nothing(Some(refusal)),
        })
    }

    fn look(&mut self) -> Option<FollowEvent> {
        let since = self.note.as_ref()?.hops as f64 * HOP_S;
        // Nothing of the note before, and a little quiet to tell this one's start from.
        let take = self.listener.last((since + 0.05).min(WINDOW_S));
        let (f0, uncertainty) = analysis::listen(&take, &self.expectation).ok()?.pitch();
        Some(FollowEvent::Now { f0, uncertainty, since: Seconds::new(since)? })
    }
}
