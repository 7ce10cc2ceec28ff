//! Which valves the plates need, and how long each must be.

use std::fmt;

use super::bench::{Bench, FaceState};
use super::rule::ValveRule;
use super::sizes::sizes_at;
use super::standing::{Standing, ValveVerdict};
use crate::instrument::{Face, Instrument, Material, SizeRange, Stroke, Valve, ValvePlace};
use crate::units::Millimetres;

/// A slot that waits for a valve.
#[derive(Debug, Clone, PartialEq)]
pub struct Need {
    /// Where it goes.
    pub place: ValvePlace,
    /// How long it must be; `None` when neither old valve nor slot was measured.
    pub length: Option<Millimetres>,
    /// Where the length comes from.
    pub basis: Basis,
    /// How wide it must be, where the plan says so.
    pub width: Option<Millimetres>,
    /// Between which widths and thicknesses it may be, where the plan says so of its row.
    pub width_range: Option<SizeRange>,
    /// The same of its thickness.
    pub thickness_range: Option<SizeRange>,
    /// What it is made of.
    pub material: Material,
    /// Whether it carries a helper spring.
    pub helper_spring: bool,
}

/// Where the length of a needed valve comes from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Basis {
    /// The old valve that was lifted off and measured.
    OldValve,
    /// The plan's length of the old valve.
    Plan,
    /// The slot under it: this long, with overlap and glue area added.
    Slot(Millimetres),
    /// Nothing was measured.
    Unknown,
}

impl fmt::Display for Basis {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Basis::OldValve => f.write_str("as the valve that was lifted off"),
            Basis::Plan => f.write_str("as the plan has it"),
            Basis::Slot(slot) => write!(f, "slot of {slot} with overlap and glue area"),
            Basis::Unknown => f.write_str("neither old valve nor slot was measured"),
        }
    }
}

impl Need {
    /// `, 6.5 mm to 8 mm wide, 0.5 mm thick`, as far as the plan says so.
    pub fn size_words(&self) -> String {
        let words = |range: Option<SizeRange>, how: &str| {
            range.map_or(String::new(), |range| format!(", {} {how}", range.words()))
        };
        words(self.width_range, "wide") + &words(self.thickness_range, "thick")
    }
}

/// Every slot where a valve is due and none is noted as fitted or kept, in the plan's order, outer before inner.
pub fn needs(instrument: &Instrument, rule: &ValveRule, bench: &Bench) -> Vec<Need> {
    needs_where(instrument, rule, bench, |_, face| face.is_open())
}

/// What `valves` asks for: with a standing the valves that leak or are off; all open slots where every valve is renewed, or where
/// nothing was recorded yet.
pub fn needs_now(
    instrument: &Instrument,
    rule: &ValveRule,
    bench: &Bench,
    standing: &Standing,
    renew_all: bool,
) -> Vec<Need> {
    if renew_all || standing.passes.is_empty() {
        return needs(instrument, rule, bench);
    }
    needs_where(instrument, rule, bench, |place, face| {
        let state = standing.valve(place).map(|valve| valve.state);
        face.is_open() && matches!(state, Some(ValveVerdict::Leaks | ValveVerdict::Off))
    })
}

/// The needs of the slots that `wanted` picks among those where a valve is due.
pub(crate) fn needs_where(
    instrument: &Instrument,
    rule: &ValveRule,
    bench: &Bench,
    wanted: impl Fn(&ValvePlace, &FaceState) -> bool,
) -> Vec<Need> {
    let mut found = Vec::new();
    for (plate_place, block, row, plate) in instrument.plates() {
        for face in Face::BOTH {
            let place = ValvePlace { plate: plate_place.clone(), face };
            let Some(state) = bench.face(&place) else { continue };
            let Valve::Fitted { material, helper_spring, .. } = state.plan else { continue };
            if !wanted(&place, state) {
                continue;
            }
            // A valve covers the slot of the tongue on the other face.
            let covered: Stroke = block.stroke_that_tests(face).other();
            let slot = plate.reeds.on(covered).as_ref().and_then(|reed| reed.slot);
            let (length, basis) = match (state.old_length, state.plan_length(), slot) {
                (Some(old), _, _) => (Some(old), Basis::OldValve),
                (None, Some(plan), _) => (Some(plan), Basis::Plan),
                (None, None, Some(slot)) => (Some(rule.length_over(slot)), Basis::Slot(slot)),
                (None, None, None) => (None, Basis::Unknown),
            };
            let (width_range, thickness_range) = sizes_at(block, row, plate, face);
            let width = width_range.map(|range| range.middle()).or(rule.width);
            found.push(Need {
                place,
                length,
                basis,
                width,
                width_range,
                thickness_range,
                material,
                helper_spring,
            });
        }
    }
    found
}
