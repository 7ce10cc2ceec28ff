//! The verdict on each valve from its signs.

use std::collections::BTreeMap;

use super::against_block::{AgainstBlock, COMPARISON_NEEDS_PLATES, Compared, Departure, compare};
use super::pass::{Missing, PassReadings};
use super::tails::TailLimits;
use super::{Sign, SignKind, Swap, ValveFinding, Verdict, words};
use crate::analysis::{NotMeasured, Opposite, Reading, Tail, Warning};
use crate::instrument::{Block, Face, Instrument, PlatePlace, ReedPlace, Stroke, Valve, ValvePlace};
use crate::units::{Measured, Seconds};

/// How far above the block's leak limit the reached limit may lie for "no sign" to be said: the level that the method
/// still finds in the shortest and closest takes it judges (-30 dB at the default limit of -40 dB).
const NO_SIGN_ABOVE_LIMIT_DB: f64 = 10.0;

/// The verdicts on all slots, in the plan's order, and sentences on whole plates.
pub(crate) fn valve_findings(
    instrument: &Instrument,
    pass: &PassReadings,
    deviations: &BTreeMap<ReedPlace, Measured>,
    swaps: &[Swap],
) -> (Vec<ValveFinding>, Vec<String>) {
    let against = against_blocks(instrument, pass, deviations, swaps);
    let tails = TailLimits::new(pass);
    let findings = instrument
        .plates()
        .flat_map(|(place, block, _, _)| {
            Face::BOTH.map(|face| (ValvePlace { plate: place.clone(), face }, block))
        })
        .map(|(place, block)| one_valve(instrument, pass, block, place, &against, &tails))
        .collect();
    (findings, words::both_strokes(&against.both_strokes))
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
    let has = |stroke: Stroke| plate.is_some_and(|plate| plate.reeds.on(stroke).is_some());
    let untold = |verdict, reason: String, next: String| ValveFinding {
        place: place.clone(),
        heard_on,
        verdict,
        signs: Vec::new(),
        reason,
        next,
    };
    if !fitted {
        return untold(Verdict::NoValve, "no valve is due here".into(), String::new());
    }
    if !has(heard_on.other()) {
        return untold(
            Verdict::NoValve,
            "the plate has one reed, and no slot lies under this valve".into(),
            String::new(),
        );
    }
    let not_judged = Verdict::NotJudged { cause: None, needs: None };
    if !has(heard_on) {
        let reason = format!("no reed sounds on {heard_on}, so this valve cannot be heard");
        return untold(not_judged, reason, "look at the valve by eye".into());
    }
    match pass.readings.get(&reed).unwrap_or(&Err(Missing::NoTake)) {
        Err(missing) => {
            let next = match missing {
                Missing::NoTake => format!("record {reed}"),
                Missing::Refused(_) | Missing::Unreadable(_) => format!("record {reed} again"),
            };
            untold(not_judged, missing.to_string(), next)
        }
        Ok(reading) => {
            let departures = against.departures.get(&reed).map_or(&[][..], Vec::as_slice);
            let evidence = Evidence::new(reading, block.leak_limit.get(), tails.limit(&reed), departures);
            let (verdict, reason) = evidence.verdict(reading);
            let next = words::next(&verdict, &reed, place.face);
            ValveFinding { place, heard_on, verdict, signs: evidence.signs, reason, next }
        }
    }
}

/// The signs of one valve, told apart by what they count for.
struct Evidence {
    signs: Vec<Sign>,
    leak_limit: f64,
    /// Whether the tail's limit comes from the block itself.
    tail_compared: bool,
}

impl Evidence {
    fn new(reading: &Reading, leak_limit: f64, tail: (f64, bool), departures: &[Departure]) -> Self {
        let (tail_limit, tail_compared) = tail;
        let mut signs = Vec::new();
        match reading.opposite {
            Opposite::Sounding { level, .. } => signs.push(Sign {
                kind: SignKind::SecondTone,
                value: Some(level.get()),
                limit: leak_limit,
                stands_out: level.get() >= leak_limit,
            }),
            Opposite::Quiet { limit, .. } => signs.push(quiet(SignKind::SecondTone, limit.get())),
            Opposite::Unresolved { .. } | Opposite::NotLooked => {}
        }
        let tail_limit = tail_limit.max(leak_limit);
        match reading.tail {
            Tail::Heard { level, .. } => signs.push(Sign {
                kind: SignKind::TailTone,
                value: Some(level.get()),
                limit: tail_limit,
                stands_out: level.get() >= tail_limit,
            }),
            Tail::Quiet { limit, .. } => signs.push(quiet(SignKind::TailTone, limit.get())),
            Tail::NotMeasured(_) => {}
        }
        signs.extend(departures.iter().map(as_sign));
        // Strongest first: what stands out before what does not, each in the order of the signs.
        signs.sort_by_key(|sign| (!sign.stands_out, sign.kind));
        Self { signs, leak_limit, tail_compared }
    }

    fn verdict(&self, reading: &Reading) -> (Verdict, String) {
        let out: Vec<&Sign> = self.signs.iter().filter(|sign| sign.stands_out).collect();
        let heard = |kind| out.iter().any(|sign| sign.kind == kind);
        let compared: Vec<&Sign> = out.iter().copied().filter(|sign| is_compared(sign.kind)).collect();
        // A pull of the pitch looks the same as a reed out of tune, so alone it says nothing of the valve.
        let telling = compared.iter().filter(|sign| sign.kind != SignKind::PitchPull).count();
        if heard(SignKind::SecondTone)
            || heard(SignKind::TailTone)
            || (telling >= 1 && together(&compared) >= 2)
        {
            return (Verdict::Leaks, format!("consistent with a leak: {}", words::signs(&out)));
        }
        let weak: Vec<&Sign> = self.signs.iter().filter(|sign| self.is_weak_sign(sign)).collect();
        if !weak.is_empty() {
            return (Verdict::Suspect, format!("one weaker sign: {}", words::signs(&weak)));
        }
        self.nothing_found(reading)
    }

    /// A sign that alone asks for another listen.
    fn is_weak_sign(&self, sign: &Sign) -> bool {
        match sign.kind {
            SignKind::SecondTone => sign.value.is_some(),
            // With the block to compare with, a tail below its limit is what all plates do.
            SignKind::TailTone => {
                !self.tail_compared && sign.value.is_some_and(|level| level >= self.leak_limit)
            }
            SignKind::PitchPull => false,
            SignKind::Breath | SignKind::SlowStart | SignKind::WeakTone => sign.stands_out,
        }
    }

    fn nothing_found(&self, reading: &Reading) -> (Verdict, String) {
        let enough = |limit: f64| limit <= self.leak_limit + NO_SIGN_ABOVE_LIMIT_DB;
        let lossy = if reading.warnings.contains(&Warning::Lossy) {
            "; the file was stored by a lossy coder, which may have removed a weak tone"
        } else {
            ""
        };
        let tail = self.quiet_limit(SignKind::TailTone).filter(|limit| enough(*limit));
        let (cause, needs, why) = match &reading.opposite {
            Opposite::Quiet { limit, .. } if enough(limit.get()) => {
                return (Verdict::NoSign, format!("the opposite reed lies below {limit}{lossy}"));
            }
            Opposite::Quiet { limit, .. } => {
                let why = format!(
                    "only a tone above {limit} would have been heard, and the block's leak limit is {:.0} dB",
                    self.leak_limit
                );
                (Some(NotMeasured::TooNoisy), None, why)
            }
            Opposite::Unresolved { needs, reason, .. } => (Some(*reason), *needs, reason.to_string()),
            Opposite::NotLooked => (None, None, "the opposite reed was not looked for".to_string()),
            Opposite::Sounding { .. } => (None, None, "the opposite reed was heard".to_string()),
        };
        if let Some(limit) = tail {
            let reason = format!(
                "after the air stops the opposite reed lies below {limit:.0} dB; in the steady tone {why}{lossy}"
            );
            return (Verdict::NoSign, reason);
        }
        let needs = needs.filter(|needs: &Seconds| needs.get() > 0.0);
        let would_do = needs.map_or(String::new(), |needs| format!("; {:.1} s would do", needs.get()));
        (Verdict::NotJudged { cause, needs }, why + &would_do)
    }

    fn quiet_limit(&self, kind: SignKind) -> Option<f64> {
        self.signs.iter().find(|sign| sign.kind == kind && sign.value.is_none()).map(|sign| sign.limit)
    }
}

fn quiet(kind: SignKind, limit: f64) -> Sign {
    Sign { kind, value: None, limit, stands_out: false }
}

fn is_compared(kind: SignKind) -> bool {
    !matches!(kind, SignKind::SecondTone | SignKind::TailTone)
}

/// How many of the signs point to one and the same leak: weak, slow and flat with a partner in unison, strong, fast
/// and sharp with a flatter one (science of the two-reed model in `docs/method.md`). Breath counts in both.
fn together(out: &[&Sign]) -> usize {
    let (mut unison, mut flatter) = (0, 0);
    for sign in out {
        let positive =
            sign.value.is_some_and(|value| value > if sign.kind == SignKind::SlowStart { 1.0 } else { 0.0 });
        match (sign.kind, positive) {
            (SignKind::Breath, _) => {
                unison += 1;
                flatter += 1;
            }
            (SignKind::PitchPull, sharp) if sharp => flatter += 1,
            (SignKind::PitchPull, _) => unison += 1,
            (_, true) => unison += 1,
            (_, false) => flatter += 1,
        }
    }
    unison.max(flatter)
}

/// Figures as the restorer reads them: times instead of a logarithm, the limit on the figure's own side.
fn as_sign(departure: &Departure) -> Sign {
    let Departure { kind, by, limit, stands_out, .. } = *departure;
    let limit = if by < 0.0 { -limit } else { limit };
    let (value, limit) = if kind == SignKind::SlowStart { (by.exp(), limit.exp()) } else { (by, limit) };
    Sign { kind, value: Some(value), limit, stands_out }
}

/// Compare each row with itself; a row too short for that is compared with the other short rows of its block.
fn against_blocks(
    instrument: &Instrument,
    pass: &PassReadings,
    deviations: &BTreeMap<ReedPlace, Measured>,
    swaps: &[Swap],
) -> AgainstBlock {
    let swapped = |place: &PlatePlace| swaps.iter().any(|swap| swap.places.contains(place));
    let mut found = AgainstBlock::default();
    for block in &instrument.blocks {
        let mut rest = Vec::new();
        let mut groups = Vec::new();
        for row in &block.rows {
            let plates: Vec<Compared> = (1..)
                .zip(&row.plates)
                .filter_map(|(number, plate)| {
                    let place = PlatePlace { block: block.name.clone(), row: row.name.clone(), number };
                    let reed = |stroke| ReedPlace { plate: place.clone(), stroke };
                    let reading = |stroke| pass.readings.get(&reed(stroke))?.as_ref().ok();
                    let note = |stroke| Some(f64::from((*plate.reeds.on(stroke))?.note.number()));
                    let astray = swapped(&place);
                    let deviation = |stroke| {
                        deviations
                            .get(&reed(stroke))
                            .filter(|_| !astray)
                            .map(|deviation| deviation.value.get())
                    };
                    Some(Compared {
                        notes: [note(Stroke::Press)?, note(Stroke::Draw)?],
                        readings: [reading(Stroke::Press)?, reading(Stroke::Draw)?],
                        deviations: [deviation(Stroke::Press), deviation(Stroke::Draw)],
                        place,
                    })
                })
                .collect();
            if plates.len() >= COMPARISON_NEEDS_PLATES { groups.push(plates) } else { rest.extend(plates) }
        }
        groups.push(rest);
        for group in groups {
            let AgainstBlock { departures, both_strokes } = compare(&group);
            found.departures.extend(departures);
            found.both_strokes.extend(both_strokes);
        }
    }
    found
}
