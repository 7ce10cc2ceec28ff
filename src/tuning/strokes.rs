//! How many cents a stroke takes, learnt from the goes that were made, and how many strokes are safe now.
//!
//! A go is a number of strokes with a play before and one after. Its effect a stroke, against what the beam gives for
//! that reed, is a ratio r; with z = ln r
//!
//! > z = hand + register + reed + scatter, each normal,
//!
//! where the hand is one person with one tool at one end of the tongue. The levels are estimated from above downwards,
//! each shrunk towards the one above it by its own uncertainty; the beam is the start (hand ~ N(0, 1)).

use crate::instrument::{Note, ReedPlace};
use crate::repair::Part;
use crate::units::{Cents, Measured};

use super::beam::stroke_by_beam;

/// Hands and tools differ from the beam's stroke by this much in the logarithm, one spread: a factor of five to either side
/// is two. Our own choice.
const HAND_SPREAD: f64 = 0.8;
/// Registers of one hand, reeds of one register: our own choices, a third and a sixth.
const REGISTER_SPREAD: f64 = 0.3;
const REED_SPREAD: f64 = 0.15;
/// Scatter of a go, as a part of itself, before any is known, and for how many goes that counts: 30 to 60 % is told of
/// careful people (common practice, no source).
const SCATTER: f64 = 0.45;
const SCATTER_GOES: f64 = 4.0;
/// A go that lies further off than this many spreads counts as if it lay there: a slip must not teach much.
const MOST_SPREADS: f64 = 3.0;
/// Always short of the target by so many spreads.
const SHORT_BY_SPREADS: f64 = 2.0;
/// After so many strokes one plays again in any case. Our own choice.
const MOST_STROKES: u32 = 60;
/// Nobody can make a stroke lighter than this part of the usual one on purpose. Our own choice.
const LIGHTEST: f64 = 0.2;

/// A person with a tool.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Hand {
    /// Who; empty where nobody said.
    pub by: String,
    /// With what: `file`, `scratcher`; empty where nobody said.
    pub tool: String,
}

/// Strokes at one end of a tongue, and what they did.
#[derive(Debug, Clone, PartialEq)]
pub struct Go {
    /// The reed.
    pub place: ReedPlace,
    /// Its note.
    pub note: Note,
    /// Whose strokes.
    pub hand: Hand,
    /// Where on the tongue.
    pub part: Part,
    /// How many; below 1 a light one, as a part of a usual stroke.
    pub strokes: f64,
    /// The pitch after less the pitch before.
    pub moved: Measured,
}

/// What a stroke is expected to do.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StrokeEffect {
    /// Middle value, cents; negative at the root.
    pub cents: f64,
    /// Two spreads upwards, as a factor: hardly a go does more than `cents · most`.
    pub most: f64,
    /// How many goes of this hand at this end taught it; with none the beam alone speaks.
    pub goes: usize,
}

/// How far to go now.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Advice {
    /// Where: the tip raises, the root lowers.
    pub part: Part,
    /// So many strokes, then play; 0 means one light stroke.
    pub strokes: u32,
    /// How light that is, as a part of a usual stroke; 1 for whole strokes.
    pub light: f64,
    /// What they are expected to do, cents.
    pub expected: f64,
    /// What they may do at the most, two spreads, cents.
    pub at_most: f64,
    /// What a stroke is taken to do.
    pub effect: StrokeEffect,
}

/// The five registers: below C3, octaves to C6, above.
fn register(note: Note) -> i16 {
    (note.number().div_euclid(12) - 3).clamp(0, 4)
}

/// A normal estimate: middle and variance.
#[derive(Clone, Copy)]
struct Estimate {
    middle: f64,
    variance: f64,
}

impl Estimate {
    /// With another independent look at the same thing.
    fn with(self, value: f64, variance: f64) -> Self {
        let weight = self.variance / (self.variance + variance);
        Self {
            middle: self.middle + weight * (value - self.middle),
            variance: self.variance * (1.0 - weight),
        }
    }

    fn wider(self, spread: f64) -> Self {
        Self { variance: self.variance + spread * spread, ..self }
    }
}

/// One go as the levels see it.
struct Seen<'a> {
    go: &'a Go,
    /// What it did, against what the beam gives.
    ratio: f64,
    /// Variance of that which the pitches themselves bring in.
    noise: f64,
}

/// What a stroke of this hand does to this reed.
pub fn stroke_effect(goes: &[Go], hand: &Hand, part: Part, place: &ReedPlace, note: Note) -> StrokeEffect {
    let seen: Vec<Seen> = goes
        .iter()
        .filter(|go| go.hand == *hand && go.part == part && go.strokes > 0.0)
        .map(|go| {
            let beam = stroke_by_beam(go.note, part) * go.strokes;
            let ratio = go.moved.value.get() / beam;
            Seen { go, ratio, noise: (go.moved.uncertainty.get() / 1.96 / beam).powi(2) }
        })
        .collect();
    let scatter = scatter(&seen);
    let here = register(note);
    let mut estimate = Estimate { middle: 0.0, variance: HAND_SPREAD * HAND_SPREAD };
    // Other registers tell the hand, each as one look that brings its own spread along.
    for other in (0..5).filter(|other| *other != here) {
        let of_register: Vec<&Seen> = seen.iter().filter(|seen| register(seen.go.note) == other).collect();
        estimate = estimate.taught_by(&of_register, scatter, REGISTER_SPREAD * REGISTER_SPREAD);
    }
    estimate = estimate.wider(REGISTER_SPREAD);
    let of_register: Vec<&Seen> =
        seen.iter().filter(|seen| register(seen.go.note) == here && seen.go.place != *place).collect();
    let n_reeds = distinct_reeds(&of_register) as f64;
    estimate = estimate.taught_by(&of_register, scatter, REED_SPREAD * REED_SPREAD / n_reeds);
    estimate = estimate.wider(REED_SPREAD);
    let of_reed: Vec<&Seen> = seen.iter().filter(|seen| seen.go.place == *place).collect();
    estimate = estimate.taught_by(&of_reed, scatter, 0.0);
    // Two spreads of the level and two of the go, which are independent of each other.
    let level = (SHORT_BY_SPREADS * estimate.variance.sqrt()).exp() - 1.0;
    StrokeEffect {
        cents: stroke_by_beam(note, part) * estimate.middle.exp(),
        most: 1.0 + level.hypot(SHORT_BY_SPREADS * scatter),
        goes: seen.len(),
    }
}

impl Estimate {
    /// After goes of one group, whose own level has the variance `own` about this one.
    fn taught_by(self, seen: &[&Seen], scatter: f64, own: f64) -> Self {
        if seen.is_empty() {
            return self;
        }
        let middle = self.middle.exp();
        let (mut weights, mut sum) = (0.0, 0.0);
        for one in seen {
            let spread = middle * (self.variance + scatter * scatter + one.noise / (middle * middle)).sqrt();
            let reach = MOST_SPREADS * spread;
            let weight = 1.0 / (scatter * scatter * middle * middle + one.noise);
            weights += weight;
            sum += weight * one.ratio.clamp(middle - reach, middle + reach);
        }
        // The mean of the ratios themselves: that of their logarithms lies lower, and too many strokes would be told.
        let mean = (sum / weights).max(0.05 * middle);
        self.with(mean.ln(), 1.0 / weights / (mean * mean) + own)
    }
}

fn distinct_reeds(seen: &[&Seen]) -> usize {
    seen.iter().map(|seen| &seen.go.place).collect::<std::collections::BTreeSet<_>>().len().max(1)
}

/// Scatter of the goes about their register's mean, as a part of it, shrunk towards what is usual.
fn scatter(seen: &[Seen]) -> f64 {
    let mut squares = SCATTER_GOES * SCATTER * SCATTER;
    let mut count = SCATTER_GOES;
    for here in 0..5 {
        let of_register = || seen.iter().filter(|seen| register(seen.go.note) == here);
        let n = of_register().count() as f64;
        let mean = of_register().map(|seen| seen.ratio).sum::<f64>() / n;
        if n < 2.0 || mean <= 0.0 {
            continue;
        }
        let square = |seen: &Seen| {
            let off = (seen.ratio / mean - 1.0).clamp(-1.0, MOST_SPREADS * SCATTER);
            (off * off - seen.noise / (mean * mean)).max(0.0)
        };
        squares += of_register().map(square).sum::<f64>() * (n - 1.0) / n;
        count += n - 1.0;
    }
    (squares / count).sqrt()
}

/// How many strokes are safe for a reed that lies `off` from its target; `None` where it lies within `tolerance`.
///
/// The most they may do, two spreads, reaches the target and not beyond.
pub fn advise(
    goes: &[Go],
    hand: &Hand,
    place: &ReedPlace,
    note: Note,
    off: Cents,
    tolerance: Cents,
) -> Option<Advice> {
    if off.abs().get() <= tolerance.get() {
        return None;
    }
    let part = if off.get() < 0.0 { Part::Tip } else { Part::Root };
    let effect = stroke_effect(goes, hand, part, place, note);
    let safe = off.abs().get() / (effect.cents.abs() * effect.most);
    let strokes = safe.floor().clamp(0.0, f64::from(MOST_STROKES)) as u32;
    let light = if strokes == 0 { safe.clamp(LIGHTEST, 1.0) } else { 1.0 };
    let counted = light * f64::from(strokes.max(1));
    Some(Advice {
        part,
        strokes,
        light,
        expected: counted * effect.cents,
        at_most: counted * effect.cents * effect.most,
        effect,
    })
}
