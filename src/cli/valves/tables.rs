//! What `valves` tells, as CSV tables for a spreadsheet, one kind of row each.

use super::show::choice;
use crate::cli::failure::Failure;
use crate::cli::output;
use crate::repair::{CountCheck, Fitting};
use crate::units::Millimetres;

/// Each slot and what it gets.
pub(super) fn fitting(fitting: &Fitting) -> Result<(), Failure> {
    output::csv(&[
        "plate",
        "face",
        "length_mm",
        "material",
        "helper_spring",
        "from",
        "lot_length_mm",
        "condition",
        "bin",
        "trim_mm",
        "basis",
        "why",
    ])?;
    for row in &fitting.rows {
        let (from, lot, trim) = choice(row);
        output::csv(&[
            row.need.place.plate.to_string(),
            row.need.place.face.to_string(),
            number(row.need.length),
            row.need.material.to_string(),
            if row.need.helper_spring { "yes" } else { "no" }.to_owned(),
            from.to_owned(),
            number(lot.map(|lot| lot.length)),
            lot.map_or(String::new(), |lot| lot.condition.to_string()),
            lot.and_then(|lot| lot.bin.clone()).unwrap_or_default(),
            number(trim),
            row.need.basis.to_string(),
            fitting.explain(row),
        ])?;
    }
    Ok(())
}

/// New valves to cut, long ones first.
pub(super) fn cuts(fitting: &Fitting) -> Result<(), Failure> {
    output::csv(&["material", "length_mm", "count"])?;
    for (material, length, count) in &fitting.cuts {
        output::csv(&[material.to_string(), length.get().to_string(), count.to_string()])?;
    }
    Ok(())
}

/// Strips to cut them from.
pub(super) fn strips(fitting: &Fitting) -> Result<(), Failure> {
    output::csv(&["material", "count", "length_mm", "width_mm", "valve_width_mm"])?;
    for strip in &fitting.strips {
        output::csv(&[
            strip.material.to_string(),
            strip.count.to_string(),
            strip.length.get().to_string(),
            strip.width.get().to_string(),
            strip.valve_width.get().to_string(),
        ])?;
    }
    Ok(())
}

/// The sums, a line each.
pub(super) fn count(fitting: &Fitting, check: &CountCheck) -> Result<(), Failure> {
    let totals = &check.totals;
    output::csv(&["what", "count"])?;
    for (what, count) in [
        ("needed", fitting.rows.len()),
        ("usable", fitting.served()),
        ("cut", fitting.cuts.iter().map(|(.., count)| count).sum()),
        ("not_measured", fitting.unmeasured()),
        ("helper_springs", fitting.springs),
        ("due", totals.due),
        ("off", totals.off),
        ("fitted", totals.fitted),
        ("kept", totals.kept),
        ("nothing_noted", totals.unsaid),
        ("tray", totals.tray as usize),
        ("unsaid_condition", totals.unsaid_condition as usize),
        ("scrap", totals.scrap as usize),
    ] {
        output::csv(&[what, &count.to_string()])?;
    }
    Ok(())
}

fn number(length: Option<Millimetres>) -> String {
    length.map_or(String::new(), |length| length.get().to_string())
}
