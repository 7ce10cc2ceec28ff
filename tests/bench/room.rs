//! The room: a sparse impulse response of random arrivals that die away.

use super::chance::Chance;

/// A room as the microphone hears it.
#[derive(Debug, Clone, PartialEq)]
pub struct Room {
    /// Time for 60 dB of decay, s.
    pub rt60_s: f64,
    /// Energy of the direct sound re all the rest, dB.
    pub direct_db: f64,
    /// How many reflections.
    pub arrivals: usize,
}

impl Room {
    /// What the microphone hears of `dry`; the direct sound comes with no delay and its own level.
    ///
    /// Reflections one by one: at a hundred of them, convolution by Fourier transform was measured and takes as long.
    pub fn sound(&self, dry: &[f64], rate_hz: f64, chance: &mut Chance) -> Vec<f64> {
        let mut heard = dry.to_vec();
        for (delay, gain) in self.reflections(rate_hz, chance) {
            if delay < dry.len() {
                for (out, input) in heard[delay..].iter_mut().zip(dry) {
                    *out += gain * input;
                }
            }
        }
        heard
    }

    /// Delay in samples and gain of each reflection.
    pub fn reflections(&self, rate_hz: f64, chance: &mut Chance) -> Vec<(usize, f64)> {
        // 60 dB is a factor of 1000 in amplitude.
        let decay_per_s = 1000f64.ln() / self.rt60_s;
        let mut taps: Vec<(f64, f64)> = (0..self.arrivals)
            .map(|_| {
                let t = chance.between(0.001, 0.8 * self.rt60_s);
                (t, chance.sign() * chance.between(0.5, 1.5) * (-decay_per_s * t).exp())
            })
            .collect();
        let energy: f64 = taps.iter().map(|(_, gain)| gain * gain).sum();
        let scale = (10f64.powf(-self.direct_db / 10.0) / energy).sqrt();
        taps.iter_mut().for_each(|(_, gain)| *gain *= scale);
        taps.iter().map(|&(t, gain)| ((t * rate_hz) as usize, gain)).collect()
    }
}
