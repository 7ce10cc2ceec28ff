//! `plan.toml` into a plan, with every fault in it.

use std::path::Path;

use toml::de::DeTable;

use super::model::{FORMAT, Plan};
use super::numbers;
use super::reader::{Faults, Section, section_name, start_of};
use super::{row, schema, valves};
use crate::instrument::{Bellows, Block};
use crate::job::Error;
use crate::job::plain_name::{PLAIN_NAME, is_plain_name};

impl Plan {
    /// Read a plan's text; `file` is named in the messages only.
    ///
    /// Fails with every fault found, or with [`Error::NewerFormat`] before anything else is looked at.
    pub fn parse(text: &str, file: &Path) -> Result<Self, Error> {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let mut faults = Faults::new(text);
        // Read with what holds where nothing is said, so that all faults come at once; with any of them there is no plan.
        let plan = match DeTable::parse(text) {
            Ok(table) => {
                let top = Section { table: table.get_ref(), at: 0 };
                check_format(&top, file, &mut faults)?;
                Some(read_plan(&top, &mut faults))
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

fn read_plan(top: &Section, faults: &mut Faults) -> Plan {
    let mut plan = Plan::empty();
    schema::read(&schema::PLAN, top, &mut plan, faults);
    if let Some(value) = top.get("valves") {
        valves::read(value, &mut plan.valve_rule, faults);
    }
    let sections = top.tables("block", faults);
    let mut numbers = numbers::Reader::default();
    let bellows = plan.instrument.bellows;
    let block = |section| read_block(section, bellows, &mut numbers, faults);
    plan.instrument.blocks = sections.iter().map(block).collect();
    plan.numbers = numbers.read;
    unique(sections.iter(), "block", faults);
    if sections.is_empty() && top.get("block").is_some() {
        faults.add(0, "block", "the plan has no block", "add a [[block]] section");
    }
    plan
}

fn read_block(
    section: &Section,
    bellows: Bellows,
    numbers: &mut numbers::Reader,
    faults: &mut Faults,
) -> Block {
    let mut block = Plan::empty_block();
    schema::read(&schema::BLOCK, section, &mut block, faults);
    block.name = section_name(section, "block", is_plain_name, PLAIN_NAME, faults).unwrap_or_default();
    let sections = section.tables("row", faults);
    for row_section in &sections {
        let row = row::read_row(row_section, bellows, block.outer_tongue_sounds_on, faults);
        if let Some(row) = &row {
            numbers.read_row(row_section, &block.name, row, faults);
        }
        block.rows.extend(row);
    }
    unique(sections.iter(), "row", faults);
    block
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
