//! The editable list of notes and places.

use std::path::Path;

use crate::cli::failure::Failure;
use crate::cli::output::csv_line;
use crate::evaluation::long_recording::{PlacedNote, Proposal};
use crate::instrument::{Instrument, PlaceError, ReedPlace};
use crate::job::{self, Table, TableRow};

const NEEDED: [&str; 3] = ["start_s", "end_s", "place"];
const MORE: [&str; 4] = ["sure", "pitch_hz", "remark", "recording"];
/// A row stands for the note that begins and ends so near, s.
const SAME_S: f64 = 0.02;
/// The order, where the list gives the places.
const AS_LISTED: &str = "as the list says";
/// Around a stretch that only the list names, s.
const BEFORE_S: f64 = 0.7;
const AFTER_S: f64 = 0.8;
/// So much of the hash tells one recording from another.
const HASH: usize = 12;

/// Write the list of all notes.
pub(super) fn write(file: &Path, proposal: &Proposal) -> Result<(), Failure> {
    let columns: Vec<&str> = NEEDED.into_iter().chain(MORE).collect();
    let mut text = columns.join(",") + "\n";
    for row in &proposal.rows {
        let sure = if row.place.is_none() || !row.doubts.is_empty() { "no" } else { "yes" };
        let remarks: Vec<&str> = row.doubts.iter().chain(&row.faults).map(String::as_str).collect();
        text += &csv_line(&[
            format!("{:.3}", row.start_s),
            format!("{:.3}", row.stop_s),
            row.place.as_ref().map_or(String::new(), ToString::to_string),
            sure.into(),
            row.pitch.map_or(String::new(), |pitch| format!("{:.2}", pitch.get())),
            remarks.join("; "),
            hash(proposal).into(),
        ]);
        text.push('\n');
    }
    job::write_whole(file, text.as_bytes())?;
    Ok(())
}

/// Let the list say what belongs where: a note that it does not name is left out, a stretch that is none is cut.
pub(super) fn read(file: &Path, proposal: &mut Proposal, instrument: &Instrument) -> Result<(), Failure> {
    let bytes = std::fs::read(file).map_err(|source| job::Error::Io {
        doing: "read",
        file: file.to_owned(),
        source,
    })?;
    let table = Table::parse(&bytes, file, &NEEDED, &MORE)?;
    let found = std::mem::take(&mut proposal.rows);
    let length_s = proposal.streamed.frames as f64 / f64::from(proposal.streamed.rate_hz.max(1));
    let mut rows: Vec<PlacedNote> = Vec::new();
    for line in table.rows() {
        let at = |what: String, next: &str| {
            Failure::could_not(format!("`{}` line {}: {what}", file.display(), line.line), next)
        };
        let recording = line.get("recording");
        if !recording.is_empty() && recording != hash(proposal) {
            let what =
                format!("it belongs to another recording ({recording}, and this one is {})", hash(proposal));
            return Err(at(what, "give the list that was written for this recording, or a new name"));
        }
        let [start_s, stop_s] = [seconds(&line, "start_s"), seconds(&line, "end_s")];
        let (Some(start_s), Some(stop_s)) = (start_s, stop_s) else {
            let what = "`start_s` and `end_s` must be seconds, such as 12.345".to_owned();
            return Err(at(what, "correct the line, or delete it"));
        };
        if stop_s <= start_s {
            return Err(at(
                format!("it ends at {stop_s} s and begins at {start_s} s"),
                "correct the line, or delete it",
            ));
        }
        if start_s >= length_s {
            return Err(at(
                format!("it begins at {start_s} s, and the recording ends at {length_s:.1} s"),
                "correct the line, or delete it",
            ));
        }
        let place = match line.get("place") {
            "" => None,
            text => Some(
                instrument
                    .reed_place(text)
                    .map_err(|error: PlaceError| at(error.to_string(), error.next().as_ref()))?,
            ),
        };
        let same = found
            .iter()
            .find(|row| (row.start_s - start_s).abs() < SAME_S && (row.stop_s - stop_s).abs() < SAME_S);
        let mut row = same.cloned().unwrap_or_else(|| cut_as_said(start_s, stop_s, proposal, &found));
        row.doubts = if place.is_some() { Vec::new() } else { vec!["the list gives it no place".into()] };
        (row.is_said, row.place) = (true, place);
        rows.push(row);
    }
    rows.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
    proposal.rows = rows;
    // Reeds that were placed and that the list places no more are missing now.
    let mut expected: Vec<ReedPlace> = found.into_iter().filter_map(|row| row.place).collect();
    expected.append(&mut proposal.not_heard);
    proposal.not_heard =
        instrument.reeds().map(|(place, _)| place).filter(|place| expected.contains(place)).collect();
    (proposal.order, proposal.runner_up, proposal.known) = (Some(AS_LISTED.into()), None, None);
    proposal.swaps.clear();
    proposal.rival = None;
    proposal.settle(instrument);
    Ok(())
}

fn seconds(line: &TableRow, column: &str) -> Option<f64> {
    // A spreadsheet may have made a decimal comma of it.
    let value: f64 = line.get(column).replace(',', ".").parse().ok()?;
    (value.is_finite() && value >= 0.0).then_some(value)
}

fn cut_as_said(start_s: f64, stop_s: f64, proposal: &Proposal, found: &[PlacedNote]) -> PlacedNote {
    let rate = f64::from(proposal.streamed.rate_hz);
    let frame = |seconds: f64| ((seconds.max(0.0) * rate) as u64).min(proposal.streamed.frames);
    // The pitch is that of the note it is a part of, when there is one.
    let inside = found.iter().find(|row| row.start_s < stop_s && row.stop_s > start_s);
    PlacedNote {
        from: frame(start_s - BEFORE_S),
        to: frame(stop_s + AFTER_S),
        start_s,
        stop_s,
        pitch: inside.and_then(|row| row.pitch),
        level: inside.and_then(|row| row.level),
        place: None,
        deviation: None,
        doubts: Vec::new(),
        faults: Vec::new(),
        speaks: false,
        is_said: true,
    }
}

fn hash(proposal: &Proposal) -> &str {
    proposal.sha256.get(..HASH).unwrap_or_default()
}
