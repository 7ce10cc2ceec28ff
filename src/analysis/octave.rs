//! A second reed an octave above that sounds fully: it shows beside every second partial and nowhere else.

use std::rc::Rc;

use super::hearing::Hearing;
use super::second_tone::Search;
use super::sidebands::{Line, Stretch};

/// The octave reed is looked for this far from the exact octave, cents.
const REACH_CENTS: f64 = 30.0;
/// Log-likelihood ratio from which it counts.
const EVIDENCE: f64 = 16.0;
/// It must reach this beside the even partials to count as sounding fully, dB.
const FULLY_DB: f64 = -15.0;
/// What all partials together may say for it at the most, less than the even ones alone.
const ODD_SILENCE: f64 = 4.0;
/// Cycles at the second partial from which the two can be told apart.
const LEAST_CYCLES: f64 = 0.8;

/// An octave reed that sounds along.
pub(super) struct OctaveReed {
    /// Distance from the exact octave, cents, with half its 95 % interval.
    pub cents: f64,
    pub uncertainty: f64,
    /// Power re the low reed.
    pub power_ratio: f64,
}

/// Look for an octave reed in what lies beside the partials, and where there is one follow the low reed by its odd
/// partials alone.
pub(super) fn octave(hearing: &mut Hearing, stretch: &Stretch, lines: &Rc<Vec<Line>>) -> Option<OctaveReed> {
    let search = |belongs: fn(usize) -> bool| {
        let power = lines.iter().filter(|line| belongs(line.number)).map(|line| line.reference).sum::<f64>();
        Search {
            lines: Rc::clone(lines),
            belongs,
            origin_hz: hearing.measured_hz,
            origin_cents: 0.0,
            length_s: stretch.length_s,
            reference_power: power,
            sounding_power: power,
        }
    };
    let (even, odd) = (search(|number| number.is_multiple_of(2)), search(|number| !number.is_multiple_of(2)));
    let (even_power, odd_power) = (even.sounding_power, odd.sounding_power);
    let least = 1200.0 * (1.0 + LEAST_CYCLES / stretch.length_s / (2.0 * hearing.measured_hz)).log2();
    let found = [(-REACH_CENTS, -least), (least, REACH_CENTS)]
        .into_iter()
        .filter(|(low, high)| low < high)
        .filter_map(|(low, high)| even.best(low, high))
        .max_by(|a, b| a.evidence.total_cmp(&b.evidence))
        .filter(|found| found.evidence >= EVIDENCE && found.power_ratio >= 10f64.powf(FULLY_DB / 10.0))?;
    if odd.evidence(found.cents, 1).0 > ODD_SILENCE {
        return None;
    }
    hearing.follow_odd();
    Some(OctaveReed {
        cents: found.cents,
        uncertainty: found.cents_uncertainty,
        power_ratio: found.power_ratio * even_power / (even_power + odd_power),
    })
}
