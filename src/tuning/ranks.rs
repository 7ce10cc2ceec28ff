//! Which rank is set off against which, and how they beat in a pass.

use crate::instrument::{Instrument, Note, ReedPlace, Row, Tremolo};
use crate::judgement::Findings;
use crate::units::Cents;

use super::curve::{Beside, CurveUnit, Followed, departures, distance, followed};

/// Beats within this of the curve are even: the trade's 0.1 to 0.2 beats per second (common practice, no source).
pub const EVEN_BEATS_HZ: f64 = 0.2;

/// A rank that is set off against another one.
#[derive(Debug, Clone, PartialEq)]
pub struct RankPair {
    /// The block of both.
    pub block: String,
    /// The row that is set off.
    pub row: String,
    /// The row on pitch beside it.
    pub companion: String,
    /// The curve the plan asks for.
    pub plan: Tremolo,
    /// The notes that both have and that were measured.
    pub notes: Vec<(ReedPlace, Beside)>,
}

impl RankPair {
    /// Each note's departure from the plan's curve, beats per second, in the order of the notes.
    pub fn departures(&self) -> Vec<(&ReedPlace, f64)> {
        let off = departures(&self.plan, &self.besides());
        self.notes.iter().map(|(place, _)| place).zip(off.into_iter().map(|(_, beats)| beats)).collect()
    }

    /// The curve that it follows now, in beats per second; `None` with too few notes.
    pub fn followed(&self) -> Option<Followed> {
        followed(&self.besides(), CurveUnit::Beats)
    }

    /// Notes furthest from the plan's curve and surely beyond what is even, worst first.
    pub fn worst(&self) -> Vec<(&ReedPlace, f64)> {
        let mut worst: Vec<(&ReedPlace, f64)> = (self.departures().into_iter().zip(&self.notes))
            .filter(|((_, beats), (_, beside))| beats.abs() - beside.beats_uncertainty() > EVEN_BEATS_HZ)
            .map(|(departure, _)| departure)
            .collect();
        worst.sort_by(|a, b| b.1.abs().total_cmp(&a.1.abs()));
        worst
    }

    fn besides(&self) -> Vec<Beside> {
        self.notes.iter().map(|(_, beside)| *beside).collect()
    }
}

/// Every rank that the plan sets off, beside the first rank of its block that stands on pitch and has its notes, or those an
/// octave away.
pub fn rank_pairs(instrument: &Instrument, findings: &Findings) -> Vec<RankPair> {
    let is_straight = |row: &Row| matches!(&row.tremolo, Tremolo::Even(cents) if *cents == Cents::ZERO);
    let mut pairs = Vec::new();
    for block in &instrument.blocks {
        for row in block.rows.iter().filter(|row| !is_straight(row)) {
            let beside = block.rows.iter().filter(|other| is_straight(other)).find_map(|other| {
                let notes = notes_beside(findings, &block.name, &row.name, &other.name);
                (!notes.is_empty()).then_some((other.name.clone(), notes))
            });
            if let Some((companion, notes)) = beside {
                let (block, row_name) = (block.name.clone(), row.name.clone());
                pairs.push(RankPair { block, row: row_name, companion, plan: row.tremolo.clone(), notes });
            }
        }
    }
    pairs
}

fn notes_beside(findings: &Findings, block: &str, row: &str, companion: &str) -> Vec<(ReedPlace, Beside)> {
    let of = |name: &str| -> Vec<(&ReedPlace, Note, _)> {
        findings
            .reeds
            .iter()
            .filter(|reed| reed.place.plate.block == block && reed.place.plate.row == name)
            .filter_map(|reed| {
                let pitch = reed.pitch.as_ref().ok().filter(|pitch| pitch.tune.is_some())?;
                Some((&reed.place, reed.note, (pitch.f0, pitch.deviation.uncertainty)))
            })
            .collect()
    };
    let companions = of(companion);
    let mut notes: Vec<(ReedPlace, Beside)> = of(row)
        .into_iter()
        .filter_map(|(place, note, rank)| {
            let at = |off: i16| {
                let is_it = |(other, at, _): &&(&ReedPlace, Note, _)| {
                    at.number() == note.number() + off && other.stroke == place.stroke
                };
                companions.iter().find(is_it).map(|(.., pitch)| *pitch)
            };
            // An octave apart the companion counts at the rank's own octave, as the plan's beats do.
            let octave = |off: i16, cents: f64| {
                let (f0, doubt) = at(off)?;
                Some((f0.raised_by(Cents::new(cents)?), doubt))
            };
            let beside = at(0).or_else(|| octave(-12, 1200.0)).or_else(|| octave(12, -1200.0))?;
            let uncertainty = distance(rank, beside).uncertainty;
            Some((place.clone(), Beside { note, companion: beside.0, rank: rank.0, uncertainty }))
        })
        .collect();
    notes.sort_by_key(|(place, beside)| (beside.note, place.stroke));
    notes
}
