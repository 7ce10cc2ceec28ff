//! Phasors that turn a partial back by the shared phase: the next partial's come from the last one's by one product.

use rustfft::num_complex::Complex;

/// The phasors `exp(-i number phase)` for ascending partial numbers.
pub(super) struct Turning {
    base: Vec<Complex<f64>>,
    now: Vec<Complex<f64>>,
    number: usize,
}

impl Turning {
    /// For a phase of the fundamental, rad, per sample.
    pub fn new(phase: &[f64]) -> Self {
        let base: Vec<_> = phase.iter().map(|phase| Complex::from_polar(1.0, -phase)).collect();
        Self { now: vec![Complex::new(1.0, 0.0); base.len()], base, number: 0 }
    }

    /// The phasors of partial `number`, which must not lie below the one asked for before.
    pub fn at(&mut self, number: usize) -> &[Complex<f64>] {
        while self.number < number {
            self.now.iter_mut().zip(&self.base).for_each(|(now, base)| *now *= base);
            self.number += 1;
        }
        &self.now
    }
}
