//! The notes of a long recording laid along the order of a block.

use std::collections::BTreeSet;

use rayon::prelude::*;

use super::hmm::{self, At, Notes};
use super::likelihood::NEAR_CENTS;
use super::offset::{APART_CENTS, KnownOffset, Rival, Way, log_expected, middle, rival, steps};
use super::order::PlayOrder;
use super::strokes;
use super::swapped::{self, Swaps};
use super::transitions::Transitions;
use crate::instrument::{Instrument, PlatePlace, ReedPlace};
use crate::units::{Cents, Dbfs, Hz};

/// A note as it was found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Observation {
    /// Its pitch, within some cents.
    pub pitch: Hz,
    /// Its level.
    pub level: Dbfs,
    /// Whether it can serve as a take: whole, unclipped, long enough.
    pub is_good: bool,
}

/// Where a note belongs.
#[derive(Debug, Clone, PartialEq)]
pub struct Placing {
    /// The reed; `None` when it fits none.
    pub place: Option<ReedPlace>,
    /// How far its pitch lies from that reed's target, the common offset included.
    pub deviation: Option<Cents>,
    /// Why it is doubtful, or why it has no place; empty when it is sure.
    pub doubts: Vec<PlacingDoubt>,
    /// Of several notes of a reed the last good one speaks.
    pub speaks: bool,
}

/// Why a place is doubtful.
#[derive(Debug, Clone, PartialEq)]
pub enum PlacingDoubt {
    /// Another reed is nearly as likely; this is how likely the given place is.
    Likely {
        /// From 0 to 1.
        part: f64,
        /// The next likely reed.
        other: ReedPlace,
    },
    /// Its pitch lies far from the reed's, the common offset taken off.
    FarOff {
        /// How far.
        by: Cents,
    },
    /// By its pitch another plate lies here.
    Swapped {
        /// The plate whose pitch it has.
        with: PlatePlace,
    },
    /// The plate's two reeds have one note, and it sounds more often than it has reeds.
    WhichStroke {
        /// How often.
        times: usize,
    },
    /// No reed of the order fits.
    Astray,
}

/// A whole recording laid along an order.
#[derive(Debug, Clone, PartialEq)]
pub struct Alignment {
    /// The order it was played in, in words.
    pub order: String,
    /// The runner-up and how much less likely it is, as a natural logarithm; `None` when one order was to choose from.
    pub runner_up: Option<(String, f64)>,
    /// How far the instrument lies from its targets as a whole.
    pub offset: Cents,
    /// Another offset at which the notes fit too, where one is left over.
    pub rival: Option<Rival>,
    /// For each note, in the order they were given.
    pub placings: Vec<Placing>,
    /// Plates that seem to lie in each other's place.
    pub swaps: Vec<[PlatePlace; 2]>,
    /// Reeds of the order that were not heard.
    pub not_heard: Vec<ReedPlace>,
}

/// Ways so much less likely than the best are left out, natural logarithm.
const LEFT_OUT: f64 = 14.0;
/// Swaps may make up for so much, natural logarithm, and so many orders and offsets are looked at.
const SWAPS_MAY_CHANGE: f64 = 25.0;
const MOST_SETTLED: usize = 5;
/// So many ways are summed up side by side.
const AT_A_TIME: usize = 4;
/// A place is sure from this probability on, and only within [`NEAR_CENTS`] of the target.
const SURE: f64 = 0.995;
/// Where nothing is known of the offset another one is told from this part of all likelihood on. It is this little because
/// between two offsets the pitches say nothing: only where players are thought to begin and end does, and somebody begins
/// elsewhere.
const UNKNOWN_RIVAL: f64 = 5e-4;
/// A likely later order of [`super::likely_orders`] is this much less likely than the one before, natural logarithm.
const LATER_ORDER: f64 = 0.3;
/// Neighbours on each side whose level a note is held against.
const NEIGHBOURS: usize = 6;

/// Lay `notes` along the likeliest of `orders`.
///
/// Dynamic programming over all ways through the order with every offset: each note's pitch and level, and what
/// players do (repeat, skip, go back, turn a row round, begin anywhere), weigh every way; so does what is `known` of the
/// offset. `None` without notes or orders.
///
/// Source: hidden Markov chain, Rabiner 1989; the weights are our own (`docs/method.md`).
pub fn align(
    instrument: &Instrument,
    orders: &[PlayOrder],
    notes: &[Observation],
    known: Option<KnownOffset>,
) -> Option<Alignment> {
    let all: BTreeSet<&ReedPlace> =
        orders.iter().flat_map(|order| order.runs.iter().flatten().flatten()).collect();
    let reeds: Vec<ReedPlace> =
        instrument.reeds().map(|(place, _)| place).filter(|place| all.contains(place)).collect();
    let targets: Vec<f64> =
        reeds.iter().map(|reed| instrument.target(reed).map_or(f64::INFINITY, above_one_hz)).collect();
    if notes.is_empty() || reeds.is_empty() {
        return None;
    }
    let heard = |offset: f64, targets: &[f64]| Notes {
        cents: notes.iter().map(|note| above_one_hz(note.pitch)).collect(),
        below_db: below_neighbours(notes),
        targets: targets.iter().map(|target| target + offset).collect(),
    };
    let lanes: Vec<Transitions> = orders.iter().map(|order| Transitions::new(order, &reeds)).collect();
    // How likely each order and offset is.
    let steps = steps(known);
    let expected = |order: usize, offset: f64| log_expected(known, offset) - LATER_ORDER * order as f64;
    let tries: Vec<(usize, f64)> =
        (0..lanes.len()).flat_map(|idx| steps.iter().map(move |offset| (idx, *offset))).collect();
    // Side by side, and in this order whoever is ready first.
    let ways: Vec<(usize, f64, f64)> = tries
        .into_par_iter()
        .filter_map(|(idx, offset)| {
            let log = hmm::log_likelihood(lanes.get(idx)?, &heard(offset, &targets));
            Some((idx, offset, expected(idx, offset) + log))
        })
        .collect();
    // What may be true, each with the offset to a cent and its own swaps; the likeliest of them with all that.
    let settings = settings(&ways);
    let mut settled: Vec<Settled> = settings
        .into_par_iter()
        .filter_map(|(idx, offset)| {
            let lane = lanes.get(idx)?;
            let offset = settled_offset(lane, &heard(offset, &targets), offset);
            let swaps = swapped::find(lane, &reeds, &targets, |targets| heard(offset, targets));
            Some(Settled { idx, offset, expected: expected(idx, offset), swaps })
        })
        .collect();
    let best = (0..settled.len()).max_by(|a, b| settled[*a].log().total_cmp(&settled[*b].log()))?;
    settled.swap(0, best);
    let Settled { idx: chosen, offset, swaps, .. } = settled.first()?;
    let (chosen, offset) = (*chosen, *offset);
    let lane = lanes.get(chosen)?;
    let notes_heard = heard(offset, &swaps.targets);
    let mut way = hmm::likeliest(lane, &notes_heard);
    let unclear = strokes::settle(&mut way, lane, &reeds, &notes_heard);
    // Every order, offset and swap that may still be true has its say in how sure a place is.
    let way_of = |log: f64, order: usize, offset: f64, targets: &[f64]| Way {
        log,
        order,
        offset,
        notes: heard(offset, targets),
    };
    let mut all: Vec<Way> = Vec::new();
    for (idx, at, log) in ways.iter().copied() {
        all.push(way_of(log, idx, at, &targets));
    }
    for one in &settled {
        all.push(way_of(one.log(), one.idx, one.offset, &one.swaps.targets));
        for (log, targets) in &one.swaps.ways {
            all.push(way_of(one.expected + log, one.idx, one.offset, targets));
        }
    }
    let top = all.iter().map(|one| one.log).fold(f64::NEG_INFINITY, f64::max);
    all.retain(|one| one.log > top - LEFT_OUT);
    let total: f64 = all.iter().map(|one| (one.log - top).exp()).sum();
    let mut likely = vec![vec![0.0; reeds.len()]; notes.len()];
    // A few at a time: each holds a figure for every note and reed.
    for some in all.chunks(AT_A_TIME) {
        let sums: Vec<(f64, Vec<Vec<f64>>)> = some
            .par_iter()
            .filter_map(|one| Some(((one.log - top).exp(), hmm::sums(lanes.get(one.order)?, &one.notes))))
            .collect();
        for (part, of_reed) in sums {
            for (sum, one) in likely.iter_mut().flatten().zip(of_reed.into_iter().flatten()) {
                *sum += part / total * one;
            }
        }
    }
    let least = if known.is_some() { 1.0 - SURE } else { UNKNOWN_RIVAL };
    let rival = rival(&all, offset, least, &lanes, &reeds);
    let otherwise = |idx: usize| rival.as_ref().and_then(|rival| rival.places.get(idx)?.clone());
    let mut placings: Vec<Placing> = way
        .iter()
        .enumerate()
        .map(|(idx, at)| {
            let At::State(state) = at else {
                return Placing {
                    place: None,
                    deviation: None,
                    doubts: vec![PlacingDoubt::Astray],
                    speaks: false,
                };
            };
            let reed = lane.reed[*state];
            let from_own = notes_heard.cents[idx] - targets[reed];
            let mut doubts = Vec::new();
            for swap in swaps.said.iter().chain(&swaps.doubtful) {
                let other =
                    swap.iter().position(|plate| *plate == reeds[reed].plate).and_then(|at| swap.get(1 - at));
                doubts.extend(other.map(|with| PlacingDoubt::Swapped { with: with.clone() }));
            }
            let by = notes_heard.cents[idx] - notes_heard.targets[reed];
            if by.abs() > NEAR_CENTS {
                doubts.push(PlacingDoubt::FarOff { by: cents(by) });
            }
            if let Some(times) = unclear[idx] {
                doubts.push(PlacingDoubt::WhichStroke { times });
            }
            let part = likely[idx][reed];
            let other = (0..reeds.len())
                .filter(|other| *other != reed)
                .max_by(|a, b| likely[idx][*a].total_cmp(&likely[idx][*b]));
            let other = match otherwise(idx).filter(|other| *other != reeds[reed]) {
                Some(other) => Some(other),
                None => other.filter(|_| part < SURE).map(|other| reeds[other].clone()),
            };
            doubts.extend(other.map(|other| PlacingDoubt::Likely { part, other }));
            Placing {
                place: Some(reeds[reed].clone()),
                deviation: Some(cents(from_own)),
                doubts,
                speaks: false,
            }
        })
        .collect();
    let_speak(&mut placings, notes);
    let order = orders.get(chosen)?;
    let mut seen: Vec<&ReedPlace> = Vec::new();
    let of_order = order.runs.iter().flatten().flatten();
    let not_heard = of_order
        .filter(|reed| !placings.iter().any(|placing| placing.place.as_ref() == Some(*reed)))
        .filter(|reed| {
            let is_new = !seen.contains(reed);
            seen.push(reed);
            is_new
        })
        .cloned()
        .collect();
    Some(Alignment {
        order: order.name.clone(),
        runner_up: runner_up(orders, &ways, chosen),
        offset: cents(offset),
        rival,
        placings,
        swaps: swaps.said.clone(),
        not_heard,
    })
}

/// An order and an offset that may be true, with what was found under them.
struct Settled {
    idx: usize,
    offset: f64,
    /// What is expected of the two before anything is heard, natural logarithm.
    expected: f64,
    swaps: Swaps,
}

impl Settled {
    fn log(&self) -> f64 {
        self.expected + self.swaps.log
    }
}

/// The best orders and offsets that differ: of neighbouring offsets of one order the best alone.
fn settings(ways: &[(usize, f64, f64)]) -> Vec<(usize, f64)> {
    let mut sorted = ways.to_vec();
    sorted.sort_by(|a, b| b.2.total_cmp(&a.2));
    let best = sorted.first().map_or(0.0, |way| way.2);
    let mut kept: Vec<(usize, f64)> = Vec::new();
    for (idx, offset, log) in sorted {
        let is_new = kept.iter().all(|(order, other)| *order != idx || (other - offset).abs() > APART_CENTS);
        if is_new && log > best - SWAPS_MAY_CHANGE && kept.len() < MOST_SETTLED {
            kept.push((idx, offset));
        }
    }
    kept
}

/// The middle of how far the notes lie from their targets along the likeliest way, so that no reed pays for the grid.
fn settled_offset(lanes: &Transitions, notes: &Notes, offset: f64) -> f64 {
    let way = hmm::likeliest(lanes, notes);
    let offs = way.iter().zip(&notes.cents).filter_map(|(at, cents)| match at {
        At::State(state) => Some(cents - notes.targets.get(*lanes.reed.get(*state)?)?),
        At::Astray => None,
    });
    // No farther than the next offset that is looked at apart.
    let more = middle(offs.filter(|off| off.abs() < NEAR_CENTS).collect()).unwrap_or(0.0);
    offset + more.clamp(-APART_CENTS, APART_CENTS)
}

/// Of several notes of a reed the last good one speaks; where none is good, the last.
pub fn let_speak(placings: &mut [Placing], notes: &[Observation]) {
    let places: BTreeSet<ReedPlace> = placings.iter().filter_map(|placing| placing.place.clone()).collect();
    placings.iter_mut().for_each(|placing| placing.speaks = false);
    for place in places {
        let of_reed = |idx: &usize| placings.get(*idx).is_some_and(|one| one.place.as_ref() == Some(&place));
        let all: Vec<usize> = (0..placings.len()).filter(of_reed).collect();
        let good = all.iter().rev().find(|idx| notes.get(**idx).is_some_and(|note| note.is_good));
        if let Some(one) = good.or(all.last()).and_then(|idx| placings.get_mut(*idx)) {
            one.speaks = true;
        }
    }
}

/// The likeliest other order and how much less likely it is, all offsets together.
fn runner_up(orders: &[PlayOrder], ways: &[(usize, f64, f64)], chosen: usize) -> Option<(String, f64)> {
    let top = ways.iter().map(|way| way.2).fold(f64::NEG_INFINITY, f64::max);
    let of = |idx: usize| {
        let sum: f64 = ways.iter().filter(|way| way.0 == idx).map(|way| (way.2 - top).exp()).sum();
        sum.max(1e-300).ln()
    };
    let others = (0..orders.len()).filter(|idx| *idx != chosen);
    let second = others.max_by(|a, b| of(*a).total_cmp(&of(*b)))?;
    Some((orders.get(second)?.name.clone(), of(chosen) - of(second)))
}

/// How much softer each note is than the middle of its neighbours, dB.
fn below_neighbours(notes: &[Observation]) -> Vec<f64> {
    (0..notes.len())
        .map(|idx| {
            let around = notes.iter().take(idx + NEIGHBOURS + 1).skip(idx.saturating_sub(NEIGHBOURS));
            let level = notes.get(idx).map_or(0.0, |note| note.level.get());
            middle(around.map(|note| note.level.get()).collect()).map_or(0.0, |middle| middle - level)
        })
        .collect()
}

fn above_one_hz(pitch: Hz) -> f64 {
    1200.0 * pitch.get().log2()
}

fn cents(value: f64) -> Cents {
    Cents::new(value).unwrap_or(Cents::ZERO)
}
