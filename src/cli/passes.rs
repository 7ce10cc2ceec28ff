//! `pass JOB NAME`: the passes of a job, and a pass put right: renamed, merged, withdrawn, its facts amended.

use std::path::PathBuf;

use clap::Args;
use serde_json::json;

use super::clock::{self, TypedClock};
use super::failure::{Ended, Failure};
use super::number::number;
use super::output;
use super::pass_arguments::{PlaceName, day, near_pass, room_temperature};
use super::take::{correction_json, tell, tell_undone};
use crate::job::{Job, JobWriter, PassAmendment, PassFacts};

/// List the passes, or put one right: rename, merge, withdraw it, or amend its temperature, day, place and clock
#[derive(Args)]
#[command(after_help = "\
Nothing is rubbed out: takes stay where they are, the diary gets one more line, and --undo takes that back; --changes \
lists all corrections with their numbers.")]
pub(crate) struct Arguments {
    /// Folder of the job
    #[arg(value_name = "JOB")]
    folder: PathBuf,
    /// The pass [default: all are listed]
    #[arg(value_name = "NAME")]
    name: Option<String>,
    /// Call it so
    #[arg(long, value_name = "NEW", conflicts_with_all = ["into", "withdraw"])]
    rename: Option<String>,
    /// Give all its takes to this pass
    #[arg(long, value_name = "OTHER", conflicts_with = "withdraw")]
    into: Option<String>,
    /// It does not count, nor do its takes
    #[arg(long)]
    withdraw: bool,
    /// Room temperature it had, °C, or `unknown`
    #[arg(long, value_name = "CELSIUS", allow_hyphen_values = true)]
    temperature: Option<String>,
    /// Day of the pass
    #[arg(long, value_name = "YYYY-MM-DD")]
    date: Option<String>,
    /// Where the block was measured
    #[arg(long = "place", value_enum, value_name = "WHERE")]
    place: Option<PlaceName>,
    /// Clock that recorded all its takes: ppm as `12.5±3`, the name of a device, or `unknown`
    #[arg(long, value_name = "DEVICE|PPM", allow_hyphen_values = true)]
    clock: Option<String>,
    /// Sample rate of the device whose clock is named, Hz
    #[arg(long, value_name = "HZ", default_value_t = 48_000)]
    clock_rate: u32,
    /// Why, in a few words; kept with --withdraw
    #[arg(long, value_name = "TEXT", default_value = "")]
    why: String,
    /// Take a new name even where it is one letter from another pass
    #[arg(long)]
    new_pass: bool,
    /// List the corrections of takes and passes with their numbers
    #[arg(long, conflicts_with = "name")]
    changes: bool,
    /// Take back correction N, or the newest of a pass that stands
    #[arg(long, value_name = "N", num_args = 0..=1, require_equals = true, conflicts_with_all = ["name", "changes"])]
    undo: Option<Option<u32>>,
    /// One JSON object a line (docs/json.md)
    #[arg(long)]
    json: bool,
}

pub(crate) fn run(arguments: Arguments) -> Result<Ended, Failure> {
    let amendment = amendment(&arguments)?;
    let is_amended = amendment != PassAmendment::default();
    let is_change =
        arguments.rename.is_some() || arguments.into.is_some() || arguments.withdraw || is_amended;
    if let Some(n) = arguments.undo {
        let mut job = JobWriter::open(&arguments.folder)?;
        output::say_oddities(&job);
        tell_undone(&job.undo_correction(n, false)?, arguments.json)?;
        return Ok(Ended::Done);
    }
    if !is_change {
        let job = Job::open(&arguments.folder)?;
        output::say_odd_lines(&job);
        list(&job, &arguments)?;
        return Ok(Ended::Done);
    }
    let Some(name) = &arguments.name else {
        return Err(Failure::bad_usage("which pass?", "name it after the job's folder"));
    };
    let mut job = JobWriter::open(&arguments.folder)?;
    output::say_oddities(&job);
    let mut pass = job.pass(name)?.pass;
    if let Some(new) = &arguments.rename {
        near_pass(&job, new, Some(&pass), arguments.new_pass)?;
        let n = job.rename_pass(&pass, new)?;
        tell(&job, n, arguments.json)?;
        pass.clone_from(new);
    }
    if is_amended {
        let n = job.amend_pass(&pass, &amendment)?;
        tell(&job, n, arguments.json)?;
    }
    if let Some(into) = &arguments.into {
        let n = job.merge_pass(&pass, into)?;
        tell(&job, n, arguments.json)?;
    }
    if arguments.withdraw {
        let n = job.withdraw_pass(&pass, &arguments.why)?;
        tell(&job, n, arguments.json)?;
    }
    Ok(Ended::Done)
}

fn amendment(arguments: &Arguments) -> Result<PassAmendment, Failure> {
    let is_unknown = |text: &str| text.trim().eq_ignore_ascii_case("unknown");
    let temperature_c = match arguments.temperature.as_deref() {
        None => None,
        Some(text) if is_unknown(text) => Some(None),
        Some(text) => {
            let celsius =
                number(text).map_err(|wrong| Failure::bad_usage(wrong, "give degrees Celsius, as 19.5"))?;
            Some(Some(room_temperature(celsius)?))
        }
    };
    let clock = match arguments.clock.as_deref() {
        None => None,
        Some(text) if is_unknown(text) => Some(None),
        Some(text) => {
            let typed: TypedClock = clock::parse(text).map_err(|wrong| {
                Failure::bad_usage(wrong, "give ppm as `12.5±3`, or the name of a device")
            })?;
            Some(Some(typed.at(arguments.clock_rate)?))
        }
    };
    Ok(PassAmendment {
        place: arguments.place.map(PlaceName::measured_in),
        temperature_c,
        date: day(arguments.date.as_deref())?,
        clock,
    })
}

fn list(job: &Job, arguments: &Arguments) -> Result<(), Failure> {
    if arguments.changes {
        for correction in job.corrections() {
            if arguments.json {
                output::json(&correction_json(&correction))?;
            } else {
                let state = if correction.undone { ", taken back" } else { "" };
                output::line(&format!("{}: {}{state}", correction.n, correction.words))?;
            }
        }
        return Ok(());
    }
    let passes = match &arguments.name {
        Some(name) => vec![job.pass(name)?],
        None => job.passes(),
    };
    for facts in &passes {
        let takes: usize = job.takes(&facts.pass).iter().map(|(_, takes)| takes.len()).sum();
        let PassFacts { pass, place, temperature_c, date, .. } = facts;
        if arguments.json {
            output::json(&json!({
                "format": 1, "kind": "pass", "pass": pass, "place": place.name(), "temperature_c": temperature_c,
                "date": date, "takes": takes,
            }))?;
        } else {
            let warmth = temperature_c.map_or(String::new(), |celsius| format!(", {celsius} °C"));
            output::line(&format!("{pass}: {date}, measured in: {}{warmth}, takes: {takes}", place.name()))?;
        }
    }
    Ok(())
}
