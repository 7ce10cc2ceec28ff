//! The ways through an order that a sequence of notes may have taken: how likely each is, and the likeliest.
//!
//! Forward and backward sums of a hidden Markov chain, and its likeliest path. Source: L. R. Rabiner, Proc. IEEE 77(2),
//! 1989 (from memory).

use super::likelihood;
use super::transitions::{ANYWHERE, REPEAT, TO_A_START, Transitions};

/// Notes to be walked through, by how far each lies above each reed's target.
pub(super) struct Notes {
    /// Pitch, cents above 1 Hz.
    pub cents: Vec<f64>,
    /// How much softer each is than its neighbours, dB.
    pub below_db: Vec<f64>,
    /// Target of each reed, cents above 1 Hz, offset included.
    pub targets: Vec<f64>,
}

/// States with a smaller part of all likelihood lead nowhere: a leap from anywhere is likelier.
const NOTHING: f64 = 1e-12;

/// Where a note was on a walk.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum At {
    /// At this state.
    State(usize),
    /// Nowhere in the order.
    Astray,
}

impl Notes {
    fn len(&self) -> usize {
        self.cents.len()
    }

    fn reed(&self, note: usize, reed: usize) -> f64 {
        likelihood::of_reed(self.cents[note] - self.targets[reed])
    }

    /// For a note after another: the likelihood of a repeat against that of the reed itself.
    fn repeat(&self, note: usize, of_reed: f64) -> f64 {
        likelihood::of_repeat(self.cents[note] - self.cents[note - 1], of_reed)
    }

    fn by_reed(&self, note: usize) -> Vec<f64> {
        (0..self.targets.len()).map(|reed| self.reed(note, reed)).collect()
    }
}

/// One step forwards: the likelihood of note `idx` at each state, given `before`; without the stray part.
fn step(lanes: &Transitions, notes: &Notes, idx: usize, before: &[f64]) -> Vec<f64> {
    let by_reed = notes.by_reed(idx);
    let all: f64 = before.iter().sum();
    let anywhere = ANYWHERE / lanes.len() as f64;
    let mut now: Vec<f64> = lanes.starts.iter().map(|start| all * (TO_A_START * start + anywhere)).collect();
    for (from, part) in before.iter().enumerate().filter(|(_, part)| **part > NOTHING) {
        for (to, weight) in &lanes.steps[from] {
            now[*to] += part * weight;
        }
    }
    for (state, value) in now.iter_mut().enumerate() {
        let of_reed = by_reed[lanes.reed[state]];
        *value = *value * of_reed + before[state] * REPEAT * notes.repeat(idx, of_reed);
    }
    now
}

/// The log likelihood of the sequence alone.
pub(super) fn log_likelihood(lanes: &Transitions, notes: &Notes) -> f64 {
    forward(lanes, notes).1
}

/// Forward values of a note at each state, scaled so that `all` sums to 1.
struct Forward {
    /// With the part in which the note is astray.
    all: Vec<f64>,
    /// Without it.
    placed: Vec<f64>,
}

/// Forward values note by note, and the log likelihood.
fn forward(lanes: &Transitions, notes: &Notes) -> (Vec<Forward>, f64) {
    let mut kept: Vec<Forward> = Vec::with_capacity(notes.len());
    let mut log = 0.0;
    for idx in 0..notes.len() {
        let stray = likelihood::of_stray(notes.below_db[idx]);
        let (mut placed, before) = match kept.last() {
            None => {
                let by_reed = notes.by_reed(idx);
                let first = lanes.first.iter().zip(&lanes.reed).map(|(first, reed)| first * by_reed[*reed]);
                (first.collect::<Vec<f64>>(), &lanes.first)
            }
            Some(Forward { all: before, .. }) => (step(lanes, notes, idx, before), before),
        };
        let mut all: Vec<f64> =
            placed.iter().zip(before).map(|(placed, before)| placed + stray * before).collect();
        let sum: f64 = all.iter().sum::<f64>().max(1e-300);
        all.iter_mut().for_each(|value| *value /= sum);
        placed.iter_mut().for_each(|value| *value /= sum);
        log += sum.ln();
        kept.push(Forward { all, placed });
    }
    if let Some(Forward { all, .. }) = kept.last() {
        log += all.iter().zip(&lanes.last).map(|(value, last)| value * last).sum::<f64>().max(1e-300).ln();
    }
    (kept, log)
}

/// Over all ways through the order: for each note, the part of all likelihood in which it is of each reed.
pub(super) fn sums(lanes: &Transitions, notes: &Notes) -> Vec<Vec<f64>> {
    let (kept, _) = forward(lanes, notes);
    let n_reeds = notes.targets.len();
    let mut of_reed = vec![vec![0.0; n_reeds]; notes.len()];
    let mut behind: Vec<f64> = lanes.last.clone();
    let anywhere = ANYWHERE / lanes.len() as f64;
    for idx in (0..notes.len()).rev() {
        let Forward { all, placed } = &kept[idx];
        let total: f64 = all.iter().zip(&behind).map(|(a, b)| a * b).sum::<f64>().max(1e-300);
        for (state, value) in placed.iter().enumerate() {
            of_reed[idx][lanes.reed[state]] += value * behind[state] / total;
        }
        if idx == 0 {
            break;
        }
        let by_reed = notes.by_reed(idx);
        let stray = likelihood::of_stray(notes.below_db[idx]);
        let ahead: Vec<f64> =
            behind.iter().zip(&lanes.reed).map(|(value, reed)| value * by_reed[*reed]).collect();
        let common: f64 = ahead
            .iter()
            .zip(&lanes.starts)
            .map(|(value, start)| value * (TO_A_START * start + anywhere))
            .sum();
        let mut before: Vec<f64> = (0..lanes.len())
            .map(|from| {
                let steps: f64 = lanes.steps[from].iter().map(|(to, weight)| weight * ahead[*to]).sum();
                let again = REPEAT * notes.repeat(idx, by_reed[lanes.reed[from]]) * behind[from];
                steps + common + again + stray * behind[from]
            })
            .collect();
        let scale = before.iter().copied().fold(1e-300, f64::max);
        before.iter_mut().for_each(|value| *value /= scale);
        behind = before;
    }
    of_reed
}

/// The likeliest way.
pub(super) fn likeliest(lanes: &Transitions, notes: &Notes) -> Vec<At> {
    // From where each state was reached, and whether the note was astray.
    let mut back: Vec<Vec<(u32, bool)>> = Vec::with_capacity(notes.len());
    let mut score: Vec<f64> = lanes.first.iter().map(|first| first.ln()).collect();
    let anywhere = ANYWHERE / lanes.len() as f64;
    for idx in 0..notes.len() {
        let by_reed = notes.by_reed(idx);
        let stray = likelihood::of_stray(notes.below_db[idx]).ln();
        let mut now = vec![(f64::NEG_INFINITY, 0_u32, false); lanes.len()];
        if idx == 0 {
            for (state, one) in now.iter_mut().enumerate() {
                *one = (score[state] + by_reed[lanes.reed[state]].ln(), state as u32, false);
            }
        } else {
            let best = (0..lanes.len()).max_by(|a, b| score[*a].total_cmp(&score[*b])).unwrap_or(0);
            for (state, one) in now.iter_mut().enumerate() {
                let weight = TO_A_START * lanes.starts[state] + anywhere;
                *one = (score[best] + weight.ln(), best as u32, false);
            }
            for (from, steps) in lanes.steps.iter().enumerate() {
                for (to, weight) in steps {
                    let value = score[from] + weight.ln();
                    if value > now[*to].0 {
                        now[*to] = (value, from as u32, false);
                    }
                }
            }
            for (state, one) in now.iter_mut().enumerate() {
                let of_reed = by_reed[lanes.reed[state]];
                one.0 += of_reed.max(1e-300).ln();
                let again = score[state] + (REPEAT * notes.repeat(idx, of_reed)).max(1e-300).ln();
                if again > one.0 {
                    *one = (again, state as u32, false);
                }
            }
        }
        for (state, one) in now.iter_mut().enumerate() {
            if score[state] + stray > one.0 {
                *one = (score[state] + stray, state as u32, true);
            }
        }
        score = now.iter().map(|(value, ..)| *value).collect();
        back.push(now.into_iter().map(|(_, from, is_astray)| (from, is_astray)).collect());
    }
    let ended = |state: &usize| score[*state] + lanes.last[*state].ln();
    let mut state = (0..lanes.len()).max_by(|a, b| ended(a).total_cmp(&ended(b))).unwrap_or(0);
    let mut way = Vec::with_capacity(notes.len());
    for step in back.iter().rev() {
        let (from, is_astray) = step.get(state).copied().unwrap_or((0, true));
        way.push(if is_astray { At::Astray } else { At::State(state) });
        state = from as usize;
    }
    way.reverse();
    way
}
