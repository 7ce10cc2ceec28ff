//! Swells by hand, open, sealed, open, on plates that the reed equations give with other measures than the model's own.

use super::{by_hand, figures, n_plates};
use crate::bench::sealing::plates;

/// Sizes of leak, shares of the opening.
pub const SIZES: [f64; 5] = [0.0, 0.3, 0.5, 1.0, 2.0];

#[test]
fn leaks_are_found_in_swells_from_220_hz() {
    sweep(220.0, 440.0);
}

#[test]
fn leaks_are_found_in_swells_from_440_hz() {
    sweep(440.0, 880.0);
}

#[test]
fn leaks_are_found_in_swells_from_880_hz() {
    sweep(880.0, 1760.0);
}

/// Below 220 Hz little is promised; counted with the long run only.
#[test]
fn leaks_are_found_in_swells_from_110_hz() {
    if n_plates() >= 4 {
        sweep(110.0, 220.0);
    }
}

/// At most one false alarm in 48 valves; 60, 95 and 98 % of the leaks of 0.5, 1 and 2 openings from 220 to 880 Hz; a stated limit
/// true in 95 %. `PLATENOTE_SEALING_PLATES=5` for the figures of docs/method.md.
fn sweep(low_hz: f64, high_hz: f64) {
    let name = format!("swell {low_hz}-{high_hz} Hz");
    let plates = plates(7_000 + low_hz as u64, n_plates(), low_hz, high_hz, &SIZES);
    for (leak, size) in SIZES.iter().enumerate() {
        let tests = plates
            .iter()
            .enumerate()
            .flat_map(|(idx, plate)| (0..40).map(move |i| by_hand(plate, leak, 1_000 * idx as u64 + i)));
        let told = figures(&name, *size, tests);
        // From 880 Hz up the aim was missed: a person's place changes the high partials as much as a leak of half an opening.
        let is_promised = (220.0..880.0).contains(&low_hz);
        assert!(is_promised || low_hz < 220.0 || told.tight.hits == 0, "{name}: tight is not said there");
        let wanted = match (is_promised, *size) {
            (_, 0.0) => {
                // One in 48 must not be ruled out.
                assert!(told.found.interval(0.02).0 <= 1.0 / 48.0, "{name}: false {}", told.found);
                continue;
            }
            (true, 0.5) => 0.60,
            (true, 1.0) => 0.95,
            (true, 2.0) => 0.98,
            _ => continue,
        };
        assert!(told.found.interval(0.02).1 >= wanted, "{name}, {size}: {} for {wanted}", told.found);
        assert!(told.untrue.interval(0.02).0 <= 0.05, "{name}, {size}: limits untrue {}", told.untrue);
    }
}
