//! Which passes charts and pages tell of.

use clap::Args;

use super::failure::Failure;
use crate::evaluation::PassChoice;
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
    /// The passes that are shown; there is a later one.
    pub(crate) fn of(&self, job: &Job) -> Result<PassChoice, Failure> {
        if let Some([earlier, later]) = self.compare.as_deref() {
            let (earlier, later) = (job.pass(earlier)?.pass, job.pass(later)?.pass);
            if earlier == later {
                return Err(Failure::bad_usage(
                    format!("`{later}` is named twice, so there is nothing to compare"),
                    format!("name two passes, or one with `--pass {later}`"),
                ));
            }
            return Ok(PassChoice::of_two(&earlier, &later));
        }
        if let Some(name) = &self.pass {
            return Ok(PassChoice::alone(&job.pass(name)?.pass));
        }
        let choice = PassChoice::with_the_one_before(job, None)?;
        if choice.later.is_none() {
            return Err(Failure::could_not(
                format!("the job `{}` has no pass yet, so there is nothing to show", job.folder().display()),
                format!(
                    "add sound files: `platenote add {} FILE… --pass before`",
                    super::output::quoted(job.folder())
                ),
            ));
        }
        Ok(choice)
    }
}
