//! `sweep JOB FILE --pass NAME`: one long recording of a whole block, split into notes and placed.

mod arguments;
mod draw;
mod keep;
mod list;
mod show;
mod stands;
mod words;

use super::failure::{Ended, Failure};
use super::output;
use crate::alignment::{PlayOrder, likely_orders, said_order};
use crate::evaluation::long_recording;
use crate::instrument::{Block, Instrument};
use crate::job::Job;

pub(crate) use arguments::Arguments;

pub(crate) fn run(arguments: Arguments) -> Result<Ended, Failure> {
    let job = Job::open(&arguments.folder)?;
    output::say_odd_lines(&job);
    let change = arguments.pass.checked()?;
    let orders = orders(&arguments, job.instrument())?;
    // Checked before an hour of sound is listened to.
    let said = arguments.stands.as_deref().map(|text| stands::typed(text, job.instrument())).transpose()?;
    output::say(&format!("listening to `{}`", arguments.file.display()));
    let mut heard = long_recording::scan(&arguments.file)?;
    heard.lost = job.remarks_on(&arguments.file);
    heard.streamed.remarks.extend(heard.lost.iter().map(|(_, remark)| remark.clone()));
    for remark in &heard.streamed.remarks {
        output::say(&format!("note: {remark}"));
    }
    let known = long_recording::known_offset(said, &job, &arguments.pass.name, &heard.sha256);
    let mut proposal = long_recording::propose(job.instrument(), &orders, heard, known);
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
