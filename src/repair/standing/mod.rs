//! The standing: what holds now for every valve, reed and plate, from all passes and notes in order of time.
//!
//! A pass without a take for a place leaves its standing as it was, and a take that does not answer never overwrites one
//! that did. A noted change makes older evidence historic: it is still named, and no longer describes what is there.
//! Sources: these rules are our own; what a sign means is `judgement`'s.

mod evidence;
mod reed;
mod valve;

use jiff::Timestamp;
use jiff::civil::Date;

use super::bench::Bench;
use super::mark::{Happening, Mark};
use super::rule::ValveRule;
use crate::instrument::{Instrument, PlatePlace, ReedPlace, ValvePlace};
use crate::judgement::Swap;

pub use evidence::{Noted, PassEvidence, TakeMoment};
pub use reed::{PitchEvidence, ReedStanding, ReedState};
pub use valve::{Answer, Evidence, ValveStanding, ValveVerdict, tested_by_changed};

/// What holds now.
#[derive(Debug, Clone, PartialEq)]
pub struct Standing {
    /// The passes it was made from, in order of time.
    pub passes: Vec<String>,
    /// One for each slot of the plan, in its order, outer before inner.
    pub valves: Vec<ValveStanding>,
    /// One for each reed of the plan, in its order.
    pub reeds: Vec<ReedStanding>,
    /// One for each plate of the plan, in its order.
    pub plates: Vec<PlateStanding>,
    /// Plates that by their newest takes lie in each other's place.
    pub swaps: Vec<Swap>,
    /// Reeds left out of the newest pass in rows of which it holds more than half; a row that was not recorded again, or
    /// hardly, was not meant to be.
    pub gaps: Vec<ReedPlace>,
}

/// How a plate lies.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlateStanding {
    /// Which plate.
    pub place: PlatePlace,
    /// How it lies.
    pub state: PlateLies,
    /// The day of the note that says so.
    pub since: Option<Date>,
}

/// Where a plate is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PlateLies {
    /// Nothing was noted: it lies where it lay.
    InPlace,
    /// Beside the block.
    Lifted,
    /// Fixed to the block again since it was last lifted.
    Fixed,
}

impl Standing {
    /// Join what was heard in `passes` with what was noted.
    pub fn of(
        instrument: &Instrument,
        rule: &ValveRule,
        happenings: &[Happening],
        passes: &[PassEvidence],
    ) -> Self {
        let marks: Vec<&Mark> = happenings
            .iter()
            .filter_map(|happening| match happening {
                Happening::Mark(mark) if !mark.undone => Some(mark),
                _ => None,
            })
            .collect();
        let bench = Bench::after(instrument, rule, happenings);
        let mut names: Vec<(Option<Timestamp>, String)> = passes
            .iter()
            .map(|pass| (pass.takes.values().map(|take| take.at).min(), pass.findings.pass.clone()))
            .collect();
        names.sort_by_key(|(at, _)| *at);
        let plates = instrument.plates().map(|(place, ..)| {
            let state = match bench.plates.get(&place) {
                Some(plate) if plate.is_lifted => PlateLies::Lifted,
                Some(plate) if plate.is_seated => PlateLies::Fixed,
                _ => PlateLies::InPlace,
            };
            let since = marks.iter().rev().find(|mark| mark.moves(&place)).map(|mark| mark.day);
            PlateStanding { place, state, since }
        });
        Self {
            passes: names.into_iter().map(|(_, name)| name).collect(),
            valves: valve::standings(instrument, &bench, &marks, passes),
            reeds: reed::standings(instrument, &marks, passes),
            plates: plates.collect(),
            swaps: swaps(passes),
            gaps: gaps(instrument, passes),
        }
    }

    /// The standing of a valve.
    pub fn valve(&self, place: &ValvePlace) -> Option<&ValveStanding> {
        self.valves.iter().find(|valve| valve.place == *place)
    }

    /// The standing of a reed.
    pub fn reed(&self, place: &ReedPlace) -> Option<&ReedStanding> {
        self.reeds.iter().find(|reed| reed.place == *place)
    }

    /// The standing of a plate.
    pub fn plate(&self, place: &PlatePlace) -> Option<&PlateStanding> {
        self.plates.iter().find(|plate| plate.place == *place)
    }

    /// The valves in this state.
    pub fn valves_that(&self, state: ValveVerdict) -> impl Iterator<Item = &ValveStanding> {
        self.valves.iter().filter(move |valve| valve.state == state)
    }
}

impl PlateLies {
    /// The word for it.
    pub fn name(self) -> &'static str {
        match self {
            PlateLies::InPlace => "in_place",
            PlateLies::Lifted => "lifted",
            PlateLies::Fixed => "fixed",
        }
    }
}

impl Mark {
    fn moves(&self, place: &PlatePlace) -> bool {
        use super::work::Work::{Lifted, PutBack, Waxed};
        matches!(self.work, Lifted | PutBack | Waxed)
            && self.spots.iter().any(|spot| super::bench::plate_of(spot) == place)
    }
}

/// Swaps by the newest takes of their plates: one that a later pass does not show any more is put right.
fn swaps(passes: &[PassEvidence]) -> Vec<Swap> {
    let newest = |plate: &PlatePlace| {
        passes
            .iter()
            .filter_map(|pass| {
                let at = pass.takes.iter().filter(|(reed, _)| reed.plate == *plate).map(|(_, take)| take.at);
                Some((at.max()?, pass.findings.pass.as_str()))
            })
            .max_by_key(|(at, _)| *at)
            .map(|(_, pass)| pass)
    };
    let mut standing: Vec<Swap> = Vec::new();
    for pass in passes {
        for swap in &pass.findings.swaps {
            let is_newest =
                swap.places.iter().any(|place| newest(place) == Some(pass.findings.pass.as_str()));
            if is_newest && !standing.iter().any(|there| there.places == swap.places) {
                standing.push(swap.clone());
            }
        }
    }
    standing
}

fn gaps(instrument: &Instrument, passes: &[PassEvidence]) -> Vec<ReedPlace> {
    let newest = passes.iter().max_by_key(|pass| pass.takes.values().map(|take| take.at).max());
    let Some(newest) = newest else { return Vec::new() };
    let reeds: Vec<ReedPlace> = instrument.reeds().map(|(place, _)| place).collect();
    let rows = reeds.chunk_by(|left, right| {
        (&left.plate.block, &left.plate.row) == (&right.plate.block, &right.plate.row)
    });
    let left_out = rows.flat_map(|row| {
        let missing: Vec<ReedPlace> =
            row.iter().filter(|reed| !newest.takes.contains_key(reed)).cloned().collect();
        if 2 * missing.len() < row.len() { missing } else { Vec::new() }
    });
    left_out.collect()
}
