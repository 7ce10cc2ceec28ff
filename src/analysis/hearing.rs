//! Listening to one take: from samples to the sounding reed's pitch. The opposite reed comes afterwards.

use rustfft::num_complex::Complex;

use super::bands::Bands;
use super::envelope::{Envelope, envelope};
use super::fundamental::{Fundamental, fundamental};
use super::pair::{Pair, pair};
use super::partials::{Partials, Wander, interpolate};
use super::second_tone::MAINS_HZ;
use super::sidebands::Stretch;
use super::smoother::Track;
use super::spectrum::spectrum;
use super::steady::{pitch_track, steady_frames};
use super::turning::Turning;
use super::{Clock, Doubt, Expectation, Refusal, Signal};
use crate::take::Take;
use crate::units::{Cents, Hz, Seconds, Span};

/// Frame of the coarse spectrum, s: eleven periods of the lowest reed.
const COARSE_FRAME_S: f64 = 0.4;
/// Frames of the coarse spectrum.
const COARSE_FRAMES: usize = 4;
/// Periods a note must sound for.
const LEAST_PERIODS: f64 = 12.0;
/// And this long at the least, s.
const LEAST_S: f64 = 0.08;
/// Sound kept around the note for the band filters, s.
const MARGIN_S: f64 = 0.25;
/// Partials are followed up to this share of half the sample rate.
const NYQUIST_SHARE: f64 = 0.95;
/// Stretches the steady part is divided into to tell how far the pitch wanders.
const BATCHES: usize = 5;
/// Half width of the interval for the wander, in standard deviations of the stretches' means: 1.96 for a known deviation,
/// 2.78 for one from five values (Student's t); chosen between by the sweep over natural takes.
const WANDER_95: f64 = 2.3;
/// What is added to that for wander so slow that neighbouring stretches go together; chosen by a sweep over random courses
/// of 0.2 to 4 s correlation.
const SLOW_95: f64 = 4.0;
/// A bellows' wander has a memory of about a second: the shorter the take against this, s, the less of it has been seen.
const MEMORY_S: f64 = 0.7;
/// Left out at either end before two reeds are looked for, s.
const SETTLING_S: f64 = 0.08;
/// An octave pair's low reed: partials looked at, how many odd ones must be there, how far above the noise of their band
/// and how strong against the strongest partial, power ratios.
const BELOW_PARTIALS: usize = 16;
const LEAST_ODD: usize = 4;
const ODD_SNR: f64 = 30.0;
const ODD_SHARE: f64 = 1e-3;
/// An octave reed lies no farther from the exact octave, cents.
const OCTAVE_CENTS: f64 = 50.0;
/// Rounds of putting the fitted tone in the place of clipped samples.
const CLIPPED_ROUNDS: usize = 2;
/// Hum alone: so near to a mains frequency (grids hold 0.2 %, common practice), sounding to within this of both ends of the
/// recording, s, and ranging over less than this in pitch, cents; bellows range over more, and a reed begins and ends.
const MAINS_SHARE: f64 = 0.002;
const EDGE_S: f64 = 0.1;
const HUM_CENTS: f64 = 0.3;
/// Unless a reed so near to it was asked for, cents: twice what a reed is off after coarse tuning (common practice, no
/// source).
const ASKED_FOR_CENTS: f64 = 10.0;
/// Two-sided 95 % point of the normal distribution.
const NORMAL_95: f64 = 1.96;

/// Everything measured before the opposite reed is looked for.
pub(super) struct Hearing {
    pub signal: Signal,
    pub envelope: Envelope,
    pub coarse: Fundamental,
    pub bands: Bands,
    pub partials: Partials,
    pub wander: Wander,
    /// First frame of the steady stretch and the one after its last.
    pub frames: (usize, usize),
    pub track: Track,
    pub steady: Span,
    /// Mean pitch over the steady stretch as the card reads it, Hz.
    pub measured_hz: f64,
    /// Mean pitch over the steady stretch, clock corrected.
    pub f0: Hz,
    pub doubt: Doubt,
    /// The sample clock, as it was given.
    clock: Clock,
    /// Two reeds near unison that both sound fully; the pitch above is then the stronger one's.
    pub pair: Option<Pair>,
    /// Whether the tone is followed by its odd partials alone, since an octave reed sounds on the even ones.
    pub odd_alone: bool,
}

impl Hearing {
    /// Listen to a take.
    pub fn new(take: &Take, expectation: &Expectation) -> Result<Self, Refusal> {
        let mut hearing = Self::of(Signal::new(take)?, expectation)?;
        if !hearing.signal.clipped.is_empty() && !hearing.signal.is_badly_clipped() {
            // Clipped samples are left out: the tone as it was fitted stands in for them, which adds nothing to the fit.
            for _ in 0..CLIPPED_ROUNDS {
                hearing.stand_in_for_clipped();
                hearing = Self::of(hearing.signal, expectation)?;
            }
        }
        if hearing.is_mains_hum(expectation) { Err(Refusal::NoTone) } else { Ok(hearing) }
    }

    /// Put the fitted tone in the place of the clipped samples.
    fn stand_in_for_clipped(&mut self) {
        let (wander, partials) = (&self.wander, &self.partials);
        let mean = wander.power.iter().sum::<f64>() / wander.power.len().max(1) as f64;
        for &i in &self.signal.clipped {
            let time = i as f64 / self.signal.rate;
            let frame = (time - wander.start_s) / wander.frame_s;
            if frame < 0.0 || frame > wander.phase.len() as f64 - 1.0 {
                continue;
            }
            let turned = std::f64::consts::TAU * partials.centre_hz * (time - partials.start_s)
                + interpolate(&wander.phase, frame);
            let level = (interpolate(&wander.power, frame) / mean.max(1e-300)).sqrt();
            let fundamental = Complex::from_polar(1.0, turned);
            let mut value = 0.0;
            for band in &partials.bands {
                value += (band.amplitude * fundamental.powu(band.number as u32)).re;
            }
            // The sound went at least as far as the card did.
            let clipped = self.signal.samples[i];
            self.signal.samples[i] = clipped.signum() * (level * value * clipped.signum()).max(clipped.abs());
        }
    }

    /// Whether this is mains hum and no reed: at a mains frequency or twice it, from the first sample to the last, and
    /// steadier than any bellows.
    fn is_mains_hum(&self, expectation: &Expectation) -> bool {
        let is_asked_for = expectation
            .pitch
            .is_some_and(|pitch| (1200.0 * (self.measured_hz / pitch.get()).log2()).abs() < ASKED_FOR_CENTS);
        if is_asked_for {
            return false;
        }
        let mains = MAINS_HZ.iter().flat_map(|hz| [*hz, 2.0 * hz]);
        let at_mains = mains.into_iter().any(|hz| (self.measured_hz - hz).abs() < MAINS_SHARE * hz);
        let from_end_to_end =
            self.envelope.start_s < EDGE_S && self.envelope.end_s > self.signal.length_s() - EDGE_S;
        at_mains && from_end_to_end && pitch_range(self) < HUM_CENTS
    }

    /// Listen to a signal.
    fn of(signal: Signal, expectation: &Expectation) -> Result<Self, Refusal> {
        let envelope = envelope(&signal);
        let sounds = envelope.end_s - envelope.start_s;
        if sounds < LEAST_S {
            return Err(Refusal::TooShort { sounds: sounds.max(0.0), needs: LEAST_S });
        }
        let mut coarse = coarse_fundamental(&signal, &envelope, expectation).ok_or(Refusal::NoTone)?;
        let needs = LEAST_S.max(LEAST_PERIODS / coarse.hz);
        if sounds < needs {
            return Err(Refusal::TooShort { sounds, needs });
        }
        let from = ((envelope.start_s - MARGIN_S).max(0.0) * signal.rate) as usize;
        let to = (((envelope.end_s + MARGIN_S) * signal.rate) as usize).min(signal.samples.len());
        let bands = Bands::new(&signal.samples[from..to], signal.rate, MARGIN_S);
        let highest = NYQUIST_SHARE * 0.5 * signal.rate;
        let edge = 0.1 * sounds;
        let cut = |bands: &Bands, hz: f64, highest: f64| {
            let (early, late) = (envelope.start_s + edge, envelope.end_s - edge);
            Partials::cut(bands, hz, from as f64 / signal.rate, highest, early, late)
        };
        let look_for_pair = |partials: &Partials| {
            let settled = (SETTLING_S + partials.memory_s()).min(0.2 * sounds);
            pair(partials, envelope.start_s + settled, envelope.end_s - settled)
        };
        let mut partials = cut(&bands, coarse.hz, highest);
        let mut pair = look_for_pair(&partials);
        // An octave pair looks like a tremolo an octave up, or like one reed with a stranger in between, but for the odd
        // partials of its low reed.
        let half = match &pair {
            Some(found) => Some(0.25 * (found.low.0 + found.high.0)),
            None => coarse.stranger.and_then(|stranger| octave_below(coarse.hz, stranger.hz)),
        };
        if let Some(half) = half {
            let below = cut(&bands, half, (BELOW_PARTIALS as f64 * half).min(highest));
            if let Some(low_reed) = odd_series(&below, envelope.start_s + edge, envelope.end_s - edge) {
                coarse.hz = low_reed;
                coarse.stranger = None;
                partials = cut(&bands, low_reed, highest);
                pair = look_for_pair(&partials);
            }
        }
        let mut wander = partials.follow(envelope.start_s, envelope.end_s);
        let frames = match &pair {
            // Beats are no unsteadiness.
            Some(pair) => wander.frames_between(pair.start_s, pair.end_s),
            None => steady_frames(&wander, coarse.hz, partials.memory_s()),
        }
        .ok_or(Refusal::NotSteady)?;
        partials.refine(&mut wander, frames, true);
        let track = wander.smooth(frames.0, frames.1);
        let measured_hz = coarse.hz + track.mean_rate / std::f64::consts::TAU;
        let f0 = true_pitch(measured_hz, expectation.clock).ok_or(Refusal::NoTone)?;
        let steady = span(wander.time(frames.0), wander.time(frames.1 - 1));
        let doubt = doubt(&wander, frames, &track, measured_hz, expectation.clock.uncertainty_ppm);
        let mut hearing = Self {
            signal,
            envelope,
            coarse,
            bands,
            partials,
            wander,
            frames,
            track,
            steady,
            measured_hz,
            f0,
            doubt,
            clock: expectation.clock,
            pair,
            odd_alone: false,
        };
        hearing.take_stronger();
        Ok(hearing)
    }

    /// Follow the wander once more with a second series taken off, so that its beats are not taken for wander.
    ///
    /// `known` are the series' lines as `Search::amplitudes` gives them; `before` is the stretch they were found on.
    pub fn follow_without(&mut self, known: &[(usize, f64, Complex<f64>)], before: &Stretch) {
        let originals: Vec<_> = self.partials.bands.iter().map(|band| band.series.clone()).collect();
        let mut turning = Turning::new(&before.turn);
        for band in &mut self.partials.bands {
            let Some((_, distance_hz, amplitude)) =
                known.iter().find(|(number, _, _)| *number == band.number)
            else {
                continue;
            };
            let line = amplitude * band.amplitude;
            let step = Complex::from_polar(1.0, std::f64::consts::TAU * distance_hz * self.partials.step_s);
            let mut phasor = line;
            for (value, back) in band.series[before.samples.clone()].iter_mut().zip(turning.at(band.number)) {
                *value -= phasor * back.conj();
                phasor *= step;
            }
        }
        let weights = self.leave_out_even();
        self.partials.refine(&mut self.wander, self.frames, false);
        self.track = self.wander.smooth(self.frames.0, self.frames.1);
        for (band, (series, noise)) in self.partials.bands.iter_mut().zip(originals.into_iter().zip(weights))
        {
            (band.series, band.noise) = (series, noise);
        }
    }

    /// Take their say from the partials on which an octave reed sounds; gives the noise of all as it was.
    fn leave_out_even(&mut self) -> Vec<f64> {
        let weights = self.partials.bands.iter().map(|band| band.noise).collect();
        let odd_alone = self.odd_alone;
        for band in self.partials.bands.iter_mut().filter(|band| odd_alone && band.number.is_multiple_of(2)) {
            // A partial drowned in noise has no say.
            band.noise = f64::MAX.sqrt();
        }
        weights
    }

    /// Where a pair sounds, the stronger reed's pitch is the reading's.
    fn take_stronger(&mut self) {
        if let Some(pair) = &self.pair {
            self.take_of_pair(pair.high_over_low > 1.0);
        }
    }

    /// Where a pair sounds and one of the two is the opposite reed, the other one is played, weaker as it may be.
    pub fn take_other_than(&mut self, opposite_hz: f64, within: f64) {
        let Some(pair) = &self.pair else { return };
        let is_it = |reed: (f64, f64)| {
            let away = 1200.0 * (opposite_hz / self.corrected(reed.0).get()).log2();
            away.abs() < within + reed.1
        };
        let (low, high) = (is_it(pair.low), is_it(pair.high));
        if low != high {
            self.take_of_pair(low);
        }
    }

    fn take_of_pair(&mut self, higher: bool) {
        let Some(pair) = &mut self.pair else { return };
        pair.higher_is_played = higher;
        let (hz, uncertainty) = if higher { pair.high } else { pair.low };
        self.measured_hz = hz;
        self.f0 = true_pitch(hz, self.clock).unwrap_or(self.f0);
        self.doubt.noise = Cents::ZERO;
        self.doubt.wander = cents(uncertainty);
    }

    /// Follow the tone by its odd partials alone, with which an octave reed does not beat, or by all of them again.
    pub fn follow(&mut self, odd_alone: bool) {
        self.odd_alone = odd_alone;
        let weights = self.leave_out_even();
        self.wander = self.partials.follow(self.envelope.start_s, self.envelope.end_s);
        self.partials.refine(&mut self.wander, self.frames, false);
        self.track = self.wander.smooth(self.frames.0, self.frames.1);
        for (band, noise) in self.partials.bands.iter_mut().zip(weights) {
            band.noise = noise;
        }
        self.measured_hz = self.partials.centre_hz + self.track.mean_rate / std::f64::consts::TAU;
        self.f0 = true_pitch(self.measured_hz, self.clock).unwrap_or(self.f0);
        self.doubt =
            doubt(&self.wander, self.frames, &self.track, self.measured_hz, self.clock.uncertainty_ppm);
    }

    /// A pitch as the card reads it, with its clock corrected.
    pub fn corrected(&self, hz: f64) -> Hz {
        true_pitch(hz, self.clock).unwrap_or(self.f0)
    }

    /// Half the 95 % interval of the pitch.
    pub fn uncertainty(&self) -> Cents {
        let Doubt { noise, wander, clock } = self.doubt;
        cents(noise.get().hypot(wander.get()).hypot(clock.get()))
    }
}

/// A fast card takes more samples than it says, so that everything seems lower.
fn true_pitch(measured_hz: f64, clock: Clock) -> Option<Hz> {
    Hz::new(measured_hz * (1.0 + 1e-6 * clock.error_ppm))
}

/// A stretch from bare numbers, which are finite by construction.
pub(super) fn span(start_s: f64, end_s: f64) -> Span {
    let seconds = |value: f64| Seconds::new(value).unwrap_or(Seconds::ZERO);
    Span { start: seconds(start_s), end: seconds(end_s) }
}

/// Cents from a bare number; a number that is not finite can only come of a division by nothing and means none.
pub(super) fn cents(value: f64) -> Cents {
    Cents::new(value).unwrap_or(Cents::ZERO)
}

pub(super) fn coarse_fundamental(
    signal: &Signal,
    envelope: &Envelope,
    expectation: &Expectation,
) -> Option<Fundamental> {
    let sounds = envelope.end_s - envelope.start_s;
    let from = ((envelope.start_s + 0.15 * sounds) * signal.rate) as usize;
    let to = (((envelope.end_s - 0.1 * sounds) * signal.rate) as usize).min(signal.samples.len());
    let stretch = signal.samples.get(from..to)?;
    let spectrum = spectrum(stretch, signal.rate, COARSE_FRAME_S.min(0.75 * sounds), COARSE_FRAMES);
    fundamental(&spectrum, 0.5 * signal.rate, expectation.pitch.map(Hz::get))
}

/// The pitch of a reed an octave below `hz`, of which `stranger_hz` is an odd partial; `None` where it is none.
fn octave_below(hz: f64, stranger_hz: f64) -> Option<f64> {
    let odd = 2.0 * (stranger_hz / hz - 0.5).round() + 1.0;
    let below = stranger_hz / odd;
    ((1200.0 * (2.0 * below / hz).log2()).abs() < OCTAVE_CENTS).then_some(below)
}

/// The pitch of a reed whose odd partials stand beside those of a stronger octave reed; `None` where there are none.
fn odd_series(partials: &Partials, from_s: f64, to_s: f64) -> Option<f64> {
    let (from, to) = partials.indices(from_s, to_s, partials.len());
    let strongest = partials.bands.iter().map(|band| band.power).fold(0.0, f64::max);
    let odd: Vec<_> = partials.bands.iter().filter(|band| !band.number.is_multiple_of(2)).collect();
    let present: Vec<_> = odd
        .iter()
        .filter(|band| {
            let hz = band.number as f64 * partials.centre_hz;
            let mains = [50.0, 60.0]
                .iter()
                .any(|mains| (hz / mains - (hz / mains).round()).abs() * mains < 0.02 * hz && hz < 700.0);
            !mains && partials.snr(band) > ODD_SNR && band.power > ODD_SHARE * strongest
        })
        .collect();
    if present.len() < LEAST_ODD || 2 * present.len() < odd.len() {
        return None;
    }
    let (mut sum, mut weights) = (0.0, 0.0);
    for band in present {
        let series = &band.series[from..to];
        let turn = series.windows(2).fold(Complex::new(0.0, 0.0), |sum, pair| sum + pair[1] * pair[0].conj());
        let weight = band.number as f64 * turn.norm();
        sum += weight * turn.arg() / (std::f64::consts::TAU * partials.step_s * band.number as f64);
        weights += weight;
    }
    Some(partials.centre_hz + sum / weights)
}

/// The parts of the uncertainty.
fn doubt(wander: &Wander, frames: (usize, usize), track: &Track, hz: f64, clock_ppm: f64) -> Doubt {
    let per_hz = 1200.0 / std::f64::consts::LN_2 / hz;
    let noise = NORMAL_95 * track.mean_rate_error / std::f64::consts::TAU * per_hz;
    // Mean pitches of equal stretches: tremor averages out in them, the wander of the bellows does not.
    let n = frames.1 - frames.0;
    let batches = BATCHES.min(n / 2).max(1);
    let means: Vec<f64> = (0..batches)
        .map(|b| {
            let (low, high) = (b * (n - 1) / batches, (b + 1) * (n - 1) / batches);
            let rate = (track.phase[high] - track.phase[low]) / ((high - low).max(1) as f64 * wander.frame_s);
            rate / std::f64::consts::TAU * per_hz
        })
        .collect();
    Doubt {
        noise: cents(noise),
        wander: cents(wander_95(&means, n as f64 * wander.frame_s)),
        clock: cents(1200.0 * (1.0 + 1e-6 * clock_ppm).log2()),
    }
}

/// Half the 95 % interval for the wander, from the stretches' mean pitches.
///
/// Where neighbours go together the wander is slow, and the take has seen only part of it; of a short take that holds even
/// where its few stretches show nothing of the kind.
fn wander_95(means: &[f64], lasts_s: f64) -> f64 {
    let mean = means.iter().sum::<f64>() / means.len().max(1) as f64;
    let squares: f64 = means.iter().map(|m| (m - mean).powi(2)).sum();
    let together: f64 =
        means.windows(2).map(|pair| (pair[0] - mean) * (pair[1] - mean)).sum::<f64>() / squares.max(1e-300);
    // Values that have nothing to do with each other give -1/n, about their own mean.
    let slow = (together + 1.0 / means.len().max(1) as f64).clamp(0.0, 1.0);
    let deviation = (squares / (means.len().max(2) - 1) as f64).sqrt();
    (WANDER_95 + SLOW_95 * slow) * (1.0 + MEMORY_S / lasts_s) * deviation
}

/// Range of the short-time pitch over the steady stretch, 5 to 95 %, cents.
pub(super) fn pitch_range(hearing: &Hearing) -> f64 {
    let half = ((0.1 / hearing.wander.frame_s / 2.0) as usize).max(1);
    let mut track = pitch_track(&hearing.wander, hearing.coarse.hz, half);
    let track = &mut track[hearing.frames.0..hearing.frames.1];
    track.sort_by(f64::total_cmp);
    let at = |q: f64| track[((track.len() - 1) as f64 * q) as usize];
    at(0.95) - at(0.05)
}
