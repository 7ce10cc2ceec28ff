//! The number each plate is known by, wherever it lies and whatever it is called: `plates = [1, 2, 3]` of a row.
//!
//! It stays with its plate when a person moves it in an editor, and the diary knows the plate by it.

use std::collections::{BTreeMap, BTreeSet};

use super::reader::{Faults, Section, start_of};
use crate::instrument::{PlatePlace, Row};

/// The number of each plate that has one.
pub type PlateNumbers = BTreeMap<PlatePlace, u32>;

/// More is no number of a plate.
const MOST: u32 = 1_000_000;

#[derive(Default)]
pub(super) struct Reader {
    pub(super) read: PlateNumbers,
    seen: BTreeSet<u32>,
}

impl Reader {
    pub(super) fn read_row(&mut self, section: &Section, block: &str, row: &Row, faults: &mut Faults) {
        const RIGHT: &str = "one number for each note, that of its plate, `0` for a plate that is new";
        let Some(value) = section.get("plates") else { return };
        let Some(array) = value.get_ref().as_array() else {
            faults.other_kind("plates", value, RIGHT);
            return;
        };
        if array.len() != row.plates.len() {
            let wrong = format!("{} plate numbers for {} notes", array.len(), row.plates.len());
            let right = format!("give {RIGHT}: takes and notes go with the number");
            faults.add(start_of(value), "plates", wrong, right);
            return;
        }
        for (at, item) in (1..).zip(array.iter()) {
            let Some(number) = faults.number_within("plates", item, (0.0, f64::from(MOST)), "a plate") else {
                return;
            };
            if number.fract() != 0.0 {
                faults.add(item.span().start, "plates", format!("{number} is no number of a plate"), RIGHT);
                return;
            }
            let number = number as u32;
            if number == 0 {
                continue;
            }
            if !self.seen.insert(number) {
                let wrong = format!("{number} stands for two plates");
                faults.add(item.span().start, "plates", wrong, "give 0 to the one that is new");
            }
            let place = PlatePlace { block: block.to_owned(), row: row.name.clone(), number: at };
            self.read.insert(place, number);
        }
    }
}
