//! `chart JOB`: tuning chart, block map and close-ups of a pass, or of two together, as SVG and PNG.

use std::path::{Path, PathBuf};

use clap::Args;
use serde::Serialize;

use super::failure::{Ended, Failure};
use super::which_passes::WhichPasses;
use super::{output, pass};
use crate::evaluation::{self, Detail, PassChoice, Written};
use crate::job::Job;
use crate::report;

/// Draw the tuning chart, the block map and a close-up of each leak, as SVG and PNG
#[derive(Args)]
pub(crate) struct Arguments {
    /// Folder of the job
    #[arg(value_name = "JOB")]
    folder: PathBuf,
    #[command(flatten)]
    passes: WhichPasses,
    /// Folder for the pictures [default: the job's report folder]
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// One JSON object a line (docs/json.md)
    #[arg(long)]
    json: bool,
}

/// A chart as `--json` names it.
#[derive(Serialize)]
struct ChartLine<'a> {
    format: u8,
    kind: &'static str,
    title: &'a str,
    svg: &'a Path,
    png: &'a Path,
}

/// What came of drawing.
struct Drawn {
    written: Vec<Written>,
    /// Words on the takes.
    words: Vec<String>,
}

pub(crate) fn run(arguments: Arguments) -> Result<Ended, Failure> {
    let job = Job::open(&arguments.folder)?;
    let choice = arguments.passes.of(&job)?;
    let Drawn { written, words } = draw(&job, &choice, arguments.out.as_deref())?;
    for word in words {
        output::say(&word);
    }
    for chart in &written {
        if arguments.json {
            let (svg, png) = (chart.svg.as_path(), chart.png.as_path());
            output::json(&ChartLine { format: 1, kind: "chart", title: &chart.title, svg, png })?;
        } else {
            output::line(&chart.svg.display().to_string())?;
            output::line(&chart.png.display().to_string())?;
        }
    }
    let later = choice.later.unwrap_or_default();
    let drawn = choice
        .earlier
        .map_or(format!("pass `{later}`"), |earlier| format!("passes `{earlier}` and `{later}`"));
    output::say(&format!("{} charts of {drawn}, each as SVG and PNG", written.len()));
    Ok(Ended::Done)
}

/// Judge the passes, draw every chart and write it: into `out`, or into the job's report folder.
fn draw(job: &Job, choice: &PassChoice, out: Option<&Path>) -> Result<Drawn, Failure> {
    let told = pass::evaluate(job, choice, Detail::Drawings)?;
    let charts = report::charts(&told.subject(job)?)
        .map_err(|error| Failure::could_not(error.to_string(), error.next()))?;
    let written =
        charts.into_iter().map(|chart| evaluation::write_chart(job, out, chart)).collect::<Result<_, _>>()?;
    Ok(Drawn { written, words: told.remarks().cloned().collect() })
}
