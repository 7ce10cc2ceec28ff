//! Which passes charts and pages tell of.

use clap::Args;

use super::failure::Failure;
use crate::job::Job;

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
