//! Which reeds deserve a close look, and what lies around their partials in each pass.

use super::pass::HeardPass;
use crate::analysis::{self, Opposite, Reading};
use crate::audio;
use crate::instrument::{Instrument, ReedPlace};
use crate::judgement::{Findings, Verdict};
use crate::report::{PassCloseUp, ReedCloseUp};
use crate::units::Cents;

/// Every reed whose opposite one is heard past a valve that leaks or is suspect, in one of the passes.
///
/// - `heard`, `findings`: one for each pass, the earlier first.
pub(super) fn of(instrument: &Instrument, heard: &[HeardPass], findings: &[Findings]) -> Vec<ReedCloseUp> {
    let reeds = instrument.reeds().map(|(reed, _)| reed);
    let leaking = reeds.filter_map(|reed| {
        let is_leaking = |(pass, found): (&HeardPass, &Findings)| {
            second(pass, &reed).filter(|_| points_at_leak(instrument, found, &reed))
        };
        let second = heard.iter().zip(findings).find_map(is_leaking)?;
        // The pass in which it is heard says which partial shows it best; the other one shows the same, to be compared.
        let partial = heard
            .iter()
            .find(|pass| self::second(pass, &reed).is_some())
            .and_then(|pass| close_up(pass, &reed, second, None))
            .map(|drawn| drawn.close_up.partial);
        let passes = heard.iter().filter_map(|pass| close_up(pass, &reed, second, partial)).collect();
        Some(ReedCloseUp { reed, passes })
    });
    leaking.collect()
}

fn reading<'a>(pass: &'a HeardPass, reed: &ReedPlace) -> Option<&'a Reading> {
    pass.readings.readings.get(reed)?.as_ref().ok()
}

fn second(pass: &HeardPass, reed: &ReedPlace) -> Option<Cents> {
    match reading(pass, reed)?.opposite {
        Opposite::Sounding { offset, .. } => Some(offset),
        _ => None,
    }
}

fn points_at_leak(instrument: &Instrument, findings: &Findings, reed: &ReedPlace) -> bool {
    let Some((tested, _)) = instrument.valve_tested_by(reed) else { return false };
    let verdict = findings.valves.iter().find(|valve| valve.place == tested).map(|valve| valve.verdict);
    matches!(verdict, Some(Verdict::Leaks | Verdict::Suspect))
}

/// Read the take again and look beside its partial; its own second tone where it has one, else the other pass's.
fn close_up(
    pass: &HeardPass,
    reed: &ReedPlace,
    elsewhere: Cents,
    partial: Option<u32>,
) -> Option<PassCloseUp> {
    let reading = reading(pass, reed)?;
    let take = audio::read_file(pass.files.get(reed)?).ok()?;
    let at = second(pass, reed).unwrap_or(elsewhere);
    let close_up = analysis::close_up(&take, reading, Some(at), partial)?;
    Some(PassCloseUp { pass: pass.readings.name.clone(), close_up, opposite: reading.opposite.clone() })
}
