//! Listen to a pass, with a bar on the terminal that says how far it has come.

use std::io::IsTerminal;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use crate::evaluation::{self, Error, HeardPass};
use crate::job::Job;

/// Listen to every reed of the pass that has a take; of several takes the newest good one speaks.
pub(crate) fn listen(job: &Job, pass: &str) -> Result<HeardPass, Error> {
    let bar = progress_bar(job.instrument().plates().count(), pass);
    let heard = evaluation::listen(job, pass, &|| bar.inc(1));
    bar.finish_and_clear();
    heard
}

/// Shown on a terminal only, so that nothing of it reaches a file or a pipe.
fn progress_bar(plates: usize, pass: &str) -> ProgressBar {
    let target = if std::io::stderr().is_terminal() {
        ProgressDrawTarget::stderr()
    } else {
        ProgressDrawTarget::hidden()
    };
    let bar = ProgressBar::with_draw_target(Some(plates as u64), target);
    if let Ok(style) = ProgressStyle::with_template("{msg} {wide_bar} {pos} of {len} plates") {
        bar.set_style(style);
    }
    bar.set_message(format!("listening to `{pass}`"));
    bar
}
