//! What the steady stretch says besides its pitch: level, noise between the partials, pitch against level.

use super::NotMeasured;
use super::hearing::Hearing;
use super::steady::pitch_track;
use crate::units::{Dbfs, Decibels};

/// Breath is counted between these frequencies, Hz: below lie hum and rumble, above few reeds sound.
const BREATH_HZ: (f64, f64) = (150.0, 8_000.0);
/// Pitch against level: values are taken this far apart, s, and so many of them are needed.
const VALUE_S: f64 = 0.15;
const LEAST_VALUES: usize = 8;
/// And the level must range this far, dB.
const LEAST_RANGE_DB: f64 = 0.8;
/// The pitch is a mean over somewhat more of the wander than the level is: the slope may be flatter by this part of it.
const FLATTER: f64 = 0.12;

/// Root-mean-square level of the steady stretch.
pub(super) fn level(hearing: &Hearing) -> Dbfs {
    let index = |time: f64| ((time * hearing.signal.rate) as usize).min(hearing.signal.samples.len());
    let stretch = &hearing.signal.samples[index(hearing.steady.start.get())..index(hearing.steady.end.get())];
    let power = stretch.iter().map(|x| x * x).sum::<f64>() / stretch.len().max(1) as f64;
    Dbfs::new(10.0 * power.max(1e-20).log10()).unwrap_or(Dbfs::FLOOR)
}

/// Noise between the partials against the tone.
pub(super) fn breath(hearing: &Hearing) -> Result<Decibels, NotMeasured> {
    let tone: f64 = hearing.partials.bands.iter().map(|band| band.amplitude.norm_sqr()).sum();
    let spacing = hearing.partials.centre_hz;
    let noise: f64 = (1..)
        .zip(&hearing.partials.noise_beside)
        .filter(|(number, _)| (BREATH_HZ.0..BREATH_HZ.1).contains(&(f64::from(*number) * spacing)))
        .map(|(_, density)| density * spacing)
        .sum();
    if noise > 0.0 && tone > 0.0 {
        Decibels::new(10.0 * (noise / tone).log10()).ok_or(NotMeasured::TooNoisy)
    } else {
        Err(NotMeasured::TooNoisy)
    }
}

/// Tone over all noise of the band, dB.
pub(super) fn tone_over_noise(hearing: &Hearing) -> f64 {
    let tone: f64 = hearing.partials.bands.iter().map(|band| band.amplitude.norm_sqr()).sum();
    let noise: f64 = hearing.partials.noise_beside.iter().sum::<f64>() * hearing.partials.centre_hz;
    10.0 * (tone / noise.max(1e-30)).log10()
}

/// How the pitch follows the level: cents per dB with half its 95 % interval, from a line of least squares.
pub(super) fn pitch_per_db(hearing: &Hearing) -> Result<(f64, f64), NotMeasured> {
    let wander = &hearing.wander;
    let step = ((VALUE_S / wander.frame_s) as usize).max(1);
    let half = (step / 2).max(1);
    let cents = pitch_track(wander, hearing.partials.centre_hz, half);
    let level = super::envelope::smooth_db(&wander.power, half);
    let values: Vec<(f64, f64)> = (hearing.frames.0 + half..hearing.frames.1.saturating_sub(half))
        .step_by(step)
        .map(|i| (level[i], cents[i]))
        .collect();
    let n = values.len();
    if n < LEAST_VALUES {
        return Err(NotMeasured::TooShort {
            lasts: hearing.steady.length().get(),
            needs: (LEAST_VALUES + 2) as f64 * VALUE_S,
        });
    }
    let range = values.iter().map(|v| v.0).fold(f64::MIN, f64::max)
        - values.iter().map(|v| v.0).fold(f64::MAX, f64::min);
    if range < LEAST_RANGE_DB {
        return Err(NotMeasured::LevelEven);
    }
    let mean = |f: fn(&(f64, f64)) -> f64| values.iter().map(f).sum::<f64>() / n as f64;
    let (x0, y0) = (mean(|v| v.0), mean(|v| v.1));
    let sxx: f64 = values.iter().map(|v| (v.0 - x0).powi(2)).sum();
    let sxy: f64 = values.iter().map(|v| (v.0 - x0) * (v.1 - y0)).sum();
    let slope = sxy / sxx;
    let rest: f64 = values.iter().map(|v| (v.1 - y0 - slope * (v.0 - x0)).powi(2)).sum();
    // 2.4: two-sided 95 % point of Student's t with 6 degrees of freedom, the fewest that occur.
    let scatter = 2.4 * (rest / (n - 2) as f64 / sxx).sqrt();
    Ok((slope, scatter.hypot(FLATTER * slope)))
}
