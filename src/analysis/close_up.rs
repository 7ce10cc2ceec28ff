//! The neighbourhood of one partial with the shared wander taken off, for drawing.

use rustfft::num_complex::Complex;
use rustfft::num_traits::Zero;

use super::hearing::Hearing;
use super::plans;
use super::sidebands;
use super::spectrum::hann;
use super::{CloseUp, Opposite, Reading};
use crate::units::Cents;

/// Shown to either side at the least, cents, and in distances of the second tone.
const LEAST_REACH_CENTS: f64 = 12.0;
const REACH_DISTANCES: f64 = 2.2;
/// A line is drawn with this many points between the inverse lengths of the stretch.
const PADDING: usize = 4;

/// Draw the partial beside which a second tone at `second` shows best.
///
/// `wanted` is drawn instead where the take has that partial.
pub(super) fn close_up(
    hearing: &Hearing,
    reading: &Reading,
    second: Option<Cents>,
    wanted: Option<u32>,
) -> Option<CloseUp> {
    let second = second.map(Cents::get).or(match &reading.opposite {
        Opposite::Sounding { offset, .. } => Some(offset.get()),
        _ => None,
    });
    let stretch = sidebands::stretch(hearing);
    let lines = sidebands::beside_partials(hearing, &stretch, &[]);
    let distance =
        |number: usize, cents: f64| number as f64 * hearing.measured_hz * ((cents / 1200.0).exp2() - 1.0);
    let wanted = wanted.map(|number| number as usize);
    let wanted = wanted.filter(|wanted| hearing.partials.bands.iter().any(|band| band.number == *wanted));
    let clearest = || match second {
        Some(cents) => lines
            .iter()
            .filter_map(|line| Some((line.number, line.look(distance(line.number, cents))?)))
            // The clearest line that lies at least four cycles away, so that the eye can part the two.
            .filter(|(number, _)| distance(*number, cents).abs() * stretch.length_s > 4.0)
            .max_by(|a, b| a.1.excess.total_cmp(&b.1.excess))
            .map(|(number, _)| number),
        None => None,
    };
    let number = wanted.or_else(clearest).or_else(|| {
        let strongest = hearing.partials.bands.iter().max_by(|a, b| {
            let weight = |band: &super::partials::PartialBand| band.number as f64 * band.amplitude.norm();
            weight(a).total_cmp(&weight(b))
        })?;
        Some(strongest.number)
    })?;
    let band = hearing.partials.bands.iter().find(|band| band.number == number)?;
    let n = stretch.samples.len();
    let window = hann(n);
    let size = (n * PADDING).next_power_of_two();
    let mut bins: Vec<Complex<f64>> = vec![Complex::zero(); size];
    for (i, slot) in bins.iter_mut().enumerate().take(n) {
        let turn = Complex::from_polar(window[i], -(number as f64) * stretch.turn[i]);
        *slot = band.series[stretch.samples.start + i] * turn;
    }
    plans::forward(size).process(&mut bins);
    let bin_hz = 1.0 / (size as f64 * hearing.partials.step_s);
    let top = window.iter().sum::<f64>() * band.amplitude.norm();
    let reach_cents = LEAST_REACH_CENTS.max(REACH_DISTANCES * second.unwrap_or(0.0).abs());
    let partial_hz = number as f64 * hearing.measured_hz;
    let reach_hz =
        (partial_hz * ((reach_cents / 1200.0).exp2() - 1.0)).min(0.5 * hearing.partials.shape.half_hz);
    let reach = ((reach_hz / bin_hz) as isize).clamp(2, size as isize / 2 - 1);
    let (mut offset_cents, mut level_db) = (Vec::new(), Vec::new());
    for bin in -reach..=reach {
        let hz = bin as f64 * bin_hz;
        let response = hearing.partials.shape.response(hz).max(1e-6);
        offset_cents.push(1200.0 * (1.0 + hz / partial_hz).log2());
        level_db.push(
            20.0 * (bins[bin.rem_euclid(size as isize) as usize].norm() / response / top).max(1e-8).log10(),
        );
    }
    Some(CloseUp { partial: number as u32, offset_cents, level_db })
}
