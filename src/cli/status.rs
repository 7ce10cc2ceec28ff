//! `status JOB`: what is done and what is next on each face, as a map; warns of orders that cost work.

use std::path::PathBuf;

use clap::{Args, ValueEnum};
use serde_json::json;

use super::failure::{Ended, Failure};
use super::{output, pass};
use crate::evaluation::{Detail, PassChoice};
use crate::instrument::{Face, PlatePlace, Spot, ValvePlace};
use crate::job::Job;
use crate::repair::{
    self, CountCheck, FaceStatus, PlateStatus, Standing, ValveStanding, ValveVerdict, Warning,
};

/// Show what is done and what is next on each face of each plate
#[derive(Args)]
pub(crate) struct Arguments {
    /// Folder of the job
    #[arg(value_name = "JOB")]
    folder: PathBuf,
    /// List the marks with their numbers instead
    #[arg(long)]
    marks: bool,
    /// One JSON object a line (docs/json.md)
    #[arg(long)]
    json: bool,
    /// A table as CSV: the faces, or another one with --table
    #[arg(long, conflicts_with = "json")]
    csv: bool,
    /// Which table --csv prints
    #[arg(
        long,
        value_enum,
        value_name = "NAME",
        default_value = "faces",
        requires = "csv",
        conflicts_with = "marks"
    )]
    table: TableName,
}

#[derive(Clone, Copy, ValueEnum)]
enum TableName {
    /// What is done and what is next on each face
    Faces,
    /// Where plan, diary and tray differ
    Differences,
    /// Orders of work that cost work
    Warnings,
}

pub(crate) fn run(arguments: Arguments) -> Result<Ended, Failure> {
    let job = Job::open(&arguments.folder)?;
    output::say_odd_lines(&job);
    if arguments.marks {
        list_marks(&job, &arguments)?;
        return Ok(Ended::Done);
    }
    let bench = job.bench();
    let plates = repair::status(job.instrument(), &bench);
    let warnings = repair::warnings(job.instrument(), job.valve_rule(), &job.happenings());
    let check = repair::check(job.instrument(), job.valve_rule(), &bench);
    let told = pass::evaluate(&job, &PassChoice::with_the_one_before(&job, None)?, Detail::Findings)?;
    let standing = &told.standing;
    if arguments.json {
        print_json(&plates, standing, &warnings, &check)?;
    } else if arguments.csv {
        match arguments.table {
            TableName::Faces => print_csv(&plates, standing)?,
            TableName::Differences => differences_csv(&check)?,
            TableName::Warnings => warnings_csv(&warnings)?,
        }
        if !matches!(arguments.table, TableName::Warnings) {
            say(&warnings);
        }
    } else {
        print_map(&plates)?;
        print_next(&plates)?;
        print_valves(standing)?;
        for difference in &check.differences {
            output::line(&format!("count: {}", difference_line(difference)))?;
        }
        say(&warnings);
    }
    Ok(Ended::Done)
}

/// A difference with its place in front.
pub(crate) fn difference_line(difference: &repair::Difference) -> String {
    match &difference.place {
        Some(place) => format!("{place}: {}", difference.text),
        None => difference.text.clone(),
    }
}

/// A difference as `--json` writes it.
pub(crate) fn difference_json(difference: &repair::Difference) -> serde_json::Value {
    let place = difference.place.as_ref().map(ToString::to_string);
    json!({"format": 1, "kind": "difference", "place": place, "text": difference.text})
}

/// The differences as a table.
pub(crate) fn differences_csv(check: &CountCheck) -> Result<(), Failure> {
    output::csv(&["place", "text"])?;
    for difference in &check.differences {
        let place = difference.place.as_ref().map(ToString::to_string).unwrap_or_default();
        output::csv(&[place, difference.text.clone()])?;
    }
    Ok(())
}

fn warnings_csv(warnings: &[Warning]) -> Result<(), Failure> {
    output::csv(&["n", "text", "next"])?;
    for warning in warnings {
        output::csv(&[warning.n.to_string(), warning.text.clone(), warning.next.clone()])?;
    }
    Ok(())
}

fn say(warnings: &[Warning]) {
    for warning in warnings {
        output::say(&format!("warning: mark {}: {}\nnext:  {}", warning.n, warning.text, warning.next));
    }
}

/// Plates side by side on a line of the map.
const WIDEST: usize = 12;

fn print_map(plates: &[PlateStatus]) -> Result<(), Failure> {
    output::line(&format!("key: {}", FaceStatus::KEY))?;
    for row in plates.chunk_by(|left, right| {
        (&left.place.block, &left.place.row) == (&right.place.block, &right.place.row)
    }) {
        for strip in row.chunks(WIDEST) {
            let cell = |text: &str| format!("{text:<7}");
            let head: String = strip
                .iter()
                .map(|plate| cell(&format!("{}{}", plate.place.row, plate.place.number)))
                .collect();
            let block = strip.first().map_or("", |plate| plate.place.block.as_str());
            output::line("")?;
            output::line(format!("{block:<8}{head}").trim_end())?;
            for face in Face::BOTH {
                let letters: String = strip.iter().map(|plate| cell(&plate.faces.on(face).letters)).collect();
                output::line(format!("{face:<8}{letters}").trim_end())?;
            }
        }
    }
    output::line("")
}

/// A plate and those of its faces that are meant.
type PlateFaces<'a> = (&'a PlatePlace, Vec<Face>);

/// The faces that share a next step on one line each, in the order the steps first come up.
fn print_next(plates: &[PlateStatus]) -> Result<(), Failure> {
    let mut steps: Vec<(&str, Vec<PlateFaces>)> = Vec::new();
    for plate in plates {
        for face in Face::BOTH {
            let Some(next) = plate.faces.on(face).next.as_deref() else { continue };
            let at = steps.iter().position(|(step, _)| *step == next).unwrap_or_else(|| {
                steps.push((next, Vec::new()));
                steps.len() - 1
            });
            let Some((_, places)) = steps.get_mut(at) else { continue };
            match places.last_mut() {
                Some((last, faces)) if *last == &plate.place => faces.push(face),
                _ => places.push((&plate.place, vec![face])),
            }
        }
    }
    if steps.is_empty() {
        return output::line("next: nothing is left to do");
    }
    for (step, places) in steps {
        output::line(&format!("next: {step}: {}", runs(&places)))?;
    }
    Ok(())
}

/// Places as `mark` takes them, neighbours with the same faces drawn together: `bass A4..A12, bass B1 outer`.
fn runs(places: &[PlateFaces]) -> String {
    let joined = places.chunk_by(|(left, left_faces), (right, right_faces)| {
        left.block == right.block
            && left.row == right.row
            && left.number + 1 == right.number
            && left_faces == right_faces
    });
    let words = joined.filter_map(|run| {
        let ((first, faces), (last, _)) = (run.first()?, run.last()?);
        let range = if run.len() > 1 { format!("..{}{}", last.row, last.number) } else { String::new() };
        let face = match faces.as_slice() {
            [only] => format!(" {only}"),
            _ => String::new(),
        };
        Some(format!("{first}{range}{face}"))
    });
    words.collect::<Vec<_>>().join(", ")
}

/// What is open on the valves by all passes and marks; a line each, with the evidence.
fn print_valves(standing: &Standing) -> Result<(), Failure> {
    use ValveVerdict::{Changed, Leaks, NotJudged, Off, Suspect};
    for state in [Leaks, Off, Suspect, Changed, NotJudged] {
        for valve in standing.valves_that(state) {
            output::line(&format!("valve: {} {}: {}", valve.place, state.words(), valve.reason()))?;
        }
    }
    Ok(())
}

/// The state and the reason of a valve's standing.
fn valve_words(
    standing: &Standing,
    plate: &PlatePlace,
    face: Face,
) -> (Option<&'static str>, Option<String>) {
    let valve = standing.valve(&ValvePlace { plate: plate.clone(), face });
    (valve.map(|valve| valve.state.name()), valve.map(ValveStanding::reason))
}

fn print_csv(plates: &[PlateStatus], standing: &Standing) -> Result<(), Failure> {
    output::csv(&["plate", "face", "lifted", "done", "next", "valve"])?;
    for plate in plates {
        for face in Face::BOTH {
            let status = plate.faces.on(face);
            let lifted = if plate.is_lifted { "yes" } else { "no" };
            let next = status.next.clone().unwrap_or_default();
            output::csv(&[
                plate.place.to_string(),
                face.to_string(),
                lifted.into(),
                status.done.join("; "),
                next,
                valve_words(standing, &plate.place, face).0.unwrap_or_default().into(),
            ])?;
        }
    }
    Ok(())
}

fn print_json(
    plates: &[PlateStatus],
    standing: &Standing,
    warnings: &[Warning],
    check: &CountCheck,
) -> Result<(), Failure> {
    for plate in plates {
        for face in Face::BOTH {
            let status = plate.faces.on(face);
            let (valve, reason) = valve_words(standing, &plate.place, face);
            output::json(&json!({
                "format": 1, "kind": "face", "plate": plate.place.to_string(), "face": face.to_string(),
                "lifted": plate.is_lifted, "done": status.done, "next": status.next,
                "valve": valve, "valve_reason": reason,
            }))?;
        }
    }
    for difference in &check.differences {
        output::json(&difference_json(difference))?;
    }
    for warning in warnings {
        output::json(&json!({
            "format": 1, "kind": "warning", "n": warning.n, "text": warning.text, "next": warning.next,
        }))?;
    }
    Ok(())
}

fn list_marks(job: &Job, arguments: &Arguments) -> Result<(), Failure> {
    if arguments.csv {
        output::csv(&["n", "at", "places", "work", "undone"])?;
    }
    for mark in job.marks() {
        let places: Vec<String> = mark.spots.iter().map(Spot::to_string).collect();
        let (at, work) = (mark.at.to_string(), mark.work.to_string());
        if arguments.json {
            output::json(&json!({
                "format": 1, "kind": "mark", "n": mark.n, "at": at, "places": places, "work": work,
                "undone": mark.undone,
            }))?;
        } else if arguments.csv {
            let undone = if mark.undone { "yes" } else { "no" };
            output::csv(&[mark.n.to_string(), at, places.join("; "), work, undone.into()])?;
        } else {
            let undone = if mark.undone { " (taken back)" } else { "" };
            let places = if places.is_empty() {
                String::new()
            } else {
                crate::instrument::place_ranges(&places) + ": "
            };
            output::line(&format!("{:>4}  {}  {places}{work}{undone}", mark.n, mark.day))?;
        }
    }
    Ok(())
}
