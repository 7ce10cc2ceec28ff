//! What stands between the loop and the one who files: a screen, or lines.

use super::keys::Key;
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
