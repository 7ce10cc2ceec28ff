//! What lies between the sounding partials, at the lines of another note: the opposite reed of a bisonoric plate.

use std::rc::Rc;

use rustfft::num_complex::Complex;
use rustfft::num_traits::Zero;

use super::bands::taper;
use super::hearing::Hearing;
use super::partials::interpolate;
use super::plans;
use super::sidebands::{Line, PADDING, Stretch};

/// Bands around the lines of another note: half width in cycles over the stretch, and at least this, Hz.
const CLEAR_BAND_CYCLES: f64 = 60.0;
const CLEAR_BAND_HZ: f64 = 30.0;
/// Such a line must lie this clear of the sounding partials, in cycles over the stretch and in Hz (tremor).
const CLEAR_CYCLES: f64 = 6.0;
const CLEAR_HZ: f64 = 2.0;

/// The neighbourhoods of the lines of another note of pitch `pitch_hz`, where they lie clear of the sounding partials.
pub(super) fn between_partials(hearing: &mut Hearing, stretch: &Stretch, pitch_hz: f64) -> Vec<Line> {
    let (from_s, to_s) = (hearing.steady.start.get(), hearing.steady.end.get());
    let sounding_hz = hearing.measured_hz;
    let half_hz = (CLEAR_BAND_CYCLES / stretch.length_s).max(CLEAR_BAND_HZ);
    let shape = hearing.bands.shape(half_hz);
    let clear_hz = CLEAR_CYCLES / stretch.length_s + CLEAR_HZ;
    let highest = hearing.partials.bands.last().map_or(0.0, |band| (band.number as f64 + 0.5) * sounding_hz);
    let (from, to) = {
        let index = |time: f64| ((time - hearing.partials.start_s) / shape.step_s).max(0.0) as usize;
        (index(from_s).min(shape.len), index(to_s).min(shape.len))
    };
    let n = to.saturating_sub(from);
    if n < 16 {
        return Vec::new();
    }
    let window: Rc<Vec<f64>> =
        Rc::new((0..n).map(|i| taper(2.0 * (i as f64 + 0.5) / n as f64 - 1.0)).collect());
    let energy: f64 = window.iter().sum();
    // The shared wander, in turns of the other note.
    let turn: Vec<f64> = (0..n)
        .map(|i| {
            let time = hearing.partials.start_s + (from + i) as f64 * shape.step_s;
            let frame = (time - hearing.wander.time(hearing.frames.0)) / hearing.wander.frame_s;
            let whole = interpolate(&hearing.track.phase, frame);
            // The mean pitch is in `pitch_hz` already: only the departure from it is wander.
            whole - hearing.track.mean_rate * frame * hearing.wander.frame_s
        })
        .collect();
    let size = (n * PADDING).next_power_of_two();
    let fft = plans::forward(size);
    let bin_hz = 1.0 / (size as f64 * shape.step_s);
    let reach = ((0.5 * half_hz / bin_hz) as usize).min(size / 2 - 1);
    let own_bins = (CLEAR_CYCLES / stretch.length_s / bin_hz) as usize;
    let mut lines = Vec::new();
    for number in 1.. {
        let hz = number as f64 * pitch_hz;
        if hz > highest {
            break;
        }
        let nearest = (hz / sounding_hz).round().max(1.0);
        if (hz - nearest * sounding_hz).abs() < clear_hz {
            continue;
        }
        let reference = reference_near(hearing, hz / sounding_hz);
        let amplitude = reference.sqrt();
        let rest: Vec<Complex<f64>> = hearing.bands.cut(&shape, hz)[from..to]
            .iter()
            .zip(&turn)
            .map(|(value, turn)| value * Complex::from_polar(1.0 / amplitude, -turn * hz / sounding_hz))
            .collect();
        let mut bins: Vec<Complex<f64>> = vec![Complex::zero(); size];
        for ((slot, value), weight) in bins.iter_mut().zip(&rest).zip(window.iter()) {
            *slot = value * weight;
        }
        fft.process(&mut bins);
        let power: Vec<f64> = (-(reach as isize)..=reach as isize)
            .map(|d| {
                let response = shape.response(d as f64 * bin_hz);
                bins[d.rem_euclid(size as isize) as usize].norm_sqr() / energy / (response * response)
            })
            .collect();
        let mut around: Vec<f64> = power
            .iter()
            .enumerate()
            .filter(|(i, _)| i.abs_diff(reach) > own_bins)
            .map(|(_, value)| *value)
            .collect();
        if around.is_empty() {
            continue;
        }
        let middle = around.len() / 2;
        let (_, median, _) = around.select_nth_unstable_by(middle, f64::total_cmp);
        let background = (*median / std::f64::consts::LN_2).max(1e-300);
        let line = Line {
            number,
            background: vec![background; power.len()],
            energy: vec![energy; power.len()],
            power,
            middle: reach,
            bin_hz,
            reference: 1.0,
            rest,
            window: Rc::clone(&window),
            taken: Vec::new(),
            step_s: shape.step_s,
            half_hz: shape.half_hz,
        };
        lines.push(line.scaled(reference));
    }
    lines
}

/// Squared amplitude of the sounding reed's spectrum near the `place`-th partial, which need not be whole.
fn reference_near(hearing: &Hearing, place: f64) -> f64 {
    let nearest = hearing.partials.bands.iter().map(|band| {
        let distance = (band.number as f64 - place).abs();
        (distance, band.amplitude.norm_sqr())
    });
    let mut close: Vec<(f64, f64)> = nearest.collect();
    close.sort_by(|a, b| a.0.total_cmp(&b.0));
    close.truncate(2);
    let mean = close.iter().map(|(_, power)| power.max(1e-30).ln()).sum::<f64>() / close.len().max(1) as f64;
    mean.exp()
}
