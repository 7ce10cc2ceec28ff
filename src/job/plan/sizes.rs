//! `valve_width_mm` and `valve_thickness_mm` of a row: one size, a range, or either from a note on.

use super::reader::{Faults, Section, Value, start_of};
use crate::instrument::{Note, SizeRange, SizesAlong, ValveSizes};
use crate::units::Millimetres;

/// Widths and thicknesses that a valve may have, mm.
const WIDTHS_MM: (f64, f64) = (2.0, 40.0);
const THICKNESSES_MM: (f64, f64) = (0.05, 5.0);

const RIGHT: &str =
    "a size, `7`, a range, `[6.5, 8]`, or either from a note on, `{ \"E2\" = 9, \"C4\" = [6, 7] }`, in mm";

pub(super) fn read(section: &Section, faults: &mut Faults) -> ValveSizes {
    ValveSizes {
        width: along(section, "valve_width_mm", WIDTHS_MM, faults),
        thickness: along(section, "valve_thickness_mm", THICKNESSES_MM, faults),
    }
}

fn along(section: &Section, key: &str, limits: (f64, f64), faults: &mut Faults) -> SizesAlong {
    let Some(value) = section.get(key) else { return SizesAlong::default() };
    let Some(table) = value.get_ref().as_table() else {
        return SizesAlong(
            range(key, value, limits, faults).map(|range| (None, range)).into_iter().collect(),
        );
    };
    let mut sizes = Vec::new();
    for (name, item) in table {
        match name.get_ref().parse::<Note>() {
            Ok(note) => sizes.extend(range(key, item, limits, faults).map(|range| (Some(note), range))),
            Err(_) => {
                let wrong = format!("\"{}\" is not a note", name.get_ref());
                faults.add(name.span().start, key, wrong, format!("give {RIGHT}"));
            }
        }
    }
    sizes.sort_by_key(|(note, _)| *note);
    SizesAlong(sizes)
}

fn range(key: &str, value: &Value, limits: (f64, f64), faults: &mut Faults) -> Option<SizeRange> {
    let mut size = |value: &Value| Millimetres::new(faults.number_within(key, value, limits, "mm")?);
    let (least, most) = match value.get_ref().as_array().map(|pair| pair.iter().collect::<Vec<_>>()) {
        None => {
            let one = size(value)?;
            (one, one)
        }
        Some(pair) => match pair.as_slice() {
            [least, most] => (size(least)?, size(most)?),
            _ => {
                faults.add(
                    start_of(value),
                    key,
                    format!("a list of {}", pair.len()),
                    format!("give {RIGHT}"),
                );
                return None;
            }
        },
    };
    if least > most {
        faults.add(start_of(value), key, "the range runs downwards", "give the smaller size first");
        return None;
    }
    Some(SizeRange { least, most })
}

/// As the plan writes it; empty where nothing was said.
pub(super) fn to_toml(key: &str, sizes: &SizesAlong) -> String {
    let range = |range: &SizeRange| match range.least == range.most {
        true => format!("{:?}", range.least.get()),
        false => format!("[{:?}, {:?}]", range.least.get(), range.most.get()),
    };
    match sizes.0.as_slice() {
        [] => String::new(),
        [(None, one)] => format!("{key} = {}\n", range(one)),
        several => {
            let items: Vec<String> = several
                .iter()
                .filter_map(|(note, one)| Some(format!("\"{}\" = {}", (*note)?.stored(), range(one))))
                .collect();
            format!("{key} = {{ {} }}\n", items.join(", "))
        }
    }
}
