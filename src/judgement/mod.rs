//! Readings of a pass and the plan in, findings out: decides and never draws.
//!
//! [`judge`] is pure and deterministic: the same plan and readings give the same findings, bit for bit. What stands
//! behind each rule is in `docs/method.md`, "From readings to findings".

mod against_block;
mod changes;
mod finding;
mod pass;
mod pitch;
pub(crate) mod robust;
pub mod sealing;
mod swaps;
mod tails;
mod valves;
mod words;

use std::collections::BTreeMap;

use crate::instrument::Instrument;

pub use changes::{CENTS_PER_KELVIN, JudgedPass, Worked, compare, compare_judged, compare_worked, unheard};
pub use finding::{
    CommonShift, Comparison, Findings, ReedChange, ReedFinding, ReedPitch, Sign, SignKind, Swap, Tune,
    ValveChange, ValveChanged, ValveFinding, Verdict,
};
pub use pass::{MeasuredAt, Missing, PassReadings};
pub(crate) use pitch::SHIFT_NEEDS_READINGS;

/// Judge one pass: every reed's pitch, every valve, plates in a wrong place, and what the whole block shares.
pub fn judge(instrument: &Instrument, pass: &PassReadings) -> Findings {
    let deviations = pitch::deviations(instrument, pass);
    let offsets: BTreeMap<String, pitch::CommonOffset> = instrument
        .blocks
        .iter()
        .map(|block| (block.name.clone(), pitch::common_offset(&deviations, &block.name)))
        .collect();
    let placing = swaps::find(instrument, &deviations, &offsets);
    let (valves, plate_warnings) = valves::valve_findings(instrument, pass, &deviations, &placing.swaps);
    let valves = sealing::joined(valves, &pass.sealings);
    let mut warnings = pitch::offset_warnings(&offsets);
    warnings.extend(placing.warnings);
    warnings.extend(plate_warnings);
    Findings {
        pass: pass.name.clone(),
        reeds: pitch::reed_findings(instrument, pass, &offsets, &placing.swaps),
        valves,
        swaps: placing.swaps,
        shifts: pitch::shifts(instrument, &deviations),
        warnings,
    }
}
