//! What stands between a session and the one who plays: what a screen or lines do for it.

use super::keys::Key;
use crate::cli::failure::Failure;
use crate::session::{SessionEvent, Snapshot};

/// Shows a session and takes its keys.
pub(super) trait Front {
    /// What was typed since the last call.
    fn keys(&mut self) -> Vec<Key>;
    /// How things stand; called many times a second.
    fn look(&mut self, now: &Snapshot) -> Result<(), Failure>;
    /// Something happened.
    fn happened(&mut self, said: &SessionEvent) -> Result<(), Failure>;
    /// A word on the way.
    fn word(&mut self, text: &str);
    /// It is over: the terminal is as it was before, with all results on it.
    fn close(&mut self) -> Result<(), Failure>;
}
