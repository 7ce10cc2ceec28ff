//! `demo [DIR]`: an invented job with sound, taken through the whole of the main job.

use std::path::{Path, PathBuf};

use clap::Args;

use super::failure::{Ended, Failure};
use super::{findings, output, pass};
use crate::demo;
use crate::evaluation::{self, Detail, PassChoice, USUAL_SOUND_MB};
use crate::job::{Error, Job};

/// Make an invented job with sound, find its leaking valves, and draw its charts
#[derive(Args)]
pub(crate) struct Arguments {
    /// Folder of the job; new or empty
    #[arg(value_name = "DIR", default_value = "demo-job")]
    folder: PathBuf,
}

pub(crate) fn run(arguments: Arguments) -> Result<Ended, Failure> {
    let folder = &arguments.folder;
    refuse_unless_empty(folder)?;
    output::say(&format!("making an invented job in `{}`", folder.display()));
    let n_takes = demo::make(folder)?;
    output::say(&format!("{n_takes} takes of {} passes are stored", demo::PASSES.len()));

    let [before, after] = demo::PASSES.map(|pass| pass.name);
    let ended = findings::run(findings::Arguments::compared(folder, before, after))?;
    let job = Job::open(folder)?;
    // The findings have said what is to be said of the takes.
    let told = pass::evaluate(&job, &PassChoice::of_two(before, after), Detail::Report)?;
    let reported = evaluation::write_report(&job, &told, None, USUAL_SOUND_MB)?;
    let written = &reported.charts;

    output::line("\nCharts, each also as PNG beside it:")?;
    let width = written.iter().map(|chart| chart.svg.to_string_lossy().chars().count()).max().unwrap_or(0);
    for chart in written {
        output::line(&format!("  {:<width$}   {}", chart.svg.to_string_lossy(), chart.title))?;
    }
    output::line("\nWhat was made wrong, to compare with what was found:")?;
    for wrong in demo::WHAT_IS_WRONG {
        output::line(&format!("  {wrong}"))?;
    }
    let place = output::quoted(folder);
    let page = reported.page().map_or(job.report_folder(), Path::to_owned);
    output::say(&format!(
        "next:  open `{}` in a browser, then try `platenote findings {place} --pass {before}`",
        page.display()
    ));
    Ok(ended)
}

fn refuse_unless_empty(folder: &Path) -> Result<(), Failure> {
    match std::fs::read_dir(folder) {
        Ok(mut entries) => match entries.next() {
            None => Ok(()),
            Some(_) => Err(Failure::could_not(
                format!("`{}` is not empty, and the demo overwrites nothing", folder.display()),
                "name a new folder: `platenote demo another-demo`",
            )),
        },
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(()),
        Err(source) => Err(Error::Io { doing: "looked into", file: folder.to_owned(), source }.into()),
    }
}
