//! Plans for Fourier transforms, kept from take to take: making one costs more than using it once.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::sync::Arc;

use realfft::{RealFftPlanner, RealToComplex};
use rustfft::{Fft, FftPlanner};

/// Points planned for before a thread's plans are dropped and made anew: some 32 bytes each.
const MOST_POINTS: usize = 500_000;

/// Each plan comes from a planner of its own: one that knows other lengths builds on their plans, and then the last bit
/// of a result would tell which takes the thread had read before.
#[derive(Default)]
struct Plans {
    real: BTreeMap<usize, Arc<dyn RealToComplex<f64>>>,
    forward: BTreeMap<usize, Arc<dyn Fft<f64>>>,
    inverse: BTreeMap<usize, Arc<dyn Fft<f64>>>,
    points: usize,
}

thread_local! {
    static PLANS: RefCell<Plans> = RefCell::new(Plans::default());
}

impl Plans {
    fn make_room_for(&mut self, length: usize) {
        if self.points + length > MOST_POINTS {
            *self = Self::default();
        }
        self.points += length;
    }
}

/// Forward transform of `length` real samples.
pub(super) fn real_forward(length: usize) -> Arc<dyn RealToComplex<f64>> {
    PLANS.with_borrow_mut(|plans| {
        if !plans.real.contains_key(&length) {
            plans.make_room_for(length);
        }
        let planned = || RealFftPlanner::new().plan_fft_forward(length);
        plans.real.entry(length).or_insert_with(planned).clone()
    })
}

/// Forward transform of `length` complex values.
pub(super) fn forward(length: usize) -> Arc<dyn Fft<f64>> {
    PLANS.with_borrow_mut(|plans| {
        if !plans.forward.contains_key(&length) {
            plans.make_room_for(length);
        }
        let planned = || FftPlanner::new().plan_fft_forward(length);
        plans.forward.entry(length).or_insert_with(planned).clone()
    })
}

/// Inverse transform of `length` complex values, not scaled.
pub(super) fn inverse(length: usize) -> Arc<dyn Fft<f64>> {
    PLANS.with_borrow_mut(|plans| {
        if !plans.inverse.contains_key(&length) {
            plans.make_room_for(length);
        }
        let planned = || FftPlanner::new().plan_fft_inverse(length);
        plans.inverse.entry(length).or_insert_with(planned).clone()
    })
}

#[cfg(test)]
mod tests {
    use rustfft::num_complex::Complex;

    use super::*;

    /// Lengths made of small factors, as the analysis asks for them.
    fn lengths() -> impl Iterator<Item = usize> {
        let small = |n: usize| {
            [2, 3, 5, 7, 11].iter().fold(n, |n, p| {
                let mut n = n;
                while n.is_multiple_of(*p) {
                    n /= p;
                }
                n
            }) == 1
        };
        (16..9_000).step_by(4).filter(move |n| small(*n) || n % 97 == 0)
    }

    fn transformed(length: usize) -> Vec<Complex<f64>> {
        let mut values: Vec<Complex<f64>> =
            (0..length).map(|i| Complex::new((i as f64 * 0.7).sin(), (i as f64 * 1.3).cos())).collect();
        forward(length).process(&mut values);
        values
    }

    /// A thread that reads takes of all lengths for a whole day keeps no more than a stated part of memory.
    #[test]
    fn what_is_kept_stays_small_however_many_lengths_come() {
        let mut most = 0;
        for length in (60_000..400_000).step_by(20_000) {
            let _ = (forward(length), inverse(length + 4), real_forward(length + 8));
            let (kept, points) = PLANS.with_borrow(|plans| {
                let lengths = plans.forward.keys().chain(plans.inverse.keys()).chain(plans.real.keys());
                (lengths.sum::<usize>(), plans.points)
            });
            // One alone may be longer than all that is kept else.
            assert!(kept == points && points <= MOST_POINTS.max(length + 8), "{length}: {kept} of {points}");
            most = most.max(points);
        }
        assert!(most > MOST_POINTS / 4, "it keeps {most}");
    }

    /// On a busy machine one reading in some hundreds had another last bit: which takes its thread had read before told.
    #[test]
    fn a_transform_is_the_same_to_the_bit_whatever_was_planned_before() {
        let on_its_own_thread =
            |length| std::thread::spawn(move || transformed(length)).join().expect("a result");
        let differing: Vec<usize> =
            lengths().filter(|length| transformed(*length) != on_its_own_thread(*length)).collect();
        assert_eq!(differing, Vec::<usize>::new());
    }
}
