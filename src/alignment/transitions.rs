//! An order of play as states and steps: where the next note may be, and how likely that is.
//!
//! A run gives two lanes, forwards and backwards. The weights are our own, chosen by hand for what players do; they are
//! probabilities up to a factor, and a factor of ten either way changes little.

use super::order::PlayOrder;
use crate::instrument::ReedPlace;

/// The next reed of the order.
const NEXT: f64 = 0.90;
/// The same reed once more.
pub(super) const REPEAT: f64 = 0.025;
/// So many reeds passed over; two is a plate.
const SKIP: [f64; 10] = [0.009, 0.009, 0.003, 0.003, 0.0015, 0.0015, 0.001, 0.001, 0.0005, 0.0005];
/// So many reeds back.
const BACK: [f64; 10] = [0.006, 0.004, 0.002, 0.002, 0.001, 0.001, 0.0005, 0.0005, 0.0005, 0.0005];
/// Back to the other stroke of the same plate: the wrong one came first.
const OTHER_STROKE: f64 = 0.03;
/// To the start of any lane, and to anywhere.
pub(super) const TO_A_START: f64 = 0.003;
pub(super) const ANYWHERE: f64 = 0.001;
/// At the end of a run: the next one, the next one backwards, any other.
const AFTER_RUN: [f64; 3] = [0.85, 0.1, 0.02];
/// After the last run the order seldom begins anew: only where the recording began in its middle.
const ANEW: f64 = 0.05;
/// Where a recording begins: at the start of the order, at the start of a lane, anywhere.
const BEGINS: [f64; 3] = [0.7, 0.1, 0.2];
/// Anywhere is rather near the start of the order than near its end: so much likelier at the one than at the other.
const BEGINS_EARLY: f64 = 3.0;
/// A recording ends at the end of a run, or at one certain reed elsewhere: where a row is begun it is mostly played to its
/// last reed, and of those that end elsewhere each does so at a reed of its own.
const ENDS_ELSEWHERE: f64 = 0.03;
/// It seldom begins or ends between the two strokes of a plate that are played in turn: no oftener than a reed is passed
/// over, but for a first note that the recording missed.
const BEGINS_INSIDE: f64 = 0.1;
const ENDS_INSIDE: f64 = 0.01;

/// The states and steps of an order.
pub(super) struct Transitions {
    /// The reed of each state.
    pub reed: Vec<usize>,
    /// Steps to other states with their weights, by state.
    pub steps: Vec<Vec<(usize, f64)>>,
    /// How likely each state is the start of a lane, or the first of all.
    pub starts: Vec<f64>,
    pub first: Vec<f64>,
    pub last: Vec<f64>,
}

impl Transitions {
    /// Lay out `order`; `reeds` are the reeds states are counted by, all those of the order among them.
    pub fn new(order: &PlayOrder, reeds: &[ReedPlace]) -> Self {
        let plate = |place: &ReedPlace| place.plate.clone();
        let number = |place: &ReedPlace| reeds.iter().position(|reed| reed == place).unwrap_or(0);
        // Forwards and backwards of each run, one behind the other.
        let mut lanes: Vec<Vec<usize>> = Vec::new();
        // Whether each state is the first and the last of its group.
        let mut outermost: Vec<[bool; 2]> = Vec::new();
        let ends = |group: &Vec<ReedPlace>| {
            let n = group.len();
            (0..n).map(move |k| [k == 0, k + 1 == n])
        };
        for run in &order.runs {
            lanes.push(run.iter().flatten().map(number).collect());
            outermost.extend(run.iter().flat_map(ends));
            lanes.push(run.iter().rev().flatten().map(number).collect());
            outermost.extend(run.iter().rev().flat_map(ends));
        }
        let offsets: Vec<usize> = lanes
            .iter()
            .scan(0, |sum, lane| {
                let at = *sum;
                *sum += lane.len();
                Some(at)
            })
            .collect();
        let reed: Vec<usize> = lanes.iter().flatten().copied().collect();
        let n = reed.len();
        let mut starts = vec![0.0; n];
        for offset in &offsets {
            starts[*offset] = 1.0 / lanes.len() as f64;
        }
        // The two lanes of a run lie equally early.
        let mut anywhere: Vec<f64> = Vec::with_capacity(n);
        for (idx, lane) in lanes.iter().enumerate() {
            let before = offsets[idx - idx % 2] as f64;
            anywhere.extend((0..lane.len()).map(|k| {
                let k = if idx % 2 == 0 { k } else { lane.len() - 1 - k };
                let part = (before + 2.0 * k as f64) / n as f64;
                (BEGINS_EARLY + (1.0 - BEGINS_EARLY) * part) / (0.5 * (1.0 + BEGINS_EARLY) * n as f64)
            }));
        }
        for (weight, [is_first, _]) in anywhere.iter_mut().zip(&outermost) {
            *weight *= if *is_first { 1.0 } else { BEGINS_INSIDE };
        }
        let mut first: Vec<f64> =
            starts.iter().zip(&anywhere).map(|(start, any)| BEGINS[1] * start + BEGINS[2] * any).collect();
        if let Some(begin) = first.first_mut() {
            *begin += BEGINS[0];
        }
        let inside = |is_last: bool| if is_last { 1.0 } else { ENDS_INSIDE };
        let mut last: Vec<f64> =
            outermost.iter().map(|[_, is_last]| ENDS_ELSEWHERE * inside(*is_last)).collect();
        let mut steps: Vec<Vec<(usize, f64)>> = vec![Vec::new(); n];
        for (lane_idx, lane) in lanes.iter().enumerate() {
            let offset = offsets[lane_idx];
            // The lanes of the next run; after the last one the order may begin anew.
            let after = (lane_idx / 2 + 1) % order.runs.len();
            let anew = if after == 0 { ANEW } else { 1.0 };
            let follows = [(2 * after, anew * AFTER_RUN[0]), (2 * after + 1, anew * AFTER_RUN[1])];
            for k in 0..lane.len() {
                let from = &mut steps[offset + k];
                let ahead = [NEXT].into_iter().chain(SKIP);
                for (j, weight) in ahead.enumerate() {
                    let to = k + 1 + j;
                    if to < lane.len() {
                        from.push((offset + to, weight));
                        continue;
                    }
                    for (next, part) in follows {
                        if to - lane.len() < lanes[next].len() {
                            from.push((offsets[next] + to - lane.len(), weight * part));
                        }
                    }
                }
                for (j, weight) in BACK.into_iter().enumerate() {
                    if let Some(to) = k.checked_sub(j + 1) {
                        let is_same =
                            j == 0 && reeds.get(lane[to]).map(plate) == reeds.get(lane[k]).map(plate);
                        from.push((offset + to, if is_same { OTHER_STROKE } else { weight }));
                    }
                }
                if k + 1 == lane.len() {
                    last[offset + k] = 1.0;
                    for start in &offsets {
                        from.push((*start, anew * NEXT * AFTER_RUN[2] / lanes.len() as f64));
                    }
                }
            }
        }
        Self { reed, steps, starts, first, last }
    }

    /// How many states there are.
    pub fn len(&self) -> usize {
        self.reed.len()
    }
}
