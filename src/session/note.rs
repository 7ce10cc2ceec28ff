//! The note that sounds: how long it has been steady, and how loud it was before it stopped.

use std::collections::VecDeque;

use crate::segmentation::level::{hops, push};

/// The level may move this far within a steady stretch, dB, but for excursions up to this long, s.
const STEADY_DB: f64 = 4.0;
const EXCURSION_S: f64 = 0.08;

/// The note that sounds.
#[derive(Debug, Default)]
pub(super) struct SoundingNote {
    /// Levels of the last second.
    last: VecDeque<f64>,
    pub hops: usize,
    pub stopped_hops: Option<usize>,
    pub back_hops: usize,
    steady_hops: usize,
    steady_mean: f64,
    out_hops: usize,
    /// The longest steady stretch so far.
    pub best_hops: usize,
    /// After a note that was too long, the rest of it is let go by.
    pub is_over: bool,
}

impl SoundingNote {
    /// Take in the level of the next hop.
    pub fn follow_level(&mut self, level_db: f64) {
        if self.stopped_hops.is_some() {
            return;
        }
        push(&mut self.last, level_db, hops(1.0));
        if (level_db - self.steady_mean).abs() <= STEADY_DB && self.steady_hops > 0 {
            self.steady_hops += 1;
            self.out_hops = 0;
            self.steady_mean += (level_db - self.steady_mean) / self.steady_hops.min(hops(0.5)) as f64;
            self.best_hops = self.best_hops.max(self.steady_hops);
        } else if self.steady_hops > 0 && self.out_hops < hops(EXCURSION_S) {
            self.out_hops += 1;
        } else {
            (self.steady_hops, self.steady_mean, self.out_hops) = (1, level_db, 0);
        }
    }

    /// Of the last second before the stop, dBFS.
    pub fn loudest(&self) -> f64 {
        self.last.iter().copied().fold(f64::NEG_INFINITY, f64::max)
    }
}
