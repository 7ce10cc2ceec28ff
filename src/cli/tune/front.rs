//! What stands between the loop and the one who files: a screen, or lines.

use std::io::IsTerminal;

use super::keys::Key;
use super::lines::Lines;
use super::screen::Screen;
use crate::cli::failure::Failure;
use crate::session::{TuneNow, TuneSaid};

/// Shows the loop and takes its keys.
pub(super) trait Front {
    /// What was typed since the last call.
    fn keys(&mut self) -> Vec<Key>;
    /// How things stand; called many times a second.
    fn look(&mut self, now: &TuneNow) -> Result<(), Failure>;
    /// Something happened.
    fn happened(&mut self, said: &TuneSaid) -> Result<(), Failure>;
    /// A word on the way.
    fn word(&mut self, text: &str);
    /// It is over: the terminal is as it was before, with all results on it.
    fn close(&mut self) -> Result<(), Failure>;
}

/// A screen where a person sits in front of one, else lines.
pub(super) fn choose(lines: bool, json: bool, title: &str) -> Box<dyn Front> {
    let is_terminal = std::io::stdout().is_terminal() && std::io::stdin().is_terminal();
    if lines || json || !is_terminal {
        return Box::new(Lines::new(json));
    }
    match Screen::open(title) {
        Ok(screen) => Box::new(screen),
        // A terminal that cannot be drawn on still takes lines.
        Err(_) => Box::new(Lines::new(json)),
    }
}
