//! Plans to begin with: three built-in instruments and a commented one to fill in.

use std::collections::BTreeMap;

use super::Plan;
use crate::instrument::{
    Bellows, Block, Instrument, Material, Note, PerFace, PerStroke, Plate, Reed, Row, Temperament, Tremolo,
    Tuning, Valve,
};
use crate::repair::ValveRule;
use crate::units::{Cents, Hz, Millimetres};

/// A built-in plan. Notes and lengths are common practice, no source: a start to be corrected at the bench.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Template {
    /// A bass block of two rows, twelve plates each, an octave apart.
    Bass24,
    /// One straight treble rank, 41 plates, F3 to A6; the highest have no valves.
    Treble41,
    /// A bisonoric block of two rows, ten plates each, in C and in G.
    Bisonoric20,
    /// A commented plan with one short row, to be edited.
    Empty,
}

impl Template {
    /// The plan as `plan.toml` text.
    pub fn to_toml(self) -> String {
        match self {
            Template::Bass24 => with_note(&plan("Bass block, two rows", Bellows::Unisonoric, bass_rows())),
            Template::Treble41 => {
                with_note(&plan("Treble rank, 41 plates", Bellows::Unisonoric, treble_row()))
            }
            Template::Bisonoric20 => {
                with_note(&plan("Bisonoric block, C and G", Bellows::Bisonoric, bisonoric_rows()))
            }
            Template::Empty => EMPTY.to_owned(),
        }
    }
}

fn with_note(plan: &Plan) -> String {
    format!(
        "# A start, to be corrected at the bench: notes, valve lengths ([outer, inner], 0 = none), tremolo.\n\
         # `platenote verify` says whether the plan can be read; docs/job-format.md lists every key.\n{}",
        plan.to_toml()
    )
}

fn plan(title: &str, bellows: Bellows, (block, rows): (&str, Vec<Row>)) -> Plan {
    let plan = Plan {
        title: title.to_owned(),
        numbers: BTreeMap::new(),
        valve_rule: ValveRule::default(),
        instrument: Instrument {
            bellows,
            tuning: Tuning {
                reference: Hz::STANDARD_A4,
                temperament: Temperament::EQUAL,
                stretch: crate::units::Cents::ZERO,
            },
            blocks: vec![Block::new(block.to_owned(), rows)],
        },
    };
    plan.numbered(1)
}

fn bass_rows() -> (&'static str, Vec<Row>) {
    // Valves of the lowest row carry helper springs and shorten by about a third over the octave.
    let low = (40..52).map(|note| plate(note, note, Some(58.0 - 1.5 * f64::from(note - 40)), note < 46));
    let high = (52..64).map(|note| plate(note, note, Some(40.0 - f64::from(note - 52)), false));
    ("bass", vec![row("A", low.collect()), row("B", high.collect())])
}

fn treble_row() -> (&'static str, Vec<Row>) {
    // F3 is 53, A6 is 93; from F#5 up the slots are left open.
    let plates = (53..=93).map(|note| {
        let length = (note < 78).then(|| (36.0 - 0.75 * f64::from(note - 53)).round());
        plate(note, note, length, false)
    });
    ("treble", vec![row("A", plates.collect())])
}

fn bisonoric_rows() -> (&'static str, Vec<Row>) {
    const PRESS: [i16; 10] = [55, 60, 64, 67, 72, 76, 79, 84, 88, 91]; // G3 C4 E4 G4 C5 E5 G5 C6 E6 G6
    const UNKNOWN: Valve = Valve::Fitted { length: None, material: Material::Leather, helper_spring: false };
    const DRAW: [i16; 10] = [59, 62, 65, 69, 71, 74, 77, 81, 83, 86]; // B3 D4 F4 A4 B4 D5 F5 A5 B5 D6
    let plates = |shift| {
        PRESS.iter().zip(DRAW).map(move |(press, draw)| Plate {
            valves: PerFace { outer: UNKNOWN, inner: UNKNOWN },
            ..plate(press + shift, draw + shift, None, false)
        })
    };
    ("melody", vec![row("A", plates(0).collect()), row("B", plates(-5).collect())])
}

fn row(name: &str, plates: Vec<Plate>) -> Row {
    Row {
        name: name.to_owned(),
        tremolo: Tremolo::Even(Cents::ZERO),
        plates,
        sizes: Default::default(),
        lines: Default::default(),
    }
}

/// A plate with both reeds and both valves; no valves where `valve_mm` is `None`.
fn plate(press: i16, draw: i16, valve_mm: Option<f64>, helper_spring: bool) -> Plate {
    let reed = |number| Note::from_number(number).map(|note| Reed { note, slot: None });
    let valve = match valve_mm {
        None => Valve::None,
        Some(mm) => {
            Valve::Fitted { length: Millimetres::new(mm), material: Material::Leather, helper_spring }
        }
    };
    Plate {
        reeds: PerStroke { press: reed(press), draw: reed(draw) },
        valves: PerFace { outer: valve, inner: valve },
    }
}

const EMPTY: &str = r##"# What lies on the bench. Edit it, save it, and ask `platenote verify` whether it can be read.
# A line that begins with # is a remark; take the # away to use the key in it.

format = 1
title = "New job"
bellows = "unisonoric"            # the same note on press and draw; or "bisonoric"
reference_hz = 440.0              # A4, 400 to 470
temperament = "equal"             # or 12 offsets in cents, C first: [0.0, 4.0, …]

[[block]]
name = "bass"                     # places are written `bass A7 press`
outer_tongue_sounds_on = "press"  # "draw" where the plates lie the other way round
leak_limit_db = -40.0             # opposite reed at or above this, re the sounding reed: leaks
tolerance_cents = 2.0             # a reed this near its target is left alone

[[block.row]]
name = "A"
notes = ["E2", "F2", "F#2"]       # plate A1, A2, A3; "-" where there is no reed
# notes = { press = ["C4", "E4"], draw = ["D4", "-"] }   # bisonoric, and plates with one reed
# valves_mm = [[38, 38], [38, 0], "3.5 cm"]   # [outer, inner], 0 = none, "?" = not known, one for both
# slots_mm = [[33.5, 33.5], 33, 30]     # measured slots of the [press, draw] reeds, 0 = not measured
# material = "leather"                  # or "plastic"; or a list like valves_mm
# helper_springs = ["A1..A2", "A3 outer"]   # or true for all
# tremolo_cents = 12.0                  # off the target; or anchors: { "F#3" = 12.3, "F4" = 15.6 }
# tremolo_beats_hz = { "A3" = 2.4, "A4" = 3.2 }   # instead of tremolo_cents

# Another row:
# [[block.row]]
# name = "B"
# notes = ["E3", "F3", "F#3"]
"##;
