//! The opposite reed in the steady tone: heard, not heard down to a limit, or not to be told in this take.

use std::rc::Rc;

use super::between_partials::between_partials;
use super::hearing::{Hearing, cents, pitch_range};
use super::second_tone::{Found, Search};
use super::sidebands::{self, Line, Stretch};
use super::{NotMeasured, Opposite, OppositeExpectation};
use crate::units::{Decibels, Hz, Seconds};

/// Without a known opposite pitch it is looked for this far to either side, cents: further off lies the next note.
const REACH_CENTS: f64 = 70.0;
/// Beyond this distance the opposite reed plays another note, and its lines lie between the partials, cents.
const ANOTHER_NOTE_CENTS: f64 = 75.0;
/// Slack on a known pitch, cents: the bellows press differently from take to take.
const SLACK_CENTS: f64 = 0.5;
/// Closer than this the reeds cannot be told apart: distance of the fundamentals times steady time, cycles.
const LEAST_CYCLES: f64 = 0.4;
/// With this many cycles they can.
const ENOUGH_CYCLES: f64 = 0.8;
/// The limit is taken from so many cycles on.
const LIMIT_CYCLES: f64 = 0.5;
/// Log-likelihood ratio from which the opposite reed counts as heard: when it was looked for everywhere, and at its place.
const EVIDENCE_ANYWHERE: f64 = 16.0;
const EVIDENCE_IN_PLACE: f64 = 12.0;
/// A pitch that swings further than this over the stretch leaves lines of its own in a room, cents: so much more evidence is
/// asked for each cent, and no more than that altogether.
const STEADY_CENTS: f64 = 6.0;
const EVIDENCE_PER_CENT: f64 = 0.7;
const MOST_MORE: f64 = 12.0;
/// Looked for anywhere, a tone as near as this many cycles needs this much more evidence, and none more from so many on: what
/// is left of the wander and the room lies there too.
const NEAR_CYCLES: f64 = 0.5;
const CLEAR_CYCLES: f64 = 0.75;
const EVIDENCE_WHEN_NEAR: f64 = 24.0;
/// Rounds of taking the second series off and following the wander anew.
const ROUNDS: usize = 4;
/// A pattern of every second, third … partial that explains this much more is another note, not the opposite reed.
const PATTERN_GAIN: f64 = 4.0;
/// A limit above this says nothing, dB.
const USELESS_LIMIT_DB: f64 = -12.0;
/// A second tone this weak is none, power ratio.
const NOTHING: f64 = 1e-9;
/// Places at which the limit is taken.
const LIMIT_PLACES: usize = 40;

/// Steady time that tells two reeds of a plate apart; `None` for the same pitch twice.
///
/// Source: 0.8 cycles of the distance of the fundamentals, as the search for the opposite reed asks for.
pub fn steady_to_tell_apart(sounding: Hz, opposite: Hz) -> Option<Seconds> {
    let distance_hz = sounding.beat_rate(opposite);
    (distance_hz > 0.0).then(|| ENOUGH_CYCLES / distance_hz).and_then(Seconds::new)
}

/// Where two reeds sound fully and one of them is the opposite one, the reading is the other one's.
pub(super) fn tell_apart(hearing: &mut Hearing, expectation: OppositeExpectation) {
    if let OppositeExpectation::Known { pitch, within } = expectation {
        hearing.take_other_than(pitch.get(), within.get().abs() + SLACK_CENTS);
    }
}

/// Look for the opposite reed.
///
/// `seen` is what lies beside the partials, where it has been looked at already.
pub(super) fn opposite(
    hearing: &mut Hearing,
    expectation: OppositeExpectation,
    seen: (Stretch, Rc<Vec<Line>>),
) -> Opposite {
    match expectation {
        OppositeExpectation::None => Opposite::NotLooked,
        OppositeExpectation::Unknown => beside(hearing, seen, -REACH_CENTS, REACH_CENTS, EVIDENCE_ANYWHERE),
        OppositeExpectation::Known { pitch, within } => {
            let place = pitch.cents_above(hearing.f0).get();
            let within = within.get().abs() + SLACK_CENTS;
            if place.abs() > ANOTHER_NOTE_CENTS {
                another_note(hearing, place, within)
            } else {
                beside(hearing, seen, place - within, place + within, EVIDENCE_IN_PLACE)
            }
        }
    }
}

/// The opposite reed where it sounds as fully as the sounding one: the pair's other reed, when it lies where it was expected.
pub(super) fn fully(hearing: &Hearing, expectation: OppositeExpectation) -> Option<Opposite> {
    let OppositeExpectation::Known { pitch, within } = expectation else { return None };
    let pair = hearing.pair.as_ref()?;
    let (own, other, ratio) = if pair.higher_is_played {
        (pair.high, pair.low, 1.0 / pair.high_over_low)
    } else {
        (pair.low, pair.high, pair.high_over_low)
    };
    let offset = 1200.0 * (other.0 / own.0).log2();
    let expected = pitch.cents_above(hearing.f0).get();
    let uncertainty = own.1.hypot(other.1);
    ((offset - expected).abs() < within.get().abs() + SLACK_CENTS + uncertainty).then(|| Opposite::Sounding {
        level: decibels(ratio),
        offset: cents(offset),
        uncertainty: cents(uncertainty),
        evidence: pair.evidence,
    })
}

/// The opposite reed near unison, between two distances in cents.
fn beside(
    hearing: &mut Hearing,
    (mut stretch, lines): (Stretch, Rc<Vec<Line>>),
    low: f64,
    high: f64,
    threshold: f64,
) -> Opposite {
    let mut search = search_in(hearing, &stretch, lines);
    let least = per_cycles(hearing, &stretch, LEAST_CYCLES);
    let ranges = outside(low, high, least);
    let best = ranges
        .iter()
        .filter_map(|(low, high)| search.best(*low, *high))
        .filter(|found| !is_pattern(&search, found))
        .max_by(|a, b| a.evidence.total_cmp(&b.evidence));
    let evidence = best.map_or(0.0, |found| found.evidence);
    let asked = threshold + for_swing(hearing);
    let Some(mut found) = best.filter(|found| found.evidence >= asked) else {
        return not_heard(hearing, &search, &stretch, (low, high), evidence, threshold);
    };
    let cycles = found.cents.abs() / per_cycles(hearing, &stretch, 1.0);
    if threshold >= EVIDENCE_ANYWHERE && found.evidence < asked + for_nearness(cycles) {
        let needs = ENOUGH_CYCLES / cycles * stretch.length_s;
        return Opposite::Unresolved {
            evidence,
            needs: Seconds::new(needs),
            reason: NotMeasured::TooClose { steady: stretch.length_s },
        };
    }
    for _ in 0..ROUNDS {
        let known = search.amplitudes(found.cents);
        hearing.follow_without(&known, &stretch);
        stretch = sidebands::stretch(hearing);
        search = search_in(hearing, &stretch, Rc::new(sidebands::beside_partials(hearing, &stretch, &known)));
        let width = 3.0 * search.step_cents();
        match search.best((found.cents - width).max(low), (found.cents + width).min(high)) {
            Some(better) => found = better,
            None => break,
        }
    }
    if found.power_ratio < NOTHING {
        // Followed anew, the tone has no room for a second one: it was the wander.
        return not_heard(hearing, &search, &stretch, (low, high), found.evidence, threshold);
    }
    heard(found, evidence)
}

/// The opposite reed on another note.
fn another_note(hearing: &mut Hearing, place: f64, within: f64) -> Opposite {
    let stretch = sidebands::stretch(hearing);
    let origin_hz = hearing.measured_hz * (place / 1200.0).exp2();
    let lines = between_partials(hearing, &stretch, origin_hz);
    let sounding_power: f64 = hearing.partials.bands.iter().map(|band| band.amplitude.norm_sqr()).sum();
    let reference_power = lines.iter().map(|line| line.reference).sum();
    let search = Search {
        lines: Rc::new(lines),
        belongs: |_| true,
        origin_hz,
        origin_cents: place,
        is_alike: false,
        length_s: stretch.length_s,
        reference_power,
        sounding_power,
    };
    let (low, high) = (place - within, place + within);
    let best = search.best(low, high);
    let evidence = best.map_or(0.0, |found| found.evidence);
    match best.filter(|found| found.evidence >= EVIDENCE_IN_PLACE + for_swing(hearing)) {
        Some(found) => heard(found, evidence),
        None => not_heard(hearing, &search, &stretch, (low, high), evidence, EVIDENCE_IN_PLACE),
    }
}

fn heard(found: Found, evidence: f64) -> Opposite {
    Opposite::Sounding {
        level: decibels(found.power_ratio),
        offset: cents(found.cents),
        uncertainty: cents(found.cents_uncertainty),
        evidence: evidence.max(found.evidence),
    }
}

fn not_heard(
    hearing: &Hearing,
    search: &Search,
    stretch: &Stretch,
    (low, high): (f64, f64),
    evidence: f64,
    threshold: f64,
) -> Opposite {
    let limit_from = per_cycles(hearing, stretch, LIMIT_CYCLES);
    let another_note = search.origin_cents != 0.0;
    let closest = if low <= 0.0 && high >= 0.0 { 0.0 } else { low.abs().min(high.abs()) };
    let middle = 0.5 * (low + high);
    // One place was expected, and it lies within what this take can tell apart.
    let in_place = threshold < EVIDENCE_ANYWHERE;
    let least = per_cycles(hearing, stretch, LEAST_CYCLES);
    if in_place && !another_note && (closest < least || middle.abs() < least) {
        let distance_hz = hearing.measured_hz * ((middle.abs() / 1200.0).exp2() - 1.0);
        let needs = (distance_hz > 0.0)
            .then(|| ENOUGH_CYCLES / distance_hz)
            .filter(|needs| *needs > stretch.length_s);
        return Opposite::Unresolved {
            evidence,
            needs: needs.and_then(Seconds::new),
            reason: NotMeasured::TooClose { steady: stretch.length_s },
        };
    }
    let ranges = if another_note {
        vec![(low, high)]
    } else {
        outside(low, high, if in_place { least } else { limit_from })
    };
    let asked = threshold + for_swing(hearing);
    let mut limit: Option<f64> = Some(0.0);
    for (low, high) in &ranges {
        for i in 0..=LIMIT_PLACES {
            let place = low + (high - low) * i as f64 / LIMIT_PLACES as f64;
            let sure = search.sure_strength(place, asked);
            limit = limit.zip(sure).map(|(a, b)| a.max(b));
        }
    }
    match limit.filter(|limit| *limit > 0.0).map(decibels) {
        Some(limit) if limit.get() < USELESS_LIMIT_DB => Opposite::Quiet { limit, evidence },
        _ => Opposite::Unresolved { evidence, needs: None, reason: NotMeasured::TooNoisy },
    }
}

/// Evidence asked for beyond the usual, since the pitch swings.
fn for_swing(hearing: &Hearing) -> f64 {
    (EVIDENCE_PER_CENT * (pitch_range(hearing) - STEADY_CENTS)).clamp(0.0, MOST_MORE)
}

/// Evidence asked for beyond the usual of a tone at no known place, since it lies so near.
fn for_nearness(cycles: f64) -> f64 {
    EVIDENCE_WHEN_NEAR * ((CLEAR_CYCLES - cycles) / (CLEAR_CYCLES - NEAR_CYCLES)).clamp(0.0, 1.0)
}

/// On the even partials an octave reed may sound, which is no opposite reed.
fn search_in(hearing: &Hearing, stretch: &Stretch, lines: Rc<Vec<Line>>) -> Search {
    let belongs: fn(usize) -> bool =
        if hearing.odd_alone { |number| !number.is_multiple_of(2) } else { |_| true };
    let power = lines.iter().filter(|line| belongs(line.number)).map(|line| line.reference).sum();
    Search {
        lines,
        belongs,
        origin_hz: hearing.measured_hz,
        origin_cents: 0.0,
        is_alike: true,
        length_s: stretch.length_s,
        reference_power: power,
        sounding_power: power,
    }
}

/// Whether every second, third … line alone explains the find better: then it is an octave, a twelfth, …
fn is_pattern(search: &Search, found: &Found) -> bool {
    (2..=6).any(|stride| search.evidence(found.cents, stride).0 > found.evidence + PATTERN_GAIN)
}

/// The interval in cents at which the fundamentals make so many cycles over the stretch.
fn per_cycles(hearing: &Hearing, stretch: &Stretch, cycles: f64) -> f64 {
    1200.0 * (1.0 + cycles / stretch.length_s / hearing.measured_hz).log2()
}

/// The parts of `low..high` at least `least` away from zero.
fn outside(low: f64, high: f64, least: f64) -> Vec<(f64, f64)> {
    [(low, high.min(-least)), (low.max(least), high)].into_iter().filter(|(low, high)| low <= high).collect()
}

fn decibels(power_ratio: f64) -> Decibels {
    let value = 10.0 * power_ratio.max(1e-15).log10();
    Decibels::new(value).unwrap_or(Decibels::ZERO)
}
