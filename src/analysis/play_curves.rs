//! One play of a sealing test as curves over time: pitch, whole level, the levels of the first partials, breath.

use std::f64::consts::TAU;

use rustfft::num_complex::Complex;

use super::bands::{BandShape, Bands};
use super::envelope::envelope;
use super::hearing::coarse_fundamental;
use super::{Expectation, Refusal, Signal};
use crate::take::Take;
use crate::units::Hz;

/// Partials whose levels are compared. The seventh to twelfth differ by 1 to 2 dB between plays of one healthy reed.
pub const COMPARED_PARTIALS: usize = 6;
/// Partials that make up the whole level and the pitch.
const HEARD_PARTIALS: usize = 12;
/// A frame lasts this long, s, or so many periods, whichever is longer.
const FRAME_S: f64 = 0.1;
const FRAME_PERIODS: f64 = 8.0;
/// Frames come this far apart, s.
const HOP_S: f64 = 0.05;
/// Left out at either end of the note, s: start and stop are no swell.
const ENDS_S: f64 = 0.2;
/// A partial is used from this far above the noise beside it, power ratio (13 dB).
const LEAST_SNR: f64 = 20.0;
/// A partial's say on the pitch grows with its power over noise up to this.
const MOST_TRUST: f64 = 1e5;
/// The level may change this fast at 220 Hz, dB/s, in proportion to the pitch, between the bounds: the tongue takes as
/// many periods to follow, whatever its pitch.
const RATE_AT_220_DB_S: f64 = 24.0;
const RATE_BOUNDS_DB_S: (f64, f64) = (6.0, 24.0);
/// Half width of a partial's band, Hz, and as a share of the highest partial heard: a swell bends the pitch by some
/// ten cents.
const BAND_HZ: f64 = 60.0;
const BAND_SHARE: f64 = 0.02;
/// And never more than this share of the distance between partials, so that a band holds one.
const BAND_OF_SPACING: f64 = 0.45;
/// A play whose level moves through at least this much is a swell, dB: even pressure within 10 % moves it by 2 dB.
const SWELL_DB: f64 = 5.0;
/// Fewer frames are no play.
const LEAST_FRAMES: usize = 8;
/// Sound kept around the note for the bands, s.
const MARGIN_S: f64 = 0.25;
/// With this share of the samples clipped the partials are not the reed's.
const CLIPPED_SHARE: f64 = 1e-3;

/// How a play was blown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PlayKind {
    /// Evenly.
    Held,
    /// Soft, loud, soft.
    Swell,
}

/// What one frame of a play tells.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlayFrame {
    /// Middle of the frame from the take's first sample, s.
    pub at_s: f64,
    /// Power of all partials heard, dBFS.
    pub level_db: f64,
    /// How fast it changes, dB/s.
    pub rate_db_s: f64,
    /// Pitch, Hz, clock corrected.
    pub pitch_hz: f64,
    /// Levels of partials 1 to 6 re the whole, dB; `None` less than 13 dB above the noise.
    pub partials_db: [Option<f64>; COMPARED_PARTIALS],
    /// Noise between the partials re the whole, dB, as dense as in the partials' own bands.
    pub breath_db: f64,
}

/// A play as curves.
#[derive(Debug, Clone, PartialEq)]
pub struct Play {
    /// Frames that change no faster than the tongue can follow, in order of time.
    pub frames: Vec<PlayFrame>,
    /// As its level shows.
    pub kind: PlayKind,
    /// Mean level of the frames, dBFS.
    pub level_db: f64,
    /// Share of each partial in the power, from the first on; sums to 1.
    pub shares: Vec<f64>,
    /// Whether so much was clipped that partials mean nothing.
    pub is_clipped: bool,
}

/// Measure one play.
///
/// - `expectation`: the reed's pitch helps against octave errors; the clock corrects the pitch.
///
/// Frames of `max(0.1 s, 8 periods)` every 50 ms, 0.2 s off either end of the note. A frame with no partial 13 dB above the
/// noise, or with a faster change than 6 to 24 dB/s (by pitch), is left out. Fails where fewer than 8 frames are left.
pub fn play_curves(take: &Take, expectation: &Expectation) -> Result<Play, Refusal> {
    let signal = Signal::new(take)?;
    let envelope = envelope(&signal);
    let (start_s, end_s) = (envelope.start_s + ENDS_S, envelope.end_s - ENDS_S);
    let needs = 2.0 * ENDS_S + FRAME_S + LEAST_FRAMES as f64 * HOP_S;
    let sounds = (envelope.end_s - envelope.start_s).max(0.0);
    if sounds < needs {
        return Err(Refusal::TooShort { sounds, needs });
    }
    let centre_hz = coarse_fundamental(&signal, &envelope, expectation).ok_or(Refusal::NoTone)?.hz;
    let from = ((envelope.start_s - MARGIN_S).max(0.0) * signal.rate) as usize;
    let to = (((envelope.end_s + MARGIN_S) * signal.rate) as usize).min(signal.samples.len());
    let bands = Bands::new(&signal.samples[from..to], signal.rate, MARGIN_S);
    let fits = ((0.46 * signal.rate / centre_hz) as usize).saturating_sub(1);
    let n_partials = HEARD_PARTIALS.min(fits).max(1);
    let widest = BAND_HZ.max(BAND_SHARE * n_partials as f64 * centre_hz);
    let shape = bands.shape(widest.min(BAND_OF_SPACING * centre_hz));
    let cut = |place: f64| bands.cut(&shape, place * centre_hz);
    let courses = Courses {
        partials: (1..=n_partials).map(|k| cut(k as f64)).collect(),
        between: (0..=n_partials).map(|k| cut(k as f64 + 0.5)).collect(),
        shape,
        centre_hz,
        from_s: from as f64 / signal.rate,
    };
    let frame_s = FRAME_S.max(FRAME_PERIODS / centre_hz);
    let n = ((end_s - start_s - frame_s) / HOP_S).max(0.0) as usize;
    let heard: Vec<Frame> =
        (0..=n).filter_map(|i| courses.frame(start_s + 0.5 * frame_s + i as f64 * HOP_S, frame_s)).collect();
    let clock = 1.0 + 1e-6 * expectation.clock.error_ppm;
    let limit = (RATE_AT_220_DB_S * centre_hz / 220.0).clamp(RATE_BOUNDS_DB_S.0, RATE_BOUNDS_DB_S.1);
    let frames: Vec<PlayFrame> = (0..heard.len())
        .filter_map(|i| heard.get(i)?.told(rate_db_s(&heard, i)?, clock))
        .filter(|frame| frame.rate_db_s.abs() <= limit)
        .collect();
    if frames.len() < LEAST_FRAMES {
        return Err(Refusal::NotSteady);
    }
    let clipped = signal.clipped.len() as f64 > CLIPPED_SHARE * signal.samples.len() as f64;
    let mut levels: Vec<f64> = frames.iter().map(|frame| frame.level_db).collect();
    levels.sort_by(f64::total_cmp);
    let at = |q: f64| levels[((levels.len() - 1) as f64 * q).round() as usize];
    let kind = if at(0.95) - at(0.05) >= SWELL_DB { PlayKind::Swell } else { PlayKind::Held };
    Ok(Play {
        level_db: levels.iter().sum::<f64>() / levels.len() as f64,
        kind,
        shares: shares(&heard, n_partials),
        is_clipped: clipped,
        frames,
    })
}

impl Play {
    /// The level below which a share `q` of the frames lies, dBFS.
    pub fn level_at(&self, q: f64) -> f64 {
        let mut levels: Vec<f64> = self.frames.iter().map(|frame| frame.level_db).collect();
        levels.sort_by(f64::total_cmp);
        let at = ((levels.len().max(1) - 1) as f64 * q.clamp(0.0, 1.0)).round() as usize;
        levels.get(at).copied().unwrap_or(self.level_db)
    }

    /// Mean pitch; the frames count alike.
    pub fn pitch(&self) -> Option<Hz> {
        let n = self.frames.len().max(1) as f64;
        Hz::new(self.frames.iter().map(|frame| frame.pitch_hz).sum::<f64>() / n)
    }
}

/// The partials' bands and those between them, all of one shape.
struct Courses {
    partials: Vec<Vec<Complex<f64>>>,
    /// Half way below the first partial and above each.
    between: Vec<Vec<Complex<f64>>>,
    shape: BandShape,
    centre_hz: f64,
    /// Where the bands begin in the take, s.
    from_s: f64,
}

/// A frame before its surroundings are known.
struct Frame {
    at_s: f64,
    pitch_hz: f64,
    /// Power of each partial, noise taken off; `None` too near to the noise.
    powers: Vec<Option<f64>>,
    whole: f64,
    noise: f64,
}

impl Courses {
    fn frame(&self, at_s: f64, frame_s: f64) -> Option<Frame> {
        let step = self.shape.step_s;
        let first = ((at_s - 0.5 * frame_s - self.from_s) / step).ceil().max(0.0) as usize;
        let last = ((at_s + 0.5 * frame_s - self.from_s) / step) as usize;
        let len = self.partials.first()?.len();
        if last <= first + 2 || last >= len {
            return None;
        }
        let n = (last - first + 1) as f64;
        let weights: Vec<f64> =
            (0..=last - first).map(|i| 1.0 - (TAU * (i as f64 + 0.5) / n).cos()).collect();
        let power = |series: &Vec<Complex<f64>>| {
            let values = series[first..=last].iter().zip(&weights);
            // Half: the mean square of a sinusoid.
            0.5 * values.map(|(z, w)| w * z.norm_sqr()).sum::<f64>() / weights.iter().sum::<f64>()
        };
        let noises: Vec<f64> = self.between.iter().map(power).collect();
        let noise_at = |k: usize| 0.5 * (noises[k] + noises[k + 1]);
        let powers: Vec<f64> = self.partials.iter().map(power).collect();
        let (mut turn, mut trust) = (0.0, 0.0);
        for (k, series) in self.partials.iter().enumerate() {
            let snr = powers[k] / noise_at(k).max(1e-30);
            if snr < LEAST_SNR {
                continue;
            }
            let number = (k + 1) as f64;
            let weight = number * number * snr.min(MOST_TRUST);
            turn += weight * phase_slope(&series[first..=last], &weights) / number;
            trust += weight;
        }
        if trust <= 0.0 {
            return None;
        }
        let off_hz = turn / trust / (TAU * step);
        let powers: Vec<Option<f64>> = powers
            .iter()
            .enumerate()
            .map(|(k, power)| {
                let noise = noise_at(k);
                let through = self.shape.response((k + 1) as f64 * off_hz).max(0.1).powi(2);
                (*power > LEAST_SNR * noise).then_some((power - noise) / through)
            })
            .collect();
        Some(Frame {
            at_s,
            pitch_hz: self.centre_hz + off_hz,
            whole: powers.iter().flatten().sum(),
            noise: noises.iter().sum(),
            powers,
        })
    }
}

impl Frame {
    fn told(&self, rate_db_s: f64, clock: f64) -> Option<PlayFrame> {
        let level = |power: f64| 10.0 * power.max(1e-30).log10();
        let mut partials_db = [None; COMPARED_PARTIALS];
        for (slot, power) in partials_db.iter_mut().zip(&self.powers) {
            *slot = power.map(|power| level(power / self.whole));
        }
        (self.whole > 0.0).then_some(PlayFrame {
            at_s: self.at_s,
            level_db: level(self.whole),
            rate_db_s,
            pitch_hz: self.pitch_hz * clock,
            partials_db,
            breath_db: level(self.noise / self.whole),
        })
    }
}

/// How much the phase of a slow series turns a sample, rad: a weighted line of least squares.
fn phase_slope(series: &[Complex<f64>], weights: &[f64]) -> f64 {
    let (mut phase, mut sums) = (0.0, [0.0; 5]);
    for (i, z) in series.iter().enumerate() {
        if i > 0 {
            phase += (z * series[i - 1].conj()).arg();
        }
        let (w, x) = (weights[i] * z.norm_sqr(), i as f64);
        for (sum, term) in sums.iter_mut().zip([w, w * x, w * x * x, w * phase, w * x * phase]) {
            *sum += term;
        }
    }
    let [w, x, xx, y, xy] = sums;
    let determinant = w * xx - x * x;
    if determinant > 0.0 { (w * xy - x * y) / determinant } else { 0.0 }
}

/// Slope of the level around frame `i`, over two frames to either side.
fn rate_db_s(frames: &[Frame], i: usize) -> Option<f64> {
    let (first, last) = (i.saturating_sub(2), (i + 2).min(frames.len().checked_sub(1)?));
    let points: Vec<(f64, f64)> = frames[first..=last]
        .iter()
        .map(|frame| (frame.at_s - frames[i].at_s, 10.0 * frame.whole.max(1e-30).log10()))
        .collect();
    let n = points.len() as f64;
    let (x0, y0) = (points.iter().map(|p| p.0).sum::<f64>() / n, points.iter().map(|p| p.1).sum::<f64>() / n);
    let sxx: f64 = points.iter().map(|p| (p.0 - x0).powi(2)).sum();
    let sxy: f64 = points.iter().map(|p| (p.0 - x0) * (p.1 - y0)).sum();
    (sxx > 0.0).then_some(sxy / sxx)
}

/// Share of each partial, as the mean of the frames' shares.
fn shares(frames: &[Frame], n_partials: usize) -> Vec<f64> {
    let mut shares = vec![0.0; n_partials];
    for frame in frames.iter().filter(|frame| frame.whole > 0.0) {
        for (share, power) in shares.iter_mut().zip(&frame.powers) {
            *share += power.unwrap_or(0.0) / frame.whole;
        }
    }
    let sum: f64 = shares.iter().sum();
    shares.iter().map(|share| share / sum.max(1e-30)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Partials by closed form: pitch falls by 4 cents and partial 2 rises by 3 dB while the level swells by 12 dB.
    fn swell(hz: f64, rate_hz: u32) -> Take {
        let (seconds, rate) = (6.0, f64::from(rate_hz));
        let n = (seconds * rate) as usize;
        let mut phase = 0.0;
        let samples = (0..n).map(|i| {
            let t = i as f64 / rate;
            let up = (std::f64::consts::PI * t / seconds).sin();
            let edge = (t.min(seconds - t) / 0.02).min(1.0);
            phase += TAU * hz * (-4.0 * up / 1200.0).exp2() / rate;
            let first = 0.05 * 10f64.powf(12.0 * up / 20.0);
            let second = 0.5 * first * 10f64.powf(3.0 * up / 20.0);
            // White noise by the finaliser of SplitMix64: a plain multiple is a chord of its own, and was heard as one.
            let mut z = (i as u64 + 1).wrapping_mul(0x9E37_79B9_7F4A_7C15);
            z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
            z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
            let noise = ((z ^ (z >> 31)) >> 40) as f64 / f64::from(1 << 23) - 1.0;
            (edge * (first * phase.sin() + second * (2.0 * phase).sin()) + 1e-4 * noise) as f32
        });
        Take::new(samples.collect(), rate_hz)
    }

    #[test]
    fn a_swell_of_known_course_is_followed() {
        for (hz, rate_hz) in [(220.0, 44_100), (880.0, 48_000), (82.4, 48_000)] {
            let play = play_curves(&swell(hz, rate_hz), &Expectation::default()).expect("a play");
            assert_eq!(play.kind, PlayKind::Swell);
            assert!(play.frames.len() > 60, "{}", play.frames.len());
            let mut errors = Vec::new();
            for frame in &play.frames {
                let up = (std::f64::consts::PI * frame.at_s / 6.0).sin();
                let cents = 1200.0 * (frame.pitch_hz / hz).log2();
                errors.push((cents + 4.0 * up).abs());
                let [Some(one), Some(two), ..] = frame.partials_db else { panic!("{frame:?}") };
                assert!((two - one - (-6.02 + 3.0 * up)).abs() < 0.1, "{hz}: {one} {two} at {up}");
            }
            // The mean over a frame of a curve that bends: 0.05 cents; noise adds as much in the softest frames.
            errors.sort_by(f64::total_cmp);
            println!("{hz} Hz: {errors:?}");
            assert!(errors[errors.len() / 2] < 0.05 && errors[errors.len() - 1] < 0.2, "{hz}: {errors:?}");
        }
    }

    #[test]
    fn an_even_tone_is_held_and_silence_is_refused() {
        let even: Vec<f32> =
            (0..96_000).map(|i| (0.1 * (TAU * 440.0 * f64::from(i) / 48_000.0).sin()) as f32).collect();
        let play = play_curves(&Take::new(even, 48_000), &Expectation::default()).expect("a play");
        assert_eq!(play.kind, PlayKind::Held);
        // A tenth of full scale, root mean square.
        assert!((play.level_db + 23.01).abs() < 0.01, "{}", play.level_db);
        let silence = Take::new(vec![0.0; 96_000], 48_000);
        assert_eq!(play_curves(&silence, &Expectation::default()), Err(Refusal::Silent));
    }
}
