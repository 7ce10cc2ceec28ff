//! Plans for Fourier transforms, kept from take to take: making one costs more than using it once.

use std::cell::RefCell;
use std::sync::Arc;

use realfft::{RealFftPlanner, RealToComplex};
use rustfft::{Fft, FftPlanner};

/// Points planned for before a thread's plans are dropped and made anew: some 32 bytes each.
const MOST_POINTS: usize = 500_000;

struct Plans {
    real: RealFftPlanner<f64>,
    complex: FftPlanner<f64>,
    /// Lengths planned for.
    lengths: Vec<usize>,
}

thread_local! {
    static PLANS: RefCell<Plans> = RefCell::new(Plans::new());
}

impl Plans {
    fn new() -> Self {
        Self { real: RealFftPlanner::new(), complex: FftPlanner::new(), lengths: Vec::new() }
    }

    fn make_room_for(&mut self, length: usize) {
        if self.lengths.contains(&length) {
            return;
        }
        if self.lengths.iter().sum::<usize>() + length > MOST_POINTS {
            *self = Self::new();
        }
        self.lengths.push(length);
    }
}

/// Forward transform of `length` real samples.
pub(super) fn real_forward(length: usize) -> Arc<dyn RealToComplex<f64>> {
    PLANS.with_borrow_mut(|plans| {
        plans.make_room_for(length);
        plans.real.plan_fft_forward(length)
    })
}

/// Forward transform of `length` complex values.
pub(super) fn forward(length: usize) -> Arc<dyn Fft<f64>> {
    PLANS.with_borrow_mut(|plans| {
        plans.make_room_for(length);
        plans.complex.plan_fft_forward(length)
    })
}

/// Inverse transform of `length` complex values, not scaled.
pub(super) fn inverse(length: usize) -> Arc<dyn Fft<f64>> {
    PLANS.with_borrow_mut(|plans| {
        plans.make_room_for(length);
        plans.complex.plan_fft_inverse(length)
    })
}
