//! `demo [DIR]`: an invented job with sound, taken through the whole of the main job.

use std::path::{Path, PathBuf};

use clap::Args;

use super::failure::{Ended, Failure};
use super::{findings, output, pass};
use crate::audio;
use crate::demo;
use crate::evaluation::{self, Detail, PassChoice, USUAL_SOUND_MB};
use crate::job::{Error, Job, JobWriter, NewTake, PassChange, SealPart, SealState};
use crate::take::Take;

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
    Job::create(folder, demo::PLAN)?;
    let n_takes = store_takes(folder)?;
    output::say(&format!("{n_takes} takes of {} passes are stored", demo::PASSES.len()));
    write_whole(folder)?;

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
    let place = output::quoted(&folder);
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

/// The first pass once more as it would be in one long recording, to try `sweep` on.
fn write_whole(folder: &Path) -> Result<(), Failure> {
    let job = Job::open(folder)?;
    let mut whole: Option<Take> = None;
    for (_, take) in demo::PASSES.first().map_or(Vec::new(), |pass| demo::takes(job.instrument(), pass)) {
        match &mut whole {
            Some(whole) => whole.samples.extend(take.samples),
            None => whole = Some(take),
        }
    }
    let Some(whole) = whole else { return Ok(()) };
    audio::write_wav(&folder.join("whole-before.wav"), &whole)?;
    Ok(())
}

/// Synthesise and store every take; returns how many.
fn store_takes(folder: &Path) -> Result<usize, Failure> {
    let mut job = JobWriter::open(folder)?;
    let workbench = tempfile::tempdir().map_err(|source| Error::Io {
        doing: "made",
        file: std::env::temp_dir(),
        source,
    })?;
    let sound_file = workbench.path().join("take.wav");
    let mut n_takes = 0;
    for pass in demo::PASSES {
        let change = PassChange { temperature_c: Some(pass.temperature_c), ..PassChange::default() };
        job.open_pass(pass.name, &change)?;
        let ordinary =
            demo::takes(job.instrument(), &pass).into_iter().map(|(place, take)| (place, None, take));
        let plays = demo::seal_plays(job.instrument(), &pass).into_iter().map(|(place, is_sealed, take)| {
            let state = if is_sealed { SealState::Sealed } else { SealState::Open };
            (place, Some(SealPart { state, kind: None }), take)
        });
        for (place, part, take) in ordinary.chain(plays).collect::<Vec<_>>() {
            audio::write_wav(&sound_file, &take)
                .map_err(|error| Failure::could_not(error.to_string(), error.next()))?;
            let new = NewTake {
                pass: pass.name.to_owned(),
                place,
                original: None,
                extension: "wav".to_owned(),
                why: "invented for the demo".to_owned(),
                lossy: false,
                remarks: Vec::new(),
                clock: None,
            };
            match part {
                Some(part) => job.store_seal_file(new, part, &sound_file)?,
                None => job.store_file(new, &sound_file)?,
            };
            n_takes += 1;
        }
    }
    Ok(n_takes)
}
