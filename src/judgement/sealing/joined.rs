//! What sealing tests do to the verdicts of an ordinary pass, and to what changed between two.

use super::{SealVerdict, SealingFinding};
use crate::instrument::ValvePlace;
use crate::judgement::{ValveChange, ValveChanged, ValveFinding, Verdict};

/// The newest test of a valve that says something.
fn told<'a>(sealings: &'a [SealingFinding], valve: &ValvePlace) -> Option<&'a SealingFinding> {
    let says = |sealing: &&SealingFinding| {
        matches!(sealing.verdict, SealVerdict::Leaks | SealVerdict::Suspect | SealVerdict::Tight)
    };
    sealings.iter().rev().find(|sealing| sealing.valve == *valve && says(sealing))
}

/// Valves with the sealing tests counted in: a test that says `leaks` or `tight` is the verdict, but a second tone that was
/// heard stays one.
pub(crate) fn joined(mut valves: Vec<ValveFinding>, sealings: &[SealingFinding]) -> Vec<ValveFinding> {
    for valve in &mut valves {
        let Some(sealing) = told(sealings, &valve.place) else { continue };
        let verdict = match (sealing.verdict, valve.verdict) {
            (_, Verdict::NoValve) => continue,
            (SealVerdict::Leaks, _) => Verdict::Leaks,
            (SealVerdict::Tight, Verdict::Leaks) | (SealVerdict::Suspect, Verdict::Leaks) => {
                valve.reason += &format!("; the sealing test, though: {}", sealing.reason);
                continue;
            }
            (SealVerdict::Tight, _) => Verdict::Tight,
            _ => Verdict::Suspect,
        };
        valve.verdict = verdict;
        valve.reason = format!("by the sealing test: {}", sealing.reason);
        valve.next.clone_from(&sealing.next);
    }
    valves
}

/// Changes with the sealing tests of both passes counted in: a valve is cured when it leaked and is tight by the same test.
pub(crate) fn changed(
    mut changes: Vec<ValveChanged>,
    earlier: &[SealingFinding],
    later: &[SealingFinding],
) -> Vec<ValveChanged> {
    for valve in &mut changes {
        let (before, after) = (told(earlier, &valve.place), told(later, &valve.place));
        let (change, reason) = match (before, after) {
            (Some(before), Some(after)) => match (before.verdict, after.verdict) {
                (SealVerdict::Leaks, SealVerdict::Tight) if before.way == after.way => {
                    (ValveChange::Cured, format!("it leaked by the sealing test, and now: {}", after.reason))
                }
                (SealVerdict::Leaks, SealVerdict::Leaks) => (ValveChange::StillLeaks, after.reason.clone()),
                (SealVerdict::Tight, SealVerdict::Leaks) => (ValveChange::NewlyLeaks, after.reason.clone()),
                (SealVerdict::Tight, SealVerdict::Tight) => (ValveChange::StillNoSign, after.reason.clone()),
                _ => (
                    ValveChange::CannotTell,
                    format!("the sealing test before: {}; now: {}", before.reason, after.reason),
                ),
            },
            (Some(before), None)
                if before.verdict == SealVerdict::Leaks && valve.change == ValveChange::Cured =>
            {
                (ValveChange::CannotTell, "it leaked by a sealing test, which was not made again".into())
            }
            _ => continue,
        };
        (valve.change, valve.reason) = (change, reason);
    }
    changes
}
