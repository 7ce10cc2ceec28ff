//! A second reed an octave above that sounds fully: it shows beside every second partial and nowhere else.

use std::rc::Rc;

use super::hearing::Hearing;
use super::second_tone::{Found, Search};
use super::sidebands::{self, Line, Stretch};

/// The octave reed is looked for this far from the exact octave, cents.
const REACH_CENTS: f64 = 50.0;
/// Log-likelihood ratio from which it counts.
const EVIDENCE: f64 = 16.0;
/// A lone reed leaves far less than this share of its power beside its partials.
const UNEXPLAINED: f64 = 0.02;
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
///
/// An octave reed of like strength has a hand in the shared phase, so what is seen at first serves as a hint only: that
/// much of the tone is left unexplained.
pub(super) fn octave(hearing: &mut Hearing, lines: &[Line]) -> Option<OctaveReed> {
    if unexplained(lines) < UNEXPLAINED {
        return None;
    }
    hearing.follow(true);
    let stretch = sidebands::stretch(hearing);
    let lines = Rc::new(sidebands::beside_partials(hearing, &stretch, &[]));
    let found = best_even(hearing, &stretch, &lines).filter(|found| {
        search(hearing, &stretch, &lines, |number| !number.is_multiple_of(2)).evidence(found.cents, 1).0
            <= ODD_SILENCE
    });
    let Some(found) = found else {
        hearing.follow(false);
        return None;
    };
    let power = |even: bool| -> f64 {
        lines.iter().filter(|line| line.number.is_multiple_of(2) == even).map(|line| line.reference).sum()
    };
    Some(OctaveReed {
        cents: found.cents,
        uncertainty: found.cents_uncertainty,
        power_ratio: found.power_ratio * power(true) / (power(true) + power(false)),
    })
}

/// Share of the tone's power that is left beside the partials.
fn unexplained(lines: &[Line]) -> f64 {
    let rest = |line: &Line| {
        let squares: f64 =
            line.rest.iter().zip(line.window.iter()).map(|(value, weight)| value.norm_sqr() * weight).sum();
        squares / line.window.iter().sum::<f64>() * line.reference
    };
    lines.iter().map(rest).sum::<f64>() / lines.iter().map(|line| line.reference).sum::<f64>().max(1e-300)
}

/// The best series beside the even partials, when it is as strong as a reed that sounds fully.
fn best_even(hearing: &Hearing, stretch: &Stretch, lines: &Rc<Vec<Line>>) -> Option<Found> {
    let even = search(hearing, stretch, lines, |number| number.is_multiple_of(2));
    let least = 1200.0 * (1.0 + LEAST_CYCLES / stretch.length_s / (2.0 * hearing.measured_hz)).log2();
    [(-REACH_CENTS, -least), (least, REACH_CENTS)]
        .into_iter()
        .filter(|(low, high)| low < high)
        .filter_map(|(low, high)| even.best(&even.scan_closely(low, high)))
        .max_by(|a, b| a.evidence.total_cmp(&b.evidence))
        .filter(|found| found.evidence >= EVIDENCE && found.power_ratio >= 10f64.powf(FULLY_DB / 10.0))
}

fn search(hearing: &Hearing, stretch: &Stretch, lines: &Rc<Vec<Line>>, belongs: fn(usize) -> bool) -> Search {
    Search::beside(Rc::clone(lines), belongs, hearing.measured_hz, stretch.length_s)
}
