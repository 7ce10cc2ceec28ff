//! `plan.toml` into a plan, with every fault in it.

use std::path::Path;

use toml::de::DeTable;

use super::numbers::{self, PlateNumbers};
use super::reader::{self, Faults, Section, section_name, start_of};
use super::{row, valves};
use crate::instrument::{Bellows, Block, Instrument, Stroke, Temperament, Tuning};
use crate::job::Error;
use crate::job::plain_name::{PLAIN_NAME, is_plain_name};
use crate::repair::ValveRule;
use crate::units::{Cents, Decibels, Hz};

/// The newest format this program reads and writes, of plan and diary alike.
pub const FORMAT: i64 = 1;

/// What `plan.toml` says.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// What the job is called on page and table.
    pub title: String,
    /// What lies on the bench.
    pub instrument: Instrument,
    /// The numbers valves are cut by.
    pub valve_rule: ValveRule,
    /// The number by which each plate is known in this job, wherever it lies; empty in plans that have none.
    pub numbers: PlateNumbers,
}

impl Plan {
    /// Read a plan's text; `file` is named in the messages only.
    ///
    /// Fails with every fault found, or with [`Error::NewerFormat`] before anything else is looked at.
    pub fn parse(text: &str, file: &Path) -> Result<Self, Error> {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let mut faults = Faults::new(text);
        let plan = match DeTable::parse(text) {
            Ok(table) => {
                let top = Section { table: table.get_ref(), at: 0 };
                check_format(&top, file, &mut faults)?;
                read_plan(&top, &mut faults)
            }
            Err(error) => {
                let at = error.span().map_or(0, |span| span.start);
                faults.add(at, "", error.message(), "correct the line so that it is TOML");
                None
            }
        };
        match plan {
            Some(plan) if faults.list.is_empty() => Ok(plan),
            _ => {
                let mut faults = faults.list;
                faults.sort_by_key(|fault| fault.line);
                Err(Error::Plan { file: file.to_owned(), faults })
            }
        }
    }
}

fn check_format(top: &Section, file: &Path, faults: &mut Faults) -> Result<(), Error> {
    let Some(value) = top.get("format") else {
        faults.add(0, "format", "missing", format!("add `format = {FORMAT}` as the first line"));
        return Ok(());
    };
    let wanted = format!("`format = {FORMAT}`");
    if let Some(found) = faults.number("format", value, &wanted) {
        if found > FORMAT as f64 {
            return Err(Error::NewerFormat { file: file.to_owned(), line: 0, found, known: FORMAT });
        }
        if found != FORMAT as f64 {
            faults.add(start_of(value), "format", format!("{found} is no format"), format!("write {wanted}"));
        }
    }
    Ok(())
}

fn read_plan(top: &Section, faults: &mut Faults) -> Option<Plan> {
    top.check_keys(
        &["format", "title", "bellows", "reference_hz", "temperament", "stretch_cents", "valves", "block"],
        faults,
    );
    let title = top.get("title").and_then(|value| faults.text("title", value, "a text in quotes"));
    let bellows = match top.get("bellows") {
        Some(value) => faults.word("bellows", value, &Bellows::ALL.map(|one| (one.as_str(), one))),
        None => {
            faults.add(
                0,
                "bellows",
                "missing",
                "add `bellows = \"unisonoric\"` or `bellows = \"bisonoric\"`",
            );
            None
        }
    };
    // ISO 16 says 440; the range is what instruments in need of repair stand at.
    let reference = match top.get("reference_hz") {
        Some(value) => faults.number_within("reference_hz", value, (400.0, 470.0), "Hz"),
        None => Some(Hz::STANDARD_A4.get()),
    };
    let temperament =
        top.get("temperament").map_or(Some(Temperament::EQUAL), |value| temperament(value, faults));
    // More than a few cents an octave is no stretch but another scale.
    let stretch = top.get("stretch_cents").map_or(Some(0.0), |value| {
        faults.number_within("stretch_cents", value, (-20.0, 20.0), "cents an octave")
    });
    let valve_rule =
        top.get("valves").map_or(Some(ValveRule::default()), |value| valves::read(value, faults));
    // Rows are read with some bellows even when the word was wrong, so that all faults come at once.
    let assumed = bellows.unwrap_or(Bellows::Bisonoric);
    let sections = top.tables("block", faults);
    let mut blocks = Vec::new();
    let mut numbers = numbers::Reader::default();
    for section in &sections {
        blocks.extend(read_block(section, assumed, &mut numbers, faults));
    }
    unique(sections.iter(), "block", faults);
    if sections.is_empty() && top.get("block").is_some() {
        faults.add(0, "block", "the plan has no block", "add a [[block]] section");
    }
    Some(Plan {
        title: title.unwrap_or_default().to_owned(),
        instrument: Instrument {
            bellows: bellows?,
            tuning: Tuning {
                reference: Hz::new(reference?)?,
                temperament: temperament?,
                stretch: Cents::new(stretch?)?,
            },
            blocks,
        },
        valve_rule: valve_rule?,
        numbers: numbers.read,
    })
}

fn read_block(
    section: &Section,
    bellows: Bellows,
    numbers: &mut numbers::Reader,
    faults: &mut Faults,
) -> Option<Block> {
    let keys = ["name", "outer_tongue_sounds_on", "leak_limit_db", "tolerance_cents", "row"];
    section.check_keys(&keys, faults);
    let name = section_name(section, "block", is_plain_name, PLAIN_NAME, faults);
    let outer = section.get("outer_tongue_sounds_on").map_or(Some(Stroke::Press), |value| {
        faults.word("outer_tongue_sounds_on", value, &Stroke::BOTH.map(|one| (one.as_str(), one)))
    });
    let limit = section.get("leak_limit_db").map_or(Some(Decibels::COMMON_LEAK_LIMIT.get()), |value| {
        faults.number_within("leak_limit_db", value, (-90.0, 0.0), "dB re the sounding reed")
    });
    let tolerance = section.get("tolerance_cents").map_or(Some(Cents::COMMON_TOLERANCE.get()), |value| {
        faults.number_within("tolerance_cents", value, (0.0, 100.0), "cents")
    });
    let outer_known = outer.unwrap_or(Stroke::Press);
    let sections = section.tables("row", faults);
    let mut rows = Vec::new();
    for row_section in &sections {
        let row = row::read_row(row_section, bellows, outer_known, faults);
        if let (Some(block), Some(row)) = (&name, &row) {
            numbers.read_row(row_section, block, row, faults);
        }
        rows.extend(row);
    }
    unique(sections.iter(), "row", faults);
    Some(Block {
        name: name?,
        outer_tongue_sounds_on: outer?,
        leak_limit: Decibels::new(limit?)?,
        tolerance: Cents::new(tolerance?)?,
        rows,
    })
}

/// Names must differ in more than case, since places are read in any case and some file systems know none.
fn unique<'a>(sections: impl Iterator<Item = &'a Section<'a, 'a>>, kind: &str, faults: &mut Faults) {
    let mut seen: Vec<String> = Vec::new();
    for section in sections {
        let Some(value) = section.get("name") else { continue };
        let Some(name) = value.get_ref().as_str() else { continue };
        let lower = name.to_lowercase();
        if seen.contains(&lower) {
            faults.add(
                start_of(value),
                "name",
                format!("a {kind} \"{name}\" is there already"),
                "give another",
            );
        }
        seen.push(lower);
    }
}

fn temperament(value: &reader::Value, faults: &mut Faults) -> Option<Temperament> {
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
