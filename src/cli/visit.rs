//! `visit JOB`: the visits of an instrument, and opening a new one.

use std::path::PathBuf;

use clap::Args;
use serde_json::json;

use super::failure::{Ended, Failure};
use super::output;
use crate::job::{Job, JobWriter, Visit};

/// List the visits of the instrument, or open a new one
#[derive(Args)]
#[command(after_help = "\
A visit is one round of work: report, lists and comparison tell of its work alone. Passes and marks belong to the visit \
that is open when they are written; a job in which none was opened is one visit.")]
pub(crate) struct Arguments {
    /// Folder of the job
    #[arg(value_name = "JOB")]
    folder: PathBuf,
    /// Open a new visit, with a title if you like
    #[arg(long, value_name = "TITLE", num_args = 0..=1)]
    open: Option<Option<String>>,
    /// One JSON object a line (docs/json.md)
    #[arg(long)]
    json: bool,
}

pub(crate) fn run(arguments: Arguments) -> Result<Ended, Failure> {
    let visits = match arguments.open {
        None => Job::open(&arguments.folder)?.visits(),
        Some(title) => {
            let title = title.map(|title| title.trim().to_owned()).filter(|title| !title.is_empty());
            vec![JobWriter::open(&arguments.folder)?.open_visit(title)?]
        }
    };
    for visit in &visits {
        print(visit, arguments.json)?;
    }
    Ok(Ended::Done)
}

fn print(visit: &Visit, json: bool) -> Result<(), Failure> {
    if json {
        return output::json(&json!({"format": 1, "kind": "visit", "n": visit.n, "title": visit.title,
            "opened": visit.opened.to_string(), "passes": visit.passes, "marks": visit.marks.len()}));
    }
    let passes = if visit.passes.is_empty() { "no pass yet".to_owned() } else { visit.passes.join(", ") };
    output::line(&format!("{}: {passes}; {} marks", visit.words(), visit.marks.len()))
}
