//! Where something sounds: begins and stops out of the level over the noise, hop by hop.

use std::collections::VecDeque;

use super::level::{hops, push};

/// A sound begins this far above the quietest since the last stop, dB, for this long, s.
const BEGINS_DB: f64 = 8.0;
const BEGINS_S: f64 = 0.06;
/// And not nearer to the channel's noise than this, dB.
const OVER_NOISE_DB: f64 = 7.0;
/// It is down when it lies this far below its plateau, dB, or this near to the noise.
const DOWN_DB: f64 = 12.0;
const NEAR_NOISE_DB: f64 = 5.0;
/// Down for so long it has stopped, s: beats and a shaking bellows are shorter. Down to the noise, sooner.
const STOPPED_S: f64 = 0.2;
const STOPPED_IN_NOISE_S: f64 = 0.12;
/// It is back when it comes this near to its plateau, dB, for this long, s.
const BACK_DB: f64 = 8.0;
const BACK_S: f64 = 0.04;
/// The plateau is the median of the last second, taken anew every so many hops.
const PLATEAU_S: f64 = 1.0;
const PLATEAU_EVERY: usize = 4;
/// A longer sound is ended here, s.
const LONGEST_S: f64 = 40.0;
/// The quietest since the stop creeps up, dB a hop: 0.3 dB/s.
const CREEPS_DB: f64 = 0.0015;
/// The level lags its sound by half its width, hops.
const LAG: usize = 6;

/// Something happened.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Edge {
    /// A sound has begun.
    Began { start: usize },
    /// A sound has stopped.
    Stopped(Stretch),
}

/// Where a sound lies, in hops since the recording began.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Stretch {
    pub start: usize,
    pub stop: usize,
    /// It was ended because it was too long.
    pub is_too_long: bool,
}

/// Follows the level.
#[derive(Debug)]
pub(super) struct Segmenter {
    hop: usize,
    state: State,
}

#[derive(Debug)]
enum State {
    Between { lowest: f64, loud: usize },
    Sounding(Sounding),
}

#[derive(Debug, Default)]
struct Sounding {
    start: usize,
    recent: VecDeque<f64>,
    plateau: f64,
    down: usize,
    back: usize,
    near_noise: usize,
    lowest: f64,
}

impl Segmenter {
    /// Until the first stop everything counts as sounding: the noise is not known yet.
    pub fn new() -> Self {
        Self { hop: 0, state: State::Sounding(Sounding::default()) }
    }

    /// From this hop on, the noise known and nothing sounding yet.
    pub fn in_known_noise(hop: usize) -> Self {
        Self { hop, state: State::Between { lowest: 0.0, loud: 0 } }
    }

    /// Whether nothing sounds.
    pub fn is_between(&self) -> bool {
        matches!(self.state, State::Between { .. })
    }

    /// Where the sound that sounds now began.
    pub fn start(&self) -> Option<usize> {
        match &self.state {
            State::Between { .. } => None,
            State::Sounding(sounding) => Some(sounding.start),
        }
    }

    /// Take in a level over the noise, dB.
    pub fn hear(&mut self, excess: f64) -> Option<Edge> {
        self.hop += 1;
        let hop = self.hop;
        let (state, edge) = match &mut self.state {
            State::Between { lowest, loud } => {
                *lowest = (*lowest + CREEPS_DB).min(excess);
                let stands_out = excess > (*lowest + BEGINS_DB).max(OVER_NOISE_DB);
                *loud = if stands_out { *loud + 1 } else { 0 };
                if *loud < hops(BEGINS_S) {
                    return None;
                }
                let start = hop.saturating_sub(*loud + LAG);
                let sounding = Sounding { start, plateau: excess, ..Sounding::default() };
                (State::Sounding(sounding), Edge::Began { start })
            }
            State::Sounding(sounding) => {
                let stop = sounding.follow(excess, hop)?;
                let is_too_long = stop == hop;
                let lowest = if is_too_long { excess } else { sounding.lowest };
                let stretch = Stretch { start: sounding.start, stop: stop.saturating_sub(LAG), is_too_long };
                (State::Between { lowest, loud: 0 }, Edge::Stopped(stretch))
            }
        };
        self.state = state;
        Some(edge)
    }

    /// The recording has ended: what sounds until now.
    pub fn finish(&mut self) -> Option<Stretch> {
        let start = self.start()?;
        let stop = match &self.state {
            State::Sounding(sounding) => self.hop - sounding.down.min(self.hop),
            State::Between { .. } => self.hop,
        };
        self.state = State::Between { lowest: 0.0, loud: 0 };
        Some(Stretch { start, stop, is_too_long: false })
    }
}

impl Sounding {
    /// The hop at which it stopped, once that is sure.
    fn follow(&mut self, excess: f64, hop: usize) -> Option<usize> {
        if hop - self.start > hops(LONGEST_S) {
            return Some(hop);
        }
        let near_noise = excess < NEAR_NOISE_DB;
        let is_down = excess < self.plateau - DOWN_DB || near_noise;
        if self.down == 0 && !is_down {
            push(&mut self.recent, excess, hops(PLATEAU_S));
            if self.recent.len() < 20 || hop.is_multiple_of(PLATEAU_EVERY) {
                self.plateau = median(&self.recent);
            }
            return None;
        }
        self.lowest = if self.down == 0 { excess } else { self.lowest.min(excess) };
        self.down += 1;
        self.near_noise += usize::from(near_noise);
        self.back = if excess > self.plateau - BACK_DB && !near_noise { self.back + 1 } else { 0 };
        // What comes back after a true stop is the next note: the one that stopped is told first.
        if self.down >= hops(STOPPED_S) || self.near_noise >= hops(STOPPED_IN_NOISE_S) {
            return Some(hop - self.down);
        }
        if self.back >= hops(BACK_S) {
            (self.down, self.back, self.near_noise) = (0, 0, 0);
        }
        None
    }
}

fn median(values: &VecDeque<f64>) -> f64 {
    let mut sorted: Vec<f64> = values.iter().copied().collect();
    let middle = sorted.len() / 2;
    if sorted.is_empty() { 0.0 } else { *sorted.select_nth_unstable_by(middle, f64::total_cmp).1 }
}
