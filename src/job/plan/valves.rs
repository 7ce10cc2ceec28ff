//! Lengths of valves and slots as the plan has them, and `[valves]`: the numbers valves are cut by, where they differ
//! from common practice.

use super::reader::{Faults, Section, Value, start_of};
use super::schema::{self, VALVES};
use crate::repair::{ValveRule, parse_length};
use crate::units::Millimetres;

/// No part of a free-reed plate is longer, mm; a larger number is a slip of the pen or another unit.
const LONGEST_MM: f64 = 200.0;
/// A bare number below this was read off a ruler in centimetres, as on the command line.
const BARE_FROM_MM: f64 = 10.0;

/// A length, mm: a bare number from 10 on, or in quotes with its unit; "?" stands for one that is not known, which is
/// `None` without a fault.
pub(super) fn length(key: &str, value: &Value, faults: &mut Faults) -> Option<Millimetres> {
    let read = match value.get_ref().as_str() {
        Some(text) => length_in_words(text)?,
        None => bare_length(faults.number_within(key, value, (0.0, LONGEST_MM), "mm, 0 for none")?),
    };
    match read {
        Ok(mm) => Some(mm),
        Err((wrong, right)) => {
            faults.add(start_of(value), key, wrong, right);
            None
        }
    }
}

/// A length in a cell of a list or in quotes; `None` for `?` or nothing.
pub(super) fn length_in_words(text: &str) -> Option<Result<Millimetres, (String, String)>> {
    let text = text.trim();
    if text.is_empty() || text == "?" {
        return None;
    }
    if text.bytes().all(|byte| matches!(byte, b'0' | b'.' | b',')) && text.contains('0') {
        return Some(Ok(Millimetres::ZERO));
    }
    let read = parse_length(text);
    Some(read.map_err(|error| (error.to_string(), error.next())))
}

/// A length as the plan and its lists write it, so that it is read back the same.
pub(super) fn length_to_toml(length: Millimetres) -> String {
    let mm = length.get();
    if length.is_in_inches() {
        return format!("\"{length}\"");
    }
    if mm == 0.0 || mm >= BARE_FROM_MM { format!("{mm:?}") } else { format!("\"{mm} mm\"") }
}

fn bare_length(mm: f64) -> Result<Millimetres, (String, String)> {
    if mm == 0.0 || mm >= BARE_FROM_MM {
        return Ok(Millimetres::new(mm).unwrap_or(Millimetres::ZERO));
    }
    match parse_length(&mm.to_string()) {
        Ok(length) => Ok(length),
        Err(error) => {
            let next = format!("{}; lengths with a unit are put in quotes", error.next());
            Err((error.to_string(), next))
        }
    }
}

/// Read the section into the rule.
pub(super) fn read(value: &Value, rule: &mut ValveRule, faults: &mut Faults) {
    let Some(table) = value.get_ref().as_table() else {
        faults.other_kind("valves", value, "a [valves] section");
        return;
    };
    schema::read(&VALVES, &Section { table, at: start_of(value) }, rule, faults);
}

/// The section as text; empty where every number is that of common practice.
pub(super) fn to_toml(rule: &ValveRule) -> String {
    let text = schema::written(&VALVES, rule, Some(&ValveRule::default()), |_| "");
    if text.is_empty() { text } else { format!("\n[valves]\n{text}") }
}
