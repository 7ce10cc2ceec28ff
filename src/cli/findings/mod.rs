//! `findings JOB`: which valves leak, which reeds to tune, and what changed between two passes.

mod json;
mod text;

use std::path::{Path, PathBuf};

use clap::Args;

use super::failure::{Ended, Failure};
use super::{output, pass};
use crate::job::Job;
use crate::judgement::{self, Comparison, Findings, Missing, PassReadings};

/// Say which valves leak, which reeds are out of tune, and what changed between two passes
#[derive(Args)]
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
    /// One JSON object a line (docs/json.md)
    #[arg(long)]
    json: bool,
}

impl Arguments {
    /// Two passes of the job in `folder`, the later one judged, as text.
    pub(crate) fn compared(folder: &Path, earlier: &str, later: &str) -> Self {
        let compare = Some(vec![earlier.to_owned(), later.to_owned()]);
        Self { folder: folder.to_owned(), pass: None, compare, json: false }
    }
}

/// Everything that is to be told.
struct Told<'a> {
    job: &'a Job,
    findings: Findings,
    readings: &'a PassReadings,
    comparison: Option<Comparison>,
    /// Words on the takes themselves.
    words: Vec<String>,
}

pub(crate) fn run(arguments: Arguments) -> Result<Ended, Failure> {
    let job = Job::open(&arguments.folder)?;
    let compared = match arguments.compare.as_deref() {
        Some([earlier, later]) => Some((earlier.as_str(), later.as_str())),
        _ => None,
    };
    let name = match (&arguments.pass, compared) {
        (Some(name), _) => name.clone(),
        (None, Some((_, later))) => later.to_string(),
        (None, None) => newest_pass(&job)?,
    };
    let mut words: Vec<String> =
        job.odd_lines().iter().map(|odd| format!("diary line {}: {}", odd.line, odd.oddity)).collect();
    let main = pass::listen(&job, &name)?;
    words.extend(main.words);
    let comparison = match compared {
        None => None,
        Some((earlier, later)) => {
            let mut other = |wanted: &str| -> Result<Option<PassReadings>, Failure> {
                if job.pass(wanted)?.pass == main.readings.name {
                    return Ok(None);
                }
                let heard = pass::listen(&job, wanted)?;
                words.extend(heard.words);
                Ok(Some(heard.readings))
            };
            let (earlier, later) = (other(earlier)?, other(later)?);
            let pick = |pass: &'_ Option<PassReadings>| pass.clone().unwrap_or_else(|| main.readings.clone());
            Some(judgement::compare(job.instrument(), &pick(&earlier), &pick(&later)))
        }
    };
    let findings = judgement::judge(job.instrument(), &main.readings);
    let unreadable =
        main.readings.readings.values().any(|reading| matches!(reading, Err(Missing::Unreadable(_))));
    let told = Told { job: &job, findings, readings: &main.readings, comparison, words };
    if arguments.json {
        json::print(&told)?;
    } else {
        text::print(&told)?;
    }
    // What could be judged has been judged; a take that cannot be read is still something that could not be done.
    Ok(if unreadable { Ended::CouldNot } else { Ended::Done })
}

fn newest_pass(job: &Job) -> Result<String, Failure> {
    job.passes().last().map(|facts| facts.pass.clone()).ok_or_else(|| {
        Failure::could_not(
            format!("the job `{}` has no pass yet, so there is nothing to judge", job.folder().display()),
            format!("add sound files: `platenote add {} FILE… --pass before`", job.folder().display()),
        )
    })
}

impl Told<'_> {
    /// All words that concern the results as a whole.
    fn warnings(&self) -> impl Iterator<Item = &String> {
        let compared = self.comparison.iter().flat_map(|comparison| &comparison.warnings);
        self.words.iter().chain(&self.findings.warnings).chain(compared)
    }
}

/// Print what a person should know beside JSON results.
fn say_all(told: &Told) {
    for warning in told.warnings() {
        output::say(warning);
    }
    for reed in &told.findings.reeds {
        if let Err(missing) = &reed.pitch {
            output::say(&format!("{}: {missing}", reed.place));
        }
        for warning in &reed.warnings {
            output::say(&format!("{}: {warning}", reed.place));
        }
    }
}
