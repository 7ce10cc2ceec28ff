//! Instruments and readings made by hand.

use std::collections::BTreeMap;

use platenote::analysis::{Doubt, NotMeasured, Opposite, OppositeDetail, Reading, Tail};
use platenote::instrument::{
    Bellows, Block, Face, Instrument, Material, Note, PerFace, PerStroke, Plate, PlatePlace, Reed, ReedPlace,
    Row, Stroke, Temperament, Tremolo, Tuning, Valve, ValvePlace,
};
use platenote::judgement::{Findings, Missing, PassReadings, ReedFinding, ValveFinding};
use platenote::units::{Cents, Dbfs, Decibels, Hz, Seconds, Span};

pub const VALVE: Valve = Valve::Fitted { length: None, material: Material::Leather, helper_spring: false };

pub fn hz(value: f64) -> Hz {
    Hz::new(value).expect("a pitch")
}

pub fn cents(value: f64) -> Cents {
    Cents::new(value).expect("an interval")
}

pub fn db(value: f64) -> Decibels {
    Decibels::new(value).expect("a level")
}

pub fn seconds(value: f64) -> Seconds {
    Seconds::new(value).expect("a time")
}

/// A unisonoric block `bass` with one row `A` of `n` plates in semitones from E2, both valves fitted.
pub fn instrument(n: usize) -> Instrument {
    Instrument {
        bellows: Bellows::Unisonoric,
        tuning: Tuning {
            reference: hz(440.0),
            temperament: Temperament::EQUAL,
            stretch: platenote::units::Cents::ZERO,
        },
        blocks: vec![Block {
            name: "bass".into(),
            outer_tongue_sounds_on: Stroke::Press,
            leak_limit: db(-40.0),
            tolerance: cents(2.0),
            rows: vec![Row {
                name: "A".into(),
                tremolo: Tremolo::Even(Cents::ZERO),
                plates: (40i16..).take(n).map(|number| plate(number, number)).collect(),
                sizes: Default::default(),
                lines: Default::default(),
            }],
        }],
    }
}

/// A plate with these notes and both valves.
pub fn plate(press: i16, draw: i16) -> Plate {
    let reed = |number| Some(Reed { note: Note::from_number(number).expect("a note"), slot: None });
    Plate {
        reeds: PerStroke { press: reed(press), draw: reed(draw) },
        valves: PerFace { outer: VALVE, inner: VALVE },
    }
}

pub fn at(number: u32) -> PlatePlace {
    PlatePlace { block: "bass".into(), row: "A".into(), number }
}

pub fn reed(number: u32, stroke: Stroke) -> ReedPlace {
    ReedPlace { plate: at(number), stroke }
}

/// A clean reading at this pitch: nothing heard of the opposite reed down to -50 dB.
pub fn reading(f0: Hz) -> Reading {
    Reading {
        f0,
        uncertainty: cents(0.2),
        doubt: Doubt { noise: cents(0.05), wander: cents(0.1), clock: cents(0.173) },
        steady: Span { start: seconds(0.5), end: seconds(3.5) },
        level: Dbfs::new(-20.0).expect("a level"),
        onset: Ok(seconds(0.2)),
        breath: Ok(db(-50.0)),
        pitch_per_db: Err(NotMeasured::LevelEven),
        partials: Vec::new(),
        opposite: Opposite::Quiet { limit: db(-50.0), evidence: 1.0 },
        opposite_detail: OppositeDetail::default(),
        tail: Tail::NotMeasured(NotMeasured::TailCut),
        reeds: Vec::new(),
        warnings: Vec::new(),
    }
}

pub fn sounding(level: f64) -> Opposite {
    Opposite::Sounding { level: db(level), offset: cents(-10.0), uncertainty: cents(0.3), evidence: 40.0 }
}

/// A pass in which every reed of the plan is on its target.
pub fn in_tune(instrument: &Instrument) -> PassReadings {
    let readings: BTreeMap<ReedPlace, Result<Reading, Missing>> = instrument
        .reeds()
        .map(|(place, _)| {
            let target = instrument.target(&place).expect("a target");
            (place, Ok(reading(target)))
        })
        .collect();
    PassReadings {
        name: "before".into(),
        temperature_c: None,
        measured_at: None,
        readings,
        sealings: Vec::new(),
        further: BTreeMap::new(),
    }
}

/// Change one reading of a pass.
pub fn change(pass: &mut PassReadings, place: &ReedPlace, how: impl FnOnce(&mut Reading)) {
    how(pass.readings.get_mut(place).expect("a reed of the plan").as_mut().expect("a reading"));
}

/// Move a reed by `cents`.
pub fn detune(pass: &mut PassReadings, place: &ReedPlace, by: f64) {
    change(pass, place, |reading| reading.f0 = reading.f0.raised_by(cents(by)));
}

pub fn valve(findings: &Findings, number: u32, face: Face) -> &ValveFinding {
    let place = ValvePlace { plate: at(number), face };
    findings.valves.iter().find(|valve| valve.place == place).expect("a finding for every slot")
}

pub fn reed_finding(findings: &Findings, number: u32, stroke: Stroke) -> &ReedFinding {
    let place = reed(number, stroke);
    findings.reeds.iter().find(|finding| finding.place == place).expect("a finding for every reed")
}
