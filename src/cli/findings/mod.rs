//! `findings JOB`: which valves leak, which reeds to tune, and what changed between two passes.

mod beating;
mod json;
mod remarks;
mod speech;
mod standing_pitch;
mod text;

use std::path::{Path, PathBuf};

use clap::Args;

use super::failure::{Ended, Failure};
use super::{output, pass};
use crate::evaluation::{Detail, Evaluation, PassChoice};
use crate::instrument::Temperament;
use crate::job::Job;
use crate::tuning::Goal;
use crate::units::{Cents, Hz};

/// A pitch class is never set off by more, cents; nor an octave stretched.
const MOST_OFFSET: f64 = 100.0;

/// Say which valves leak, which reeds are out of tune, and what changed between two passes
#[derive(Args, Default)]
pub(crate) struct Arguments {
    /// Folder of the job
    #[arg(value_name = "JOB")]
    folder: PathBuf,
    /// Pass to judge [default: the one opened last, or LATER]
    #[arg(long, value_name = "NAME")]
    pass: Option<String>,
    /// Two passes to compare
    #[arg(long, num_args = 2, value_names = ["EARLIER", "LATER"])]
    compare: Option<Vec<String>>,
    /// What this pitch of A4 would cost, too; may be given several times
    #[arg(long, value_name = "HZ", value_parser = super::read::reference)]
    pitch: Vec<Hz>,
    /// What another temperament would cost: `equal`, or 12 offsets in cents, C first (`0 4 ...`), at the plan's A4 or at each
    /// `--pitch`
    #[arg(long, value_name = "CENTS", allow_hyphen_values = true, value_parser = temperament)]
    temperament: Option<Temperament>,
    /// What another stretch would cost, cents an octave away from A4
    #[arg(long, value_name = "CENTS", allow_hyphen_values = true, value_parser = stretch)]
    stretch: Option<Cents>,
    /// One JSON object a line (docs/json.md)
    #[arg(long)]
    json: bool,
}

impl Arguments {
    /// Two passes of the job in `folder`, the later one judged, as text.
    pub(crate) fn compared(folder: &Path, earlier: &str, later: &str) -> Self {
        let compare = Some(vec![earlier.to_owned(), later.to_owned()]);
        Self { folder: folder.to_owned(), pass: None, compare, json: false, ..Self::default() }
    }
}

pub(crate) fn run(arguments: Arguments) -> Result<Ended, Failure> {
    let job = Job::open(&arguments.folder)?;
    let told = arguments.evaluate(&job)?;
    if arguments.json {
        json::print(&job, &told, &arguments.goals(&job))?;
    } else {
        text::print(&job, &told, &arguments.goals(&job))?;
    }
    // What could be judged has been judged; a take that cannot be read is still something that could not be done.
    Ok(if told.has_unreadable() { Ended::CouldNot } else { Ended::Done })
}

impl Arguments {
    /// The goals that were asked for.
    fn goals(&self, job: &Job) -> Vec<Goal> {
        let plan = Goal::of(job.instrument());
        let other = Goal {
            temperament: self.temperament.unwrap_or(plan.temperament),
            stretch: self.stretch.unwrap_or(plan.stretch),
            ..plan
        };
        let at = |reference: &Hz| Goal { reference: *reference, ..other };
        let mut goals: Vec<Goal> = self.pitch.iter().map(at).collect();
        if goals.is_empty() && other != plan {
            goals.push(other);
        }
        goals
    }

    fn evaluate(&self, job: &Job) -> Result<Evaluation, Failure> {
        let named = self.pass.as_deref().map(|name| job.pass(name)).transpose()?.map(|facts| facts.pass);
        let alone = |name: &str| pass::evaluate(job, &PassChoice::alone(name), Detail::Findings);
        let Some([earlier, later]) = self.compare.as_deref() else {
            return Ok(alone(&named.map_or_else(|| newest_pass(job), Ok)?)?);
        };
        let two = PassChoice::of_two(&job.pass(earlier)?.pass, &job.pass(later)?.pass);
        let told = pass::evaluate(job, &two, Detail::Findings)?;
        match named.filter(|named| Some(named) != two.later.as_ref()) {
            None => Ok(told),
            // Another pass than the later one is judged, and the comparison stands beside it.
            Some(named) => {
                let mut judged = alone(&named)?;
                judged.comparison = told.comparison;
                Ok(judged)
            }
        }
    }
}

fn newest_pass(job: &Job) -> Result<String, Failure> {
    job.passes().last().map(|facts| facts.pass.clone()).ok_or_else(|| {
        Failure::could_not(
            format!("the job `{}` has no pass yet, so there is nothing to judge", job.folder().display()),
            format!("add sound files: `platenote add {} FILE… --pass before`", output::quoted(job.folder())),
        )
    })
}

fn temperament(text: &str) -> Result<Temperament, String> {
    const RIGHT: &str = "give `equal`, or 12 offsets in cents from -100 to 100, C first";
    if text == "equal" {
        return Ok(Temperament::EQUAL);
    }
    let words = text.split([' ', ';']).filter(|word| !word.is_empty());
    let offsets: Option<Vec<f64>> = words
        .map(|word| crate::cli::number::number(word).ok().filter(|cents| cents.abs() <= MOST_OFFSET))
        .collect();
    let table = offsets.and_then(|offsets| <[f64; 12]>::try_from(offsets).ok());
    table.map(Temperament).ok_or_else(|| RIGHT.to_owned())
}

fn stretch(text: &str) -> Result<Cents, String> {
    let cents = crate::cli::number::number(text).ok().filter(|cents| cents.abs() <= MOST_OFFSET);
    cents.and_then(Cents::new).ok_or_else(|| "give cents an octave, from -100 to 100".to_owned())
}
