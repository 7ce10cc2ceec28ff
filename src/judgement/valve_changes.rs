//! What became of each valve between two passes, from its reed's own figures in both.
//!
//! A reed weaker than its neighbours may be a weak reed; the same reed stronger now than it was, against a block that did
//! not change, is a cure, however weak each verdict was by itself.

use std::collections::BTreeMap;

use super::against_block::{self, AgainstBlock};
use super::leak_evidence::SIZES_DB;
use super::pass::PassReadings;
use super::pitch::deviations;
use super::scatter::{self, Estimate, Measure, Signs};
use super::swaps::astray;
use super::{Findings, Sign, SignKind, Swap, ValveChange, ValveChanged, ValveFinding, Verdict};
use crate::instrument::{Instrument, ReedPlace, Stroke};

/// Beforehand: a valve leaked before, one that leaked leaks still, one that was tight leaks now.
const LEAKED: f64 = 0.2;
const STILL: f64 = 0.4;
const NEWLY: f64 = 0.05;
/// Probability from which a change is told, and from which a leak is called the same.
const TOLD_FROM: f64 = 0.9;
const SAME_FROM: f64 = 0.8;

/// What became of every valve.
pub(crate) fn between(
    instrument: &Instrument,
    passes: [&PassReadings; 2],
    findings: [&Findings; 2],
) -> Vec<ValveChanged> {
    let [before, after] = findings;
    let astray = astray(before, after);
    let figures = Figures::of(instrument, passes, findings);
    before
        .valves
        .iter()
        .zip(&after.valves)
        .filter(|(_, after)| after.verdict != Verdict::NoValve)
        .map(|(before, after)| {
            let reed = ReedPlace { plate: after.place.plate.clone(), stroke: after.heard_on };
            let (change, reason) = valve_change(before, after, figures.odds(&reed));
            let is_told = !matches!(change, ValveChange::StillNoSign | ValveChange::CannotTell);
            let (change, reason) = match astray.get(&after.place.plate).filter(|_| is_told) {
                None => (change, reason),
                // Other valves than in the other pass were heard here.
                Some(pass) => (
                    ValveChange::CannotTell,
                    format!("by its pitch another plate lies here in `{pass}`; now: {}", after.reason),
                ),
            };
            ValveChanged { place: after.place.clone(), change, reason }
        })
        .collect()
}

fn valve_change(before: &ValveFinding, after: &ValveFinding, odds: Option<Odds>) -> (ValveChange, String) {
    use ValveChange::{CannotTell, Cured, NewlyLeaks, StillLeaks, StillNoSign};
    use Verdict::{Leaks, NoSign, NoValve, NotJudged, Suspect, Tight};
    match (&before.verdict, &after.verdict) {
        (NotJudged { .. } | NoValve, Leaks) => {
            return (CannotTell, format!("it leaks now, and was not judged before: {}", after.reason));
        }
        (NotJudged { .. } | NoValve, _) => {
            return (CannotTell, format!("it was not judged before: {}", before.reason));
        }
        (_, NotJudged { .. } | NoValve) => {
            return (CannotTell, format!("it is not judged now: {}", after.reason));
        }
        (Leaks | Suspect | NoSign | Tight, Leaks | Suspect | NoSign | Tight) => {}
    }
    if let Some(told) = by_second_tone(before, after) {
        return told;
    }
    let moved = odds.map_or(String::new(), |odds| odds.words());
    let odds = odds.unwrap_or(Odds::UNKNOWN);
    match (&before.verdict, &after.verdict) {
        (Leaks | Suspect, Leaks) => (StillLeaks, after.reason.clone()),
        (NoSign | Tight, Leaks) if odds.newly < SAME_FROM && odds.still > odds.newly => {
            (StillLeaks, format!("it showed no clear sign before{moved}; {}", after.reason))
        }
        (NoSign | Tight, Leaks) => (NewlyLeaks, format!("{}{moved}", after.reason)),
        _ if odds.cured >= TOLD_FROM => (Cured, format!("it shows no sign now{moved}: {}", after.reason)),
        _ if odds.newly >= TOLD_FROM => (NewlyLeaks, format!("{}{moved}", after.reason)),
        (Leaks | Suspect, Suspect | NoSign) if odds.still >= SAME_FROM => {
            (StillLeaks, format!("{}{moved}", after.reason))
        }
        (NoSign | Tight, NoSign | Tight) if odds.cured.max(odds.newly) < 0.5 => {
            (StillNoSign, after.reason.clone())
        }
        (Leaks | Suspect, Tight) => {
            (CannotTell, format!("it is tight now, and no sealing test was made before: {}", after.reason))
        }
        (_, Suspect) => (CannotTell, format!("suspect now{moved}: {}", after.reason)),
        (Leaks | Suspect, _) => (
            CannotTell,
            format!(
                "it shows no sign now, and did not move enough to be called cured{moved}: {}",
                after.reason
            ),
        ),
        _ => (CannotTell, format!("no clear sign in either pass{moved}: {}", after.reason)),
    }
}

/// Where the opposite reed was heard in one of the passes, that is the leading sign.
fn by_second_tone(before: &ValveFinding, after: &ValveFinding) -> Option<(ValveChange, String)> {
    let tone = |finding: &ValveFinding| -> Option<Sign> {
        finding.signs.iter().find(|sign| sign.kind == SignKind::SecondTone).copied()
    };
    let (then, now) = (tone(before), tone(after));
    let leaked = then.is_some_and(|sign| sign.stands_out);
    let leaks = now.is_some_and(|sign| sign.stands_out);
    let heard = |sign: Option<Sign>| sign.is_some_and(|sign| sign.value.is_some());
    let reason = || after.reason.clone();
    let said = match (leaked, leaks) {
        (true, true) => (ValveChange::StillLeaks, reason()),
        (false, true) if heard(then) => {
            (ValveChange::StillLeaks, format!("it was suspect before; {}", after.reason))
        }
        (false, true) => (ValveChange::NewlyLeaks, reason()),
        (true, false) => {
            let level = then.and_then(|sign| sign.value).unwrap_or(0.0);
            match now {
                None => (
                    ValveChange::CannotTell,
                    "the second tone, by which it leaked, was not measured again".to_string(),
                ),
                Some(Sign { value: None, limit, .. }) if limit >= level => (
                    ValveChange::CannotTell,
                    format!(
                        "it leaked by the second tone at {level:.0} dB, and the later take reaches {limit:.0} dB only"
                    ),
                ),
                Some(Sign { value: None, .. })
                    if matches!(after.verdict, Verdict::NoSign | Verdict::Tight) =>
                {
                    (ValveChange::Cured, format!("it leaked and shows no sign now: {}", after.reason))
                }
                Some(_) => (ValveChange::CannotTell, format!("suspect now: {}", after.reason)),
            }
        }
        (false, false) if heard(now) => (ValveChange::CannotTell, format!("suspect now: {}", after.reason)),
        (false, false) if heard(then) => (
            ValveChange::CannotTell,
            format!("it was only suspect before, and shows no sign now: {}", after.reason),
        ),
        (false, false) => return None,
    };
    Some(said)
}

/// How likely each of the four courses is.
#[derive(Debug, Clone, Copy)]
struct Odds {
    cured: f64,
    newly: f64,
    still: f64,
    /// What the reed gained from the earlier pass to the later, dB of level, and the standard deviation of that.
    gained: (f64, f64),
}

impl Odds {
    const UNKNOWN: Self = Self { cured: 0.0, newly: 0.0, still: 0.0, gained: (0.0, 0.0) };

    fn words(&self) -> String {
        let (by, sd) = self.gained;
        let how = if by < 0.0 { "weaker" } else { "stronger" };
        format!(", {:.1} ± {:.1} dB {how} than it was, the block's own change taken off", by.abs(), 1.96 * sd)
    }

    /// From what a leak seems to take in each pass, and what has changed.
    fn of(before: &Estimate, after: &Estimate, change: &Estimate) -> Self {
        let (first, second) = (before.sd * before.widened(), after.sd * after.widened());
        let apart = change.sd * change.widened();
        // Where the reed's own part is large, both passes err alike and their difference is sharper than either.
        let shared =
            ((first * first + second * second - apart * apart) / (2.0 * first * second)).clamp(0.0, 0.98);
        let middle = 0.5 * (before.loss + after.loss);
        let (x, y) = (middle - 0.5 * change.loss, middle + 0.5 * change.loss);
        let likelihood = |then: f64, now: f64| {
            let (u, v) = ((x - then) / first, (y - now) / second);
            (-0.5 * (u * u - 2.0 * shared * u * v + v * v) / (1.0 - shared * shared)).exp().max(1e-300)
        };
        let each = 1.0 / SIZES_DB.len() as f64;
        let over = |value: &dyn Fn(f64) -> f64| SIZES_DB.iter().map(|size| each * value(*size)).sum::<f64>();
        let tight = (1.0 - LEAKED) * (1.0 - NEWLY) * likelihood(0.0, 0.0);
        let newly = (1.0 - LEAKED) * NEWLY * over(&|now| likelihood(0.0, now));
        let cured = LEAKED * (1.0 - STILL) * over(&|then| likelihood(then, 0.0));
        // A leak that nobody touched is as large as it was; one that was worked on may be any size.
        let same = over(&|size| likelihood(size, size));
        let other = over(&|then| over(&|now| likelihood(then, now)));
        let still = LEAKED * STILL * 0.5 * (same + other);
        let all = tight + newly + cured + still;
        Self { cured: cured / all, newly: newly / all, still: still / all, gained: (-change.loss, apart) }
    }
}

/// The reeds of both passes against their blocks, and the change from one to the other against what the block shares.
struct Figures {
    before: AgainstBlock,
    after: AgainstBlock,
    change: BTreeMap<ReedPlace, Estimate>,
}

impl Figures {
    fn of(instrument: &Instrument, passes: [&PassReadings; 2], findings: [&Findings; 2]) -> Self {
        let [before, after] = passes;
        let cents = passes.map(|pass| deviations(instrument, pass));
        let swaps: Vec<Swap> = findings.iter().flat_map(|findings| findings.swaps.clone()).collect();
        let of = |pass, at: usize| {
            cents
                .get(at)
                .map(|cents| against_block::compare(instrument, pass, cents, &swaps))
                .unwrap_or_default()
        };
        // Levels on a test bench and in the instrument do not compare.
        let elsewhere = before.measured_at.zip(after.measured_at).is_some_and(|(then, now)| then != now);
        let mut change = BTreeMap::new();
        if let ([then, now], false) = (&cents, elsewhere) {
            let measure = |place: &ReedPlace| {
                let then = against_block::signs(before, place, then, &swaps)?;
                let now = against_block::signs(after, place, now, &swaps)?;
                Some(apart(&then, &now))
            };
            for block in &instrument.blocks {
                let (places, pairs) = against_block::pairs(instrument, block, &measure, now);
                for (plate, estimates) in places.into_iter().zip(scatter::estimate(&pairs, true)) {
                    for (stroke, estimate) in Stroke::BOTH.into_iter().zip(estimates) {
                        if let Some(estimate) = estimate.filter(Estimate::has_level) {
                            change.insert(ReedPlace { plate: plate.clone(), stroke }, estimate);
                        }
                    }
                }
            }
        }
        Self { before: of(before, 0), after: of(after, 1), change }
    }

    fn odds(&self, reed: &ReedPlace) -> Option<Odds> {
        let whole = |of: &AgainstBlock| of.reeds.get(reed).filter(|estimate| estimate.has_level()).copied();
        Some(Odds::of(&whole(&self.before)?, &whole(&self.after)?, self.change.get(reed)?))
    }
}

/// How far each sign moved; as many takes as would make its doubt.
fn apart(then: &Signs, now: &Signs) -> Signs {
    let mut moved = *now;
    for (sign, then) in moved.iter_mut().zip(then) {
        *sign = sign.zip(*then).map(|(now, then)| {
            let takes = 2.0 / (1.0 / now.takes + 1.0 / then.takes);
            // Scatter within each pass, as one list of that many takes would show it.
            let freedom = (now.takes + then.takes - 2.0).max(1.0);
            let within = 2.0 * (now.within + then.within) * (takes - 1.0) / freedom;
            Measure { mean: now.mean - then.mean, takes, within }
        });
    }
    moved
}
