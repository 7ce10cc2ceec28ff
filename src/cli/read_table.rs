//! The readings of `read` as a table for people.

use super::failure::{Failure, print_error};
use super::output::{self, signed};
use crate::analysis::{NotMeasured, Opposite, Reading, Refusal, Tail};
use crate::audio;
use crate::instrument::Note;
use crate::units::Cents;

const HEADER: [&str; 7] = ["file", "note", "cents", "pitch", "opposite reed", "breath", "start"];

/// What a file gave.
pub(crate) struct FileReading {
    /// As the person named it.
    pub name: String,
    pub outcome: Result<(Reading, Option<(Note, Cents)>), Silence>,
}

/// Why a file gave no reading.
pub(crate) enum Silence {
    Refused(Refusal),
    Unreadable(audio::SoundError),
}

/// Rows are kept until the widths are known; files that gave nothing follow as errors.
pub(crate) struct ReadTable {
    rows: Vec<([String; 7], Vec<String>)>,
    silent: Vec<(String, &'static str)>,
}

impl ReadTable {
    pub(crate) fn new() -> Self {
        Self { rows: Vec::new(), silent: Vec::new() }
    }

    pub(crate) fn add(&mut self, heard: &FileReading) {
        match &heard.outcome {
            Ok((reading, against)) => self.rows.push(row(&heard.name, reading, *against)),
            Err(silence @ Silence::Refused(_)) => {
                self.silent.push((format!("take `{}`: {}", heard.name, silence.what()), silence.next()));
            }
            Err(silence) => self.silent.push((silence.what(), silence.next())),
        }
    }

    /// The table to stdout, the files that gave nothing to stderr.
    pub(crate) fn print(&self) -> Result<(), Failure> {
        let mut widths = HEADER.map(|name| name.chars().count());
        for (cells, _) in &self.rows {
            for (width, cell) in widths.iter_mut().zip(cells) {
                *width = (*width).max(cell.chars().count());
            }
        }
        let in_columns = |cells: [&str; 7]| {
            let padded = cells.iter().zip(widths).map(|(cell, width)| format!("{cell:<width$}"));
            padded.collect::<Vec<_>>().join("  ").trim_end().to_owned()
        };
        if !self.rows.is_empty() {
            output::line(&in_columns(HEADER))?;
        }
        for (cells, notes) in &self.rows {
            output::line(&in_columns(cells.each_ref().map(String::as_str)))?;
            for note in notes {
                output::line(&format!("    {note}"))?;
            }
        }
        for (what, next) in &self.silent {
            print_error(what, Some(next));
        }
        Ok(())
    }
}

fn row(name: &str, reading: &Reading, against: Option<(Note, Cents)>) -> ([String; 7], Vec<String>) {
    let (note, cents) = match against {
        Some((note, cents)) => {
            (note.to_string(), format!("{} ± {:.2}", signed(cents.get(), 2), reading.uncertainty.get()))
        }
        None => ("?".into(), format!("± {:.2}", reading.uncertainty.get())),
    };
    let or_dash = |value: Result<String, NotMeasured>| value.unwrap_or_else(|_| "-".into());
    let cells = [
        name.to_owned(),
        note,
        cents,
        format!("{:.3} Hz", reading.f0.get()),
        opposite(&reading.opposite),
        or_dash(reading.breath.map(|breath| breath.to_string())),
        or_dash(reading.onset.map(|onset| format!("{:.0} ms", 1000.0 * onset.get()))),
    ];
    let mut notes = Vec::new();
    if let Tail::Heard { level, offset, .. } = reading.tail {
        notes.push(format!("tail: the opposite reed rings at {level}, {offset} from the sounding one"));
    }
    for reed in &reading.reeds {
        let (pitch, doubt, level) = (reed.f0.get(), reed.uncertainty.get(), reed.level);
        notes.push(format!("sounding reed: {pitch:.3} Hz ± {doubt:.2} cents, {level} re the strongest"));
    }
    notes.extend(reading.warnings.iter().map(|warning| format!("warning: {warning}")));
    (cells, notes)
}

fn opposite(opposite: &Opposite) -> String {
    match opposite {
        Opposite::Sounding { level, offset, uncertainty, .. } => {
            format!("sounds at {level}, {} ± {:.2} cents", signed(offset.get(), 2), uncertainty.get())
        }
        Opposite::Quiet { limit, .. } => format!("not heard, below {limit}"),
        Opposite::Unresolved { needs: Some(needs), reason, .. } => {
            format!("cannot tell: {reason}; {:.1} s would do", needs.get())
        }
        Opposite::Unresolved { needs: None, reason, .. } => format!("cannot tell: {reason}"),
        Opposite::NotLooked => "none on this plate".into(),
    }
}

impl Silence {
    /// What was found.
    pub(crate) fn what(&self) -> String {
        match self {
            Silence::Refused(refusal) => refusal.to_string(),
            Silence::Unreadable(error) => error.to_string(),
        }
    }

    /// What to do next.
    pub(crate) fn next(&self) -> &'static str {
        match self {
            Silence::Refused(Refusal::Empty | Refusal::Silent) => {
                "check that the right input was recorded, and record the take again"
            }
            Silence::Refused(Refusal::Rate { .. }) => "record at 48000, or convert it to that",
            Silence::Refused(Refusal::TooShort { .. }) => "hold the note longer and record the take again",
            Silence::Refused(Refusal::NoTone) => {
                "listen to the take; bring the microphone nearer and record it again"
            }
            Silence::Refused(Refusal::NotSteady) => {
                "play with an even pull and no change of note, and record the take again"
            }
            Silence::Unreadable(error) => error.next(),
        }
    }
}
