//! What became of valves and reeds between two passes.

use std::collections::BTreeMap;

use super::pass::{MeasuredAt, PassReadings};
use super::pitch::{SHIFT_NEEDS_READINGS, deviations};
use super::robust::{median, robust_scatter};
use super::{CommonShift, Comparison, Findings, ReedChange, Sign, SignKind, judge, valve_changes};
use super::{sealing, swaps};
use crate::analysis::Reading;
use crate::instrument::{Instrument, PlatePlace, ReedPlace};
use crate::units::{Cents, Measured};

/// Steel reeds, cents per kelvin: half of elastic constant plus expansion, -2.4 to -2.8 and 0.115 in 10⁻⁴/K.
pub const CENTS_PER_KELVIN: f64 = -0.215;
/// Half the range of that over steels.
const CENTS_PER_KELVIN_UNCERTAINTY: f64 = 0.02;

/// A pass with what [`judge`] found in it.
#[derive(Debug, Clone, Copy)]
pub struct JudgedPass<'a> {
    /// Its readings.
    pub readings: &'a PassReadings,
    /// What was found in them.
    pub findings: &'a Findings,
}

/// Judge two passes of the same instrument and compare them.
pub fn compare(instrument: &Instrument, earlier: &PassReadings, later: &PassReadings) -> Comparison {
    let (before, after) = (judge(instrument, earlier), judge(instrument, later));
    compare_judged(
        instrument,
        JudgedPass { readings: earlier, findings: &before },
        JudgedPass { readings: later, findings: &after },
    )
}

/// Compare two passes of the same instrument.
///
/// - What became of a valve is told from its reed's own figures in both passes, and from a second tone that came or went.
/// - A reed's change is split into what the temperatures explain, what the block shares and what is its own.
pub fn compare_judged(instrument: &Instrument, earlier: JudgedPass, later: JudgedPass) -> Comparison {
    compare_worked(instrument, earlier, later, &Worked::default())
}

/// Work on tongues and targets between two passes.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Worked {
    /// Reeds whose tongue was worked on, with what was noted.
    pub touched: BTreeMap<ReedPlace, Vec<String>>,
    /// How far the plan's A4 moved; `None` where it did not, or nobody knows.
    pub target_moved: Option<Cents>,
}

/// Compare two passes between which tongues were worked on: what the block shares is told by the others alone.
///
/// Where the target was moved and no reed is noted as worked on, nobody can say which ones were left alone: then nothing is
/// taken off as shared.
pub fn compare_worked(
    instrument: &Instrument,
    earlier: JudgedPass,
    later: JudgedPass,
    worked: &Worked,
) -> Comparison {
    let (before, after) = (earlier.findings, later.findings);
    let (earlier, later) = (earlier.readings, later.readings);
    let (reeds, common) = reed_changes(instrument, earlier, later, &swaps::astray(before, after), worked);
    let mut warnings = circumstances(earlier, later);
    warnings.extend(work_words(worked, &common));
    Comparison {
        earlier: earlier.name.clone(),
        later: later.name.clone(),
        valves: sealing::changed(
            valve_changes::between(instrument, [earlier, later], [before, after]),
            &earlier.sealings,
            &later.sealings,
        ),
        reeds,
        common,
        warnings,
    }
}

/// What was done between the passes, as far as it bears on the pitches, one sentence each.
fn work_words(worked: &Worked, common: &[CommonShift]) -> Vec<String> {
    let mut words = Vec::new();
    if let Some(moved) = worked.target_moved {
        words.push(format!(
            "the plan's A4 was moved by {moved} between the passes: no drift, the reeds were to follow it"
        ));
    }
    if worked.touched.is_empty() && worked.target_moved.is_none() {
        return words;
    }
    for CommonShift { block, cents, from } in common {
        let n = from.len();
        words.push(match cents {
            Some(_) => format!(
                "block `{block}`: what the whole block shares is taken from {n} reeds nobody noted work on: {}",
                from.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ")
            ),
            None if worked.touched.is_empty() => format!(
                "block `{block}`: no reed is noted as filed, so none is known to have been left alone, and nothing is taken off as shared"
            ),
            None => format!(
                "block `{block}`: {n} reeds were left alone, and {SHIFT_NEEDS_READINGS} are needed to tell what all share: nothing is taken off"
            ),
        });
    }
    words
}

/// A sign that stood out before and could not be heard again as well: why a cure cannot be told.
///
/// - `before`: the signs of the take in which it leaked; `after`: those of the take that shows nothing.
/// - `None` where every sign that stood out was measured again, down to where it was.
pub fn unheard(before: &[Sign], after: &[Sign]) -> Option<String> {
    before.iter().filter(|sign| sign.stands_out).find_map(|then| {
        let now = after.iter().find(|sign| sign.kind == then.kind);
        let by_tone = matches!(then.kind, SignKind::SecondTone | SignKind::TailTone);
        match (now, then.value) {
            (None, _) => Some(format!("{}, by which it leaked, was not measured again", name(then.kind))),
            (Some(now), Some(level)) if by_tone && now.value.is_none() && now.limit >= level => {
                Some(format!(
                    "it leaked by {} at {level:.0} dB, and the later take reaches {:.0} dB only",
                    name(then.kind),
                    now.limit
                ))
            }
            _ => None,
        }
    })
}

fn name(kind: SignKind) -> &'static str {
    match kind {
        SignKind::SecondTone => "the second tone",
        SignKind::TailTone => "the tail tone",
        SignKind::Breath => "the breath",
        SignKind::SlowStart => "the slow start",
        SignKind::WeakTone => "the weak tone",
        SignKind::PitchPull => "the pull of the pitch",
    }
}

/// A reed heard in both passes, before the block's share is known.
struct Moved<'a> {
    place: ReedPlace,
    whole: Measured,
    readings: [&'a Reading; 2],
}

fn reed_changes(
    instrument: &Instrument,
    earlier: &PassReadings,
    later: &PassReadings,
    astray: &BTreeMap<PlatePlace, String>,
    worked: &Worked,
) -> (Vec<ReedChange>, Vec<CommonShift>) {
    let kelvin = earlier.temperature_c.zip(later.temperature_c).map(|(before, after)| after - before);
    let by_temperature = kelvin.and_then(|kelvin| Cents::new(CENTS_PER_KELVIN * kelvin));
    let temperature_doubt = kelvin.map_or(0.0, |kelvin| (CENTS_PER_KELVIN_UNCERTAINTY * kelvin).abs());
    let (before, after) = (deviations(instrument, earlier), deviations(instrument, later));
    let moved: Vec<Moved> = instrument
        .reeds()
        .filter_map(|(place, _)| {
            let (before, after) = (before.get(&place)?, after.get(&place)?);
            let uncertainty = Cents::new(before.uncertainty.get().hypot(after.uncertainty.get()))?;
            let whole = Measured { value: after.value - before.value, uncertainty };
            let readings =
                [earlier.readings.get(&place)?.as_ref().ok()?, later.readings.get(&place)?.as_ref().ok()?];
            Some(Moved { place, whole, readings })
        })
        .collect();
    let warmth = by_temperature.unwrap_or(Cents::ZERO);
    // Nothing noted, but the target moved: any reed may have been filed.
    let is_unknown = worked.target_moved.is_some() && worked.touched.is_empty();
    let untouched: Vec<&Moved> =
        moved.iter().filter(|reed| !is_unknown && !worked.touched.contains_key(&reed.place)).collect();
    let shifts = common_shifts(&untouched, warmth);
    let common = instrument
        .blocks
        .iter()
        .filter(|block| moved.iter().any(|reed| reed.place.plate.block == block.name))
        .map(|block| CommonShift {
            block: block.name.clone(),
            cents: shifts.get(&block.name).map(|shift| shift.value),
            from: (untouched.iter().map(|reed| &reed.place))
                .filter(|place| place.plate.block == block.name)
                .cloned()
                .collect(),
        })
        .collect();
    let changes = moved
        .iter()
        .filter_map(|reed| {
            let shift = shifts.get(&reed.place.plate.block).copied();
            let value = reed.whole.value - warmth - shift.map_or(Cents::ZERO, |shift| shift.value);
            let uncertainty = match shift {
                // The clock and the temperature move all reeds alike, so the common shift has taken them off.
                Some(shift) => reed.scatter_doubt().hypot(shift.uncertainty.get()),
                None => reed.whole.uncertainty.get().hypot(temperature_doubt),
            };
            Some(ReedChange {
                place: reed.place.clone(),
                change: reed.whole,
                common_shift: shift.map(|shift| shift.value),
                temperature: by_temperature,
                own: Measured { value, uncertainty: Cents::new(uncertainty)? },
                astray_in: astray.get(&reed.place.plate).cloned(),
                work: worked.touched.get(&reed.place).cloned().unwrap_or_default(),
            })
        })
        .collect();
    (changes, common)
}

/// The median of what each block's reeds moved beyond the temperature, with half its 95 % interval.
fn common_shifts(moved: &[&Moved], warmth: Cents) -> BTreeMap<String, Measured> {
    let mut by_block: BTreeMap<String, Vec<f64>> = BTreeMap::new();
    for reed in moved {
        by_block.entry(reed.place.plate.block.clone()).or_default().push((reed.whole.value - warmth).get());
    }
    by_block
        .into_iter()
        .filter(|(_, values)| values.len() >= SHIFT_NEEDS_READINGS)
        .filter_map(|(block, values)| {
            // Standard error of the median of normal scatter: √(π/2) of the mean's.
            let error = 1.2533 * robust_scatter(&values)? / (values.len() as f64).sqrt();
            let value = Cents::new(median(&values)?)?;
            Some((block, Measured { value, uncertainty: Cents::new(1.96 * error)? }))
        })
        .collect()
}

impl Moved<'_> {
    /// Half the 95 % interval of what is not shared with the other reeds, cents.
    fn scatter_doubt(&self) -> f64 {
        let [before, after] =
            self.readings.map(|reading| reading.doubt.noise.get().hypot(reading.doubt.wander.get()));
        before.hypot(after)
    }
}

fn circumstances(earlier: &PassReadings, later: &PassReadings) -> Vec<String> {
    let mut warnings = Vec::new();
    for pass in [earlier, later] {
        if pass.temperature_c.is_none() {
            warnings.push(format!(
                "the temperature of pass `{}` is not known, so no correction for it is made ({CENTS_PER_KELVIN} cents per kelvin)",
                pass.name
            ));
        }
    }
    let place = |at| match at {
        MeasuredAt::Instrument => "in the instrument",
        MeasuredAt::Bench => "on a test bench",
    };
    if let (Some(before), Some(after)) = (earlier.measured_at, later.measured_at)
        && before != after
    {
        warnings.push(format!(
            "`{}` was measured {} and `{}` {}: the common shift is the difference of the two, levels and starts do not compare",
            earlier.name,
            place(before),
            later.name,
            place(after)
        ));
    }
    warnings
}
