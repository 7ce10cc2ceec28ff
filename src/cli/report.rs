//! `report JOB`: the report page, the hand-over sheet, and every table and drawing beside them.

use std::path::PathBuf;

use clap::Args;
use serde_json::json;

use super::failure::{Ended, Failure};
use super::which_passes::WhichPasses;
use super::{output, pass};
use crate::evaluation::{self, Detail, Page, Reported, USUAL_SOUND_MB};
use crate::job::Job;

/// Write the report page, a hand-over sheet for the owner, and every table and drawing
#[derive(Args)]
#[command(after_help = "\
report.html is one file with everything in it: it can be sent, opened on a telephone without a network, and printed \
on A4. hand-over.html is the shorter sheet for the instrument's owner.")]
pub(crate) struct Arguments {
    /// Folder of the job
    #[arg(value_name = "JOB")]
    folder: PathBuf,
    #[command(flatten)]
    passes: WhichPasses,
    /// Folder for what is written [default: the job's report folder]
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// How much sound the page may hold; 0 leaves it out
    #[arg(long, value_name = "MB", default_value_t = USUAL_SOUND_MB, value_parser = megabytes)]
    sound: f64,
    /// One JSON object a line (docs/json.md)
    #[arg(long)]
    json: bool,
}

pub(crate) fn run(arguments: Arguments) -> Result<Ended, Failure> {
    let job = Job::open(&arguments.folder)?;
    output::say_odd_lines(&job);
    let choice = arguments.passes.of(&job)?;
    let detail = if arguments.sound > 0.0 { Detail::Report } else { Detail::Drawings };
    let told = pass::evaluate(&job, &choice, detail)?;
    let reported = evaluation::write_report(&job, &told, arguments.out.as_deref(), arguments.sound)?;
    for word in &reported.words {
        output::say(word);
    }
    print(&reported, arguments.json)?;
    if reported.left_out > 0 && arguments.sound > 0.0 {
        output::say(&format!(
            "{} clips of sound were left out to keep the page small; `--sound 50` lets in 50 MB",
            reported.left_out
        ));
    }
    if let Some(page) = reported.page() {
        output::say(&format!("next:  open `{}` in a browser", page.display()));
    }
    Ok(Ended::Done)
}

fn print(reported: &Reported, json: bool) -> Result<(), Failure> {
    for Page { title, file } in &reported.pages {
        if json {
            output::json(&json!({"format": 1, "kind": "page", "title": title, "html": file}))?;
        } else {
            output::line(&file.display().to_string())?;
        }
    }
    for (name, csv, object) in &reported.tables {
        if json {
            output::json(&json!({"format": 1, "kind": "table", "name": name, "csv": csv, "json": object}))?;
        } else {
            output::line(&csv.display().to_string())?;
            output::line(&object.display().to_string())?;
        }
    }
    for chart in &reported.charts {
        if json {
            output::json(&json!({
                "format": 1, "kind": "chart", "title": chart.title, "svg": chart.svg, "png": chart.png,
            }))?;
        } else {
            output::line(&chart.svg.display().to_string())?;
            output::line(&chart.png.display().to_string())?;
        }
    }
    Ok(())
}

/// From nothing to what a browser still opens.
fn megabytes(text: &str) -> Result<f64, String> {
    let number = super::number::number(text).ok().filter(|number| (0.0..=500.0).contains(number));
    number.ok_or_else(|| "give megabytes from 0 to 500".to_owned())
}
