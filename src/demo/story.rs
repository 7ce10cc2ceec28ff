//! What is invented: the plan, the two passes, and what is wrong with which reed and valve.

use crate::instrument::{Face, Instrument, PlatePlace, ReedPlace, Stroke};
use crate::units::{Cents, Hz};

use super::sound::{Leak, Sounding};

/// A pass of the invented job.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DemoPass {
    /// Its name.
    pub name: &'static str,
    /// Room temperature, °C.
    pub temperature_c: f64,
    is_after: bool,
}

/// The two passes, in the order they were measured.
pub const PASSES: [DemoPass; 2] = [
    DemoPass { name: "before", temperature_c: 18.0, is_after: false },
    DemoPass { name: "after", temperature_c: 22.0, is_after: true },
];

/// The plan of the invented job, as `plan.toml`.
pub const PLAN: &str = r##"format = 1
title = "Invented job: a bass block from the workshop at Lindenquell"
bellows = "unisonoric"
reference_hz = 442.0
temperament = "equal"

[[block]]
name = "bass"
outer_tongue_sounds_on = "press"
leak_limit_db = -40.0
tolerance_cents = 2.0

[[block.row]]                     # long reeds, helper springs on their valves
name = "A"
notes = ["E2", "F2", "F#2", "G2", "G#2", "A2"]
valves_mm = [58, 57, 55, 54, 52, 51]
helper_springs = true

[[block.row]]                     # the last plate is small and has no valves
name = "B"
notes = ["E4", "F4", "F#4", "G4", "G#4", "A4"]
valves_mm = [29, 28, 28, 27, 26, 0]
"##;

/// What was made wrong, a line each, to compare with what is found.
pub const WHAT_IS_WRONG: [&str; 7] = [
    "bass A2: the outer valve leaks before, a new one is on after",
    "bass A5: the inner valve leaks before, a new one is on after",
    "bass B3: the outer valve leaks before and after",
    "bass B4: the inner valve leaks before, which only the sealing test tells; a new one is on after",
    "bass A3 and A4: put back in each other's place after",
    "bass A6 draw: forgotten after",
    "several reeds are out of tune; it is 4 K warmer after, which lowers every reed by about 0.9 cents",
];

/// Deviations at 20 °C, cents: [press, draw] of each plate. Valves were seen to first, the tuning is still to do.
const DEVIATIONS: [(&str, [[f64; 2]; 6]); 2] = [
    ("A", [[6.2, -1.1], [1.2, -12.8], [-0.8, 6.4], [0.9, -6.0], [-9.6, 1.4], [0.6, 8.1]]),
    ("B", [[0.7, -4.2], [1.5, -5.5], [0.4, -6.8], [-0.9, 3.9], [4.1, -0.6], [0.3, -1.9]]),
];

/// Valves that leak before; the opposite series in dB re the sounding one before, and after where it still does.
const LEAKS: [(&str, u32, Face, f64, Option<f64>); 3] = [
    ("A", 2, Face::Outer, -30.0, None),
    ("A", 5, Face::Inner, -32.0, None),
    ("B", 3, Face::Outer, -29.0, Some(-31.0)),
];

/// Plates of row A that lie in each other's place after.
const SWAPPED: [u32; 2] = [3, 4];

/// The reed without a take after.
const FORGOTTEN: (&str, u32, Stroke) = ("A", 6, Stroke::Draw);

/// Steel reeds, cents per kelvin (`docs/method.md`).
const CENTS_PER_KELVIN: f64 = -0.215;

/// Leaks of the invented kind make the tone weaker by this much, dB, and lower, cents.
const LEAK_WEAKENS_DB: f64 = 1.6;
const LEAK_LOWERS_CENTS: f64 = 0.5;

/// The valve that leaks before and makes no second tone: in the ordinary take its reed is hardly weaker than its
/// neighbours, in a sealing test by this much than with the path closed, dB.
const HIDDEN: (&str, u32, Face) = ("B", 4, Face::Inner);
const HIDDEN_ORDINARY_DB: f64 = 0.6;
const HIDDEN_SEALED_DB: f64 = 3.0;
/// Plays of its sealing test, open first.
const SEAL_PLAYS: u32 = 7;

/// The plays of the story's sealing test in `pass`, each with whether it is sealed.
pub(crate) fn seal_plays(instrument: &Instrument, pass: &DemoPass) -> Vec<(ReedPlace, bool, Sounding)> {
    let is_it = |reed: &ReedPlace| is_hidden(instrument, reed);
    let Some((reed, _)) = instrument.reeds().find(|(reed, _)| is_it(reed)) else { return Vec::new() };
    (1..=SEAL_PLAYS)
        .filter_map(|n| {
            let is_sealed = n % 2 == 0;
            let mut sounding = sounding(instrument, pass, &reed)?;
            sounding.take_name = format!("{reed} {} sealing test {n}", pass.name);
            sounding.weaker_db = if is_sealed || pass.is_after { 0.0 } else { HIDDEN_SEALED_DB };
            Some((reed.clone(), is_sealed, sounding))
        })
        .collect()
}

fn is_hidden(instrument: &Instrument, reed: &ReedPlace) -> bool {
    let tested = instrument.valve_tested_by(reed).map(|(valve, _)| valve);
    tested.is_some_and(|valve| (valve.plate.row.as_str(), valve.plate.number, valve.face) == HIDDEN)
}

/// How the reed at `place` sounds in `pass`; `None` where there is no take of it, or no such reed in the story.
pub(crate) fn sounding(instrument: &Instrument, pass: &DemoPass, place: &ReedPlace) -> Option<Sounding> {
    let there = &place.plate;
    if pass.is_after && (there.row.as_str(), there.number, place.stroke) == FORGOTTEN {
        return None;
    }
    let lying = plate_lying_at(there, pass);
    let leak = leak_heard(instrument, pass, &ReedPlace { plate: lying.clone(), stroke: place.stroke });
    let own = pitch(instrument, pass, &lying, place.stroke)?;
    let opposite = pitch(instrument, pass, &lying, place.stroke.other())?;
    let lowered = if leak.is_some() { -LEAK_LOWERS_CENTS } else { 0.0 };
    Some(Sounding {
        reed_name: format!("{lying} {}", place.stroke),
        take_name: format!("{place} {}", pass.name),
        pitch: own.raised_by(Cents::new(lowered)?),
        opposite,
        leak: leak.map(|series_db| Leak { series_db, weakens_db: LEAK_WEAKENS_DB }),
        weaker_db: if !pass.is_after && is_hidden(instrument, place) { HIDDEN_ORDINARY_DB } else { 0.0 },
    })
}

/// The plate that really lies at a place.
fn plate_lying_at(place: &PlatePlace, pass: &DemoPass) -> PlatePlace {
    let number = match (pass.is_after && place.row == "A", SWAPPED) {
        (true, [low, high]) if place.number == low => high,
        (true, [low, high]) if place.number == high => low,
        _ => place.number,
    };
    PlatePlace { number, ..place.clone() }
}

fn leak_heard(instrument: &Instrument, pass: &DemoPass, reed: &ReedPlace) -> Option<f64> {
    let (valve, _) = instrument.valve_tested_by(reed)?;
    let (.., before, after) = LEAKS.into_iter().find(|(row, number, face, ..)| {
        (*row, *number, *face) == (&*reed.plate.row, reed.plate.number, valve.face)
    })?;
    if pass.is_after { after } else { Some(before) }
}

fn pitch(instrument: &Instrument, pass: &DemoPass, plate: &PlatePlace, stroke: Stroke) -> Option<Hz> {
    let target = instrument.target(&ReedPlace { plate: plate.clone(), stroke })?;
    let (_, row) = DEVIATIONS.into_iter().find(|(row, _)| *row == plate.row)?;
    let [press, draw] = row.get((plate.number as usize).checked_sub(1)?).copied()?;
    let deviation = match stroke {
        Stroke::Press => press,
        Stroke::Draw => draw,
    };
    Some(target.raised_by(Cents::new(deviation + CENTS_PER_KELVIN * (pass.temperature_c - 20.0))?))
}
