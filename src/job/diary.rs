//! `diary.jsonl`: what happened, one JSON object a line, only ever added to.

use std::collections::HashMap;
use std::fs::OpenOptions;
use std::io::{self, Write};
use std::path::{Component, Path, PathBuf};

use jiff::Timestamp;
use serde::Serialize;
use serde_json::Value;

use super::event::{Event, KINDS};
use super::{Error, FORMAT, disk};

/// A whole line of the diary.
#[derive(Debug, Clone, PartialEq)]
pub struct DiaryLine {
    /// The line, counted from 1.
    pub line: usize,
    /// When it was written.
    pub at: Timestamp,
    /// What happened.
    pub event: Event,
}

/// A line that could not be used, or not in full.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OddLine {
    /// The line, counted from 1.
    pub line: usize,
    /// What is odd about it.
    pub oddity: Oddity,
}

/// What is odd about a line.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Oddity {
    /// The last line was cut off while it was written.
    #[error("the last line was cut off while it was written, and is set aside")]
    Torn,
    /// The line cannot be read.
    #[error("the line cannot be read: {0}")]
    Bad(String),
    /// A kind of line this program does not know.
    #[error("`{0}` is a kind of line this program does not know; it is kept")]
    Unknown(String),
}

/// The diary as it was read.
#[derive(Debug, Clone, Default)]
pub(super) struct Diary {
    pub(super) lines: Vec<DiaryLine>,
    pub(super) odd: Vec<OddLine>,
    /// Bytes up to the end of the last whole line.
    whole: u64,
    /// What stands after that.
    torn: Vec<u8>,
    /// The last whole line lacks its line end.
    needs_line_end: bool,
    /// How many lines there are, torn one included.
    count: usize,
}

pub(super) const FILE: &str = "diary.jsonl";
/// Where torn lines are kept when the diary is next written to.
pub(super) const TORN_FILE: &str = "diary.torn";

impl Diary {
    /// Read the diary of a job; a job without one has an empty one.
    pub(super) fn read(folder: &Path) -> Result<Self, Error> {
        let file = folder.join(FILE);
        let bytes = disk::read_plain(&file)?.unwrap_or_default();
        let mut diary = Diary::default();
        let mut from = 0;
        for piece in bytes.split_inclusive(|&byte| byte == b'\n') {
            diary.count += 1;
            let has_end = piece.last() == Some(&b'\n');
            let read = read_line(piece, &file, diary.count)?;
            if !has_end && matches!(read, Err(Oddity::Bad(_))) {
                diary.torn = piece.to_vec();
                diary.odd.push(OddLine { line: diary.count, oddity: Oddity::Torn });
                break;
            }
            diary.needs_line_end = !has_end;
            from += piece.len() as u64;
            match read {
                Ok(Some((at, event))) => diary.lines.push(DiaryLine { line: diary.count, at, event }),
                Ok(None) => {}
                Err(oddity) => diary.odd.push(OddLine { line: diary.count, oddity }),
            }
        }
        diary.whole = from;
        Ok(diary)
    }

    /// What was noticed of each file after it was stored.
    pub(super) fn later_remarks(&self) -> HashMap<&str, Vec<&str>> {
        let mut remarks: HashMap<&str, Vec<&str>> = HashMap::new();
        for line in &self.lines {
            if let Event::Remark(facts) = &line.event {
                remarks.entry(&facts.file).or_default().push(&facts.remark);
            }
        }
        remarks
    }

    /// Move a torn last line out of the way, into a file of its own. Only with the lock held.
    pub(super) fn set_torn_aside(&mut self, folder: &Path) -> Result<(), Error> {
        if self.torn.is_empty() {
            return Ok(());
        }
        let aside = folder.join(TORN_FILE);
        disk::refuse_odd(&aside)?;
        let mut torn = std::mem::take(&mut self.torn);
        torn.push(b'\n');
        append(&aside, &torn).map_err(|error| Error::written(&aside, error))?;
        let file = folder.join(FILE);
        let cut = OpenOptions::new().write(true).open(&file).and_then(|diary| {
            diary.set_len(self.whole)?;
            diary.sync_all()
        });
        cut.map_err(|error| Error::written(&file, error))?;
        self.count -= 1;
        Ok(())
    }

    /// Add a line and flush it. Only with the lock held.
    pub(super) fn append(&mut self, folder: &Path, event: Event) -> Result<&DiaryLine, Error> {
        let file = folder.join(FILE);
        let at = Timestamp::now();
        let stored = Stored { format: FORMAT, at: at.to_string(), event: &event };
        let mut text =
            serde_json::to_vec(&stored).map_err(|error| Error::written(&file, io::Error::other(error)))?;
        text.push(b'\n');
        if self.needs_line_end {
            text.insert(0, b'\n');
        }
        let is_new = self.count == 0;
        append(&file, &text).map_err(|error| Error::written(&file, error))?;
        if is_new {
            disk::flush_folder(folder)?;
        }
        self.needs_line_end = false;
        self.whole += text.len() as u64;
        self.count += 1;
        self.lines.push(DiaryLine { line: self.count, at, event });
        self.lines.last().ok_or_else(|| Error::written(&file, io::Error::other("the line is gone")))
    }
}

/// Whether a file the diary names lies where it may: inside the job, nowhere else.
pub(super) fn is_inside(file: &str) -> bool {
    !file.contains('\\')
        && file.starts_with(|letter: char| letter.is_alphanumeric())
        && PathBuf::from(file).components().all(|part| matches!(part, Component::Normal(_)))
}

#[derive(Serialize)]
struct Stored<'a> {
    format: i64,
    at: String,
    #[serde(flatten)]
    event: &'a Event,
}

/// The line's time and event; `Ok(None)` for a blank line.
fn read_line(
    piece: &[u8],
    file: &Path,
    line: usize,
) -> Result<Result<Option<(Timestamp, Event)>, Oddity>, Error> {
    let bad = |why: String| Ok(Err(Oddity::Bad(why)));
    let Ok(text) = std::str::from_utf8(piece) else { return bad("it is not text in UTF-8".into()) };
    if text.trim().is_empty() {
        return Ok(Ok(None));
    }
    let value: Value = match serde_json::from_str(text) {
        Ok(value) => value,
        Err(error) => return bad(error.to_string()),
    };
    let Some(format) = value.get("format").and_then(Value::as_f64) else {
        return bad("it has no `format` number".into());
    };
    if format > FORMAT as f64 {
        return Err(Error::NewerFormat { file: file.to_owned(), line, found: format, known: FORMAT });
    }
    if format != FORMAT as f64 {
        return bad(format!("{format} is no format; {FORMAT} is"));
    }
    let Some(what) = value.get("what").and_then(Value::as_str) else { return bad("it has no `what`".into()) };
    let Some(at) = value.get("at").and_then(Value::as_str) else { return bad("it has no `at`".into()) };
    let at: Timestamp = match at.parse() {
        Ok(at) => at,
        Err(error) => return bad(format!("`at` is no time: {error}")),
    };
    if !KINDS.contains(&what) {
        return Ok(Err(Oddity::Unknown(what.to_owned())));
    }
    match serde_json::from_value::<Event>(value) {
        Ok(event) => match event.stored_file() {
            Some((stored, _)) if !is_inside(stored) => bad(format!("`{stored}` lies outside the job")),
            _ => Ok(Ok(Some((at, event)))),
        },
        Err(error) => bad(error.to_string()),
    }
}

/// Add bytes to a file and flush them; when that fails half-way, the file is cut back to what it was.
fn append(file: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut open = OpenOptions::new().append(true).create(true).open(file)?;
    let before = open.metadata()?.len();
    open.write_all(bytes).and_then(|()| open.sync_data()).inspect_err(|_| {
        // Where even that fails the line is torn, and is set aside at the next writing.
        let _ = open.set_len(before);
    })
}
