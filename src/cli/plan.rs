//! `plan JOB`: blocks, rows and plates renamed, put in, taken out and renumbered, their takes and notes along with them.

use std::path::PathBuf;

use clap::{ArgGroup, Args};
use serde_json::json;

use super::failure::{Ended, Failure};
use super::output;
use crate::instrument::{Note, PerStroke, PlatePlace, Spot};
use crate::job::{self, Job, JobWriter, PlanEdit};

/// Rename, put in, take out or renumber blocks, rows and plates; takes and notes go along
#[derive(Args)]
#[command(group(ArgGroup::new("what").required(true).args(["rename_block", "rename_row", "take_out", "put_in", "renumber", "undo", "adopt", "number"])))]
#[command(after_help = "\
Everything else in plan.toml is edited by hand, or on the bench page. Plates carry numbers in \
it (`plates = [1, 2, 3]`, given with --number where the plan has none): move the number with its note, and takes and notes go \
along. What would be left without a place is named, and wants --yes.")]
pub(crate) struct Arguments {
    /// Folder of the job
    #[arg(value_name = "JOB")]
    folder: PathBuf,
    /// Call a block otherwise
    #[arg(long, num_args = 2, value_names = ["BLOCK", "NEW"])]
    rename_block: Option<Vec<String>>,
    /// Call a row otherwise: `"bass A" C`
    #[arg(long, num_args = 2, value_names = ["ROW", "NEW"])]
    rename_row: Option<Vec<String>>,
    /// Take plates out: `A7`, `A3..A5`; those behind them move up
    #[arg(long, value_name = "PLATES")]
    take_out: Option<String>,
    /// Put a plate in, to be `A7` then; those from there on move down
    #[arg(long, value_name = "PLATE", requires = "note")]
    put_in: Option<String>,
    /// Note of the plate that is put in; two with a comma for press and draw, `-` for no reed
    #[arg(long, value_name = "NOTE")]
    note: Option<String>,
    /// Give a plate another number or row; those between move
    #[arg(long, num_args = 2, value_names = ["PLATE", "NEW"])]
    renumber: Option<Vec<String>>,
    /// Bring back the plan before the newest change of this kind
    #[arg(long)]
    undo: bool,
    /// Take plan.toml as it was edited by hand; takes and notes go along with the plates' numbers
    #[arg(long)]
    adopt: bool,
    /// Give every plate a number in plan.toml, so that a change by hand is noticed
    #[arg(long)]
    number: bool,
    /// Yes, takes or notes may be left without a place
    #[arg(long)]
    yes: bool,
    /// One JSON object a line (docs/json.md)
    #[arg(long)]
    json: bool,
}

pub(crate) fn run(arguments: Arguments) -> Result<Ended, Failure> {
    if arguments.adopt {
        return adopt(&arguments);
    }
    let mut job = JobWriter::open(&arguments.folder)?;
    output::say_oddities(&job);
    if arguments.number {
        job.number_plates()?;
        return tell(
            &arguments,
            &[],
            "every plate has its number; move it with its note where you edit plan.toml",
        );
    }
    if arguments.undo {
        job.undo_plan()?;
        return tell(&arguments, &[], "the plan before is back, and its plates' names with it");
    }
    let edit = edit(&arguments, &job)?;
    let (text, origins) = job.plan_after(&edit)?;
    let lost = job.left_without_place(&text, &origins)?;
    let agreed = arguments.yes
        || (!lost.is_empty()
            && output::ask(&format!("{}\nGo on?", job::Error::LeavesWithoutPlace { lost: lost.clone() })));
    job.change_plan(&text, &origins, agreed)?;
    tell(
        &arguments,
        &lost,
        "the plan is changed; takes and notes went along. `--undo` brings the one before back",
    )
}

fn adopt(arguments: &Arguments) -> Result<Ended, Failure> {
    let lost = Job::open(&arguments.folder)?.moved_by_hand().lost;
    let agreed = arguments.yes
        || (!lost.is_empty()
            && output::ask(&format!("{}\nGo on?", job::Error::LeavesWithoutPlace { lost: lost.clone() })));
    let job = JobWriter::open_edited(&arguments.folder, agreed)?;
    output::say_oddities(&job);
    let words = match job.moved().words() {
        words if words.is_empty() => "nothing was moved by hand that is not written down already".to_owned(),
        words => format!("{words}; takes and notes went along"),
    };
    tell(arguments, &lost, &words)
}

fn tell(arguments: &Arguments, lost: &[String], words: &str) -> Result<Ended, Failure> {
    if arguments.json {
        output::json(&json!({"format": 1, "kind": "plan", "text": words, "without_place": lost}))?;
    } else {
        output::line(words)?;
    }
    Ok(Ended::Done)
}

fn edit(arguments: &Arguments, job: &JobWriter) -> Result<PlanEdit, Failure> {
    let instrument = job.instrument();
    let pair = |words: &Option<Vec<String>>| match words.as_deref() {
        Some([first, second]) => Some((first.clone(), second.clone())),
        _ => None,
    };
    if let Some((block, name)) = pair(&arguments.rename_block) {
        let block = instrument.block_called(&block)?.name.clone();
        return Ok(PlanEdit::RenameBlock { block, name });
    }
    if let Some((row, name)) = pair(&arguments.rename_row) {
        let PlatePlace { block, row, .. } = instrument.plate_place(&format!("{row}1"))?;
        return Ok(PlanEdit::RenameRow { block, row, name });
    }
    if let Some(plates) = &arguments.take_out {
        return Ok(PlanEdit::TakeOut(instrument.plate_range(plates)?));
    }
    if let Some((from, to)) = pair(&arguments.renumber) {
        return Ok(PlanEdit::Renumber { from: instrument.plate_place(&from)?, to: place_to_be(job, &to)? });
    }
    let place = place_to_be(job, arguments.put_in.as_deref().unwrap_or_default())?;
    let text = arguments.note.as_deref().unwrap_or_default();
    let (press, draw) = text.split_once(',').unwrap_or((text, text));
    let notes = PerStroke { press: note(press)?, draw: note(draw)? };
    Ok(PlanEdit::PutIn { place, notes })
}

/// A plate that is there, or the one behind the last of its row.
fn place_to_be(job: &JobWriter, text: &str) -> Result<PlatePlace, Failure> {
    let wrong = match job.instrument().spots(text) {
        Ok(spots) => match spots.as_slice() {
            [Spot::Plate(place)] => return Ok(place.clone()),
            _ => return Err(Failure::bad_usage(format!("`{text}` is not one plate"), "write one: `A7`")),
        },
        Err(wrong) => wrong,
    };
    let digits = text.len() - text.trim_end_matches(|letter: char| letter.is_ascii_digit()).len();
    let (stem, number) = text.split_at(text.len() - digits);
    let before = number.parse::<u32>().ok().and_then(|number| number.checked_sub(1));
    let last = before.and_then(|before| job.instrument().plate_place(&format!("{stem}{before}")).ok());
    last.map(|last| PlatePlace { number: last.number + 1, ..last }).ok_or_else(|| wrong.into())
}

fn note(text: &str) -> Result<Option<Note>, Failure> {
    match text.trim() {
        "-" | "" => Ok(None),
        text => Note::typed(text).map(Some).map_err(|wrong| {
            Failure::bad_usage(wrong, "write the note with its octave, in the way notes are shown")
        }),
    }
}
