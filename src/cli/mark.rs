//! `mark JOB PLACE… WHAT`: bench notes, flushed to the disk one by one; taken back by a further line.

use std::path::{Path, PathBuf};

use clap::Args;
use serde_json::json;

use super::failure::{Ended, Failure};
use super::{output, places};
use crate::instrument::Spot;
use crate::job::JobWriter;
use crate::repair::{self, Work};
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
    let happenings = job.happenings();
    for warning in repair::warnings(job.instrument(), job.valve_rule(), &happenings) {
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
    if places.is_empty() { work.to_owned() } else { format!("{}: {work}", places.join(", ")) }
}
