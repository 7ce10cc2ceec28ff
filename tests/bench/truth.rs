//! What was planted, to be compared with what is found.

use std::f64::consts::TAU;

/// Coloured noise that follows the air: white noise through one low pass and one high pass of the first order.
#[derive(Debug, Clone, PartialEq)]
pub struct Breath {
    /// Power of the tone over the power of the breath, dB.
    pub tone_over_breath_db: f64,
    /// Corner of the low pass, Hz.
    pub high_hz: f64,
    /// Corner of the high pass, Hz.
    pub low_hz: f64,
}

impl Breath {
    /// Pole of a first-order filter with this corner.
    pub fn pole(corner_hz: f64, rate_hz: f64) -> f64 {
        (-TAU * corner_hz / rate_hz).exp()
    }

    /// Power response at `hz`, before any scaling.
    pub fn response(&self, hz: f64, rate_hz: f64) -> f64 {
        let w = TAU * hz / rate_hz;
        let one_pole = |a: f64| (1.0 - a).powi(2) / (1.0 - 2.0 * a * w.cos() + a * a);
        // High pass: 1 minus a low pass.
        let b = Self::pole(self.low_hz, rate_hz);
        let high = 2.0 * b * b * (1.0 - w.cos()) / (1.0 - 2.0 * b * w.cos() + b * b);
        one_pole(Self::pole(self.high_hz, rate_hz)) * high
    }

    /// Mean power response over the band: the power the filter makes of white noise of unit power.
    pub fn mean_response(&self, rate_hz: f64) -> f64 {
        const POINTS: usize = 4096;
        let step = 0.5 * rate_hz / POINTS as f64;
        (0..POINTS).map(|i| self.response((i as f64 + 0.5) * step, rate_hz)).sum::<f64>() / POINTS as f64
    }
}

/// What was planted in one take. Times are the card's: sample number over the rate it states.
#[derive(Debug, Clone)]
pub struct Truth {
    /// The rate the card states, Hz.
    pub rate_hz: f64,
    /// How fast the card runs, parts per million.
    pub clock_ppm: f64,
    /// Turns of the sounding reed's fundamental up to each sample.
    pub turns: Vec<f64>,
    /// Amplitudes of the sounding reed's partials, before the take's gain.
    pub partials: Vec<f64>,
    /// Turns of the opposite reed, where one sounds.
    pub opposite_turns: Option<Vec<f64>>,
    /// Amplitudes of the opposite reed's partials.
    pub opposite_partials: Vec<f64>,
    /// Delay in samples and gain of each reflection of the room.
    pub reflections: Vec<(usize, f64)>,
    /// Power of white noise per sample, on the scale of the amplitudes.
    pub white_power: f64,
    /// Breath and its power per sample.
    pub breath: Option<(Breath, f64)>,
    /// When the air comes, s.
    pub air_s: f64,
    /// From the air to 90 % of the steady level, s; 0 when the recording begins inside the note.
    pub onset_s: f64,
    /// When the air stops, s.
    pub stop_s: f64,
    /// How much the opposite reed lies above the sounding reed when both ring freely, cents.
    pub tail_offset_cents: Option<f64>,
}

impl Truth {
    /// Mean pitch of the sounding reed over a stretch, in true hertz.
    pub fn mean_pitch_hz(&self, start_s: f64, end_s: f64) -> f64 {
        self.mean_of(&self.turns, start_s, end_s) * (1.0 + 1e-6 * self.clock_ppm)
    }

    /// The same as the card reads it: a fast card takes more samples, so everything sounds lower to it.
    pub fn mean_pitch_as_read_hz(&self, start_s: f64, end_s: f64) -> f64 {
        self.mean_of(&self.turns, start_s, end_s)
    }

    /// How much the opposite reed lies above the sounding one over a stretch, cents.
    pub fn opposite_offset_cents(&self, start_s: f64, end_s: f64) -> Option<f64> {
        let other = self.mean_of(self.opposite_turns.as_ref()?, start_s, end_s);
        Some(1200.0 * (other / self.mean_of(&self.turns, start_s, end_s)).log2())
    }

    /// Distance of the two fundamentals over a stretch, Hz.
    pub fn distance_hz(&self, start_s: f64, end_s: f64) -> Option<f64> {
        let other = self.mean_of(self.opposite_turns.as_ref()?, start_s, end_s);
        Some((other - self.mean_of(&self.turns, start_s, end_s)).abs())
    }

    /// Power of the opposite reed's series re the sounding reed's, dB.
    pub fn opposite_level_db(&self) -> Option<f64> {
        let power = |a: &[f64]| a.iter().map(|a| a * a).sum::<f64>();
        (!self.opposite_partials.is_empty())
            .then(|| 10.0 * (power(&self.opposite_partials) / power(&self.partials)).log10())
    }

    /// Median over the partials of the opposite reed's level re the sounding reed's as the microphone hears them, dB;
    /// partials more than 40 dB under the strongest do not count.
    pub fn opposite_level_heard_db(&self, start_s: f64, end_s: f64) -> Option<f64> {
        let (sounding, opposite) = self.heard(start_s, end_s)?;
        let strongest = sounding.iter().copied().fold(0.0, f64::max);
        let mut levels: Vec<f64> = sounding
            .iter()
            .zip(&opposite)
            .filter(|(sounding, opposite)| **sounding > 0.01 * strongest && **opposite > 0.0)
            .map(|(sounding, opposite)| 20.0 * (opposite / sounding).log10())
            .collect();
        levels.sort_by(f64::total_cmp);
        let middle = levels.len().checked_sub(1)?;
        Some(0.5 * (levels[middle / 2] + levels[middle.div_ceil(2)]))
    }

    /// Power of the opposite reed's series re the sounding reed's as the microphone hears them, dB.
    pub fn opposite_power_heard_db(&self, start_s: f64, end_s: f64) -> Option<f64> {
        let (sounding, opposite) = self.heard(start_s, end_s)?;
        let power = |a: &[f64]| a.iter().map(|a| a * a).sum::<f64>();
        Some(10.0 * (power(&opposite) / power(&sounding)).log10())
    }

    /// Amplitudes of both reeds' partials as the microphone hears them: the sounding reed's and the opposite one's.
    fn heard(&self, start_s: f64, end_s: f64) -> Option<(Vec<f64>, Vec<f64>)> {
        let other = self.mean_of(self.opposite_turns.as_ref()?, start_s, end_s);
        let own = self.mean_of(&self.turns, start_s, end_s);
        let heard = |partials: &[f64], pitch: f64| -> Vec<f64> {
            partials.iter().zip(1..).map(|(a, k)| a * self.room_gain(f64::from(k) * pitch)).collect()
        };
        Some((heard(&self.partials, own), heard(&self.opposite_partials, other)))
    }

    /// What the room makes of a steady tone at `hz`.
    fn room_gain(&self, hz: f64) -> f64 {
        let (re, im) = self.reflections.iter().fold((1.0, 0.0), |(re, im), (delay, gain)| {
            let turn = TAU * hz * *delay as f64 / self.rate_hz;
            (re + gain * turn.cos(), im - gain * turn.sin())
        });
        f64::hypot(re, im)
    }

    /// Cramér–Rao bound of the fundamental in white noise over a stretch, Hz, one standard deviation.
    ///
    /// var ω ≥ 24 σ² / (N (N² − 1) Σ l² A²) per sample (Christensen and Jakobsson 2009, from memory; `golden.rs`
    /// checks it against two values computed from a Fisher matrix). Breath is not counted.
    pub fn crlb_hz(&self, start_s: f64, end_s: f64) -> f64 {
        let n = (end_s - start_s) * self.rate_hz;
        let weighted: f64 = self.partials.iter().enumerate().map(|(i, a)| ((i + 1) as f64 * a).powi(2)).sum();
        (24.0 * self.white_power / (n * (n * n - 1.0) * weighted)).sqrt() * self.rate_hz / TAU
    }

    /// Energy of the opposite reed's series over a stretch, against the noise it lies in, dB (Kay 1998: E / σ²).
    pub fn opposite_energy_to_noise_db(&self, start_s: f64, end_s: f64) -> Option<f64> {
        let pitch = self.mean_of(self.opposite_turns.as_ref()?, start_s, end_s);
        let n = (end_s - start_s) * self.rate_hz;
        let ratio: f64 = self
            .opposite_partials
            .iter()
            .enumerate()
            .map(|(i, a)| 0.5 * a * a * n / self.noise_per_sample((i + 1) as f64 * pitch))
            .sum();
        Some(10.0 * ratio.log10())
    }

    /// Noise as strong as white noise of this power per sample, near `hz`.
    pub fn noise_per_sample(&self, hz: f64) -> f64 {
        let breath = self.breath.as_ref().map_or(0.0, |(breath, power)| {
            power * breath.response(hz, self.rate_hz) / breath.mean_response(self.rate_hz)
        });
        (self.white_power + breath).max(1e-30)
    }

    fn mean_of(&self, turns: &[f64], start_s: f64, end_s: f64) -> f64 {
        let at = |s: f64| {
            let x = (s * self.rate_hz).clamp(0.0, (turns.len() - 1) as f64);
            let i = (x as usize).min(turns.len() - 2);
            (x, turns[i] + (x - i as f64) * (turns[i + 1] - turns[i]))
        };
        let ((x0, t0), (x1, t1)) = (at(start_s), at(end_s));
        (t1 - t0) / (x1 - x0) * self.rate_hz
    }
}
