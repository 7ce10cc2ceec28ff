//! The findings on all slots: which valve each reed tests, what its takes say of it, and the order to look.

use std::collections::BTreeMap;

use super::against_block::{self, AgainstBlock};
use super::pass::{Missing, PassReadings};
use super::tails::TailLimits;
use super::verdict::{Sounds, ValveEvidence};
use super::{LeakEvidence, Swap, ValveFinding, Verdict, words};
use crate::instrument::{Block, Face, Instrument, ReedPlace, Stroke, Valve, ValvePlace};
use crate::units::Measured;

/// The findings on all slots, in the plan's order, and sentences on whole plates.
pub(crate) fn valve_findings(
    instrument: &Instrument,
    pass: &PassReadings,
    deviations: &BTreeMap<ReedPlace, Measured>,
    swaps: &[Swap],
) -> (Vec<ValveFinding>, Vec<String>) {
    let against = against_block::compare(instrument, pass, deviations, swaps);
    let tails = TailLimits::new(pass);
    let slots = instrument.plates().flat_map(|(place, block, _, _)| {
        Face::BOTH.map(|face| (ValvePlace { plate: place.clone(), face }, block))
    });
    let findings =
        slots.map(|(place, block)| one_valve(instrument, pass, block, place, &against, &tails)).collect();
    (findings, words::both_strokes(&against.both_strokes))
}

/// Number the valves that something points to: leaks, then suspects, then the others, each by its evidence. Those shown to
/// be tight have no number.
pub(crate) fn put_in_order(instrument: &Instrument, findings: &mut [ValveFinding]) {
    let class = |verdict: &Verdict| match verdict {
        Verdict::Leaks => 0,
        Verdict::Suspect => 1,
        _ => 2,
    };
    for finding in findings.iter_mut().filter(|finding| class(&finding.verdict) < 2) {
        // By the sealing test alone.
        finding.leak.get_or_insert(LeakEvidence::NONE);
    }
    let mut order: Vec<(u8, f64, &mut LeakEvidence)> = findings
        .iter_mut()
        .filter(|finding| finding.verdict != Verdict::Tight)
        .filter_map(|finding| Some((class(&finding.verdict), finding.leak.as_mut()?)))
        .filter(|(class, leak)| *class < 2 || leak.size.is_some() || leak.evidence > 0.0)
        .map(|(class, leak)| (class, leak.evidence, leak))
        .collect();
    order.sort_by(|a, b| a.0.cmp(&b.0).then(b.1.total_cmp(&a.1)));
    for (rank, (.., leak)) in (1..).zip(order) {
        leak.rank = Some(rank);
    }
    let judged = findings.iter().filter(|finding| finding.leak.is_some()).count();
    for finding in findings {
        let plate = instrument.plate(&finding.place.plate).map(|(_, _, plate)| plate);
        let opposite = plate.and_then(|plate| plate.reeds.on(finding.heard_on.other()).as_ref());
        let note = opposite.map(|reed| f64::from(reed.note.number()));
        words::order_to_look(finding, judged, note);
    }
}

fn one_valve(
    instrument: &Instrument,
    pass: &PassReadings,
    block: &Block,
    place: ValvePlace,
    against: &AgainstBlock,
    tails: &TailLimits,
) -> ValveFinding {
    let heard_on = block.stroke_that_tests(place.face);
    let reed = ReedPlace { plate: place.plate.clone(), stroke: heard_on };
    let plate = instrument.plate(&place.plate).map(|(_, _, plate)| plate);
    let fitted = plate.is_some_and(|plate| !matches!(plate.valves.on(place.face), Valve::None));
    let note = |stroke: Stroke| Some(plate?.reeds.on(stroke).as_ref()?.note);
    let opposite = note(heard_on.other()).map(|note| f64::from(note.number()));
    let untold = |verdict, reason: String, next: String| ValveFinding {
        place: place.clone(),
        heard_on,
        verdict,
        leak: None,
        signs: Vec::new(),
        reason,
        next,
    };
    if !fitted {
        return untold(Verdict::NoValve, "no valve is due here".into(), String::new());
    }
    if opposite.is_none() {
        let reason = "the plate has one reed, and no slot lies under this valve".into();
        return untold(Verdict::NoValve, reason, String::new());
    }
    let not_judged = Verdict::NotJudged { cause: None, needs: None };
    if note(heard_on).is_none() {
        let reason = format!("no reed sounds on {heard_on}, so this valve cannot be heard");
        return untold(not_judged, reason, "look at the valve by eye".into());
    }
    if let Err(missing) = pass.readings.get(&reed).unwrap_or(&Err(Missing::NoTake)) {
        let next = match missing {
            Missing::NoTake => format!("record {reed}"),
            Missing::Refused(_) | Missing::Unreadable(_) => format!("record {reed} again"),
        };
        return untold(not_judged, missing.to_string(), next);
    }
    let evidence = ValveEvidence {
        sounds: Sounds::of(pass.takes(&reed)),
        estimate: against.reeds.get(&reed),
        leak_limit: block.leak_limit.get(),
        tail_limit: tails.limit(&reed),
        one_note: note(heard_on) == note(heard_on.other()),
        opposite_note: opposite.unwrap_or(0.0),
        plate_off: against.both_strokes.iter().any(|(plate, _)| *plate == place.plate),
    };
    let (verdict, reason) = evidence.verdict();
    let next = words::next(&verdict, &reed, place.face, evidence.one_note);
    ValveFinding {
        place,
        heard_on,
        leak: evidence.leak(&verdict),
        verdict,
        signs: evidence.signs(),
        reason,
        next,
    }
}
