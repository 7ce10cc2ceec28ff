//! What the diary can say. To add a kind: a variant here, its name in [`KINDS`], a paragraph in `docs/job-format.md`.
//!
//! A line of a kind that is not listed here is kept and reported as unknown, so kinds may be added without a new
//! format; a field may be added to a kind when its absence means what lines without it meant.

mod corrections;
mod notes;
mod sound;

use serde::{Deserialize, Serialize};

pub use corrections::{
    AmendedFacts, MergedFacts, MoveFacts, PlateMove, PlatesFacts, RanksFacts, RenamedFacts, UndoneFacts,
    WithdrawnFacts,
};
pub use notes::{LotFacts, MarkFacts, PhotoFacts, RenewFacts, StockFacts, VisitFacts};
pub use sound::{ClockFacts, CutFacts, MeasuredIn, PassFacts, PlayFacts, Recorded, RemarkFacts, TakeFacts};

/// Something that happened, as a line of the diary stores it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "what", rename_all = "snake_case")]
pub enum Event {
    /// A pass was opened, or what is known of it has changed; the newest line speaks.
    Pass(PassFacts),
    /// A take was stored.
    Take(TakeFacts),
    /// A take belongs to another reed than was said before.
    Moved(MoveFacts),
    /// Something was noticed of a take after it was stored.
    Remark(RemarkFacts),
    /// Something was done or seen at the bench.
    Mark(MarkFacts),
    /// A photo was stored.
    Photo(PhotoFacts),
    /// A mark or a photo is taken back; its line stays.
    Undone(UndoneFacts),
    /// Valves of the tray were counted.
    Stock(StockFacts),
    /// Every valve is renewed in this job, or only what leaks or is missing; the newest line speaks.
    Renew(RenewFacts),
    /// A new visit was opened.
    Visit(VisitFacts),
    /// A reed was played while it was tuned.
    Play(PlayFacts),
    /// A take or a pass does not count any more; its files stay.
    Withdrawn(WithdrawnFacts),
    /// What is known of a pass was put right.
    Amended(AmendedFacts),
    /// A pass is called otherwise.
    Renamed(RenamedFacts),
    /// The takes of a pass belong to another.
    Merged(MergedFacts),
    /// Other ranks sound along in a take.
    Ranks(RanksFacts),
    /// Plates of the plan have other names, or are taken out or put back.
    Plates(PlatesFacts),
}

/// The `what` of every kind.
pub(super) const KINDS: [&str; 17] = [
    "pass",
    "take",
    "moved",
    "remark",
    "mark",
    "photo",
    "undone",
    "stock",
    "renew",
    "visit",
    "play",
    "withdrawn",
    "amended",
    "renamed",
    "merged",
    "ranks",
    "plates",
];

impl Event {
    /// The file the line names, and the SHA-256 it must have.
    pub fn stored_file(&self) -> Option<(&str, &str)> {
        match self {
            Event::Take(take) => Some((&take.file, &take.sha256)),
            Event::Photo(photo) => Some((&photo.file, &photo.sha256)),
            Event::Pass(_)
            | Event::Moved(_)
            | Event::Remark(_)
            | Event::Mark(_)
            | Event::Undone(_)
            | Event::Stock(_)
            | Event::Renew(_)
            | Event::Visit(_)
            | Event::Play(_)
            | Event::Withdrawn(_)
            | Event::Amended(_)
            | Event::Renamed(_)
            | Event::Merged(_)
            | Event::Ranks(_)
            | Event::Plates(_) => None,
        }
    }

    /// The number by which the line is taken back.
    pub fn number(&self) -> Option<u32> {
        match self {
            Event::Mark(facts) => Some(facts.n),
            Event::Photo(facts) => Some(facts.n),
            Event::Moved(facts) => facts.n,
            Event::Withdrawn(facts) => Some(facts.n),
            Event::Amended(facts) => Some(facts.n),
            Event::Renamed(facts) => Some(facts.n),
            Event::Merged(facts) => Some(facts.n),
            Event::Ranks(facts) => Some(facts.n),
            Event::Pass(_)
            | Event::Take(_)
            | Event::Remark(_)
            | Event::Undone(_)
            | Event::Stock(_)
            | Event::Renew(_)
            | Event::Visit(_)
            | Event::Play(_)
            | Event::Plates(_) => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_kind_is_listed() {
        let pass = PassFacts {
            pass: "before".into(),
            place: MeasuredIn::Bench,
            temperature_c: None,
            date: "2026-04-30".into(),
            reference_hz: None,
            called: None,
        };
        let text = serde_json::to_string(&Event::Pass(pass)).unwrap();
        assert_eq!(
            text,
            r#"{"what":"pass","pass":"before","place":"bench","temperature_c":null,"date":"2026-04-30"}"#
        );
        // serde itself lists the kinds it knows when it meets another.
        let unknown = serde_json::from_str::<Event>(r#"{"what":"xyzzy"}"#).unwrap_err().to_string();
        assert!(KINDS.iter().all(|kind| unknown.contains(&format!("`{kind}`"))), "{unknown}");
        assert_eq!(unknown.matches('`').count() / 2, KINDS.len() + 1, "{unknown}");
    }
}
