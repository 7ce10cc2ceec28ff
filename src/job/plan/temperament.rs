//! The temperament in a plan: a word or twelve offsets.

use super::reader::{Faults, Value, start_of};
use super::toml_text::list;
use crate::instrument::Temperament;

pub(super) fn read_temperament(value: &Value, faults: &mut Faults) -> Option<Temperament> {
    const RIGHT: &str = "\"equal\" or 12 offsets in cents, C first";
    if let Some(text) = value.get_ref().as_str() {
        if text == "equal" {
            return Some(Temperament::EQUAL);
        }
        faults.add(
            start_of(value),
            "temperament",
            format!("\"{text}\" is not known"),
            format!("give {RIGHT}"),
        );
        return None;
    }
    let Some(array) = value.get_ref().as_array() else {
        faults.other_kind("temperament", value, RIGHT);
        return None;
    };
    let offsets: Vec<f64> = array
        .iter()
        .filter_map(|item| faults.number_within("temperament", item, (-100.0, 100.0), "cents"))
        .collect();
    match <[f64; 12]>::try_from(offsets) {
        Ok(table) => Some(Temperament(table)),
        Err(short) => {
            let wrong = format!("{} offsets found", short.len());
            faults.add(start_of(value), "temperament", wrong, format!("give {RIGHT}"));
            None
        }
    }
}

/// The line of the temperament.
pub(super) fn temperament_to_toml(table: Temperament) -> String {
    if table == Temperament::EQUAL {
        return "temperament = \"equal\"\n".into();
    }
    list("temperament", table.0.iter().map(|cents| format!("{cents:?}")))
}
