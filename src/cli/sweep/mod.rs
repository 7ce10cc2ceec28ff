//! `sweep JOB FILE --pass NAME`: one long recording of a whole block, split into notes and placed.

mod draw;
mod hear;
mod keep;
mod list;
mod proposal;
mod show;
mod stands;
mod words;

use std::path::PathBuf;

use clap::Args;

use super::clock::{self, TypedClock};
use super::failure::{Ended, Failure};
use super::output;
use super::pass_arguments::PassArguments;
use crate::alignment::{PlayOrder, likely_orders, said_order};
use crate::instrument::{Block, Instrument};
use crate::job::Job;

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
    folder: PathBuf,
    /// The long recording: WAV, FLAC, and phone recordings, of any length
    #[arg(value_name = "FILE")]
    file: PathBuf,
    #[command(flatten)]
    pass: PassArguments,
    /// The order it was played in: `A1..A12 press draw, B press draw together`; parts with commas between, each a plate,
    /// a range or a row, with its strokes in turn or together [default: the likely ones are tried]
    #[arg(long, value_name = "ORDER")]
    order: Option<String>,
    /// The block that was played [default: any]
    #[arg(long, value_name = "NAME")]
    block: Option<String>,
    /// How far the whole instrument stands from the plan, in cents, or the pitch of one reed in Hz: `-78`, or
    /// `A5 press=98.3` [default: what the job's own takes say, else up to 80 cents are tried]
    #[arg(long, value_name = "CENTS|REED=HZ", allow_hyphen_values = true)]
    stands: Option<String>,
    /// The clock it was recorded with: a device that `calibrate` knows, or ppm as `12.5±3`
    #[arg(long, value_name = "DEVICE|PPM", value_parser = clock::parse, allow_hyphen_values = true)]
    clock: Option<TypedClock>,
    /// Store the takes whose places are sure, and move what was stored at another place by mistake
    #[arg(long)]
    accept: bool,
    /// A row's sealed pass: film over all its outer valves, or caps over its outer tongues; each note is a sealed play of a
    /// sealing test and is compared with the reed's ordinary takes of the pass
    #[arg(long)]
    sealed: bool,
    /// Store those of doubtful places too; the doubt stays with them
    #[arg(long, requires = "accept")]
    doubtful: bool,
    /// CSV list of the notes and their places: written where it is not there yet, else read, and what it says holds
    #[arg(long, value_name = "FILE")]
    list: Option<PathBuf>,
    /// One JSON object a line (docs/json.md)
    #[arg(long)]
    json: bool,
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
            accept: false,
            sealed: false,
            doubtful: false,
            list: None,
            json,
        }
    }
}

pub(crate) fn run(arguments: Arguments) -> Result<Ended, Failure> {
    let job = Job::open(&arguments.folder)?;
    output::say_odd_lines(&job);
    let change = arguments.pass.checked()?;
    let orders = orders(&arguments, job.instrument())?;
    // Checked before an hour of sound is listened to.
    arguments.stands.as_deref().map(|text| stands::typed(text, job.instrument())).transpose()?;
    output::say(&format!("listening to `{}`", arguments.file.display()));
    let mut heard = hear::hear(&arguments.file)?;
    heard.lost = job.remarks_on(&arguments.file);
    heard.streamed.remarks.extend(heard.lost.iter().map(|(_, remark)| remark.clone()));
    for remark in &heard.streamed.remarks {
        output::say(&format!("note: {remark}"));
    }
    let known = stands::known(arguments.stands.as_deref(), &job, &arguments.pass.name, &heard.sha256)?;
    let mut proposal = proposal::propose(job.instrument(), &orders, heard, known);
    if let Some(file) = &arguments.list {
        if file.exists() {
            list::read(file, &mut proposal, job.instrument())?;
            output::say(&format!("the places are those of `{}`", file.display()));
        } else {
            list::write(file, &proposal)?;
            output::say(&format!("`{}` is written: correct its places and run this again", file.display()));
        }
    }
    let pictures = draw::draw(&job, &arguments.pass.name, &proposal)?;
    let mut ended = Ended::Done;
    let kept = if arguments.accept {
        let (kept, how) = keep::keep(&arguments, &change, &proposal)?;
        ended = how;
        Some(kept)
    } else {
        None
    };
    show::show(&arguments, &proposal, kept.as_deref(), &pictures)?;
    Ok(ended)
}

fn orders(arguments: &Arguments, instrument: &Instrument) -> Result<Vec<PlayOrder>, Failure> {
    if let Some(text) = &arguments.order {
        let said = said_order(text, instrument).map_err(|error| {
            Failure::bad_usage(error.to_string(), "write it like `A1..A12 press draw, B press draw`")
        })?;
        return Ok(vec![said]);
    }
    let block = arguments.block.as_deref().map(|name| find_block(instrument, name)).transpose()?;
    Ok(likely_orders(instrument, block))
}

fn find_block<'a>(instrument: &'a Instrument, name: &str) -> Result<&'a Block, Failure> {
    instrument.blocks.iter().find(|block| block.name.to_lowercase() == name.to_lowercase()).ok_or_else(|| {
        let known: Vec<String> = instrument.blocks.iter().map(|block| format!("`{}`", block.name)).collect();
        Failure::bad_usage(format!("there is no block `{name}`"), format!("give one of {}", known.join(", ")))
    })
}
