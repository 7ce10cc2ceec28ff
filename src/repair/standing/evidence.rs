//! What a standing is made from: passes with the moments of their takes, and noted work.

use std::collections::BTreeMap;

use jiff::Timestamp;
use jiff::civil::Date;

use crate::instrument::{PlatePlace, ReedPlace};
use crate::judgement::Findings;
use crate::repair::mark::Mark;

/// When a take was sounded, and which it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TakeMoment {
    /// Its number among the takes of the reed in its pass.
    pub n: u32,
    /// When.
    pub at: Timestamp,
    /// The day, where the bench is.
    pub day: Date,
}

/// A pass as evidence: what was found in it, and when each take was sounded.
#[derive(Debug, Clone, Copy)]
pub struct PassEvidence<'a> {
    /// What was found.
    pub findings: &'a Findings,
    /// The take each reed is judged by.
    pub takes: &'a BTreeMap<ReedPlace, TakeMoment>,
    /// The newest play of a sealing test of each reed.
    pub plays: &'a BTreeMap<ReedPlace, TakeMoment>,
}

/// Work noted at a place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Noted {
    /// The mark's number.
    pub n: u32,
    /// When it was noted.
    pub at: Timestamp,
    /// The day.
    pub day: Date,
    /// What was done, as typed.
    pub work: String,
}

impl Mark {
    pub(super) fn noted(&self) -> Noted {
        Noted { n: self.n, at: self.at, day: self.day, work: self.work.to_string() }
    }
}

/// Whether the plate lies in another one's place in this pass: then it was another one that was heard.
pub(super) fn is_astray(pass: &PassEvidence, plate: &PlatePlace) -> bool {
    pass.findings.swaps.iter().any(|swap| swap.places.contains(plate))
}
