//! `read FILE…`: one reading per sound file, no job needed.

use std::path::{Path, PathBuf};

use clap::Args;
use rayon::prelude::*;

use super::failure::{Ended, Failure};
use super::output;
use super::read_table::{self, FileReading, Silence};
use crate::analysis::{self, Expectation, OppositeExpectation};
use crate::audio;
use crate::instrument::{Note, Temperament, Tuning};
use crate::job::{Error as RecordError, FileLine, Table};
use crate::units::{Cents, Hz};

/// The opposite reed's pitch is taken as known within this, unless said otherwise.
const WITHIN_CENTS: f64 = 1.0;
/// Files heard before their results are printed; a reading is small, so only the takes in hand weigh.
const AT_A_TIME: usize = 16;

/// Read sound files: pitch, opposite reed, breath and start of each, no job needed
#[derive(Args)]
pub(crate) struct Arguments {
    /// Sound files, each one sounding of one reed
    #[arg(value_name = "FILE", required_unless_present = "list")]
    files: Vec<PathBuf>,
    /// Expected note, as A4 or F#2
    #[arg(long, value_name = "NOTE", value_parser = note)]
    note: Option<Note>,
    /// The opposite reed's own pitch, as its own take gave it; `none` where the plate has one reed
    #[arg(long, value_name = "NOTE|HZ", value_parser = opposite)]
    opposite: Option<OppositePitch>,
    /// How sure the opposite reed's pitch is [default: 1]
    #[arg(long, value_name = "CENTS", value_parser = above_zero)]
    within: Option<f64>,
    /// Pitch of A4 to measure against
    #[arg(long, value_name = "HZ", default_value = "440", value_parser = reference)]
    reference: Hz,
    /// CSV list of the files: file,note,opposite,within_cents; empty cells allowed
    #[arg(long, value_name = "CSV", conflicts_with_all = ["files", "note", "opposite", "within"])]
    list: Option<PathBuf>,
    /// One JSON object a line (docs/json.md)
    #[arg(long)]
    json: bool,
}

#[derive(Debug, Clone, Copy)]
enum OppositePitch {
    Note(Note),
    Pitch(Hz),
    OneReed,
}

/// A file, and what is known of it beforehand.
struct Wanted {
    /// As the person named it.
    name: String,
    path: PathBuf,
    note: Option<Note>,
    expectation: Expectation,
}

pub(crate) fn run(arguments: Arguments) -> Result<Ended, Failure> {
    let tuning = Tuning {
        reference: arguments.reference,
        temperament: Temperament::EQUAL,
        stretch: crate::units::Cents::ZERO,
    };
    let wanted = match &arguments.list {
        Some(list) => from_list(list, &tuning)?,
        None => {
            let within = arguments.within.unwrap_or(WITHIN_CENTS);
            let of = |path: &PathBuf| Wanted {
                name: path.display().to_string(),
                path: path.clone(),
                note: arguments.note,
                expectation: expectation(arguments.note, arguments.opposite, within, &tuning),
            };
            arguments.files.iter().map(of).collect()
        }
    };
    let (mut all_read, mut table) = (true, read_table::ReadTable::new());
    for some in wanted.chunks(AT_A_TIME) {
        // In the order given, whichever is finished first.
        let heard: Vec<FileReading> = some.par_iter().map(|wanted| hear(wanted, &tuning)).collect();
        for one in heard {
            all_read &= one.outcome.is_ok();
            if arguments.json {
                output::json(&line(&one))?;
            } else {
                table.add(&one);
            }
        }
    }
    if !arguments.json {
        table.print()?;
    }
    Ok(if all_read { Ended::Done } else { Ended::CouldNot })
}

fn hear(wanted: &Wanted, tuning: &Tuning) -> FileReading {
    let outcome = audio::read_file(&wanted.path).map_err(Silence::Unreadable).and_then(|take| {
        let reading = analysis::read(&take, &wanted.expectation).map_err(Silence::Refused)?;
        let against = match wanted.note {
            Some(note) => Some((note, reading.f0.cents_above(tuning.target(note)))),
            None => tuning.nearest(reading.f0),
        };
        Ok((reading, against))
    });
    FileReading { name: wanted.name.clone(), outcome }
}

fn line(heard: &FileReading) -> FileLine {
    match &heard.outcome {
        Ok((reading, against)) => FileLine::read(&heard.name, reading, *against),
        Err(silence) => match silence {
            Silence::Refused(refusal) => FileLine::refused(&heard.name, refusal, silence.next()),
            Silence::Unreadable(error) => FileLine::unreadable(&heard.name, &error.to_string(), error.next()),
        },
    }
}

fn expectation(
    note: Option<Note>,
    opposite: Option<OppositePitch>,
    within: f64,
    tuning: &Tuning,
) -> Expectation {
    let within = Cents::new(within).unwrap_or(Cents::ZERO);
    let known = |pitch| OppositeExpectation::Known { pitch, within };
    Expectation {
        pitch: note.map(|note| tuning.target(note)),
        opposite: match opposite {
            None => OppositeExpectation::Unknown,
            Some(OppositePitch::OneReed) => OppositeExpectation::None,
            Some(OppositePitch::Note(note)) => known(tuning.target(note)),
            Some(OppositePitch::Pitch(pitch)) => known(pitch),
        },
        ..Expectation::default()
    }
}

/// The files of a list, relative to the list's folder.
fn from_list(list: &Path, tuning: &Tuning) -> Result<Vec<Wanted>, Failure> {
    let bytes = std::fs::read(list).map_err(|source| RecordError::Io {
        doing: "read",
        file: list.to_owned(),
        source,
    })?;
    let table = Table::parse(&bytes, list, &["file"], &["note", "opposite", "within_cents"])?;
    let folder = list.parent().unwrap_or(Path::new(""));
    let mut wanted = Vec::new();
    for row in table.rows() {
        let cell = |column: &str| Some(row.get(column)).filter(|cell| !cell.is_empty());
        let wrong = |what: String| {
            let place = format!("`{}`, line {}: {what}", list.display(), row.line);
            Failure::could_not(place, "correct the list and read it again; nothing was read")
        };
        let name = cell("file").ok_or_else(|| wrong("the cell `file` is empty".into()))?;
        let note = cell("note").map(note).transpose().map_err(wrong)?;
        let opposite = cell("opposite").map(opposite).transpose().map_err(wrong)?;
        let within = cell("within_cents").map(above_zero).transpose().map_err(wrong)?;
        wanted.push(Wanted {
            name: name.into(),
            path: folder.join(name),
            note,
            expectation: expectation(note, opposite, within.unwrap_or(WITHIN_CENTS), tuning),
        });
    }
    Ok(wanted)
}

fn note(text: &str) -> Result<Note, String> {
    Note::typed(text)
}

fn opposite(text: &str) -> Result<OppositePitch, String> {
    if text.eq_ignore_ascii_case("none") {
        return Ok(OppositePitch::OneReed);
    }
    match super::number::number(text) {
        Ok(number) => Hz::new(number)
            .map(OppositePitch::Pitch)
            .ok_or_else(|| format!("`{text}` Hz is no pitch; write a number above 0")),
        Err(_) => note(text).map(OppositePitch::Note).map_err(|_| {
            format!("`{text}` is neither a note nor a pitch; write a note as F#2, a number of Hz, or `none`")
        }),
    }
}

fn above_zero(text: &str) -> Result<f64, String> {
    let number = super::number::number(text).ok().filter(|number| *number > 0.0);
    number.ok_or_else(|| format!("`{text}` is not a number of cents above 0"))
}

pub(crate) fn reference(text: &str) -> Result<Hz, String> {
    let number = super::number::number(text).ok().filter(|number| (400.0..=470.0).contains(number));
    number.and_then(Hz::new).ok_or_else(|| format!("`{text}` is not a pitch of A4 from 400 to 470 Hz"))
}
