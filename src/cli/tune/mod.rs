//! `tune JOB PLACE…`: the tuning loop at the bench, looked at from the tongue, hands free.

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
mod view;
#[cfg(feature = "mic")]
mod words;

use std::path::PathBuf;

use clap::Args;

/// Tune reeds at the bench: play, file as advised, play again; no key is needed
#[derive(Args)]
#[command(after_help = "\
Play the due reed and stop; the deviation and how far to go are told at once. A go with the file is noted when the pitch has \
moved the way that was advised. On a terminal a screen shows it, with the keys on its last line. Line by line, with --lines or \
where there is no terminal, type and press Enter at any time:
  tip 3, root 2       so many strokes were made there (0: one light stroke)
  5                   the last go was 5 strokes
  undo                take the last go of this reed back
  skip, back          leave the due reed; go back to the one before
  note TEXT           a bench note on the due reed
  stop                end
Tongues are held and supported as the trade does; the program tells pitches and strokes only.")]
pub(crate) struct Arguments {
    /// Folder of the job
    #[arg(value_name = "JOB")]
    folder: PathBuf,
    /// Reeds or plates: `A7 press`, `A7`, `A1..A12`
    #[arg(value_name = "PLACE", required = true)]
    places: Vec<String>,
    /// Who files: strokes are learnt for each person, over all jobs opened of late
    #[arg(long, value_name = "NAME", default_value = "")]
    by: String,
    /// With what: `file`, `scratcher`; strokes are learnt for each tool
    #[arg(long, value_name = "TOOL", default_value = "file")]
    tool: String,
    /// Tolerance in cents instead of the plan's
    #[arg(long, value_name = "CENTS")]
    tolerance: Option<f64>,
    /// Tune on a bench: two passes of the same state, on the bench and in the instrument, tell what to aim at
    #[arg(long, num_args = 2, value_names = ["BENCH", "INSTRUMENT"])]
    offsets: Option<Vec<String>>,
    /// Keep the plays as takes of this pass [default: their readings only]
    #[arg(long, value_name = "PASS")]
    keep: Option<String>,
    /// The input: its name, or enough of it [default: the system's own choice]
    #[arg(long, value_name = "NAME")]
    device: Option<String>,
    /// Line by line instead of a screen
    #[arg(long)]
    lines: bool,
    /// One JSON object a line (docs/json.md)
    #[arg(long)]
    json: bool,
}

#[cfg(feature = "mic")]
pub(crate) use run::run;

#[cfg(not(feature = "mic"))]
pub(crate) fn run(arguments: Arguments) -> Result<super::failure::Ended, super::failure::Failure> {
    let Arguments {
        folder: _,
        places: _,
        by: _,
        tool: _,
        tolerance: _,
        offsets: _,
        keep: _,
        device: _,
        lines: _,
        json: _,
    } = arguments;
    Err(super::failure::Failure::could_not(
        "this program was built without recording",
        "build it with its default features: `cargo build --release`",
    ))
}
