//! The tray and the fitting list, for a person and as JSON.

use serde_json::{Value, json};

use crate::cli::failure::Failure;
use crate::cli::output;
use crate::cli::status::{difference_json, difference_line};
use crate::instrument::SizeRange;
use crate::job::tray_to_csv;
use crate::repair::{Choice, CountCheck, FittedNeed, Fitting, Lot};
use crate::report::{Hazard, caution};
use crate::units::Millimetres;

/// The tray alone.
pub(super) fn tray(lots: &[Lot], json: bool, csv: bool) -> Result<(), Failure> {
    if csv {
        return output::line(tray_to_csv(lots).trim_end());
    }
    for lot in lots {
        if json {
            output::json(&lot_json("lot", lot))?;
        } else {
            output::line(&lot_line(lot))?;
        }
    }
    if lots.is_empty() && !json {
        output::line("the tray is empty, or was never counted")?;
    }
    Ok(())
}

pub(super) fn text(fitting: &Fitting, check: &CountCheck, explain: bool) -> Result<(), Failure> {
    output::line(&fitting.summary())?;
    if !fitting.rows.is_empty() {
        output::line("\nFitting list")?;
    }
    for row in &fitting.rows {
        output::line(&format!("  {}", row_line(row)))?;
        if explain {
            output::line(&format!("      {}", fitting.explain(row)))?;
        }
    }
    if !fitting.cuts.is_empty() {
        output::line("\nTo cut")?;
        for (material, length, count) in &fitting.cuts {
            output::line(&format!("  {length} × {count}, {}", material))?;
        }
        for strip in &fitting.strips {
            output::line(&format!(
                "  strip of {}: at least {} × {}, for {} side by side, each {} wide",
                strip.material, strip.length, strip.width, strip.count, strip.valve_width
            ))?;
        }
        output::say(&format!("caution: {}", caution(Hazard::Knife)));
    }
    if fitting.springs > 0 {
        output::line(&format!("\nHelper springs: {}", fitting.springs))?;
    }
    if !fitting.left.lots().is_empty() {
        output::line("\nLeft over")?;
        for lot in fitting.left.lots() {
            output::line(&format!("  {}", lot_line(lot)))?;
        }
    }
    let totals = &check.totals;
    output::line(&format!(
        "\nCount: {} due in the plan; {} off, {} fitted, {} kept, {} with nothing noted; tray {} usable, {} of a condition nobody said, {} scrap",
        totals.due,
        totals.off,
        totals.fitted,
        totals.kept,
        totals.unsaid,
        totals.tray,
        totals.unsaid_condition,
        totals.scrap
    ))?;
    if totals.unsaid_condition > 0 {
        output::line(
            "  a valve of a condition nobody said is not dealt out: look at it and mark `valve off flat` (stained, curled, scrap) \
             once more, or count it with --condition",
        )?;
    }
    for difference in &check.differences {
        output::line(&format!("  {}", difference_line(difference)))?;
    }
    Ok(())
}

pub(super) fn json(fitting: &Fitting, check: &CountCheck) -> Result<(), Failure> {
    for row in &fitting.rows {
        let (from, lot, trim) = choice(row);
        output::json(&json!({
            "format": 1, "kind": "need",
            "plate": row.need.place.plate.to_string(), "face": row.need.place.face.to_string(),
            "length_mm": row.need.length.map(Millimetres::get), "basis": row.need.basis.to_string(),
            "material": row.need.material.as_str(), "helper_spring": row.need.helper_spring,
            "from": from, "lot_length_mm": lot.map(|lot| lot.length.get()),
            "condition": lot.map(|lot| lot.condition.to_string()), "bin": lot.and_then(|lot| lot.bin.clone()),
            "width_range_mm": range(row.need.width_range), "thickness_range_mm": range(row.need.thickness_range),
            "trim_mm": trim.map(Millimetres::get), "why": fitting.explain(row),
        }))?;
    }
    for (material, length, count) in &fitting.cuts {
        let (length, material) = (length.get(), material.as_str());
        output::json(&json!({
            "format": 1, "kind": "cut", "material": material, "length_mm": length, "count": count,
        }))?;
    }
    for strip in &fitting.strips {
        output::json(&json!({
            "format": 1, "kind": "strip", "material": strip.material.as_str(), "count": strip.count,
            "length_mm": strip.length.get(), "width_mm": strip.width.get(),
            "valve_width_mm": strip.valve_width.get(),
        }))?;
    }
    for lot in fitting.left.lots() {
        output::json(&lot_json("left", lot))?;
    }
    for difference in &check.differences {
        output::json(&difference_json(difference))?;
    }
    let totals = &check.totals;
    output::json(&json!({
        "format": 1, "kind": "summary", "text": fitting.summary(),
        "needed": fitting.rows.len(), "usable": fitting.served(),
        "cut": fitting.cuts.iter().map(|(.., count)| count).sum::<usize>(),
        "not_measured": fitting.unmeasured(), "helper_springs": fitting.springs,
        "due": totals.due, "off": totals.off, "fitted": totals.fitted, "kept": totals.kept,
        "nothing_noted": totals.unsaid, "tray": totals.tray,
        "unsaid_condition": totals.unsaid_condition, "scrap": totals.scrap,
    }))
}

fn range(range: Option<SizeRange>) -> Option<[f64; 2]> {
    range.map(|range| [range.least.get(), range.most.get()])
}

/// Where a need is served from, by which lot, with how much trimmed.
pub(super) fn choice(row: &FittedNeed) -> (&'static str, Option<&Lot>, Option<Millimetres>) {
    match &row.choice {
        Choice::FromTray { lot, trim } => ("tray", Some(lot), Some(*trim)),
        Choice::Cut => ("cut", None, None),
        Choice::NotMeasured => ("not_measured", None, None),
    }
}

fn row_line(row: &FittedNeed) -> String {
    let need = &row.need;
    let length = need.length.map_or("?".to_owned(), |length| length.to_string());
    let gets = &row.choice;
    let spring = if need.helper_spring { ", helper spring" } else { "" };
    let sizes = need.size_words();
    format!("{:<16} {length:>8}{sizes}  {gets}{spring}", need.place.to_string())
}

fn lot_line(lot: &Lot) -> String {
    let width = lot.width.map_or(String::new(), |width| format!(" × {width}"));
    let thickness = lot.thickness.map_or(String::new(), |thickness| format!(" × {thickness}"));
    let bin = lot.bin.as_ref().map_or(String::new(), |bin| format!(", bin {bin}"));
    format!("{} × {}{width}{thickness}, {}, {}{bin}", lot.count, lot.length, lot.material, lot.condition)
}

pub(super) fn lot_json(kind: &str, lot: &Lot) -> Value {
    json!({
        "format": 1, "kind": kind, "length_mm": lot.length.get(), "width_mm": lot.width.map(Millimetres::get),
        "thickness_mm": lot.thickness.map(Millimetres::get), "material": lot.material.as_str(),
        "condition": lot.condition.to_string(), "bin": lot.bin, "count": lot.count,
    })
}
