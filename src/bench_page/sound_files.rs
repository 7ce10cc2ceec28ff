//! Sound files brought to the page: kept aside, placed on the plan, shown, and stored once that is accepted.
//!
//! A process of its own listens to them, with the same commands as in a terminal: an hour of sound neither holds the page up
//! nor fills its memory, and what it finds is what the terminal would find.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

use axum::body::Body;
use futures_util::StreamExt;
use serde::Deserialize;
use serde_json::{Value, json};

use super::Error;
use super::app_state::AppState;
use super::staging::plain;
use crate::audio;
use crate::report::csv_line;

/// Of one file, bytes: three hours of two channels at 48 kHz and 24 bits.
pub(super) const MOST_SOUND: u64 = 3 * 1024 * 1024 * 1024;
/// A piece of a file must have come after so long.
const PIECE_TIME: Duration = Duration::from_secs(30);
/// A file that sounds longer holds many notes, s: a take is 40 s at most.
const MANY_NOTES_S: f64 = 45.0;

/// What the page says of a file beside its bytes.
#[derive(Deserialize)]
pub(super) struct NewSound {
    #[serde(default)]
    name: String,
}

/// Files to be placed.
#[derive(Deserialize)]
pub(super) struct PlaceWish {
    files: Vec<u32>,
    pass: String,
    #[serde(default)]
    order: String,
}

/// Notes with their places, as they were corrected.
#[derive(Deserialize)]
pub(super) struct AcceptWish {
    pass: String,
    rows: Vec<AcceptRow>,
}

#[derive(Deserialize)]
struct AcceptRow {
    file: u32,
    /// Of a long recording only.
    start_s: Option<f64>,
    end_s: Option<f64>,
    place: String,
}

/// Take in a file, piece by piece.
pub(super) async fn keep(app: &AppState, wish: &NewSound, body: Body) -> Result<Value, Error> {
    let (id, path) = app.sounds.add(&wish.name)?;
    let kept = write(&path, body).await;
    if kept.is_err() {
        app.sounds.forget(id);
    }
    kept?;
    Ok(json!({"file": id, "name": plain(&wish.name)}))
}

async fn write(path: &Path, body: Body) -> Result<(), Error> {
    let mut file = File::create(path).map_err(Error::Server)?;
    let (mut pieces, mut length) = (body.into_data_stream(), 0_u64);
    loop {
        let piece = tokio::time::timeout(PIECE_TIME, pieces.next()).await;
        let piece = piece.map_err(|_| Error::Word("the sound file did not come in time".into()))?;
        let Some(piece) = piece else { break };
        let piece = piece.map_err(|_| Error::Word("the sound file broke off on its way".into()))?;
        length += piece.len() as u64;
        if length > MOST_SOUND {
            return Err(Error::Word(
                "the sound file is larger than 3 GB; split it, or use `platenote sweep`".into(),
            ));
        }
        // A slow disk must not hold up what other pages are told.
        let written = tokio::task::spawn_blocking(move || file.write_all(&piece).map(|()| file)).await;
        file = written
            .map_err(|_| Error::Server(std::io::Error::other("the work was broken off")))?
            .map_err(Error::Server)?;
    }
    Ok(())
}

/// Where each file, or each note of a long recording, belongs; nothing is stored.
pub(super) fn place(app: &AppState, wish: &PlaceWish) -> Result<Value, Error> {
    app.must_rest()?;
    let job = app.job_folder()?;
    let (mut rows, mut remarks): (Vec<Value>, Vec<String>) = (Vec::new(), Vec::new());
    for id in &wish.files {
        let file = app.sounds.file(*id)?;
        let name = file.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
        let is_long = match is_long(&file) {
            Ok(is_long) => is_long,
            Err(error) => {
                remarks.push(format!("{name}: {error}"));
                app.sounds.forget(*id);
                continue;
            }
        };
        let mut command = own(if is_long { "sweep" } else { "add" })?;
        command.args(["--json", &format!("--pass={}", wish.pass.trim())]);
        if is_long && !wish.order.trim().is_empty() {
            command.arg(format!("--order={}", wish.order.trim()));
        }
        if !is_long {
            command.arg("--show");
        }
        let (told, words) = run(command.arg("--").arg(&job).arg(&file))?;
        let count = rows.len();
        for line in told {
            let of = |key: &str| line[key].clone();
            if is_long && line["kind"] == "recording" {
                remarks.push(format!("{name}: played {}", line["order"].as_str().unwrap_or("in no order")));
            }
            let is_note = !is_long || matches!(line["kind"].as_str(), Some("placed" | "unplaced"));
            if !is_note {
                continue;
            }
            if let Some(error) = line["error"].as_str() {
                rows.push(json!({"file": id, "name": name, "place": "", "sure": false, "doubts": [error], "faults": []}));
                continue;
            }
            let reason = line["reason"].as_str().map(|reason| vec![reason.to_owned()]);
            rows.push(json!({"file": id, "name": name, "place": line["place"].as_str().unwrap_or(""),
                "start_s": of("start_s"), "end_s": of("end_s"), "f0_hz": of("f0_hz"), "cents": of("cents"),
                "sure": if is_long { line["sure"].as_bool().unwrap_or(false) } else { true },
                "doubts": reason.map_or_else(|| of("doubts"), |reason| json!(reason)),
                "why": of("why"), "faults": of("faults"), "speaks": of("speaks")}));
        }
        if rows.len() == count {
            remarks.push(format!("{name}: {}", words.unwrap_or_else(|| "no note was found in it".into())));
        }
    }
    Ok(json!({"rows": rows, "remarks": remarks}))
}

/// Store what was accepted.
pub(super) fn accept(app: &AppState, wish: &AcceptWish) -> Result<Value, Error> {
    app.must_rest()?;
    let job = app.job_folder()?;
    let mut by_file: BTreeMap<u32, Vec<&AcceptRow>> = BTreeMap::new();
    for row in wish.rows.iter().filter(|row| !row.place.trim().is_empty()) {
        by_file.entry(row.file).or_default().push(row);
    }
    let lists = tempfile::tempdir().map_err(Error::Server)?;
    let (mut stored, mut more): (usize, Vec<String>) = (0, Vec::new());
    for (id, rows) in &by_file {
        let file = app.sounds.file(*id)?;
        let list = lists.path().join(format!("{id}.csv"));
        let is_long = rows.iter().any(|row| row.start_s.is_some());
        let mut text = if is_long { "start_s,end_s,place\n" } else { "file,place\n" }.to_owned();
        for row in rows {
            let place = row.place.trim().to_owned();
            let cells = match (row.start_s, row.end_s) {
                (Some(start_s), Some(end_s)) => vec![format!("{start_s:.3}"), format!("{end_s:.3}"), place],
                _ => vec![file.to_string_lossy().into_owned(), place],
            };
            text += &(csv_line(&cells) + "\n");
        }
        std::fs::write(&list, text).map_err(Error::Server)?;
        let mut command = own(if is_long { "sweep" } else { "add" })?;
        command.args(["--json", &format!("--pass={}", wish.pass.trim()), "--list"]).arg(&list);
        if is_long {
            command.arg("--accept");
        }
        command.arg("--").arg(&job);
        if is_long {
            command.arg(&file);
        }
        let (told, words) = run(&mut command)?;
        let is_kept = |line: &&Value| {
            matches!(line["state"].as_str(), Some("stored" | "already_there" | "restored" | "moved"))
        };
        let kept = told.iter().filter(is_kept).count();
        stored += kept;
        more.extend(told.iter().filter_map(|line| line["error"].as_str().map(str::to_owned)));
        if kept == 0 {
            more.extend(words);
        } else {
            app.sounds.forget(*id);
        }
    }
    app.events.changed();
    let takes = if stored == 1 { "take is" } else { "takes are" };
    Ok(json!({"said": format!("{stored} {takes} stored in pass {}", wish.pass.trim()), "more": more}))
}

/// Whether a file holds more than a take.
fn is_long(file: &Path) -> Result<bool, Error> {
    let mut seconds = 0.0;
    let streamed = audio::stream_file(file, &mut |piece| {
        let channels = piece.channels.max(1) as f64;
        seconds += piece.sound.len() as f64 / channels / f64::from(piece.rate_hz.max(1));
        seconds <= MANY_NOTES_S
    });
    match streamed {
        Err(error) if seconds == 0.0 => Err(Error::Word(format!("{error}; {}", error.next()))),
        _ => Ok(seconds > MANY_NOTES_S),
    }
}

/// This very program with a verb.
fn own(verb: &str) -> Result<Command, Error> {
    let mut command = Command::new(std::env::current_exe().map_err(Error::Server)?);
    command.arg(verb).stdin(Stdio::null());
    Ok(command)
}

/// Its lines, and what it said went wrong.
fn run(command: &mut Command) -> Result<(Vec<Value>, Option<String>), Error> {
    let output = command.output().map_err(Error::Server)?;
    let text = String::from_utf8_lossy(&output.stdout);
    let told: Vec<Value> = text.lines().filter_map(|line| serde_json::from_str(line).ok()).collect();
    let said = String::from_utf8_lossy(&output.stderr);
    let word = |head: &str| said.lines().find_map(|line| line.strip_prefix(head)).map(str::trim);
    let wrong = word("error:").map(|error| match word("next:") {
        Some(next) => format!("{error}. Next: {next}"),
        None => error.to_owned(),
    });
    match wrong {
        Some(wrong) if told.is_empty() => Err(Error::Word(wrong)),
        wrong => Ok((told, wrong)),
    }
}
