//! `take JOB TAKE`: the takes of a job, and a take put right: withdrawn, or given to another reed, stroke or pass.

use std::path::PathBuf;

use clap::Args;
use serde_json::json;

use super::failure::{Ended, Failure};
use super::output;
use crate::job::{Correction, Job, JobWriter, TakeEntry};

/// List the takes, or put one right: withdraw it, or give it to another reed, stroke or pass
#[derive(Args)]
#[command(after_help = "\
A take is named by its stored file (takes/before/bass-A7-press-1.wav) or by its reed (A7 press); of several takes of a \
reed the newest is meant, or the one --number names. Without --withdraw, --to, --to-pass and --with the takes \
are listed.

Nothing is rubbed out: the file stays where it is, the diary gets one more line, and --undo takes that back.")]
pub(crate) struct Arguments {
    /// Folder of the job
    #[arg(value_name = "JOB")]
    folder: PathBuf,
    /// A stored file, or a reed such as `A7 press` [default: all takes]
    #[arg(value_name = "TAKE")]
    words: Vec<String>,
    /// Pass the take is in [default: any]
    #[arg(long, value_name = "NAME")]
    pass: Option<String>,
    /// Which take of the reed [default: the newest]
    #[arg(long, value_name = "N")]
    number: Option<u32>,
    /// It does not count
    #[arg(long, conflicts_with_all = ["to", "to_pass"])]
    withdraw: bool,
    /// It is of this reed: `A8 press`, or the other stroke
    #[arg(long, value_name = "REED")]
    to: Option<String>,
    /// It belongs to this pass
    #[arg(long, value_name = "NAME")]
    to_pass: Option<String>,
    /// Reeds of these rows sound along on purpose (`B`, `B+C`; `-` for none): only the beats are told of it
    #[arg(long, value_name = "ROW", allow_hyphen_values = true, conflicts_with_all = ["withdraw", "to", "to_pass"])]
    with: Option<String>,
    /// Why, in a few words
    #[arg(long, value_name = "TEXT", default_value = "")]
    why: String,
    /// Take back correction N, or the newest of a take that stands
    #[arg(long, value_name = "N", num_args = 0..=1, require_equals = true, conflicts_with_all = ["words", "withdraw", "to", "to_pass", "with"])]
    undo: Option<Option<u32>>,
    /// One JSON object a line (docs/json.md)
    #[arg(long)]
    json: bool,
}

pub(crate) fn run(arguments: Arguments) -> Result<Ended, Failure> {
    let is_change = arguments.withdraw
        || arguments.to.is_some()
        || arguments.to_pass.is_some()
        || arguments.with.is_some();
    if let Some(n) = arguments.undo {
        let mut job = JobWriter::open(&arguments.folder)?;
        output::say_oddities(&job);
        let correction = job.undo_correction(n, true)?;
        tell_undone(&correction, arguments.json)?;
        return Ok(Ended::Done);
    }
    if !is_change {
        let job = Job::open(&arguments.folder)?;
        output::say_odd_lines(&job);
        for take in chosen(&job, &arguments)? {
            print(&take, arguments.json)?;
        }
        return Ok(Ended::Done);
    }
    if arguments.words.is_empty() {
        let next = "name it by its stored file or its reed; without --withdraw, --to, --to-pass and --with all are listed";
        return Err(Failure::bad_usage("which take?", next));
    }
    let mut job = JobWriter::open(&arguments.folder)?;
    output::say_oddities(&job);
    let take = the_one(&job, &arguments)?;
    let place = arguments.to.as_deref().map(|place| job.instrument().reed_place(place)).transpose()?;
    let place = place.map(|place| place.to_string());
    let n = if arguments.withdraw {
        job.withdraw_take(&take.file, &arguments.why)?
    } else if let Some(rows) = &arguments.with {
        let rows = if rows == "-" { Vec::new() } else { super::add::rows_of(rows) };
        job.sounds_with(&take.file, &rows)?
    } else {
        job.reassign(&take.file, place.as_deref(), arguments.to_pass.as_deref(), &arguments.why)?
    };
    tell(&job, n, arguments.json)?;
    Ok(Ended::Done)
}

/// Say what correction `n` did.
pub(super) fn tell(job: &Job, n: u32, as_json: bool) -> Result<(), Failure> {
    let Some(correction) = job.corrections().into_iter().rev().find(|correction| correction.n == n) else {
        return Ok(());
    };
    if as_json {
        return output::json(&correction_json(&correction));
    }
    output::line(&format!("correction {n}: {}", correction.words))
}

/// Say which correction was taken back.
pub(super) fn tell_undone(correction: &Correction, as_json: bool) -> Result<(), Failure> {
    if as_json {
        return output::json(&correction_json(&Correction { undone: true, ..correction.clone() }));
    }
    output::line(&format!("correction {} taken back: {}", correction.n, correction.words))
}

/// A correction as `--json` writes it.
pub(super) fn correction_json(correction: &Correction) -> serde_json::Value {
    let Correction { n, at, words, is_of_take, undone } = correction;
    let of = if *is_of_take { "take" } else { "pass" };
    json!({
        "format": 1, "kind": "correction", "n": n, "at": at.to_string(), "of": of, "text": words, "undone": undone,
    })
}

fn print(take: &TakeEntry, as_json: bool) -> Result<(), Failure> {
    let TakeEntry { file, pass, place, n, withdrawn, with } = take;
    if as_json {
        return output::json(&json!({
            "format": 1, "kind": "take", "file": file, "pass": pass, "place": place, "n": n,
            "withdrawn": withdrawn.is_some(), "with": with,
        }));
    }
    let state = if withdrawn.is_some() { ", withdrawn" } else { "" };
    let along = if with.is_empty() { String::new() } else { format!(" with row {}", with.join(", ")) };
    output::line(&format!("{place}{along}, pass `{pass}`, take {n}{state}: {file}"))
}

/// The takes that are meant, oldest first.
fn chosen(job: &Job, arguments: &Arguments) -> Result<Vec<TakeEntry>, Failure> {
    let pass = arguments.pass.as_deref().map(|pass| job.pass(pass)).transpose()?.map(|facts| facts.pass);
    let text = arguments.words.join(" ");
    let all = job.all_takes();
    let is_file = all.iter().any(|take| take.file == text);
    let places: Vec<String> = match text.as_str() {
        "" => Vec::new(),
        _ if is_file => Vec::new(),
        _ => job.instrument().spots(&text)?.iter().map(|spot| spot.to_string().to_lowercase()).collect(),
    };
    let is_meant = |take: &TakeEntry| {
        let place = take.place.to_lowercase();
        let of_place = |wanted: &String| place == *wanted || place.starts_with(&format!("{wanted} "));
        (if is_file { take.file == text } else { text.is_empty() || places.iter().any(of_place) })
            && pass.as_ref().is_none_or(|pass| take.pass == *pass)
            && arguments.number.is_none_or(|n| take.n == n)
    };
    Ok(all.into_iter().filter(is_meant).collect())
}

/// The one take that is meant: the newest that counts; of several passes one must be named.
fn the_one(job: &Job, arguments: &Arguments) -> Result<TakeEntry, Failure> {
    let text = arguments.words.join(" ");
    let meant = chosen(job, arguments)?;
    let mut counting: Vec<TakeEntry> =
        meant.iter().filter(|take| take.withdrawn.is_none()).cloned().collect();
    if counting.is_empty() {
        counting = meant;
    }
    let Some(newest) = counting.last().cloned() else {
        let what = format!("there is no take of `{text}`");
        return Err(Failure::could_not(what, "`platenote take JOB` lists the takes there are"));
    };
    let differing = |of: fn(&TakeEntry) -> &String| {
        let mut all: Vec<&str> = counting.iter().map(|take| of(take).as_str()).collect();
        all.sort_unstable();
        all.dedup();
        (all.len() > 1).then(|| all.join(", "))
    };
    if let Some(places) = differing(|take| &take.place) {
        let what = format!("`{text}` has takes of several reeds: {places}");
        return Err(Failure::bad_usage(what, "name one reed, with its stroke: `A7 press`"));
    }
    if let Some(passes) = differing(|take| &take.pass) {
        let what = format!("`{text}` has takes in several passes: {passes}");
        return Err(Failure::bad_usage(what, "say which with --pass"));
    }
    Ok(newest)
}
