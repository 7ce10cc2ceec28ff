//! A row sealed at once: one open and one sealed play of each reed, the block taken out and put back in between.

use super::{GAUGE_PA, set};
use crate::bench::chance::Chance;
use crate::bench::sealing::{OwnEffect, Spot, held, plates};
use platenote::analysis::{Play, PlayKind};
use platenote::judgement::sealing::{SealBench, SealVerdict, judge_sealings};

/// Every play of the sealed pass is 4 dB softer, since the block lies otherwise; three of twelve valves leak by one opening.
#[test]
fn what_a_row_shares_is_no_leak_and_hides_none() {
    let plates = plates(9_300, 1, 180.0, 400.0, &[0.0, 1.0]);
    let leaking = [3, 7, 8];
    let chance = &mut Chance::split(5, 950);
    let sets: Vec<_> = (1..=12)
        .map(|n| {
            let spot = Spot::new(chance);
            let leak = usize::from(leaking.contains(&n));
            let mut play = |curves, own| held(curves, chance, GAUGE_PA, 0.02, &spot, own);
            let open = play(&plates[0][leak], OwnEffect::NONE);
            let sealed: Option<Play> = play(&plates[0][0], OwnEffect { db: -4.0, tilt: 0.0 });
            set(n, plates[0][0].hz, Some(PlayKind::Held), vec![open, sealed])
        })
        .collect();
    for finding in judge_sealings(&sets, &SealBench::default()) {
        let leaks = leaking.contains(&finding.valve.plate.number);
        assert_eq!(finding.verdict == SealVerdict::Leaks, leaks, "{finding:?}");
        assert!(finding.reason.contains("common to the row"), "{finding:?}");
    }
}
