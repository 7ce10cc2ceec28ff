//! Swells by hand, open, sealed, open, on plates that the reed equations give with other measures than the model's own.

use super::{by_hand, figures, n_plates};
use crate::bench::sealing::plates;

/// Sizes of leak, shares of the opening.
pub const SIZES: [f64; 5] = [0.0, 0.3, 0.5, 1.0, 2.0];

/// At most one false alarm in 48 valves; 60, 95 and 98 % of the leaks of 0.5, 1 and 2 openings from 220 Hz up; a stated limit
/// true in 95 %. `PLATENOTE_SEALING_PLATES=8` for the figures of docs/method.md.
#[test]
fn leaks_are_found_in_swells() {
    for (name, low_hz, high_hz) in [
        ("110-220", 110.0, 220.0),
        ("220-440", 220.0, 440.0),
        ("440-880", 440.0, 880.0),
        ("880-1760", 880.0, 1760.0),
    ] {
        // Below 220 Hz nothing is asked for but few false alarms.
        let is_promised = low_hz >= 220.0;
        if !is_promised && n_plates() < 4 {
            continue;
        }
        let plates = plates(7_000 + low_hz as u64, n_plates(), low_hz, high_hz, &SIZES);
        for (leak, size) in SIZES.iter().enumerate() {
            let tests = plates
                .iter()
                .enumerate()
                .flat_map(|(idx, plate)| (0..40).map(move |i| by_hand(plate, leak, 1_000 * idx as u64 + i)));
            let told = figures(&format!("swell {name} Hz"), *size, tests);
            let wanted = match (is_promised, *size) {
                (_, 0.0) => {
                    // Of 80 or more trials; one in 48 must not be ruled out.
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
}
