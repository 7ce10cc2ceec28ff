//! What is done and what is next, plate by plate and face by face.

use super::bench::{Bench, FaceState, PlateState, ValveState};
use crate::instrument::{Face, Instrument, PerFace, PlatePlace};

/// A plate, both its faces.
#[derive(Debug, Clone, PartialEq)]
pub struct PlateStatus {
    /// Where it is.
    pub place: PlatePlace,
    /// Whether it lies beside the block.
    pub is_lifted: bool,
    /// Both faces.
    pub faces: PerFace<FaceStatus>,
}

/// What is done on a face, and what is next.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FaceStatus {
    /// A letter for each thing done, for the map; see [`FaceStatus::KEY`].
    pub letters: String,
    /// What was done, as it was marked, in order.
    pub done: Vec<String>,
    /// What is next; `None` when nothing is.
    pub next: Option<String>,
}

impl FaceStatus {
    /// What the letters of the map mean.
    pub const KEY: &str = "L lifted, C cleaned, O old valve off, V valve fitted or kept, W fixed again, T tuned, \
        - no valve due, . nothing yet";
}

/// Every plate in the plan's order.
pub fn status(instrument: &Instrument, bench: &Bench) -> Vec<PlateStatus> {
    let plates = instrument.plates().filter_map(|(place, ..)| {
        let plate = bench.plates.get(&place)?;
        let face = |face| face_status(plate, face);
        let faces = PerFace { outer: face(Face::Outer), inner: face(Face::Inner) };
        Some(PlateStatus { place, is_lifted: plate.is_lifted, faces })
    });
    plates.collect()
}

fn face_status(plate: &PlateState, which: Face) -> FaceStatus {
    let face = plate.faces.on(which);
    let mut letters = String::new();
    let valve = match face.valve {
        _ if !face.is_due() => '-',
        ValveState::Off => 'O',
        ValveState::Fitted { .. } | ValveState::Kept => 'V',
        ValveState::Unsaid => ' ',
    };
    let said = [
        (plate.is_lifted, 'L'),
        (face.is_cleaned, 'C'),
        (valve != ' ', valve),
        (plate.is_seated, 'W'),
        (face.is_tuned, 'T'),
    ];
    letters.extend(said.iter().filter(|(is_so, _)| *is_so).map(|(_, letter)| letter));
    if letters.is_empty() {
        letters.push('.');
    }
    FaceStatus { letters, done: face.done.clone(), next: next(plate, face, which) }
}

/// Clean, valves, fix, tune: the order in which nothing has to be done twice (common practice, no source).
fn next(plate: &PlateState, face: &FaceState, which: Face) -> Option<String> {
    if face.is_tuned && !face.is_open() {
        return if plate.is_lifted { Some("wax".into()) } else { None };
    }
    if !face.is_cleaned && !plate.is_seated {
        return Some("clean".into());
    }
    if face.is_open() {
        let length = face.old_length.or(face.plan_length());
        let valve = length.map_or("valve".to_owned(), |length| format!("valve {length}"));
        let must_lift = which == Face::Inner && !plate.is_lifted;
        return Some(if must_lift { format!("lift, fit {valve}") } else { format!("fit {valve}") });
    }
    if Face::BOTH.iter().any(|other| plate.faces.on(*other).is_open()) {
        return Some("wait for the other face's valve".into());
    }
    Some(if plate.is_lifted { "wax" } else { "tune" }.into())
}
