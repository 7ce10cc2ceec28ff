//! Made-up plans and findings for the charts to draw.

use platenote::analysis::{CloseUp, Opposite};
use platenote::instrument::{
    Bellows, Block, Face, Instrument, Material, Note, PerFace, PerStroke, Plate, PlatePlace, Reed, ReedPlace,
    Row, Stroke, Temperament, Tremolo, Tuning, Valve, ValvePlace,
};
use platenote::judgement::{
    Comparison, Findings, ReedFinding, ReedPitch, Swap, Tune, ValveChange, ValveChanged, ValveFinding,
    Verdict,
};
use platenote::report::{PassCloseUp, ReedCloseUp};
use platenote::units::{Cents, Decibels, Hz, Measured, Millimetres};

pub fn cents(value: f64) -> Cents {
    Cents::new(value).unwrap()
}

pub fn note(number: usize) -> Note {
    Note::from_number(40 + (number % 60) as i16).unwrap()
}

/// A plate with two reeds and two valves.
pub fn plate(press: Note, draw: Note) -> Plate {
    let reed = |note| Some(Reed { note, slot: Millimetres::new(30.0) });
    let valve =
        Valve::Fitted { length: Millimetres::new(33.0), material: Material::Leather, helper_spring: false };
    Plate {
        reeds: PerStroke { press: reed(press), draw: reed(draw) },
        valves: PerFace { outer: valve, inner: valve },
    }
}

pub fn row(name: &str, n_plates: usize) -> Row {
    let plates = (0..n_plates).map(|k| plate(note(k), note(k))).collect();
    Row {
        name: name.into(),
        tremolo: Tremolo::Even(Cents::ZERO),
        plates,
        sizes: Default::default(),
        lines: Default::default(),
    }
}

pub fn block(name: &str, rows: Vec<Row>) -> Block {
    Block {
        name: name.into(),
        outer_tongue_sounds_on: Stroke::Press,
        leak_limit: Decibels::new(-40.0).unwrap(),
        tolerance: cents(2.0),
        rows,
    }
}

pub fn instrument(blocks: Vec<Block>) -> Instrument {
    let tuning = Tuning {
        reference: Hz::new(442.0).unwrap(),
        temperament: Temperament::EQUAL,
        stretch: platenote::units::Cents::ZERO,
    };
    Instrument { bellows: Bellows::Unisonoric, tuning, blocks }
}

/// Findings for every reed and slot of the plan; deviations and verdicts run through a fixed round.
pub fn findings(instrument: &Instrument, pass: &str, turn: usize) -> Findings {
    let reeds = instrument
        .reeds()
        .enumerate()
        .map(|(k, (place, reed))| reed_finding(instrument, place, reed, k, turn));
    let valves = instrument.plates().enumerate().flat_map(|(k, (place, block, _, plate))| {
        Face::BOTH.map(|face| ValveFinding {
            place: ValvePlace { plate: place.clone(), face },
            heard_on: block.stroke_that_tests(face),
            verdict: verdict(plate, face, k, turn),
            leak: None,
            signs: Vec::new(),
            reason: "made up".into(),
            next: String::new(),
        })
    });
    Findings {
        pass: pass.into(),
        reeds: reeds.collect(),
        valves: valves.collect(),
        swaps: Vec::new(),
        warnings: Vec::new(),
        shifts: Vec::new(),
    }
}

fn reed_finding(instrument: &Instrument, place: ReedPlace, reed: Reed, k: usize, turn: usize) -> ReedFinding {
    const ROUND: [f64; 11] = [0.4, -1.2, 3.6, -0.3, -4.8, 1.1, 0.2, 80.3, -0.9, 2.4, -80.0];
    let target = instrument.target(&place).unwrap();
    let deviation = ROUND[(k * 7 + turn) % ROUND.len()] / (1 + turn) as f64;
    let tune = if deviation > 2.2 {
        Tune::Lower
    } else if deviation < -2.2 {
        Tune::Raise
    } else {
        Tune::Leave
    };
    let measured = Measured { value: cents(deviation), uncertainty: cents(0.2 + 0.1 * (k % 5) as f64) };
    let pitch = ReedPitch { f0: target.raised_by(measured.value), deviation: measured, tune: Some(tune) };
    let pitch = if (k + turn) % 13 == 9 { Err("there is no take".into()) } else { Ok(pitch) };
    ReedFinding { place, note: reed.note, target, pitch, warnings: Vec::new() }
}

fn verdict(plate: &Plate, face: Face, k: usize, turn: usize) -> Verdict {
    if *plate.valves.on(face) == Valve::None {
        return Verdict::NoValve;
    }
    match (k * 2 + usize::from(face == Face::Inner) + turn) % 9 {
        0 => Verdict::Leaks,
        3 => Verdict::Suspect,
        5 => Verdict::NotJudged { cause: None, needs: None },
        _ => Verdict::NoSign,
    }
}

pub fn comparison(earlier: &Findings, later: &Findings) -> Comparison {
    let change = |was: &Verdict, is: &Verdict| match (was, is) {
        (Verdict::Leaks, Verdict::Leaks) => ValveChange::StillLeaks,
        (Verdict::Leaks, Verdict::NoSign) => ValveChange::Cured,
        (Verdict::NoSign, Verdict::Leaks) => ValveChange::NewlyLeaks,
        (Verdict::NoSign, Verdict::NoSign) => ValveChange::StillNoSign,
        _ => ValveChange::CannotTell,
    };
    let valves = earlier.valves.iter().zip(&later.valves).filter(|(was, _)| was.verdict != Verdict::NoValve);
    let changed = valves.map(|(was, is)| ValveChanged {
        place: was.place.clone(),
        change: change(&was.verdict, &is.verdict),
        reason: "made up".into(),
    });
    Comparison {
        earlier: earlier.pass.clone(),
        later: later.pass.clone(),
        valves: changed.collect(),
        reeds: Vec::new(),
        common: Vec::new(),
        warnings: Vec::new(),
    }
}

pub fn swap(block: &str, row: &str, numbers: &[u32]) -> Swap {
    let place = |&number: &u32| PlatePlace { block: block.into(), row: row.into(), number };
    Swap { places: numbers.iter().map(place).collect(), sure: true }
}

/// A partial with a weaker one beside it, and the same without.
pub fn close_up(block: &str, row: &str, number: u32) -> ReedCloseUp {
    let plate = PlatePlace { block: block.into(), row: row.into(), number };
    let peak = |x: f64, at: f64, level: f64| level - ((x - at) / 1.2).powi(2).min(90.0);
    let draw = |second: Option<f64>| {
        let offset_cents: Vec<f64> = (-400..=400).map(|k| f64::from(k) * 0.1).collect();
        let level = |x: &f64| {
            let floor = -78.0 + 3.0 * (x * 5.7).sin() + 2.0 * (x * 13.1).cos();
            floor.max(peak(*x, 0.0, 0.0)).max(second.map_or(-200.0, |level| peak(*x, -14.2, level)))
        };
        CloseUp { partial: 5, level_db: offset_cents.iter().map(level).collect(), offset_cents }
    };
    let db = |value| Decibels::new(value).unwrap();
    let sounding = Opposite::Sounding {
        level: db(-31.6),
        offset: cents(-14.2),
        uncertainty: cents(0.3),
        evidence: 220.0,
    };
    let quiet = Opposite::Quiet { limit: db(-52.0), evidence: 1.2 };
    ReedCloseUp {
        reed: ReedPlace { plate, stroke: Stroke::Press },
        passes: vec![
            PassCloseUp { pass: "before".into(), close_up: draw(Some(-31.0)), opposite: sounding },
            PassCloseUp { pass: "after".into(), close_up: draw(None), opposite: quiet },
        ],
    }
}
