//! `mark JOB PLACE… WHAT`: bench notes, flushed to the disk one by one; taken back by a further line.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use clap::Args;
use jiff::Timestamp;
use serde_json::json;

use super::failure::{Ended, Failure};
use super::{output, places};
use crate::instrument::{ReedPlace, Spot, place_ranges};
use crate::job::JobWriter;
use crate::repair::{self, Warning, Work};
use crate::report::caution_for;

/// Note what was done at a place: cleaned, lifted, valve fitted, waxed, filed, a word, a photo
#[derive(Args)]
#[command(after_help = "\
Places:  A7   A7 outer   A7 press   bass A1-A12   A1..A12   A1 A3 B2 inner   treble M5 T8   row A   all
Work:    lifted, put back, waxed, cleaned, cleaned solvent, rust none|light|heavy,
         valve off [LENGTH] [flat|stained|curled|scrap] [bin N], valve fitted [LENGTH] [bin N|new], valve kept,
         spring fitted, filed tip|root [N strokes] [with TOOL] [by NAME], soldered, tuned, pause, note TEXT, photo FILE
Lengths: 38, 38mm, 3.8cm, 1.5in, 1 1/2 in

A mark is on the disk when the program ends. It is never erased: --undo takes it back by a further line.")]
pub(crate) struct Arguments {
    /// Folder of the job
    #[arg(value_name = "JOB")]
    folder: PathBuf,
    /// Places, then what was done there
    #[arg(value_name = "PLACE… WHAT", required_unless_present = "undo")]
    words: Vec<String>,
    /// Take back mark N, or the newest one that stands
    #[arg(long, value_name = "N", num_args = 0..=1, require_equals = true, conflicts_with = "words")]
    undo: Option<Option<u32>>,
    /// One JSON object a line (docs/json.md)
    #[arg(long)]
    json: bool,
    /// The mark as CSV
    #[arg(long, conflicts_with = "json")]
    csv: bool,
}

pub(crate) fn run(arguments: Arguments) -> Result<Ended, Failure> {
    let mut job = JobWriter::open(&arguments.folder)?;
    output::say_oddities(&job);
    if let Some(n) = arguments.undo {
        let mark = job.undo(n)?;
        let place_names = names(&mark.spots);
        let (n, work) = (mark.n, mark.work.to_string());
        if arguments.json {
            output::json(
                &json!({"format": 1, "kind": "undone", "n": n, "places": place_names, "work": work}),
            )?;
        } else if arguments.csv {
            csv_line(n, &place_names, &work, None, true)?;
        } else {
            output::line(&format!("mark {n} taken back: {}", line(&place_names, &work)))?;
        }
        return Ok(Ended::Done);
    }
    let (spots, rest) = places::split(job.instrument(), &arguments.words)?;
    let (n, work) = match rest.as_slice() {
        [word, file] if word.to_lowercase() == "photo" => {
            let facts = job.store_photo(&spots, Path::new(file))?;
            (facts.n, Work::Photo(facts.file))
        }
        words => {
            let work = Work::parse(words)?;
            work.check_places(job.instrument(), &spots)?;
            (job.mark(&spots, &work)?, work)
        }
    };
    let place_names = names(&spots);
    let file = match &work {
        Work::Photo(file) => Some(file.as_str()),
        _ => None,
    };
    let text = work.to_string();
    if arguments.json {
        let line =
            json!({"format": 1, "kind": "mark", "n": n, "places": place_names, "work": text, "file": file});
        output::json(&line)?;
    } else if arguments.csv {
        csv_line(n, &place_names, &text, file, false)?;
    } else {
        output::line(&format!("mark {n}: {}", line(&place_names, &text)))?;
    }
    let mut warnings = repair::warnings(job.instrument(), job.valve_rule(), &job.happenings());
    warnings.extend(too_early(&job, n, &spots, &work));
    for warning in warnings {
        if warning.n == n {
            output::say(&format!("warning: {}\nnext:  {}", warning.text, warning.next));
            if arguments.json {
                output::json(&json!({
                    "format": 1, "kind": "warning", "n": n, "text": warning.text, "next": warning.next,
                }))?;
            }
        }
    }
    if let Some(caution) = caution_for(&work) {
        output::say(&format!("caution: {caution}"));
    }
    Ok(Ended::Done)
}

/// What was written, with a head; warnings go to stderr.
fn csv_line(n: u32, places: &[String], work: &str, file: Option<&str>, undone: bool) -> Result<(), Failure> {
    output::csv(&["n", "places", "work", "file", "undone"])?;
    let undone = if undone { "yes" } else { "no" };
    output::csv(&[&n.to_string(), &places.join("; "), work, file.unwrap_or_default(), undone])
}

fn names(spots: &[Spot]) -> Vec<String> {
    spots.iter().map(Spot::to_string).collect()
}

fn line(places: &[String], work: &str) -> String {
    if places.is_empty() { work.to_owned() } else { format!("{}: {work}", place_ranges(places)) }
}

/// What this work takes away for good where it comes before the measuring; nothing in a job without any recording.
fn too_early(job: &JobWriter, n: u32, spots: &[Spot], work: &Work) -> Vec<Warning> {
    let is_valve = matches!(work, Work::ValveOff { .. } | Work::ValveFitted { .. });
    let is_tuning = matches!(work, Work::Tuned | Work::Filed(_) | Work::Soldered);
    let passes = job.passes();
    if passes.is_empty() || !(is_valve || is_tuning) {
        return Vec::new();
    }
    let mut newest: BTreeMap<ReedPlace, Timestamp> = BTreeMap::new();
    for (reed, takes) in passes.iter().flat_map(|pass| job.takes(&pass.pass)) {
        let at = takes.iter().map(|take| take.at).max();
        let known = newest.entry(reed).or_insert(Timestamp::MIN);
        *known = (*known).max(at.unwrap_or(Timestamp::MIN));
    }
    let reeds = repair::reeds_of_work(job.instrument(), spots, work);
    let named = |wanted: &dyn Fn(&ReedPlace) -> bool| {
        place_ranges(&reeds.iter().filter(|reed| wanted(reed)).map(ToString::to_string).collect::<Vec<_>>())
    };
    let unheard = named(&|reed| !newest.contains_key(reed));
    // Of a valve that was noted as off and as fitted, the taking off was too early, and is told of once.
    let unheard = if matches!(work, Work::ValveFitted { .. }) { String::new() } else { unheard };
    let unchecked = named(&|reed| {
        let since = newest.get(reed);
        is_tuning && since.is_some_and(|at| job.valve_changed(reed, *at, Timestamp::now()).is_some())
    });
    let lost = if is_valve { "whether the old valve leaked" } else { "how it was found" };
    let told = [
        (
            unheard,
            format!("was not recorded before: {lost} can no longer be found out"),
            "record the others first",
        ),
        (
            unchecked,
            "is tuned before its new valve was heard: two reeds that agree within a cent hide a leak"
                .to_owned(),
            "record it before fine tuning; afterwards only a sealing test (`seal`) tells",
        ),
    ];
    let told = told.into_iter().filter(|(places, ..)| !places.is_empty());
    told.map(|(places, what, next)| Warning { n, text: format!("{places} {what}"), next: next.to_owned() })
        .collect()
}
