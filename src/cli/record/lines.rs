//! A session line by line: for pipes and files, and for terminals that are read aloud.

use std::sync::mpsc::Receiver;
use std::time::{Duration, Instant};

use super::front::Front;
use super::keys::{Key, key};
use super::words;
use crate::cli::failure::Failure;
use crate::cli::output;
use crate::cli::terminal::typed_lines;
use crate::instrument::ReedPlace;
use crate::session::{SessionEvent, Snapshot};

/// How often a note that sounds is told how much more it needs.
const COUNT_DOWN: Duration = Duration::from_secs(1);

/// Results on stdout, words on stderr, keys as words with Enter.
pub(super) struct Lines {
    json: bool,
    keys: Receiver<Key>,
    /// The reed that was announced last.
    due: Option<ReedPlace>,
    counted: Instant,
    is_floor_told: bool,
    is_clip_told: bool,
}

impl Lines {
    pub fn new(json: bool) -> Self {
        Self {
            json,
            keys: typed_lines(key),
            due: None,
            counted: Instant::now(),
            is_floor_told: false,
            is_clip_told: false,
        }
    }
}

impl Front for Lines {
    fn keys(&mut self) -> Vec<Key> {
        self.keys.try_iter().collect()
    }

    fn look(&mut self, now: &Snapshot) -> Result<(), Failure> {
        if let Some(floor) = now.floor_db.filter(|_| !self.is_floor_told) {
            self.is_floor_told = true;
            output::say(&words::noise_floor(floor));
            // Said again below: now it may be played.
            self.due = None;
        }
        if now.is_clipped && !self.is_clip_told {
            self.is_clip_told = true;
            output::say("clipped: play softer, or turn the input down");
        }
        if let Some(due) = now.due.as_ref().filter(|due| self.due.as_ref() != Some(&due.place)) {
            words::due(due).iter().try_for_each(words::PrintedLine::print)?;
        }
        self.due = now.due.as_ref().map(|due| due.place.clone());
        if self.counted.elapsed() > COUNT_DOWN {
            self.counted = Instant::now();
            let more = now.due.as_ref().zip(now.steady_s).map(|(due, steady_s)| due.need.hold_s - steady_s);
            if let Some(more) = more.filter(|more| *more > 0.0) {
                output::say(&format!("  {more:.1} s more"));
            }
        }
        Ok(())
    }

    fn happened(&mut self, said: &SessionEvent) -> Result<(), Failure> {
        words::of(said, self.json)?.iter().try_for_each(words::PrintedLine::print)?;
        match said {
            SessionEvent::Began => self.is_clip_told = false,
            SessionEvent::Taken(taken) if taken.stays_due => self.due = None,
            _ => {}
        }
        Ok(())
    }

    fn word(&mut self, text: &str) {
        output::say(text);
    }

    fn close(&mut self) -> Result<(), Failure> {
        Ok(())
    }
}
