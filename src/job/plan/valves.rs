//! Lengths of valves and slots as the plan has them, and `[valves]`: the numbers valves are cut by, where they differ
//! from common practice.

use super::reader::{Faults, Section, Value, start_of};
use crate::repair::{ValveRule, parse_length};
use crate::units::Millimetres;

/// No part of a free-reed plate is longer, mm; a larger number is a slip of the pen or another unit.
const LONGEST_MM: f64 = 200.0;
/// A bare number below this was read off a ruler in centimetres, as on the command line.
const BARE_FROM_MM: f64 = 10.0;

/// Every key with the range it may lie in, mm.
const KEYS: [(&str, f64, f64); 7] = [
    ("overlap_mm", 0.0, 10.0),
    ("glue_mm", 0.0, 20.0),
    ("long_glue_mm", 0.0, 20.0),
    ("long_slot_mm", 0.0, 200.0),
    ("width_mm", 2.0, 40.0),
    ("kerf_mm", 0.0, 5.0),
    ("reading_tolerance_mm", 0.0, 3.0),
];

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

pub(super) fn read(value: &Value, faults: &mut Faults) -> Option<ValveRule> {
    let Some(table) = value.get_ref().as_table() else {
        faults.other_kind("valves", value, "a [valves] section");
        return None;
    };
    let section = Section { table, at: start_of(value) };
    section.check_keys(&KEYS.map(|(key, ..)| key), faults);
    let mut rule = ValveRule::default();
    let mut is_whole = true;
    for (key, low, high) in KEYS {
        let Some(value) = section.get(key) else { continue };
        let number = faults.number_within(key, value, (low, high), "mm").and_then(Millimetres::new);
        match number {
            Some(length) => set(&mut rule, key, length),
            None => is_whole = false,
        }
    }
    is_whole.then_some(rule)
}

/// The section as text; empty where every number is that of common practice.
pub(super) fn to_toml(rule: &ValveRule) -> String {
    let usual = ValveRule::default();
    let mut text = String::new();
    for (key, ..) in KEYS {
        if let Some(length) = get(rule, key).filter(|_| get(rule, key) != get(&usual, key)) {
            text += &format!("{key} = {:?}\n", length.get());
        }
    }
    if text.is_empty() { text } else { format!("\n[valves]\n{text}") }
}

fn set(rule: &mut ValveRule, key: &str, length: Millimetres) {
    match key {
        "overlap_mm" => rule.overlap = length,
        "glue_mm" => rule.glue = length,
        "long_glue_mm" => rule.long_glue = length,
        "long_slot_mm" => rule.long_slot = length,
        "width_mm" => rule.width = Some(length),
        "kerf_mm" => rule.kerf = length,
        _ => rule.reading_tolerance = length,
    }
}

fn get(rule: &ValveRule, key: &str) -> Option<Millimetres> {
    match key {
        "overlap_mm" => Some(rule.overlap),
        "glue_mm" => Some(rule.glue),
        "long_glue_mm" => Some(rule.long_glue),
        "long_slot_mm" => Some(rule.long_slot),
        "width_mm" => rule.width,
        "kerf_mm" => Some(rule.kerf),
        _ => Some(rule.reading_tolerance),
    }
}
