//! Fewer samples a second, for finding notes only: what is measured later is cut from the sound as it came.

/// The band that is kept, Hz: the highest reed's fundamental.
const KEPT_HZ: f64 = 5_400.0;
/// The rate that is aimed at or just missed upwards, Hz.
const AIM_HZ: f64 = 14_000.0;

/// A low pass and every so-manieth of its values.
#[derive(Debug)]
pub(super) struct Decimator {
    taps: Vec<f32>,
    /// The last samples of what came before, one fewer than taps.
    history: Vec<f32>,
    step: usize,
}

/// By how much a rate is divided.
pub(super) fn divisor(rate_hz: u32) -> usize {
    ((f64::from(rate_hz) / AIM_HZ) as usize).max(1)
}

impl Decimator {
    pub fn new(rate_hz: u32) -> Self {
        let (step, rate) = (divisor(rate_hz), f64::from(rate_hz));
        if step == 1 {
            return Self { taps: Vec::new(), history: Vec::new(), step };
        }
        let low_rate = rate / step as f64;
        // What folds back lands above the kept band; a Hamming window's transition is 3.3 over its length (Harris 1978).
        let transition = low_rate - 2.0 * KEPT_HZ;
        let n = ((3.3 * rate / transition).ceil() as usize).next_multiple_of(8);
        let corner = 0.5 * low_rate / rate;
        let middle = 0.5 * (n as f64 - 1.0);
        let tap = |i: usize| {
            let x = i as f64 - middle;
            let sinc = (std::f64::consts::TAU * corner * x).sin() / (std::f64::consts::PI * x);
            let window = 0.54 - 0.46 * (std::f64::consts::TAU * i as f64 / (n as f64 - 1.0)).cos();
            sinc * window
        };
        // An even number of taps: no `x` is 0.
        let taps: Vec<f64> = (0..n).map(tap).collect();
        let sum: f64 = taps.iter().sum();
        Self { taps: taps.iter().map(|tap| (tap / sum) as f32).collect(), history: vec![0.0; n - 1], step }
    }

    /// Take in samples, a multiple of the divisor, and add what comes of them to `out`.
    pub fn hear(&mut self, samples: &[f32], out: &mut Vec<f32>) {
        if self.step == 1 {
            out.extend_from_slice(samples);
            return;
        }
        let kept = self.history.len();
        self.history.extend_from_slice(samples);
        let windows = self.history.windows(self.taps.len()).skip(self.step - 1).step_by(self.step);
        out.extend(windows.map(|window| dot(window, &self.taps)));
        let used = self.history.len() - kept;
        self.history.drain(..used);
    }
}

/// In eight sums side by side, which the compiler lays onto the processor's wide registers.
fn dot(a: &[f32], b: &[f32]) -> f32 {
    let mut sums = [0.0_f32; 8];
    for (x, y) in a.chunks_exact(8).zip(b.chunks_exact(8)) {
        for ((sum, x), y) in sums.iter_mut().zip(x).zip(y) {
            *sum += x * y;
        }
    }
    sums.iter().sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn level_after(rate_hz: u32, hz: f64) -> f64 {
        let samples: Vec<f32> = (0..rate_hz - rate_hz % divisor(rate_hz) as u32)
            .map(|n| (std::f64::consts::TAU * hz * f64::from(n) / f64::from(rate_hz)).sin() as f32)
            .collect();
        let (mut decimator, mut out) = (Decimator::new(rate_hz), Vec::new());
        for piece in samples.chunks(240 * divisor(rate_hz)) {
            decimator.hear(piece, &mut out);
        }
        let settled = &out[200..];
        10.0 * (2.0 * settled.iter().map(|x| f64::from(x * x)).sum::<f64>() / settled.len() as f64).log10()
    }

    /// What the window promises: the kept band within half a decibel, what folds into it 40 dB down (common practice
    /// gives 53 dB for the Hamming window's stop band).
    #[test]
    fn the_band_of_reeds_stays_and_nothing_folds_into_it() {
        for rate_hz in [44_100, 48_000, 96_000, 192_000, 384_000] {
            for hz in [41.0, 440.0, 5_000.0] {
                let level = level_after(rate_hz, hz);
                assert!(level.abs() < 0.5, "{rate_hz}: {hz} Hz at {level:.2} dB");
            }
            let folds = f64::from(rate_hz) / divisor(rate_hz) as f64 - 4_500.0;
            let level = level_after(rate_hz, folds);
            assert!(level < -40.0, "{rate_hz}: {folds} Hz at {level:.1} dB");
        }
    }
}
