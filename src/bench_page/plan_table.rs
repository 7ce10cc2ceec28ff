//! The plan as a table to be filled in: what is there now, and what is wrong in what is typed.

use std::path::Path;

use serde::{Deserialize, Serialize};

use super::Error;
use crate::instrument::{Block, Face, Material, Plate, PlatePlace, Reed, Row, Stroke, Tremolo, Valve};
use crate::job::{self, Job, Origins, Plan};
use crate::units::Millimetres;

/// A plan as it is typed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Table {
    pub title: String,
    pub reference: String,
    pub bellows: String,
    pub blocks: Vec<BlockTable>,
}

/// A block as it is typed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct BlockTable {
    pub name: String,
    /// The stroke on which the outer tongues sound.
    pub outer_tongue: String,
    /// The opposite reed at or above this, dB re the sounding one: leaks.
    pub limit: String,
    /// A reed this near its target is left alone, cents.
    pub tolerance: String,
    pub rows: Vec<RowTable>,
}

/// A row of plates as it is typed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct RowTable {
    pub name: String,
    /// `12`, or values at notes: `F#3 12.3, F4 15.6`.
    pub tremolo: String,
    /// `cents`, or `beats` a second.
    pub tremolo_in: String,
    pub plates: Vec<PlateCells>,
}

/// A plate as it is typed.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct PlateCells {
    pub press: String,
    pub draw: String,
    pub outer: String,
    pub inner: String,
    /// `leather`, `plastic`, and either with ` + spring`.
    pub outer_kind: String,
    pub inner_kind: String,
    pub slot_press: String,
    pub slot_draw: String,
    /// Where the plate was when the page was shown: `bass A3`; empty for a new one.
    #[serde(default)]
    pub was: String,
}

/// A fault with the cell it is about, as far as one is.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(super) struct CellFault {
    /// `title`, `reference`; block and column: `0.limit`; block, row, plate and column: `0.1.3.press`; empty for the plan
    /// as a whole.
    pub cell: String,
    pub text: String,
}

/// What follows the material of a valve with a helper spring.
pub(super) const WITH_SPRING: &str = " + spring";

impl Table {
    /// What the plan has now.
    pub fn of(job: &Job) -> Self {
        let instrument = job.instrument();
        Self {
            title: job.title().to_owned(),
            reference: instrument.tuning.reference.get().to_string(),
            bellows: instrument.bellows.to_string(),
            blocks: instrument.blocks.iter().map(block_table).collect(),
        }
    }

    /// Every fault the plan's reader finds in it.
    pub fn faults(&self) -> Vec<CellFault> {
        let (text, cells) = self.text();
        match Plan::parse(&text, Path::new("plan.toml")) {
            Ok(_) => Vec::new(),
            Err(job::Error::Plan { faults, .. }) => faults
                .iter()
                .map(|fault| CellFault {
                    cell: fault.line.checked_sub(1).and_then(|at| cells.get(at)).cloned().unwrap_or_default(),
                    text: format!("{}; {}", fault.wrong, fault.right),
                })
                .collect(),
            Err(other) => vec![CellFault { cell: String::new(), text: other.to_string() }],
        }
    }

    /// Where each plate was before, by where it is as the table has it.
    pub fn origins(&self, now: &Job) -> Origins {
        let mut origins = Origins::new();
        for block in &self.blocks {
            for row in &block.rows {
                for (at, plate) in row.plates.iter().enumerate() {
                    let number = u32::try_from(at + 1).unwrap_or(u32::MAX);
                    let place = PlatePlace { block: block.name.clone(), row: row.name.clone(), number };
                    let was = now.instrument().plate_place(&plate.was).ok();
                    // One plate cannot have become two.
                    let was =
                        was.filter(|was| !origins.values().flatten().any(|there: &PlatePlace| there == was));
                    origins.insert(place, was);
                }
            }
        }
        origins
    }

    /// The text of the plan: that of `now` with what was typed in its place, remarks and all.
    pub fn plan_text(&self, now: &Job, text: &str) -> Result<String, Error> {
        let mut plan = Plan::parse(&self.text().0, Path::new("plan.toml"))?;
        // The table shows none of them.
        plan.valve_rule = *now.valve_rule();
        plan.instrument.tuning.temperament = now.instrument().tuning.temperament;
        plan.instrument.tuning.stretch = now.instrument().tuning.stretch;
        plan.numbers = now.numbers_after(&plan, &self.origins(now));
        Ok(plan.written_into(text))
    }
}

fn block_table(block: &Block) -> BlockTable {
    BlockTable {
        name: block.name.clone(),
        outer_tongue: block.outer_tongue_sounds_on.to_string(),
        limit: block.leak_limit.get().to_string(),
        tolerance: block.tolerance.get().to_string(),
        rows: block.rows.iter().map(|row| row_table(block, row)).collect(),
    }
}

fn row_table(block: &Block, row: &Row) -> RowTable {
    let at = |note: String, value: f64| format!("{note} {value}");
    let (tremolo, tremolo_in) = match &row.tremolo {
        Tremolo::Even(cents) => (cents.get().to_string(), "cents"),
        Tremolo::CentsAt(points) => {
            let points: Vec<_> =
                points.iter().map(|(note, cents)| at(note.to_string(), cents.get())).collect();
            (points.join(", "), "cents")
        }
        Tremolo::BeatsAt(points) => {
            let points: Vec<_> = points.iter().map(|(note, beats)| at(note.to_string(), *beats)).collect();
            (points.join(", "), "beats")
        }
    };
    RowTable {
        name: row.name.clone(),
        tremolo,
        tremolo_in: tremolo_in.to_owned(),
        plates: row
            .plates
            .iter()
            .enumerate()
            .map(|(at, plate)| PlateCells {
                was: format!("{} {}{}", block.name, row.name, at + 1),
                ..cells(plate)
            })
            .collect(),
    }
}

fn cells(plate: &Plate) -> PlateCells {
    let reed = |stroke: Stroke| *plate.reeds.on(stroke);
    let note = |stroke| reed(stroke).map_or(String::new(), |reed: Reed| reed.note.to_string());
    let slot = |stroke| reed(stroke).and_then(|reed| reed.slot).map_or(String::new(), length_words);
    let length = |face| match *plate.valves.on(face) {
        Valve::None => "0".to_owned(),
        Valve::Fitted { length, .. } => length.map_or("?".to_owned(), length_words),
    };
    let kind = |face| match *plate.valves.on(face) {
        Valve::Fitted { material, helper_spring, .. } => {
            format!("{material}{}", if helper_spring { WITH_SPRING } else { "" })
        }
        Valve::None => Material::Leather.to_string(),
    };
    PlateCells {
        press: note(Stroke::Press),
        draw: note(Stroke::Draw),
        outer: length(Face::Outer),
        inner: length(Face::Inner),
        outer_kind: kind(Face::Outer),
        inner_kind: kind(Face::Inner),
        slot_press: slot(Stroke::Press),
        slot_draw: slot(Stroke::Draw),
        was: String::new(),
    }
}

/// As it is typed: a bare number below 10 would be asked about.
fn length_words(length: Millimetres) -> String {
    if length.get() < 10.0 { length.to_string() } else { length.get().to_string() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job::Template;

    fn job(folder: &Path, text: &str) -> Job {
        Job::create(&folder.join("job"), text).unwrap()
    }

    /// Everything the table shows, away from its usual value.
    const FULL: &str = r##"format = 1
title = "Full"
bellows = "unisonoric"
reference_hz = 441.5
temperament = [0.0, 4.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, -2.0]

[valves]
overlap_mm = 2.5

[[block]]
name = "bass"
outer_tongue_sounds_on = "draw"
leak_limit_db = -38.5
tolerance_cents = 1.5

[[block.row]]
name = "A"
notes = { press = ["E2", "F2"], draw = ["E2", "-"] }
valves_mm = [[38, "?"], ["9.5 mm", 0]]
slots_mm = [[33.5, 33], [30, 0]]
material = ["plastic", "leather"]
helper_springs = ["A1 outer"]
tremolo_beats_hz = { "A3" = 2.4, "A4" = 3.2 }

[[block.row]]
name = "B"
notes = ["C4"]
tremolo_cents = 12.5

[[block]]
name = "treble"

[[block.row]]
name = "A"
notes = ["C5"]
tremolo_cents = { "C5" = 8.0 }
"##;

    #[test]
    fn a_table_that_is_not_touched_gives_the_same_plan_and_the_same_text() {
        let templates = [Template::Bass24, Template::Treble41, Template::Bisonoric20, Template::Empty];
        for text in templates.iter().map(|template| template.to_toml()).chain([FULL.to_owned()]) {
            let folder = tempfile::tempdir().unwrap();
            let job = job(folder.path(), &text);
            let table = Table::of(&job);
            assert_eq!(table.faults(), []);
            let again = Plan::parse(&table.text().0, Path::new("plan.toml")).unwrap();
            assert_eq!(again.instrument.blocks, job.instrument().blocks, "{text}");
            assert_eq!(table.plan_text(&job, &text).unwrap(), text);
        }
    }

    #[test]
    fn a_fault_is_told_at_the_cell_it_is_in() {
        let folder = tempfile::tempdir().unwrap();
        let mut table = Table::of(&job(folder.path(), &Template::Bass24.to_toml()));
        table.blocks[0].rows[1].plates[3].press = "H2".into();
        table.blocks[0].rows[0].plates[2].inner = "3.8".into();
        table.blocks[0].rows[0].plates[4].slot_draw = "wide".into();
        table.blocks[0].rows[1].tremolo = "F9x 3".into();
        table.blocks[0].limit = "-4O".into();
        table.blocks[0].tolerance = "-1".into();
        table.reference = "44O".into();
        let faults = table.faults();
        let cells: Vec<&str> = faults.iter().map(|fault| fault.cell.as_str()).collect();
        let wanted = [
            "reference",
            "0.limit",
            "0.tolerance",
            "0.0.2.inner",
            "0.0.4.slot_draw",
            "0.1.tremolo",
            "0.1.3.press",
        ];
        assert!(wanted.iter().all(|cell| cells.contains(cell)) && cells.len() == wanted.len(), "{faults:?}");
        let text = &faults.iter().find(|fault| fault.cell == "0.0.2.inner").unwrap().text;
        assert!(text.contains("38 mm"), "{text}");
    }

    #[test]
    fn what_is_typed_lands_in_the_plan_and_the_remarks_stay() {
        let folder = tempfile::tempdir().unwrap();
        let text = FULL.replace("notes = [\"C4\"]", "notes = [\"C4\"] # by ear") + "# the end\n";
        let job = job(folder.path(), &text);
        let mut table = Table::of(&job);
        let row = &mut table.blocks[0].rows[0];
        row.plates[0].outer_kind = "leather".into();
        row.plates[0].slot_press = "34".into();
        row.tremolo = "3,5".into();
        row.tremolo_in = "cents".into();
        table.blocks[1].limit = "−42".into();
        let written = table.plan_text(&job, &text).unwrap();
        assert!(written.contains("# by ear") && written.ends_with("# the end\n"), "{written}");
        let plan = Plan::parse(&written, Path::new("plan.toml")).unwrap();
        let row = &plan.instrument.blocks[0].rows[0];
        let plain = Valve::Fitted {
            length: Millimetres::new(38.0),
            material: Material::Leather,
            helper_spring: false,
        };
        assert_eq!(row.plates[0].valves.outer, plain);
        assert_eq!(row.plates[0].reeds.press.unwrap().slot, Millimetres::new(34.0));
        assert!(matches!(row.tremolo, Tremolo::Even(cents) if cents.get() == 3.5), "{written}");
        assert_eq!(plan.instrument.blocks[1].leak_limit.get(), -42.0);
        assert_eq!(plan.instrument.tuning.temperament, job.instrument().tuning.temperament);
        assert_eq!(plan.valve_rule, *job.valve_rule());
    }
}
