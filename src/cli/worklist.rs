//! `worklist JOB`: what findings and marks ask for, plate by plate, each plate lifted once.

use std::path::PathBuf;

use clap::Args;
use serde_json::json;

use super::failure::{Ended, Failure};
use super::{output, pass};
use crate::evaluation::{Detail, Evaluation, PassChoice};
use crate::job::Job;
use crate::repair::{Choice, Task, TaskValve, WorkList};
use crate::report::{Hazard, caution, work_list_page};
use crate::units::Millimetres;

/// List the valves that want work, by block and row, with the plates to lift
#[derive(Args)]
pub(crate) struct Arguments {
    /// Folder of the job
    #[arg(value_name = "JOB")]
    folder: PathBuf,
    /// Look at this pass alone [default: what all passes and marks say together]
    #[arg(long, value_name = "NAME")]
    pass: Option<String>,
    /// Write the list to print on A4, report/work-list.html
    #[arg(long)]
    html: bool,
    /// One JSON object a line (docs/json.md)
    #[arg(long)]
    json: bool,
    /// The list as CSV
    #[arg(long, conflicts_with = "json")]
    csv: bool,
}

pub(crate) fn run(arguments: Arguments) -> Result<Ended, Failure> {
    let job = Job::open(&arguments.folder)?;
    output::say_odd_lines(&job);
    let told = arguments.evaluate(&job)?;
    for word in told.remarks() {
        output::say(word);
    }
    if told.is_alone {
        let name = told.later.name();
        output::say(&format!("by pass `{name}` alone; without --pass the list tells what all passes say"));
    }
    let list = told.work_list(&job);
    if arguments.html {
        let file = job.write_report("work-list.html", work_list_page(job.title(), &list).as_bytes())?;
        output::say(&format!("to print: `{}`", file.display()));
    }
    if arguments.json {
        print_json(&list)?;
    } else if arguments.csv {
        print_csv(&list)?;
    } else {
        print_text(&list)?;
    }
    Ok(Ended::Done)
}

impl Arguments {
    fn evaluate(&self, job: &Job) -> Result<Evaluation, Failure> {
        let choice = match &self.pass {
            Some(name) => PassChoice::alone(name),
            None => PassChoice::with_the_one_before(job, None)?,
        };
        Ok(pass::evaluate(job, &choice, Detail::Findings)?)
    }
}

fn print_text(list: &WorkList) -> Result<(), Failure> {
    if list.tasks.is_empty() {
        return output::line("no valve wants work");
    }
    for row in list.rows() {
        let [lift, lifted, stay, listen] = Task::sorted(row);
        let name =
            row.first().map_or(String::new(), |task| format!("{} {}", task.plate.block, task.plate.row));
        for (head, tasks) in [
            ("lift", lift),
            ("lies beside the block", lifted),
            ("plate stays", stay),
            ("listen again first", listen),
        ] {
            if !tasks.is_empty() {
                output::line(&format!("{name}, {head}:"))?;
            }
            for task in tasks {
                for valve in &task.valves {
                    output::line(&format!("  {} {}: {}", task.plate, valve.face, valve.words()))?;
                }
            }
        }
    }
    if list.tasks.iter().any(|task| task.lift) {
        output::say(&format!("caution: {}", caution(Hazard::Knife)));
    }
    Ok(())
}

fn print_json(list: &WorkList) -> Result<(), Failure> {
    for task in &list.tasks {
        for valve in &task.valves {
            let (from, bin, lot_length) = replacement(valve);
            output::json(&json!({
                "format": 1, "kind": "task", "pass": valve.pass, "plate": task.plate.to_string(),
                "face": valve.face.to_string(), "lift_plate": task.lift, "lifted": task.is_lifted, "trouble": valve.trouble.name(),
                "length_mm": valve.length.map(Millimetres::get), "from": from, "bin": bin,
                "lot_length_mm": lot_length.map(Millimetres::get), "reason": valve.reason,
            }))?;
        }
    }
    Ok(())
}

fn print_csv(list: &WorkList) -> Result<(), Failure> {
    output::csv(&[
        "pass",
        "plate",
        "face",
        "lift_plate",
        "trouble",
        "length_mm",
        "from",
        "bin",
        "lot_length_mm",
        "reason",
    ])?;
    for task in &list.tasks {
        for valve in &task.valves {
            let (from, bin, lot_length) = replacement(valve);
            let number =
                |length: Option<Millimetres>| length.map_or(String::new(), |mm| mm.get().to_string());
            output::csv(&[
                valve.pass.clone().unwrap_or_default(),
                task.plate.to_string(),
                valve.face.to_string(),
                if task.lift { "yes" } else { "no" }.to_owned(),
                valve.trouble.name().to_owned(),
                number(valve.length),
                from.unwrap_or_default().to_owned(),
                bin.unwrap_or_default(),
                number(lot_length),
                valve.reason.clone(),
            ])?;
        }
    }
    Ok(())
}

/// Where a replacement would come from, its bin, and its length before trimming.
fn replacement(valve: &TaskValve) -> (Option<&'static str>, Option<String>, Option<Millimetres>) {
    match &valve.replacement {
        Some(Choice::FromTray { lot, .. }) => (Some("tray"), lot.bin.clone(), Some(lot.length)),
        Some(Choice::Cut) => (Some("cut"), None, None),
        Some(Choice::NotMeasured) => (Some("not_measured"), None, None),
        None => (None, None, None),
    }
}
