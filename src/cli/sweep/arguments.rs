//! What `sweep` is told.

use std::path::PathBuf;

use clap::Args;

use crate::cli::clock::{self, TypedClock};
use crate::cli::pass_arguments::PassArguments;
use crate::cli::recorded::{self, TypedRecorded};

/// Split one long recording of a block into takes: shows what is placed where, and stores with --accept
#[derive(Args)]
#[command(after_help = "\
Play every reed in order, press then draw, with half a second of quiet between the notes. Without --accept nothing is \
stored: a table and pictures in the job's report folder show what would be. Doubtful places are marked, and --accept leaves \
them out unless --doubtful is said too; write them to a list (--list placing.csv), correct its column `place`, and run the \
same command again: what the list says holds.

To correct notes that are stored: run the command again with a better --order, or with a corrected list (a new name writes \
the list), and --accept. What lay at a wrong place is moved, and both places are listed; one take alone is put right with \
`platenote take`. The recording itself is only read.")]
pub(crate) struct Arguments {
    /// Folder of the job
    #[arg(value_name = "JOB")]
    pub(super) folder: PathBuf,
    /// The long recording: WAV, FLAC, and phone recordings, of any length
    #[arg(value_name = "FILE")]
    pub(super) file: PathBuf,
    #[command(flatten)]
    pub(super) pass: PassArguments,
    /// The order it was played in: `A1..A12 press draw, B press draw together`; parts with commas between, each a plate,
    /// a range or a row, with its strokes in turn or together [default: the likely ones are tried]
    #[arg(long, value_name = "ORDER")]
    pub(super) order: Option<String>,
    /// The block that was played [default: any]
    #[arg(long, value_name = "NAME")]
    pub(super) block: Option<String>,
    /// How far the whole instrument stands from the plan, in cents, or the pitch of one reed in Hz: `-78`, or
    /// `A5 press=98.3` [default: what the job's own takes say, else up to 80 cents are tried]
    #[arg(long, value_name = "CENTS|REED=HZ", allow_hyphen_values = true)]
    pub(super) stands: Option<String>,
    /// The clock it was recorded with: a device that `calibrate` knows, or ppm as `12.5±3`
    #[arg(long, value_name = "DEVICE|PPM", value_parser = clock::parse, allow_hyphen_values = true)]
    pub(super) clock: Option<TypedClock>,
    /// When it was recorded: a day, a time with its offset, or `now`; it counts, not when the takes are stored [default: the
    /// day of `--date`, else the file's own date]
    #[arg(long, value_name = "WHEN", value_parser = recorded::parse)]
    pub(super) recorded: Option<TypedRecorded>,
    /// Store the takes whose places are sure, and move what was stored at another place by mistake
    #[arg(long)]
    pub(super) accept: bool,
    /// A row's sealed pass: film over all its outer valves, or caps over its outer tongues; each note is a sealed play of a
    /// sealing test and is compared with the reed's ordinary takes of the pass
    #[arg(long)]
    pub(super) sealed: bool,
    /// Store those of doubtful places too; the doubt stays with them
    #[arg(long, requires = "accept")]
    pub(super) doubtful: bool,
    /// CSV list of the notes and their places: written where it is not there yet, else read, and what it says holds
    #[arg(long, value_name = "FILE")]
    pub(super) list: Option<PathBuf>,
    /// One JSON object a line (docs/json.md)
    #[arg(long)]
    pub(super) json: bool,
}

#[cfg(feature = "mic")]
impl Arguments {
    /// Show what a long recording holds that has just been made.
    pub(crate) fn of_recording(
        folder: PathBuf,
        file: PathBuf,
        pass: PassArguments,
        order: Option<String>,
        json: bool,
    ) -> Self {
        Self {
            folder,
            file,
            pass,
            order,
            block: None,
            stands: None,
            clock: None,
            recorded: None,
            accept: false,
            sealed: false,
            doubtful: false,
            list: None,
            json,
        }
    }
}
