//! Evaluate a job, with a bar on the terminal that says how far the listening has come.

use std::io::IsTerminal;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use crate::evaluation::{Detail, Evaluation, EvaluationError, PassChoice};
use crate::job::Job;

/// Everything that is told of the chosen passes.
pub(crate) fn evaluate(
    job: &Job,
    choice: &PassChoice,
    detail: Detail,
) -> Result<Evaluation, EvaluationError> {
    let bar = progress_bar(job.instrument().plates().count());
    let told = Evaluation::of(job, choice, detail, &|| bar.inc(1));
    bar.finish_and_clear();
    told
}

/// Shown on a terminal only, so that nothing of it reaches a file or a pipe.
fn progress_bar(plates: usize) -> ProgressBar {
    let target = if std::io::stderr().is_terminal() {
        ProgressDrawTarget::stderr()
    } else {
        ProgressDrawTarget::hidden()
    };
    let bar = ProgressBar::with_draw_target(Some(plates as u64), target);
    if let Ok(style) = ProgressStyle::with_template("{msg} {wide_bar} {pos} of {len} plates") {
        bar.set_style(style);
    }
    bar.set_message("listening");
    bar
}
