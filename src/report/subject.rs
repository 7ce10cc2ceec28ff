//! What the charts are about.

use super::close_up::ReedCloseUp;
use crate::instrument::{Instrument, Plate, Stroke};
use crate::judgement::{Comparison, Findings, ReedFinding, ValveFinding};

/// What the charts are about.
#[derive(Debug, Clone, Copy)]
pub struct Subject<'a> {
    /// The job's title.
    pub title: &'a str,
    /// The plan.
    pub instrument: &'a Instrument,
    /// The pass to draw.
    pub findings: &'a Findings,
    /// The pass before it, drawn along.
    pub earlier: Option<Earlier<'a>>,
    /// Reeds to look at closely.
    pub close_ups: &'a [ReedCloseUp],
    /// The valves as they stand by all passes and notes, for the map; without them it shows the pass.
    pub valves_now: Option<&'a [ValveFinding]>,
    /// The newest pitch of each reed by all passes, for map and tuning chart; without them they show the pass.
    pub reeds_now: Option<&'a [ReedFinding]>,
}

/// A pass before the one to draw.
#[derive(Debug, Clone, Copy)]
pub struct Earlier<'a> {
    /// What was found in it.
    pub findings: &'a Findings,
    /// What has changed since.
    pub comparison: Option<&'a Comparison>,
}

impl Subject<'_> {
    /// The valves the map shows.
    pub(super) fn valves(&self) -> &[ValveFinding] {
        self.valves_now.unwrap_or(&self.findings.valves)
    }

    /// The reeds as they stand.
    pub(super) fn reeds(&self) -> &[ReedFinding] {
        self.reeds_now.unwrap_or(&self.findings.reeds)
    }

    /// The reeds of each pass that is drawn, the earlier first; of the later one as they stand.
    pub(super) fn drawn_reeds(&self) -> Vec<&[ReedFinding]> {
        let earlier = self.earlier.iter().map(|earlier| earlier.findings.reeds.as_slice());
        earlier.chain([self.reeds()]).collect()
    }

    /// The passes that are drawn, the earlier first.
    pub(super) fn passes(&self) -> Vec<&Findings> {
        self.earlier.iter().map(|earlier| earlier.findings).chain([self.findings]).collect()
    }
}

/// A plate's note, or its two notes, press first.
pub(super) fn notes(plate: &Plate) -> Vec<String> {
    let mut notes: Vec<String> = Stroke::BOTH
        .iter()
        .filter_map(|stroke| *plate.reeds.on(*stroke))
        .map(|reed| reed.note.to_string())
        .collect();
    notes.dedup();
    notes
}
