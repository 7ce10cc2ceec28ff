//! Readings of a pass and the plan in, findings out: decides and never draws.
//!
//! [`judge`] is pure and deterministic: the same plan and readings give the same findings, bit for bit. What stands
//! behind each rule is in `docs/method.md`, "From readings to findings".

mod against_block;
mod changes;
mod doubtful_pitch;
mod finding;
mod leak_evidence;
mod leak_size;
mod pass;
mod pitch;
pub(crate) mod robust;
mod scatter;
pub mod sealing;
mod small_matrix;
mod swaps;
mod tails;
mod trend;
mod valve_changes;
mod valves;
mod verdict;
mod words;

use std::collections::BTreeMap;

use crate::instrument::{Instrument, ReedPlace};

pub use changes::{CENTS_PER_KELVIN, JudgedPass, Worked, compare, compare_judged, compare_worked, unheard};
pub use finding::{
    CommonShift, Comparison, Findings, ReedChange, ReedFinding, ReedPitch, Sign, SignKind, Swap, Tune,
    ValveChange, ValveChanged, ValveFinding, Verdict,
};
pub use leak_evidence::LeakEvidence;
pub use pass::{MeasuredAt, Missing, PassReadings};
pub(crate) use pitch::SHIFT_NEEDS_READINGS;

/// Begins a take's remark on why its place is doubtful; the doubt then stands beside every verdict that rests on the take.
pub const PLACE_DOUBT: &str = "its place is doubtful: ";

/// The finding with the doubt of the take it rests on.
fn with_doubt(mut valve: ValveFinding, pass: &PassReadings) -> ValveFinding {
    let heard = ReedPlace { plate: valve.place.plate.clone(), stroke: valve.heard_on };
    if let (Some(Ok(reading)), false) = (pass.readings.get(&heard), valve.verdict == Verdict::NoValve) {
        for doubt in
            reading.warnings.iter().map(ToString::to_string).filter(|text| text.starts_with(PLACE_DOUBT))
        {
            valve.reason = format!("{}; of the take: {doubt}", valve.reason);
        }
    }
    valve
}

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
    let mut valves: Vec<ValveFinding> = valves.into_iter().map(|valve| with_doubt(valve, pass)).collect();
    valves::put_in_order(instrument, &mut valves);
    let mut warnings = pitch::offset_warnings(&offsets);
    warnings.extend(doubtful_pitch::german_b(instrument, &deviations));
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
