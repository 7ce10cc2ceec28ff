//! The plan as a table to be filled in. The table becomes the text of a plan, one value a line, and is read by the plan's
//! own reader: a fault's line then says which cell it is about.

use serde::{Deserialize, Serialize};

use super::Error;
use crate::instrument::{Bellows, Face, Instrument, Plate, Stroke, Valve};
use crate::record::{Job, Plan};
use crate::{record, units::Millimetres};

/// A plan as it is typed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Table {
    title: String,
    reference: String,
    bellows: String,
    rows: Vec<RowTable>,
}

/// A row of plates as it is typed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct RowTable {
    block: String,
    name: String,
    /// The stroke on which the block's outer tongues sound; the page hands it back as it came.
    outer_tongue: String,
    plates: Vec<PlateCells>,
}

/// A plate as it is typed.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
struct PlateCells {
    press: String,
    draw: String,
    outer: String,
    inner: String,
}

/// A fault with the cell it is about, as far as one is.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(super) struct CellFault {
    /// `title`, `reference`, or row, plate and column: `0.3.press`; empty for the plan as a whole.
    cell: String,
    text: String,
}

impl Table {
    /// What the plan has now.
    pub fn of(job: &Job) -> Self {
        let instrument = job.instrument();
        let bellows = match instrument.bellows {
            Bellows::Unisonoric => "unisonoric",
            Bellows::Bisonoric => "bisonoric",
        };
        let rows = instrument.blocks.iter().flat_map(|block| {
            block.rows.iter().map(|row| RowTable {
                block: block.name.clone(),
                name: row.name.clone(),
                outer_tongue: block.outer_tongue_sounds_on.to_string(),
                plates: row.plates.iter().map(cells).collect(),
            })
        });
        Self {
            title: job.title().to_owned(),
            reference: instrument.tuning.reference.get().to_string(),
            bellows: bellows.to_owned(),
            rows: rows.collect(),
        }
    }

    /// Every fault the plan's reader finds in it.
    pub fn faults(&self) -> Vec<CellFault> {
        let (text, cells) = self.text();
        match Plan::parse(&text, std::path::Path::new("plan.toml")) {
            Ok(_) => Vec::new(),
            Err(record::Error::Plan { faults, .. }) => faults
                .iter()
                .map(|fault| CellFault {
                    cell: fault.line.checked_sub(1).and_then(|at| cells.get(at)).cloned().unwrap_or_default(),
                    text: format!("{}; {}", fault.wrong, fault.right),
                })
                .collect(),
            Err(other) => vec![CellFault { cell: String::new(), text: other.to_string() }],
        }
    }

    /// The text of the plan, with everything of `now` that the table does not show.
    pub fn plan_text(&self, now: &Job) -> Result<String, Error> {
        let mut plan = Plan::parse(&self.text().0, std::path::Path::new("plan.toml"))?;
        plan.valve_rule = *now.valve_rule();
        plan.instrument.tuning.temperament = now.instrument().tuning.temperament;
        keep_hidden(&mut plan.instrument, now.instrument());
        Ok(plan.to_toml())
    }

    /// The plan's text, and for each of its lines the cell it comes from.
    fn text(&self) -> (String, Vec<String>) {
        let mut lines: Vec<(String, String)> = vec![("format = 1".into(), String::new())];
        let mut line = |text: String, cell: &str| lines.push((text, cell.to_owned()));
        line(format!("title = {}", quoted(&self.title)), "title");
        line(format!("bellows = {}", quoted(&self.bellows)), "bellows");
        let reference = self.reference.trim().replace(',', ".");
        let is_number = reference.parse::<f64>().is_ok_and(f64::is_finite);
        let reference = if is_number {
            format!("{:?}", reference.parse::<f64>().unwrap_or_default())
        } else {
            quoted(&reference)
        };
        line(format!("reference_hz = {reference}"), "reference");
        let mut block = None;
        for (r, row) in self.rows.iter().enumerate() {
            let cell = |p: usize, column: &str| format!("{r}.{p}.{column}");
            if block != Some(&row.block) {
                block = Some(&row.block);
                line("[[block]]".into(), &format!("{r}.block"));
                line(format!("name = {}", quoted(&row.block)), &format!("{r}.block"));
                line(
                    format!("outer_tongue_sounds_on = {}", quoted(&row.outer_tongue)),
                    &format!("{r}.block"),
                );
            }
            line("[[block.row]]".into(), &format!("{r}.name"));
            line(format!("name = {}", quoted(&row.name)), &format!("{r}.name"));
            line("valves_mm = [".into(), "");
            for (p, plate) in row.plates.iter().enumerate() {
                line(format!("[{},", quoted(plate.outer.trim())), &cell(p, "outer"));
                line(format!("{}],", quoted(plate.inner.trim())), &cell(p, "inner"));
            }
            line("]".into(), "");
            for (stroke, head) in [("press", "notes = { press = ["), ("draw", "], draw = [")] {
                line(head.into(), &format!("{r}.name"));
                for (p, plate) in row.plates.iter().enumerate() {
                    let note = if stroke == "press" { plate.press.trim() } else { plate.draw.trim() };
                    line(format!("{},", quoted(if note.is_empty() { "-" } else { note })), &cell(p, stroke));
                }
            }
            line("] }".into(), "");
        }
        (
            lines.iter().map(|(text, _)| format!("{text}\n")).collect(),
            lines.into_iter().map(|(_, cell)| cell).collect(),
        )
    }
}

fn cells(plate: &Plate) -> PlateCells {
    let note = |stroke| {
        plate.reeds.on(stroke).map_or(String::new(), |reed: crate::instrument::Reed| reed.note.to_string())
    };
    let length = |face| match *plate.valves.on(face) {
        Valve::None => "0".to_owned(),
        Valve::Fitted { length, .. } => length.map_or("?".to_owned(), length_words),
    };
    PlateCells {
        press: note(Stroke::Press),
        draw: note(Stroke::Draw),
        outer: length(Face::Outer),
        inner: length(Face::Inner),
    }
}

/// As it is typed: a bare number below 10 would be asked about.
fn length_words(length: Millimetres) -> String {
    if length.get() < 10.0 { length.to_string() } else { length.get().to_string() }
}

/// What the table does not show stays as it is: mounting, limits, tremolo, slots, materials and springs.
fn keep_hidden(new: &mut Instrument, now: &Instrument) {
    for block in &mut new.blocks {
        let Some(known) = now.blocks.iter().find(|known| known.name == block.name) else { continue };
        (block.leak_limit, block.tolerance) = (known.leak_limit, known.tolerance);
        for row in &mut block.rows {
            let Some(known) = known.rows.iter().find(|known| known.name == row.name) else { continue };
            row.tremolo = known.tremolo.clone();
            for (plate, known) in row.plates.iter_mut().zip(&known.plates) {
                let reeds =
                    [(&mut plate.reeds.press, known.reeds.press), (&mut plate.reeds.draw, known.reeds.draw)];
                for (reed, known) in reeds {
                    if let (Some(reed), Some(known)) = (reed, known) {
                        reed.slot = known.slot;
                    }
                }
                let valves = [
                    (&mut plate.valves.outer, known.valves.outer),
                    (&mut plate.valves.inner, known.valves.inner),
                ];
                for (valve, known) in valves {
                    if let (
                        Valve::Fitted { material, helper_spring, .. },
                        Valve::Fitted { material: known, helper_spring: spring, .. },
                    ) = (valve, known)
                    {
                        (*material, *helper_spring) = (known, spring);
                    }
                }
            }
        }
    }
}

/// A TOML string; one of JSON is one of TOML, but for a character it leaves as it is.
fn quoted(text: &str) -> String {
    let text: String = text.chars().filter(|letter| *letter != '\u{7f}').collect();
    serde_json::to_string(&text).unwrap_or_else(|_| "\"\"".into())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::Template;

    fn job(folder: &std::path::Path, template: Template) -> Job {
        Job::create(&folder.join("job"), &template.to_toml()).unwrap()
    }

    #[test]
    fn a_table_that_is_not_touched_gives_the_same_plan() {
        for template in [Template::Bass24, Template::Treble41, Template::Bisonoric20] {
            let folder = tempfile::tempdir().unwrap();
            let job = job(folder.path(), template);
            let table = Table::of(&job);
            assert_eq!(table.faults(), []);
            let text = table.plan_text(&job).unwrap();
            let again = Plan::parse(&text, std::path::Path::new("plan.toml")).unwrap();
            assert_eq!(
                (&again.instrument, &again.title[..]),
                (job.instrument(), job.title()),
                "{template:?}"
            );
        }
    }

    #[test]
    fn a_fault_is_told_at_the_cell_it_is_in() {
        let folder = tempfile::tempdir().unwrap();
        let mut table = Table::of(&job(folder.path(), Template::Bass24));
        table.rows[1].plates[3].press = "H2".into();
        table.rows[0].plates[2].inner = "3.8".into();
        table.reference = "44O".into();
        let cells: Vec<String> = table.faults().into_iter().map(|fault| fault.cell).collect();
        assert_eq!(cells, ["reference", "0.2.inner", "1.3.press"]);
        let text = table.faults()[1].text.clone();
        assert!(text.contains("38 mm"), "{text}");
    }
}
