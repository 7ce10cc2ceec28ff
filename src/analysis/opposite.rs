//! The opposite reed in the steady tone: heard, not heard down to a limit, or not to be told in this take.

use std::rc::Rc;

use super::between_partials::between_partials;
use super::hearing::{Hearing, cents};
use super::second_tone::{Found, Scan, Search};
use super::sidebands::{self, Line, Stretch};
use super::{NotMeasured, Opposite, OppositeDetail, OppositeExpectation, OppositeLine};
use crate::units::{Decibels, Hz, Seconds};

/// Without a known opposite pitch it is looked for this far to either side, cents: further off lies the next note.
const REACH_CENTS: f64 = 70.0;
/// And so many beats, for low reeds, but never as far as a whole tone, cents.
const REACH_HZ: f64 = 9.0;
const MOST_REACH_CENTS: f64 = 160.0;
/// Beyond this distance the opposite reed plays another note, and its lines lie between the partials, cents.
const ANOTHER_NOTE_CENTS: f64 = 75.0;
/// Slack on a known pitch, cents: the bellows press differently from take to take.
const SLACK_CENTS: f64 = 0.5;
/// Standard deviation of a known pitch beyond its own interval at 440 Hz, cents, and the lower the reed the more: what
/// 150 Pa of pressure do to it (bend of 6 cents per kPa there and 35 at 82 Hz; the two-reed model).
const PRESSURE_CENTS: f64 = 0.9;
/// A limit is told where a known place lies beyond the nearest distance with five chances of six, in standard deviations.
const FIVE_SIXTHS: f64 = 0.97;
/// Share of the chance that a known pitch does not hold at all: a driven tongue, another reed, a wrong list.
const ASTRAY: f64 = 0.1;
/// Closer than this the reeds cannot be told apart: distance of the fundamentals times steady time, cycles.
const LEAST_CYCLES: f64 = 0.4;
/// With this many cycles they can.
const ENOUGH_CYCLES: f64 = 0.8;
/// The limit is taken from so many cycles on.
const LIMIT_CYCLES: f64 = 1.0;
/// Log-likelihood ratio from which the opposite reed counts as heard, besides the logarithm of the independent places it is
/// looked for at: odds of 1 in 500 for a find by chance.
const ODDS: f64 = 6.2;
/// On another note, where lines of the room and the plate stand too: so much more evidence than the best of so many decoys at
/// other pitches.
const DECOY_FACTOR: f64 = 1.5;
const DECOYS: usize = 20;
/// Decoys lie so many cycles of the fundamentals beyond the find at least.
const DECOY_CYCLES: f64 = 6.0;
/// Rounds of taking the second series off and following the wander anew.
const ROUNDS: usize = 4;
/// A pattern of every second, third … partial that explains this much more is another note, not the opposite reed.
const PATTERN_GAIN: f64 = 4.0;
/// A limit above this says nothing, dB.
const USELESS_LIMIT_DB: f64 = -12.0;
/// A second tone this weak is none, power ratio: 15 dB under the weakest one that is promised to be found; a swell leaves such.
/// Where one was told to lie, the rest of a settling pitch is weaker still.
const NOTHING: f64 = 1e-6;
const NOTHING_WHERE_TOLD: f64 = 1e-7;

/// Steady time that tells two reeds of a plate apart; `None` for the same pitch twice.
///
/// Source: 0.8 cycles of the distance of the fundamentals, as the search for the opposite reed asks for.
///
/// # Example
/// ```
/// use platenote::{analysis::steady_to_tell_apart, units::Hz};
///
/// let (press, draw) = (Hz::new(440.0).unwrap(), Hz::new(442.0).unwrap());
/// let needs = steady_to_tell_apart(press, draw).unwrap();
/// assert!((needs.get() - 0.4).abs() < 1e-9); // 0.8 cycles of 2 Hz.
/// ```
#[must_use]
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

/// What is told of the opposite reed, and what belongs to it besides.
type Told = (Opposite, OppositeDetail);

fn bare(opposite: Opposite) -> Told {
    (opposite, OppositeDetail::default())
}

/// Look for the opposite reed.
///
/// `seen` is what lies beside the partials, where it has been looked at already.
pub(super) fn opposite(
    hearing: &mut Hearing,
    expectation: OppositeExpectation,
    seen: (Stretch, Rc<Vec<Line>>),
) -> Told {
    match expectation {
        OppositeExpectation::None => bare(Opposite::NotLooked),
        OppositeExpectation::Unknown => beside(hearing, seen, Prior::anywhere(hearing.measured_hz)),
        OppositeExpectation::Known { pitch, within } => {
            let place = pitch.cents_above(hearing.f0).get();
            let prior = Prior::told(place, within.get().abs(), hearing.measured_hz);
            if place.abs() > ANOTHER_NOTE_CENTS {
                another_note(hearing, place, prior.half_width())
            } else {
                beside(hearing, seen, prior)
            }
        }
    }
}

/// Where the opposite reed may lie before it is looked for.
#[derive(Clone, Copy)]
struct Prior {
    /// Where it was told to lie, cents, with the standard deviation of that.
    told: Option<(f64, f64)>,
    /// How far it is looked for to either side at most, cents.
    reach: f64,
}

impl Prior {
    fn anywhere(hz: f64) -> Self {
        let reach = (1200.0 * (1.0 + REACH_HZ / hz).log2()).clamp(REACH_CENTS, MOST_REACH_CENTS);
        Self { told: None, reach }
    }

    /// Told from its own take, half a 95 % interval given.
    fn told(place: f64, within: f64, hz: f64) -> Self {
        let pressure = PRESSURE_CENTS * (440.0 / hz).max(1.0);
        Self { told: Some((place, (within / 1.96).hypot(pressure))), reach: REACH_CENTS }
    }

    /// Half the width that holds 95 %, cents.
    fn half_width(&self) -> f64 {
        self.told.map_or(self.reach, |(_, deviation)| 1.96 * deviation + SLACK_CENTS)
    }

    /// Where it surely lies, but for one in twenty, cents.
    fn range(&self) -> (f64, f64) {
        let place = self.told.map_or(0.0, |(place, _)| place);
        (place - self.half_width(), place + self.half_width())
    }

    /// Logarithm of how much likelier this place is than by an even chance over the reach.
    fn odds(&self, cents: f64) -> f64 {
        let Some((place, deviation)) = self.told else { return 0.0 };
        let z = (cents - place) / deviation;
        let near = (-0.5 * z * z).exp() / (deviation * std::f64::consts::TAU.sqrt());
        ((1.0 - ASTRAY) * near * 2.0 * self.reach + ASTRAY).ln()
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

/// The opposite reed near unison.
fn beside(hearing: &mut Hearing, (mut stretch, lines): (Stretch, Rc<Vec<Line>>), prior: Prior) -> Told {
    let mut search = search_in(hearing, &stretch, lines);
    let least = per_cycles(hearing, &stretch, LEAST_CYCLES);
    let (low, high) = prior.range();
    let close = outside(low, high, least).into_iter().map(|(low, high)| search.scan_closely(low, high));
    let mut scans: Vec<Scan> = close.collect();
    if prior.told.is_some() {
        let anywhere = outside(-prior.reach, prior.reach, least).into_iter();
        scans.extend(anywhere.map(|(low, high)| search.scan_at_a_glance(low, high)));
    }
    let candidates: Vec<Found> = scans.iter().filter_map(|scan| search.best(scan)).collect();
    let places = search.places(-prior.reach, prior.reach).ln();
    let asked = |cents: f64| ODDS + places - prior.odds(cents);
    let best = candidates
        .into_iter()
        .filter(|found| !is_pattern(&search, found))
        .max_by(|a, b| (a.evidence - asked(a.cents)).total_cmp(&(b.evidence - asked(b.cents))));
    let evidence = best.map_or(0.0, |found| found.evidence);
    let Some(mut found) = best.filter(|found| found.evidence >= asked(found.cents)) else {
        return not_heard(hearing, &search, &scans, &stretch, prior, evidence);
    };
    // Stronger than the tone that is followed: two reeds sound fully, at first sight or once the tone is followed anew.
    let two_fully =
        || bare(Opposite::Unresolved { evidence, needs: None, reason: NotMeasured::SeveralReeds });
    if found.power_ratio > 1.0 {
        return two_fully();
    }
    // A swell, a swing or other notes leave lines at every pitch: the find must stand out among others.
    // The find's own lines reach some cycles beyond its place.
    let clear = prior.reach.max(found.cents.abs() + per_cycles(hearing, &stretch, DECOY_CYCLES));
    let beyond = [(-clear - prior.reach, -clear), (clear, clear + prior.reach)];
    let decoy = beyond.into_iter().map(|(low, high)| search.decoy(low, high)).fold(0.0, f64::max);
    if found.evidence < DECOY_FACTOR * decoy {
        return not_heard(hearing, &search, &scans, &stretch, prior, evidence);
    }
    let (low, high) = (low.min(-prior.reach), high.max(prior.reach));
    for _ in 0..ROUNDS {
        let known = search.amplitudes(found.cents);
        hearing.follow_without(&known, &stretch);
        stretch = sidebands::stretch(hearing);
        search = search_in(hearing, &stretch, Rc::new(sidebands::beside_partials(hearing, &stretch, &known)));
        let width = 3.0 * search.step_cents();
        let near = search.scan_closely((found.cents - width).max(low), (found.cents + width).min(high));
        match search.best(&near) {
            Some(better) => found = better,
            None => break,
        }
    }
    if found.power_ratio > 1.0 {
        return two_fully();
    }
    let nothing = if prior.odds(found.cents) > 0.0 { NOTHING_WHERE_TOLD } else { NOTHING };
    if found.power_ratio < nothing {
        // Followed anew, the tone has no room for a second one: it was the wander.
        return not_heard(hearing, &search, &scans, &stretch, prior, found.evidence);
    }
    heard(&search, found, evidence)
}

/// The opposite reed on another note, `within` so many cents.
fn another_note(hearing: &mut Hearing, place: f64, within: f64) -> Told {
    let stretch = sidebands::stretch(hearing);
    let search = search_between(hearing, &stretch, place);
    let scan = search.scan_closely(place - within, place + within);
    let best = search.best(&scan);
    let evidence = best.map_or(0.0, |found| found.evidence);
    let asked = ODDS + search.places(place - within, place + within).ln();
    match best.filter(|found| found.evidence >= asked) {
        Some(found) if found.evidence >= DECOY_FACTOR * best_decoy(hearing, &stretch, place, within) => {
            heard(&search, found, evidence)
        }
        _ => limited(search.limit(&[scan], 0.0, |_| 1.0), place.abs() - within, evidence),
    }
}

fn search_between(hearing: &mut Hearing, stretch: &Stretch, place: f64) -> Search {
    let origin_hz = hearing.measured_hz * (place / 1200.0).exp2();
    let lines = between_partials(hearing, stretch, origin_hz);
    let sounding_power: f64 = hearing.partials.bands.iter().map(|band| band.amplitude.norm_sqr()).sum();
    Search::between(lines, (origin_hz, place), stretch.length_s, sounding_power)
}

/// The best evidence for a series at pitches around where none is expected.
fn best_decoy(hearing: &mut Hearing, stretch: &Stretch, place: f64, within: f64) -> f64 {
    let mut best: f64 = 0.0;
    for i in 1..=DECOYS {
        // Uneven distances to either side, none near the place itself, an octave, or unison.
        let side = if i % 2 == 0 { 1.0 } else { -1.0 };
        let decoy = place + side * (4.0 * within + 17.0 + 11.7 * i as f64);
        if decoy.abs() < ANOTHER_NOTE_CENTS {
            continue;
        }
        let search = search_between(hearing, stretch, decoy);
        let scan = search.scan_closely(decoy - within, decoy + within);
        best = best.max(search.best(&scan).map_or(0.0, |found| found.evidence));
    }
    best
}

fn heard(search: &Search, found: Found, evidence: f64) -> Told {
    let opposite = Opposite::Sounding {
        level: decibels(found.power_ratio),
        offset: cents(found.cents),
        uncertainty: cents(found.cents_uncertainty),
        evidence: evidence.max(found.evidence),
    };
    let powers = search.line_powers(found.cents, found.spectrum);
    let line = |(number, power): (usize, f64)| OppositeLine {
        number: number as u32,
        level: decibels(power / search.sounding_power.max(1e-300)),
    };
    let lines = powers.into_iter().filter(|(_, power)| *power > 0.0).map(line).collect();
    (opposite, OppositeDetail { lines, limit_from: None })
}

fn not_heard(
    hearing: &Hearing,
    search: &Search,
    scans: &[Scan],
    stretch: &Stretch,
    prior: Prior,
    evidence: f64,
) -> Told {
    let (low, high) = prior.range();
    let nearest =
        per_cycles(hearing, stretch, if prior.told.is_some() { LEAST_CYCLES } else { LIMIT_CYCLES });
    if let Some((place, deviation)) = prior.told
        && place.abs() < nearest + FIVE_SIXTHS * deviation
    {
        let distance_hz = hearing.measured_hz * ((place.abs() / 1200.0).exp2() - 1.0);
        let needs = (distance_hz > 0.0)
            .then(|| ENOUGH_CYCLES / distance_hz)
            .filter(|needs| *needs > stretch.length_s);
        return bare(Opposite::Unresolved {
            evidence,
            needs: needs.and_then(Seconds::new),
            reason: NotMeasured::TooClose { steady: stretch.length_s },
        });
    }
    let limit = search.limit(scans, nearest, |cents| prior.odds(cents).exp());
    let from = nearest.max(if prior.told.is_some() { low.abs().min(high.abs()) } else { 0.0 });
    limited(limit, from, evidence)
}

/// Not heard, down to a limit that holds from a distance on, where that says anything.
fn limited(limit: f64, from: f64, evidence: f64) -> Told {
    let limit = decibels(limit);
    if limit.get() < USELESS_LIMIT_DB && limit.get() > decibels(0.0).get() {
        (
            Opposite::Quiet { limit, evidence },
            OppositeDetail { lines: Vec::new(), limit_from: Some(cents(from)) },
        )
    } else {
        bare(Opposite::Unresolved { evidence, needs: None, reason: NotMeasured::TooNoisy })
    }
}

/// On the even partials an octave reed may sound, which is no opposite reed.
fn search_in(hearing: &Hearing, stretch: &Stretch, lines: Rc<Vec<Line>>) -> Search {
    let belongs: fn(usize) -> bool =
        if hearing.odd_alone { |number| !number.is_multiple_of(2) } else { |_| true };
    Search::beside(lines, belongs, hearing.measured_hz, stretch.length_s)
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
