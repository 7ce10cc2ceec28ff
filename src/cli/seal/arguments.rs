//! What `seal` is told.

use std::path::PathBuf;

use clap::{Args, ValueEnum};

use crate::cli::clock;
use crate::cli::pass_arguments::PassArguments;

/// Test one valve: play its reed open and with the path behind the valve closed from outside, in turn
#[derive(Args)]
#[command(after_help = "\
The order is open, sealed, open, then sealed and open again until it is settled, within two minutes, the microphone and \
yourself untouched. By a water gauge or weighted bellows: plays of 3 s at about 450 Pa. By hand: swells from soft to loud to \
soft over 5 to 8 s. Type `again` and Enter to withdraw the newest play, `stop` to end; every play so far is kept.
The bench itself: `--good` keeps what sealing changes on a plate known to be good, `--strip 0.1` a trial with a strip of \
0.1 mm under a good valve (docs/known-leak.md).")]
pub(crate) struct Arguments {
    /// Folder of the job
    #[arg(value_name = "JOB")]
    pub(super) folder: PathBuf,
    /// The valve or the reed that tests it: `bass B3 inner`, `B3 draw`
    // Another name than `--place`, which says where the pass is measured.
    #[arg(value_name = "PLACE", required = true)]
    pub(super) valve: Vec<String>,
    #[command(flatten)]
    pub(super) pass: PassArguments,
    /// How it is blown [default: told from the sound]
    #[arg(long, value_enum, value_name = "HOW")]
    pub(super) blown: Option<Blown>,
    /// Sound files instead of the microphone, in order: open, sealed, open, …
    #[arg(long, value_name = "FILE", num_args = 1..)]
    pub(super) files: Vec<PathBuf>,
    /// The input: its name, or enough of it [default: the system's own choice]
    #[arg(long, value_name = "NAME", conflicts_with = "files")]
    pub(super) device: Option<String>,
    /// Clock of the device that recorded the files: its name, or ppm as `12.5±3`
    #[arg(long, value_name = "DEVICE|PPM", value_parser = clock::parse, allow_hyphen_values = true, requires = "files")]
    pub(super) clock: Option<clock::TypedClock>,
    /// The plate is known to be good: keep what sealing changes on it with the bench
    #[arg(long, conflicts_with = "strip")]
    pub(super) good: bool,
    /// A trial: thickness of the strip under the valve, which is a good one otherwise
    #[arg(long, value_name = "MM")]
    pub(super) strip: Option<f64>,
    /// For the trial: what the opposite tongue leaves open at rest [default: by its pitch]
    #[arg(long, value_name = "MM2", requires = "strip")]
    pub(super) opening: Option<f64>,
    /// One JSON object a line (docs/json.md)
    #[arg(long)]
    pub(super) json: bool,
}

#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(super) enum Blown {
    /// Evenly, by a gauge or weighted bellows
    Held,
    /// Soft, loud, soft, by hand
    Swell,
}
