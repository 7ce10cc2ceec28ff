//! The refinement's own arithmetic as docs/method.md states it, and nothing else: what no program that follows the method
//! can leave out.

use std::hint::black_box;

use rustfft::FftPlanner;
use rustfft::num_complex::Complex;

/// Bands are cut up to so many partials, below this share of half the rate, so wide (docs/method.md, Bands).
const MOST_BANDS: f64 = 256.0;
/// Partials of a natural take that stand out and are followed.
const FOLLOWED: usize = 35;
const NYQUIST_SHARE: f64 = 0.95;
const BAND_SHARE: f64 = 0.9;
const WIDEST_HZ: f64 = 1500.0;
/// Passes of one complex product a sample that follow the shared phase, and one more beside the partials.
const PASSES: usize = 8;
/// Courses taken off beside each partial, and dot products or sums a course costs (two done already to be kept clear of).
const COURSES: usize = 4;
const SWEEPS: usize = 4;
/// Zero padding of the transform beside each partial.
const PADDING: usize = 4;

/// Do it for a take of this length, rate and pitch.
pub fn refinement(length_s: f64, rate_hz: f64, pitch_hz: f64) {
    let bands = (NYQUIST_SHARE * 0.5 * rate_hz / pitch_hz).clamp(1.0, MOST_BANDS) as usize;
    let half_hz = (BAND_SHARE * pitch_hz).min(WIDEST_HZ);
    let len = (2.0 * half_hz * length_s) as usize;
    // A power of two transforms fastest.
    let (short, padded) = (len.next_power_of_two(), (PADDING * len).next_power_of_two());
    let mut planner = FftPlanner::<f64>::new();
    let (back, forward, beside) =
        (planner.plan_fft_inverse(short), planner.plan_fft_forward(short), planner.plan_fft_forward(padded));
    let start: Vec<Complex<f64>> = (0..short).map(|i| Complex::new(1.0, i as f64)).collect();
    let phasors = start.clone();
    let course: Vec<f64> = (0..short).map(|i| i as f64).collect();
    let mut kept = start.clone();
    for band in 0..bands {
        let mut series = start.clone();
        back.process(&mut series);
        let mut noise = series.clone();
        forward.process(&mut noise);
        black_box(&noise);
        if band >= FOLLOWED {
            continue;
        }
        for _ in 0..PASSES {
            let sum: Complex<f64> = series.iter().zip(&phasors).map(|(value, phasor)| value * phasor).sum();
            black_box(sum);
        }
        for _ in 0..COURSES * SWEEPS {
            let sum: Complex<f64> = series.iter().zip(&course).map(|(value, course)| value * course).sum();
            black_box(sum);
        }
        kept.clone_from(&series);
        kept.resize(padded, Complex::new(0.0, 0.0));
        beside.process(&mut kept);
        black_box(&kept);
    }
}
