//! The loop line by line: for pipes and files, and for terminals that are read aloud.

use std::sync::mpsc::Receiver;
use std::time::{Duration, Instant};

use super::front::Front;
use super::keys::{Key, key};
use super::words;
use crate::cli::failure::Failure;
use crate::cli::output::{self, signed};
use crate::cli::terminal::typed_lines;
use crate::instrument::ReedPlace;
use crate::session::{TuneNow, TuneSaid};
use crate::units::Measured;

/// In words a sounding note is told no oftener: it is read aloud.
const TOLD_EVERY: Duration = Duration::from_secs(1);

/// Results on stdout, words on stderr, keys as words with Enter.
pub(super) struct Lines {
    json: bool,
    keys: Receiver<Key>,
    due: Option<ReedPlace>,
    live: Option<(Measured, f64)>,
    told: Instant,
    is_quiet_told: bool,
    is_wait_told: bool,
}

impl Lines {
    pub fn new(json: bool) -> Self {
        Self {
            json,
            keys: typed_lines(key),
            due: None,
            live: None,
            told: Instant::now(),
            is_quiet_told: false,
            is_wait_told: false,
        }
    }
}

impl Front for Lines {
    fn keys(&mut self) -> Vec<Key> {
        self.keys.try_iter().collect()
    }

    fn look(&mut self, now: &TuneNow) -> Result<(), Failure> {
        if let Some(quiet) = now.quiet_db.filter(|_| !self.is_quiet_told) {
            self.is_quiet_told = true;
            output::say(&format!("noise floor {quiet:.0} dBFS"));
            // Said again below: now it may be played.
            self.due = None;
        }
        if let Some(due) = now.due.filter(|due| self.due.as_ref() != Some(&due.place)) {
            output::say(&words::due(due, now.left));
            if let Some(advice) = &now.advice {
                output::say(&words::advice(advice));
            }
        }
        self.due = now.due.map(|due| due.place.clone());
        if let Some((waits, seconds)) = now.waits.filter(|_| !self.is_wait_told) {
            output::say(&format!("{} settles: play it again in {seconds:.0} s, or now", waits.place));
        }
        self.is_wait_told = now.waits.is_some();
        if now.live != self.live {
            self.live = now.live;
            if self.json {
                words::live_json(now).map_or(Ok(()), |live| output::json(&live))?;
            } else if let Some((off, _)) = now.live.filter(|_| self.told.elapsed() > TOLD_EVERY) {
                self.told = Instant::now();
                output::say(&format!(
                    "  now {} ± {:.1} cents",
                    signed(off.value.get(), 1),
                    off.uncertainty.get()
                ));
            }
        }
        Ok(())
    }

    fn happened(&mut self, said: &TuneSaid) -> Result<(), Failure> {
        let (results, said_words) = words::of(said);
        match said {
            TuneSaid::Played(play) if self.json => output::json(&words::play_json(play))?,
            _ => results.iter().try_for_each(|text| output::line(text))?,
        }
        said_words.iter().for_each(|text| output::say(text));
        Ok(())
    }

    fn word(&mut self, text: &str) {
        output::say(text);
    }

    fn close(&mut self) -> Result<(), Failure> {
        Ok(())
    }
}
