//! Everything that charts and pages tell of one pass, or of two together.

use clap::Args;

use super::close_ups;
use super::failure::Failure;
use super::pass::{self, HeardPass};
use crate::judgement::{self, Comparison, Findings};
use crate::record::Job;
use crate::report::{Earlier, ReedCloseUp, Subject};

/// Which passes are meant.
#[derive(Args)]
pub(crate) struct WhichPasses {
    /// This pass alone [default: the one opened last, together with the one before it]
    #[arg(long, value_name = "NAME", conflicts_with = "compare")]
    pass: Option<String>,
    /// Two passes together
    #[arg(long, num_args = 2, value_names = ["EARLIER", "LATER"])]
    compare: Option<Vec<String>>,
}

/// What was heard and found.
pub(crate) struct Gathered {
    /// The earlier pass first.
    pub(crate) heard: Vec<HeardPass>,
    pub(crate) findings: Vec<Findings>,
    pub(crate) close_ups: Vec<ReedCloseUp>,
    pub(crate) comparison: Option<Comparison>,
}

impl WhichPasses {
    /// The earlier pass, if any, and the later one.
    pub(crate) fn of(&self, job: &Job) -> Result<(Option<String>, String), Failure> {
        if let Some([earlier, later]) = self.compare.as_deref() {
            let (earlier, later) = (job.pass(earlier)?.pass, job.pass(later)?.pass);
            if earlier == later {
                return Err(Failure::bad_usage(
                    format!("`{later}` is named twice, so there is nothing to compare"),
                    format!("name two passes, or one with `--pass {later}`"),
                ));
            }
            return Ok((Some(earlier), later));
        }
        if let Some(name) = &self.pass {
            return Ok((None, job.pass(name)?.pass));
        }
        let mut passes = job.passes();
        let later = passes.pop().ok_or_else(|| {
            Failure::could_not(
                format!("the job `{}` has no pass yet, so there is nothing to show", job.folder().display()),
                format!("add sound files: `platenote add {} FILE… --pass before`", job.folder().display()),
            )
        })?;
        Ok((passes.pop().map(|earlier| earlier.pass), later.pass))
    }
}

impl Gathered {
    /// Listen to the passes and judge them.
    pub(crate) fn from(job: &Job, earlier: Option<&str>, later: &str) -> Result<Self, Failure> {
        let mut heard: Vec<HeardPass> = Vec::new();
        for name in earlier.into_iter().chain([later]) {
            heard.push(pass::listen(job, name)?);
        }
        let instrument = job.instrument();
        let findings: Vec<_> =
            heard.iter().map(|pass| judgement::judge(instrument, &pass.readings)).collect();
        let close_ups = close_ups::of(instrument, &heard, &findings);
        let comparison = match heard.as_slice() {
            [earlier, later] => Some(judgement::compare(instrument, &earlier.readings, &later.readings)),
            _ => None,
        };
        Ok(Self { heard, findings, close_ups, comparison })
    }

    /// What is to be drawn; fails where the plan has no plates.
    pub(crate) fn subject<'a>(&'a self, job: &'a Job) -> Result<Subject<'a>, Failure> {
        let (before, now) = match self.findings.as_slice() {
            [earlier, later] => (Some(earlier), Some(later)),
            [only] => (None, Some(only)),
            _ => (None, None),
        };
        match now.filter(|_| job.instrument().plates().next().is_some()) {
            Some(findings) => Ok(Subject {
                title: job.title(),
                instrument: job.instrument(),
                findings,
                earlier: before.map(|findings| Earlier { findings, comparison: self.comparison.as_ref() }),
                close_ups: &self.close_ups,
            }),
            None => Err(Failure::could_not(
                "the plan has no plates, so there is nothing to draw",
                format!("list the notes of each row in `{}`", job.folder().join("plan.toml").display()),
            )),
        }
    }

    /// Words on the takes.
    pub(crate) fn words(&self) -> impl Iterator<Item = &String> {
        self.heard.iter().flat_map(|pass| &pass.words)
    }
}
