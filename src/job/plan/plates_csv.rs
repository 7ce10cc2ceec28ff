//! A plan from a CSV list of plates, one line a plate.

use std::collections::BTreeMap;
use std::path::Path;

use super::Plan;
use super::valves::length_in_words;
use crate::instrument::{
    Bellows, Block, Instrument, Material, Note, PerFace, PerStroke, Plate, Reed, Row, Temperament, Tremolo,
    Tuning, Valve,
};
use crate::job::plain_name::{PLAIN_NAME, is_plain_name};
use crate::job::{Error, Table, TableRow};
use crate::repair::ValveRule;
use crate::units::{Cents, Hz, Millimetres};

const NEEDED: [&str; 3] = ["row", "plate", "press"];
const OPTIONAL: [&str; 8] = [
    "block",
    "draw",
    "outer_valve_mm",
    "inner_valve_mm",
    "press_slot_mm",
    "draw_slot_mm",
    "material",
    "helper_springs",
];

type Wrong = (String, String);
/// Things under their names, in the list's order.
type Named<T> = Vec<(String, T)>;
/// Plates under their numbers, each with its line in the list.
type Numbered = BTreeMap<u32, (u64, Plate)>;

impl Plan {
    /// A plan from a CSV list of plates (`docs/job-format.md`, "A list of plates").
    pub fn from_plates_csv(text: &[u8], file: &Path) -> Result<Self, Error> {
        read(text, file)
    }
}

fn read(bytes: &[u8], file: &Path) -> Result<Plan, Error> {
    let fault = |line, (wrong, right): Wrong| Error::List { file: file.to_owned(), line, wrong, right };
    let table = Table::parse(bytes, file, &NEEDED, &OPTIONAL)?;
    let mut blocks: Named<Named<Numbered>> = Vec::new();
    for line in table.rows() {
        let (block, row, number, plate) =
            read_plate(&line, table.has("draw")).map_err(|wrong| fault(line.line, wrong))?;
        let rows = &mut entry(&mut blocks, block, Vec::new()).1;
        let plates = &mut entry(rows, row, BTreeMap::new()).1;
        if plates.insert(number, (line.line, plate)).is_some() {
            let wrong =
                (format!("plate {number} of this row is there already"), "give each plate once".into());
            return Err(fault(line.line, wrong));
        }
    }
    if blocks.is_empty() {
        return Err(fault(1, ("the list has no plates".into(), "add one line for each plate".into())));
    }
    let mut built = Vec::new();
    for (name, rows) in blocks {
        let mut built_rows = Vec::new();
        for (row, plates) in rows {
            for (wanted, (number, (line, _))) in (1..).zip(&plates) {
                if *number != wanted {
                    let wrong = format!("row {row} has a plate {number} but no plate {wanted}");
                    return Err(fault(
                        *line,
                        (wrong, "number the plates of a row from 1 without a gap".into()),
                    ));
                }
            }
            let plates = plates.into_values().map(|(_, plate)| plate).collect();
            built_rows.push(Row {
                name: row,
                tremolo: Tremolo::Even(Cents::ZERO),
                plates,
                sizes: Default::default(),
                lines: Default::default(),
            });
        }
        built.push(Block::new(name, built_rows));
    }
    let bisonoric = built.iter().flat_map(|block| &block.rows).flat_map(|row| &row.plates).any(|plate| {
        matches!((plate.reeds.press, plate.reeds.draw), (Some(press), Some(draw)) if press.note != draw.note)
    });
    let plan = Plan {
        title: "New job".into(),
        numbers: BTreeMap::new(),
        valve_rule: ValveRule::default(),
        instrument: Instrument {
            bellows: if bisonoric { Bellows::Bisonoric } else { Bellows::Unisonoric },
            tuning: Tuning {
                reference: Hz::STANDARD_A4,
                temperament: Temperament::EQUAL,
                stretch: crate::units::Cents::ZERO,
            },
            blocks: built,
        },
    };
    Ok(plan.numbered(1))
}

/// The entry of that name (in any case), made where there is none.
fn entry<T>(list: &mut Named<T>, name: String, empty: T) -> &mut (String, T) {
    let lower = name.to_lowercase();
    let idx = list.iter().position(|(there, _)| there.to_lowercase() == lower).unwrap_or_else(|| {
        list.push((name, empty));
        list.len() - 1
    });
    &mut list[idx]
}

fn read_plate(line: &TableRow, has_draw: bool) -> Result<(String, String, u32, Plate), Wrong> {
    let block = if line.get("block").is_empty() { "block" } else { line.get("block") };
    if !is_plain_name(block) {
        return Err((format!("`{block}` cannot name a block"), PLAIN_NAME.into()));
    }
    let row = line.get("row");
    if row.is_empty() || row.chars().count() > 8 || !row.chars().all(char::is_alphabetic) {
        return Err((
            format!("`{row}` cannot name a row"),
            "use up to 8 letters: places are written `A7`".into(),
        ));
    }
    let number = line.get("plate");
    let digits = number.strip_prefix(row).unwrap_or(number);
    let number = digits.parse::<u32>().ok().filter(|number| *number > 0).ok_or_else(|| {
        (
            format!("`{number}` is no plate number"),
            "number the plates of a row from 1: `1` or `A1`".to_owned(),
        )
    })?;
    let press = note(line.get("press"))?;
    let draw = if has_draw { note(line.get("draw"))? } else { press };
    let reed = |note: Option<Note>, column| -> Result<Option<Reed>, Wrong> {
        let slot = length(line.get(column), column)?.filter(|slot| slot.get() > 0.0);
        Ok(note.map(|note| Reed { note, slot }))
    };
    let reeds = PerStroke { press: reed(press, "press_slot_mm")?, draw: reed(draw, "draw_slot_mm")? };
    let material = match line.get("material").to_lowercase().as_str() {
        "" => Material::Leather,
        word => Material::named(word).ok_or_else(|| {
            let [one, other] = Material::ALL;
            (format!("material `{word}` is not known"), format!("give `{one}` or `{other}`"))
        })?,
    };
    let (outer_spring, inner_spring) = match line.get("helper_springs").to_lowercase().as_str() {
        "" => (false, false),
        "outer" => (true, false),
        "inner" => (false, true),
        "both" => (true, true),
        other => {
            return Err((
                format!("helper_springs `{other}` is not known"),
                "give `outer`, `inner` or `both`".into(),
            ));
        }
    };
    let valve = |covered: Option<Reed>, column, helper_spring| -> Result<Valve, Wrong> {
        let length = length(line.get(column), column)?;
        Ok(match (covered, length) {
            (None, _) => Valve::None,
            (Some(_), Some(length)) if length.get() == 0.0 => Valve::None,
            (Some(_), length) => Valve::Fitted { length, material, helper_spring },
        })
    };
    // Common mounting: the outer face carries the valve over the draw reed's slot.
    let valves = PerFace {
        outer: valve(reeds.draw, "outer_valve_mm", outer_spring)?,
        inner: valve(reeds.press, "inner_valve_mm", inner_spring)?,
    };
    Ok((block.to_owned(), row.to_owned(), number, Plate { reeds, valves }))
}

fn note(text: &str) -> Result<Option<Note>, Wrong> {
    if text.is_empty() || text == "-" {
        return Ok(None);
    }
    Note::typed(text).map(Some).map_err(|_| {
        let right =
            "write a letter A to G, `#` or `b` where needed, and the octave: `F#2`; leave empty for no reed";
        (format!("`{text}` is not a note"), right.into())
    })
}

/// A length; `None` where the cell is empty or `?`.
fn length(text: &str, column: &str) -> Result<Option<Millimetres>, Wrong> {
    let Some(read) = length_in_words(text) else { return Ok(None) };
    let length = read.map_err(|(wrong, right)| {
        (
            format!("{column}: {wrong}"),
            format!("{right}; 0 for none, and leave it empty when it is not known"),
        )
    })?;
    Ok(Some(length))
}
