//! Blocks, rows and plates renamed, put in, taken out and renumbered: another plan, and what became of each plate.

use std::collections::BTreeMap;

use super::Plan;
use crate::instrument::{
    Block, Instrument, Material, Note, PerFace, PerStroke, Plate, PlatePlace, Reed, Row, Valve,
};
use crate::job::plain_name::{PLAIN_NAME, is_plain_name};

/// A change of the plan that concerns where plates are and what they are called.
#[derive(Debug, Clone, PartialEq)]
pub enum PlanEdit {
    /// A block is called otherwise.
    RenameBlock {
        /// As it is called.
        block: String,
        /// What it is called now.
        name: String,
    },
    /// A row is called otherwise.
    RenameRow {
        /// The block it is in.
        block: String,
        /// As it is called.
        row: String,
        /// What it is called now.
        name: String,
    },
    /// Plates are taken out; those behind them move up.
    TakeOut(Vec<PlatePlace>),
    /// A plate is put in before the one at this place, or behind the last of its row.
    PutIn {
        /// Where it is then.
        place: PlatePlace,
        /// Its notes.
        notes: PerStroke<Option<Note>>,
    },
    /// A plate is given another number or row; those between move up or down.
    Renumber {
        /// Where it is.
        from: PlatePlace,
        /// Where it is then.
        to: PlatePlace,
    },
}

/// Each plate of a plan by its place, with the place it had before; `None` for a new one.
pub type Origins = BTreeMap<PlatePlace, Option<PlatePlace>>;

/// A plate with the place it had.
type MarkedPlate = (Plate, Option<PlatePlace>);
/// A block with the plates of its rows.
type MarkedBlock = (Block, Vec<Vec<MarkedPlate>>);
/// What is wrong and what would be right.
type Wrong = (String, String);

/// Plates with the places they had.
struct Marked {
    blocks: Vec<MarkedBlock>,
}

impl Plan {
    /// The plan after `edit`, and where each of its plates comes from; else what is wrong and what would be right.
    pub fn after(&self, edit: &PlanEdit) -> Result<(Plan, Origins), Wrong> {
        let mut marked = Marked::of(&self.instrument);
        match edit {
            PlanEdit::RenameBlock { block, name } => {
                if !is_plain_name(name) {
                    return Err((format!("`{name}` cannot name a block"), PLAIN_NAME.into()));
                }
                free(self.instrument.blocks.iter().map(|block| &block.name), block, name)?;
                marked.block(block)?.0.name.clone_from(name);
            }
            PlanEdit::RenameRow { block, row, name } => {
                if name.is_empty() || name.chars().count() > 8 || !name.chars().all(char::is_alphabetic) {
                    return Err((format!("`{name}` cannot name a row"), "use up to 8 letters".into()));
                }
                let (there, _) = marked.block(block)?;
                free(there.rows.iter().map(|row| &row.name), row, name)?;
                let found = there.rows.iter_mut().find(|there| there.name == *row);
                found.ok_or_else(|| no_row(row))?.name.clone_from(name);
            }
            PlanEdit::TakeOut(places) => {
                for (_, rows) in &mut marked.blocks {
                    for row in rows {
                        row.retain(|(_, was)| was.as_ref().is_none_or(|was| !places.contains(was)));
                    }
                }
            }
            PlanEdit::PutIn { place, notes } => {
                let reed = |note: Option<Note>| note.map(|note| Reed { note, slot: None });
                let new = Valve::Fitted { length: None, material: Material::Leather, helper_spring: false };
                let plate = Plate {
                    reeds: PerStroke { press: reed(notes.press), draw: reed(notes.draw) },
                    valves: PerFace { outer: new, inner: new },
                };
                marked.put(place, (plate, None))?;
            }
            PlanEdit::Renumber { from, to } => {
                let found = marked.blocks.iter_mut().flat_map(|(_, rows)| rows).find_map(|row| {
                    let at = row.iter().position(|(_, was)| was.as_ref() == Some(from))?;
                    Some(row.remove(at))
                });
                let plate = found
                    .ok_or_else(|| (format!("there is no plate `{from}`"), "give one the plan has".into()))?;
                marked.put(to, plate)?;
            }
        }
        let (instrument, origins) = marked.instrument(&self.instrument);
        if instrument.blocks.is_empty() {
            return Err(("no plate would be left".into(), "leave one at the least".into()));
        }
        let numbers = self.numbers_after(&origins);
        Ok((Plan { instrument, numbers, ..self.clone() }, origins))
    }
}

impl Marked {
    fn of(instrument: &Instrument) -> Self {
        let of_row = |block: &Block, row: &Row| {
            let place = |at: usize| PlatePlace {
                block: block.name.clone(),
                row: row.name.clone(),
                number: u32::try_from(at + 1).unwrap_or(u32::MAX),
            };
            row.plates.iter().enumerate().map(|(at, plate)| (plate.clone(), Some(place(at)))).collect()
        };
        let blocks = instrument.blocks.iter();
        let blocks =
            blocks.map(|block| (block.clone(), block.rows.iter().map(|row| of_row(block, row)).collect()));
        Self { blocks: blocks.collect() }
    }

    fn block(&mut self, name: &str) -> Result<&mut MarkedBlock, Wrong> {
        let found = self.blocks.iter_mut().find(|(block, _)| block.name == name);
        found.ok_or_else(|| (format!("there is no block `{name}`"), "give one the plan has".into()))
    }

    fn put(&mut self, place: &PlatePlace, plate: MarkedPlate) -> Result<(), Wrong> {
        let (block, rows) = self.block(&place.block)?;
        let at = block.rows.iter().position(|row| row.name == place.row);
        let row = at.and_then(|at| rows.get_mut(at)).ok_or_else(|| no_row(&place.row))?;
        let idx = (place.number as usize).saturating_sub(1);
        if idx > row.len() {
            let what =
                format!("row `{}` has {} plates, so there is no place `{place}`", place.row, row.len());
            return Err((what, format!("give a number from 1 to {}", row.len() + 1)));
        }
        row.insert(idx, plate);
        Ok(())
    }

    /// Rows and blocks without a plate are left out.
    fn instrument(self, before: &Instrument) -> (Instrument, Origins) {
        let mut origins = Origins::new();
        let mut blocks = Vec::new();
        for (block, rows) in self.blocks {
            let mut kept = Vec::new();
            for (row, plates) in block.rows.iter().zip(rows) {
                for (at, (_, was)) in plates.iter().enumerate() {
                    let number = u32::try_from(at + 1).unwrap_or(u32::MAX);
                    let place = PlatePlace { block: block.name.clone(), row: row.name.clone(), number };
                    origins.insert(place, was.clone());
                }
                if !plates.is_empty() {
                    let plates = plates.into_iter().map(|(plate, _)| plate).collect();
                    kept.push(Row { plates, ..row.clone() });
                }
            }
            if !kept.is_empty() {
                blocks.push(Block { rows: kept, ..block });
            }
        }
        (Instrument { blocks, ..before.clone() }, origins)
    }
}

/// Fails where another than `own` is called so already, in any case.
fn free<'a>(mut names: impl Iterator<Item = &'a String>, own: &str, name: &str) -> Result<(), Wrong> {
    let is_taken = |there: &String| there != own && there.to_lowercase() == name.to_lowercase();
    if names.any(is_taken) {
        return Err((format!("`{name}` is there already"), "give another name".into()));
    }
    Ok(())
}

fn no_row(row: &str) -> Wrong {
    (format!("there is no row `{row}`"), "give one the plan has".into())
}
