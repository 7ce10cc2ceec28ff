//! Plates that were put back in each other's place, by the pitches along an order.

use super::hmm::{self, At, Notes};
use super::likelihood::NEAR_CENTS;
use super::transitions::Transitions;
use crate::instrument::{PlatePlace, ReedPlace};

/// Two plates lie in each other's place this rarely, natural logarithm; so near to the limit it is doubtful.
const SWAP_LOG: f64 = -8.0;
const SWAP_MARGIN: f64 = 5.0;
/// So many pairs of plates at the most are looked for.
const MOST_SWAPS: usize = 4;
/// Further pairs are kept down to this log-likelihood below the best one, and at most so many of them.
const HAS_A_SAY: f64 = 10.0;
const MOST_WAYS: usize = 8;
/// Swaps are looked for where so many of the notes lie near their targets.
const MOST_FIT: f64 = 0.6;
/// All pairs of a row are tried while that takes no more than so many looks of a note at a state; else those in question.
const MOST_LOOKS: usize = 12_000_000;

/// What was found.
pub(super) struct Swaps {
    /// Pairs that make the whole far likelier.
    pub said: Vec<[PlatePlace; 2]>,
    /// A pair that may be one.
    pub doubtful: Option<[PlatePlace; 2]>,
    /// The targets with the said pairs exchanged.
    pub targets: Vec<f64>,
    /// The log likelihood with them, their rarity counted in.
    pub log: f64,
    /// Every way to exchange plates that may be true: its log likelihood and its targets.
    pub ways: Vec<(f64, Vec<f64>)>,
}

/// A pair of plates, and the log likelihood with their targets exchanged.
type Try = (f64, [PlatePlace; 2], Vec<f64>);

/// Look for pairs of plates whose exchange makes the whole far likelier.
pub(super) fn find(
    lanes: &Transitions,
    reeds: &[ReedPlace],
    targets: &[f64],
    heard: impl Fn(&[f64]) -> Notes,
) -> Swaps {
    let mut now = hmm::log_likelihood(lanes, &heard(targets));
    let mut found =
        Swaps { said: Vec::new(), doubtful: None, targets: targets.to_vec(), log: now, ways: Vec::new() };
    if !fits(lanes, &heard(targets)) {
        return found;
    }
    let looks = (lanes.len() * heard(targets).cents.len()).max(1);
    for round in 0..MOST_SWAPS {
        let rarity = SWAP_LOG * (round + 1) as f64;
        let suspects = suspects(lanes, reeds, &heard(&found.targets));
        let mut tries: Vec<Try> = pairs(reeds, &suspects, MOST_LOOKS / looks)
            .into_iter()
            .filter_map(|[a, b]| {
                let changed = exchanged(reeds, &found.targets, &a, &b)?;
                Some((hmm::log_likelihood(lanes, &heard(&changed)) + rarity, [a, b], changed))
            })
            .collect();
        tries.sort_by(|a, b| b.0.total_cmp(&a.0));
        let Some((log, pair, changed)) = tries.first().cloned() else { break };
        if log < now - SWAP_MARGIN {
            break;
        }
        if round == 0 {
            let others = tries.into_iter().take(MOST_WAYS).filter(|other| other.0 > log - HAS_A_SAY);
            found.ways = others.map(|(log, _, changed)| (log, changed)).collect();
        }
        if log <= now {
            found.doubtful = Some(pair);
            break;
        }
        found.said.push(pair);
        found.targets = changed;
        if round > 0 {
            found.ways.push((log, found.targets.clone()));
        }
        (now, found.log) = (log, log);
    }
    found
}

/// Whether most notes are where they should be; else the whole is not understood, and no swap explains it.
fn fits(lanes: &Transitions, notes: &Notes) -> bool {
    let way = hmm::likeliest(lanes, notes);
    let near = way.iter().zip(&notes.cents).filter(|(at, cents)| match at {
        At::State(state) => lanes
            .reed
            .get(*state)
            .and_then(|reed| notes.targets.get(*reed))
            .is_some_and(|target| (*cents - target).abs() < NEAR_CENTS),
        At::Astray => false,
    });
    near.count() as f64 >= MOST_FIT * way.len() as f64
}

/// The pairs to be tried: all within a row when any plate is in question, and those in question.
fn pairs(reeds: &[ReedPlace], suspects: &[PlatePlace], most: usize) -> Vec<[PlatePlace; 2]> {
    let mut plates: Vec<&PlatePlace> = reeds.iter().map(|reed| &reed.plate).collect();
    plates.dedup();
    let couples = |plates: &[&PlatePlace]| -> Vec<[PlatePlace; 2]> {
        let each = plates.iter().enumerate();
        each.flat_map(|(idx, a)| plates.iter().skip(idx + 1).map(move |b| [(*a).clone(), (*b).clone()]))
            .collect()
    };
    let mut in_question = couples(&suspects.iter().collect::<Vec<_>>());
    in_question.truncate(most.max(8));
    if suspects.is_empty() {
        return in_question;
    }
    let mut all: Vec<[PlatePlace; 2]> = couples(&plates);
    all.retain(|[a, b]| (&a.block, &a.row) == (&b.block, &b.row));
    if all.len() > most {
        return in_question;
    }
    let more: Vec<_> = in_question
        .into_iter()
        .filter(|[a, b]| !all.iter().any(|[c, d]| (a, b) == (c, d) || (a, b) == (d, c)))
        .collect();
    all.extend(more);
    all
}

/// Plates at which the likeliest way does anything but go on to the next reed, or whose pitch is far off.
fn suspects(lanes: &Transitions, reeds: &[ReedPlace], notes: &Notes) -> Vec<PlatePlace> {
    let way = hmm::likeliest(lanes, notes);
    let mut suspects: Vec<PlatePlace> = Vec::new();
    let mut add = |state: usize| {
        let plate = lanes.reed.get(state).and_then(|reed| reeds.get(*reed)).map(|reed| &reed.plate);
        if let Some(plate) = plate.filter(|plate| !suspects.contains(plate)) {
            suspects.push(plate.clone());
        }
    };
    let mut before: Option<usize> = None;
    let mut is_astray = false;
    for (idx, at) in way.iter().enumerate() {
        let At::State(state) = *at else {
            is_astray = true;
            continue;
        };
        let is_far = (notes.cents[idx] - notes.targets[lanes.reed[state]]).abs() > NEAR_CENTS;
        let goes_on = before.is_none_or(|before| state == before + 1 || state == before);
        if is_far || is_astray || !goes_on {
            // All plates between are in question.
            let from = before.unwrap_or(state);
            let (low, high) = (from.min(state), from.max(state));
            if high - low <= 12 {
                (low..=high).for_each(&mut add);
            } else {
                [low, low + 1, low + 2, high]
                    .into_iter()
                    .filter(|state| *state < lanes.len())
                    .for_each(&mut add);
            }
        }
        is_astray = false;
        before = Some(state);
    }
    suspects.truncate(24);
    suspects
}

/// The targets with two plates in each other's place; `None` where they carry other reeds or the same notes.
fn exchanged(reeds: &[ReedPlace], targets: &[f64], a: &PlatePlace, b: &PlatePlace) -> Option<Vec<f64>> {
    let mut changed = targets.to_vec();
    let mut differs = false;
    for (idx, reed) in reeds.iter().enumerate().filter(|(_, reed)| reed.plate == *a) {
        let other = reeds.iter().position(|one| one.plate == *b && one.stroke == reed.stroke)?;
        let (own, there) = (targets.get(idx)?, targets.get(other)?);
        differs |= (own - there).abs() > NEAR_CENTS;
        *changed.get_mut(idx)? = *there;
        *changed.get_mut(other)? = *own;
    }
    differs.then_some(changed)
}
