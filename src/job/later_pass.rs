//! Into which pass a new take goes: a take of a reed whose valve was changed since its take in a pass is none of that pass.

use jiff::Timestamp;

use super::folder::Job;
use crate::instrument::ReedPlace;
use crate::repair::{Mark, tested_by_changed};

/// So many passes of one stem are more than anybody opens.
const MOST_PASSES: u32 = 1000;

/// A pass that new takes go into instead of the one that was named.
#[derive(Debug, Clone, PartialEq)]
pub struct LaterPass {
    /// What it is called.
    pub name: String,
    /// The pass that was named.
    pub instead_of: String,
    /// A reed whose valve was changed since its take there.
    pub reed: ReedPlace,
    /// The note of the change.
    pub mark: Mark,
}

impl LaterPass {
    /// Why, in a sentence.
    pub fn words(&self) -> String {
        format!(
            "`{}` on {} is newer than the take of {} in pass `{}`, so new takes go into pass `{}`",
            self.mark.work, self.mark.day, self.reed, self.instead_of, self.name
        )
    }
}

impl Job {
    /// The newest change of the valve that `reed` tests, noted after `since` and before `until`.
    pub fn valve_changed(&self, reed: &ReedPlace, since: Timestamp, until: Timestamp) -> Option<Mark> {
        let marks =
            self.marks().into_iter().filter(|mark| !mark.undone && mark.at > since && mark.at < until);
        marks.filter(|mark| tested_by_changed(self.instrument(), mark, reed)).last()
    }

    /// The pass for takes of these reeds, each with when it was sounded, where that is not the pass called `name`: `before-2`
    /// for `before`, or the next that is free or newer than every change.
    pub fn later_pass(&self, name: &str, takes: &[(ReedPlace, Timestamp)]) -> Option<LaterPass> {
        let pass = self.pass(name).ok()?.pass;
        let (reed, mark) = self.outdated(&pass, takes)?;
        let stem = pass.trim_end_matches(|letter: char| letter.is_ascii_digit()).trim_end_matches('-');
        let (stem, first) =
            match pass.strip_prefix(stem).and_then(|n| n.strip_prefix('-')?.parse::<u32>().ok()) {
                Some(n) if !stem.is_empty() => (stem, n.saturating_add(1)),
                _ => (pass.as_str(), 2),
            };
        let names = (first..first.saturating_add(MOST_PASSES)).map(|n| format!("{stem}-{n}"));
        let free = |name: &String| self.pass(name).is_err() || self.outdated(name, takes).is_none();
        let name = names.into_iter().find(free)?;
        Some(LaterPass { name, instead_of: pass, reed, mark })
    }

    /// Whether the pass has a take of this sound, or of a note of a long recording that is this sound.
    pub fn holds_sound(&self, pass: &str, sha256: &str) -> bool {
        self.stored_takes(pass).any(|take| {
            take.facts.sha256 == sha256 || take.facts.cut.as_ref().is_some_and(|cut| cut.sha256 == sha256)
        })
    }

    fn outdated(&self, pass: &str, takes: &[(ReedPlace, Timestamp)]) -> Option<(ReedPlace, Mark)> {
        let there = self.takes(pass);
        takes.iter().find_map(|(reed, at)| {
            let (_, of_reed) = there.iter().find(|(place, _)| place == reed)?;
            let newest = of_reed.iter().map(|take| take.at).max()?;
            Some((reed.clone(), self.valve_changed(reed, newest, *at)?))
        })
    }
}
