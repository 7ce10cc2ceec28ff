//! `next JOB`: everything that is open, in the order it is best done, each step with its reason and what closes it.

use std::path::PathBuf;

use clap::Args;
use serde_json::json;

use super::failure::{Ended, Failure};
use super::{output, pass};
use crate::evaluation::{Detail, PassChoice};
use crate::instrument::place_ranges;
use crate::job::Job;
use crate::repair::{NextStep, OutOfOrder, StepKind, Tick, grouped, stage};
use crate::report::next_list_page;

/// List everything that is open, in the order it is best done
#[derive(Args)]
pub(crate) struct Arguments {
    /// Folder of the job
    #[arg(value_name = "JOB")]
    folder: PathBuf,
    /// Write the list to print on A4, report/next.html
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
    let choice = PassChoice::with_the_one_before(&job, None)?;
    let told = pass::evaluate(&job, &choice, Detail::Findings)?;
    for word in told.remarks() {
        output::say(word);
    }
    let steps = told.next_list(&job);
    let astray = told.out_of_order(&job);
    if arguments.html {
        let file = job.write_report("next.html", next_list_page(job.title(), &steps, &astray).as_bytes())?;
        output::say(&format!("to print: `{}`", file.display()));
    }
    if arguments.json {
        print_json(&steps, &astray)?;
    } else if arguments.csv {
        print_csv(&steps)?;
    } else {
        print_text(&steps, &astray)?;
    }
    Ok(Ended::Done)
}

fn print_text(steps: &[NextStep], astray: &[OutOfOrder]) -> Result<(), Failure> {
    print_steps(steps)?;
    if !astray.is_empty() {
        output::line("\nDone out of order: what can no longer be found out")?;
    }
    for one in astray {
        output::line(&format!("  {}: {}", place_ranges(&one.places), one.what))?;
        output::line(&format!("        {}", one.instead))?;
    }
    Ok(())
}

fn print_steps(steps: &[NextStep]) -> Result<(), Failure> {
    let Some(now) = stage(steps) else { return output::line("nothing is open") };
    output::line(&format!("stage: {}", now.heading().to_lowercase()))?;
    for kind in StepKind::ALL {
        let of_kind: Vec<&NextStep> = steps.iter().filter(|step| step.kind == kind).collect();
        if of_kind.is_empty() {
            continue;
        }
        output::line("")?;
        output::line(&format!("{} ({}): {}", kind.heading(), of_kind.len(), kind.why_now()))?;
        for group in grouped(&of_kind) {
            let step = group.first;
            let lift = if step.lift_plate { " (lift the plate)" } else { "" };
            output::line(&format!("  [ ] {}{lift}: {}", group.places_words(), step.what))?;
            output::line(&format!("        {}; done by {}", step.reason, group.tick_words()))?;
        }
    }
    Ok(())
}

fn print_json(steps: &[NextStep], astray: &[OutOfOrder]) -> Result<(), Failure> {
    let now = stage(steps);
    output::json(&json!({"format": 1, "kind": "stage", "stage": now.map_or("done", StepKind::name),
        "reason": now.map(StepKind::why_now), "steps": steps.len()}))?;
    for step in steps {
        let (mark, record) = match &step.tick {
            Tick::Mark(work) => (Some(work.clone()), None),
            Tick::Record(reed) => (None, Some(reed.to_string())),
            Tick::RecordAll(reeds) => (None, reeds.first().map(ToString::to_string)),
        };
        let records: Vec<String> = match &step.tick {
            Tick::Mark(_) => Vec::new(),
            Tick::Record(reed) => vec![reed.to_string()],
            Tick::RecordAll(reeds) => reeds.iter().map(ToString::to_string).collect(),
        };
        output::json(&json!({"format": 1, "kind": "next", "step": step.kind.name(), "place": step.place,
            "plate": step.plate.to_string(), "lift_plate": step.lift_plate, "what": step.what,
            "reason": step.reason, "mark": mark, "record": record,
            "records": records, "done_by": step.tick.words()}))?;
    }
    for one in astray {
        output::json(&json!({"format": 1, "kind": "out_of_order", "places": one.places, "what": one.what,
            "instead": one.instead}))?;
    }
    Ok(())
}

fn print_csv(steps: &[NextStep]) -> Result<(), Failure> {
    output::csv(&["step", "place", "lift_plate", "what", "reason", "done_by"])?;
    for step in steps {
        let lift = if step.lift_plate { "yes" } else { "no" };
        output::csv(&[step.kind.name(), &step.place, lift, &step.what, &step.reason, &step.tick.words()])?;
    }
    Ok(())
}
