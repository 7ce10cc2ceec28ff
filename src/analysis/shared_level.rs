//! The level that the partials share, so that each can be held against all the others.

use rustfft::num_complex::Complex;

use super::hearing::Hearing;

/// The level that the partials share, so that each can be held against all others.
pub(super) struct SharedLevel {
    sum: Vec<f64>,
    weights: f64,
    /// Weight and level of each partial.
    own: Vec<(f64, Vec<f64>)>,
}

/// The shared level of series that are 1 where a partial has its mean amplitude; `known` lines of a second series are kept
/// out of it.
pub(super) fn shared_level(
    hearing: &Hearing,
    series: &[Vec<Complex<f64>>],
    known: &[(usize, f64, Complex<f64>)],
) -> SharedLevel {
    let n = series.first().map_or(0, Vec::len);
    let mut sum = vec![0.0; n];
    let mut weights = 0.0;
    let mut own = Vec::with_capacity(series.len());
    for (band, values) in hearing.partials.bands.iter().zip(series) {
        // In power over noise, but no partial outweighs the rest by more than 20 dB over the weakest usable one.
        let weight = (band.amplitude.norm_sqr() / band.noise).sqrt();
        let mut level: Vec<f64> = values.iter().map(|value| value.re - 1.0).collect();
        if let Some((_, distance_hz, amplitude)) = known.iter().find(|(number, _, _)| *number == band.number)
        {
            let turn = std::f64::consts::TAU * distance_hz * hearing.partials.step_s;
            for (i, level) in level.iter_mut().enumerate() {
                *level -= (amplitude * Complex::from_polar(1.0, turn * i as f64)).re;
            }
        }
        for (sum, level) in sum.iter_mut().zip(&level) {
            *sum += weight * level;
        }
        weights += weight;
        own.push((weight, level));
    }
    SharedLevel { sum, weights, own }
}

impl SharedLevel {
    /// The level of all partials but one, smoothed to what bellows can do, with its course a little earlier and later.
    pub fn others(&self, index: usize) -> Vec<Vec<f64>> {
        let (weight, own) = &self.own[index];
        let rest = self.weights - weight;
        if rest <= 1e-9 * self.weights {
            return Vec::new();
        }
        let level: Vec<f64> =
            self.sum.iter().zip(own).map(|(sum, own)| (sum - weight * own) / rest).collect();
        let n = level.len();
        let slope: Vec<f64> =
            (0..n).map(|i| 0.5 * (level[(i + 1).min(n - 1)] - level[i.saturating_sub(1)])).collect();
        vec![level, slope]
    }
}
