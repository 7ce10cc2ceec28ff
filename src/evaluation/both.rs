//! Everything that charts and pages tell of one pass, or of two together.

use super::pass::HeardPass;
use super::{Error, close_ups};
use crate::job::Job;
use crate::judgement::{self, Comparison, Findings};
use crate::report::{Earlier, ReedCloseUp, Subject};

/// What was heard and found.
pub struct Gathered {
    /// The earlier pass first.
    pub heard: Vec<HeardPass>,
    /// What was found in each, in the same order.
    pub findings: Vec<Findings>,
    /// Reeds to look at closely.
    pub close_ups: Vec<ReedCloseUp>,
    /// What has changed, where there are two.
    pub comparison: Option<Comparison>,
}

impl Gathered {
    /// Listen to the passes and judge them.
    ///
    /// `listen` is [`listen`](super::listen), or a front for it that shows how far it has come.
    pub fn from(
        job: &Job,
        earlier: Option<&str>,
        later: &str,
        listen: &dyn Fn(&Job, &str) -> Result<HeardPass, Error>,
    ) -> Result<Self, Error> {
        let mut heard: Vec<HeardPass> = Vec::new();
        for name in earlier.into_iter().chain([later]) {
            heard.push(listen(job, name)?);
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
    pub fn subject<'a>(&'a self, job: &'a Job) -> Result<Subject<'a>, Error> {
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
            None => Err(Error::NoPlates { plan: job.folder().join("plan.toml") }),
        }
    }

    /// Words on the takes.
    pub fn words(&self) -> impl Iterator<Item = &String> {
        self.heard.iter().flat_map(|pass| &pass.words)
    }
}
