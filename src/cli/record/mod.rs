//! `record JOB --pass NAME`: takes from a microphone, reed after reed, hands on the bellows.

#[cfg(feature = "mic")]
mod front;
#[cfg(feature = "mic")]
mod keys;
#[cfg(feature = "mic")]
mod lines;
#[cfg(feature = "mic")]
mod run;
#[cfg(feature = "mic")]
mod screen;
#[cfg(feature = "mic")]
mod which;
#[cfg(feature = "mic")]
mod whole;
#[cfg(feature = "mic")]
mod words;

use std::path::PathBuf;

use clap::{Args, ValueEnum};

use super::pass_arguments::PassArguments;

/// Record the reeds of a block one after the other: play each, stop abruptly, go on; no key is needed
#[derive(Args)]
#[command(after_help = "\
On a terminal a screen shows the due reed in large letters, with the keys on its last line. Line by line, with --lines or \
where there is no terminal, type and press Enter at any time:
  again               play the last reed once more; while a note sounds, forget that note
  skip, back          leave the due reed out; go back to the one before
  there, here         a note of another pitch is of the reed it fits, or of the due one after all
  note TEXT           a bench note on the due reed
  temperature 19.5    room temperature of the pass, °C
  stop                end; started again, it goes on where it was
The first letters will do. A note of another pitch that is played twice is kept as the due reed's.")]
pub(crate) struct Arguments {
    /// Folder of the job
    #[arg(value_name = "JOB")]
    folder: PathBuf,
    #[command(flatten)]
    pass: PassArguments,
    /// The input: its name, or enough of it [default: the system's own choice]
    #[arg(long, value_name = "NAME")]
    device: Option<String>,
    /// `plates` (press then draw), `strokes` (a row's press, then its draw), or a list: `B1..B12, A1 draw`
    #[arg(long, value_name = "ORDER", default_value = "plates")]
    order: String,
    /// Begin at this reed and play all from there on, recorded or not: `B4 draw`
    #[arg(long, value_name = "PLACE")]
    from: Option<String>,
    /// Play only these reeds [default: those without a sound take, after the one recorded last]
    #[arg(long, value_enum, value_name = "WHICH")]
    only: Option<Only>,
    /// Line by line instead of a screen
    #[arg(long)]
    lines: bool,
    /// Everything into one long recording, written to disk as it comes and split at the end, as `sweep` does
    #[arg(long, conflicts_with_all = ["from", "only"])]
    whole: bool,
    /// One JSON object a line (docs/json.md)
    #[arg(long)]
    json: bool,
}

#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Only {
    /// Without any take in this pass
    Missing,
    /// Whose take gives no reading, or one with warnings or without a verdict
    Doubtful,
    /// Whose valve shows signs of a leak
    Leaks,
}

#[cfg(feature = "mic")]
pub(crate) use run::run;

#[cfg(not(feature = "mic"))]
pub(crate) fn run(arguments: Arguments) -> Result<super::failure::Ended, super::failure::Failure> {
    let Arguments { folder: _, pass, device: _, order: _, from: _, only: _, lines: _, whole: _, json: _ } =
        arguments;
    pass.checked()?;
    Err(super::failure::Failure::could_not(
        "this program was built without recording",
        "build it with its default features: `cargo build --release`",
    ))
}
