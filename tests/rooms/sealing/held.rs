//! Pressure held at the gauge, three pairs.

use super::{judged, set};
use crate::bench::chance::Chance;
use crate::bench::sealing::{Curves, OwnEffect, Spot, held, plates};
use crate::bench::statistics::Rate;
use platenote::judgement::sealing::{SealVerdict, SealingFinding};

const SIZES: [f64; 4] = [0.0, 0.3, 1.0, 3.0];
const GAUGE_PA: f64 = 450.0;

fn test(plate: &[Curves], leak: usize, seed: u64, spread: f64, own_db: f64) -> Option<SealingFinding> {
    let chance = &mut Chance::split(seed, 920);
    let spot = Spot::new(chance);
    let own = OwnEffect::drawn(chance, own_db);
    let mut plays = Vec::new();
    for play in 0..7 {
        let stirred = spot.stirred(chance, 0.004);
        let (curves, own) = if play % 2 == 1 { (&plate[0], own) } else { (&plate[leak], OwnEffect::NONE) };
        plays.push(held(curves, chance, GAUGE_PA, spread, &stirred, own)?);
    }
    Some(judged(set(1, plate[0].hz, plays)))
}

#[test]
fn leaks_are_found_at_the_gauge() {
    let plates = plates(8_000, 12, 110.0, 880.0, &SIZES);
    for spread in [0.02, 0.05, 0.1] {
        for (leak, size) in SIZES.iter().enumerate() {
            let findings: Vec<SealingFinding> = plates
                .iter()
                .enumerate()
                .flat_map(|(idx, plate)| {
                    (0..40).filter_map(move |i| test(plate, leak, 1_000 * idx as u64 + i, spread, 0.6))
                })
                .collect();
            let is = |wanted: SealVerdict| Rate::of(findings.iter().map(|finding| finding.verdict == wanted));
            let untrue =
                findings.iter().filter(|finding| finding.limit.is_some_and(|limit| limit < *size)).count();
            let mut d: Vec<f64> = findings.iter().filter_map(|finding| finding.difference_db).collect();
            d.sort_by(f64::total_cmp);
            println!(
                "{spread} {size}: leaks {}; suspect {}; tight {} untrue {untrue}; difference {:.2} {:.2} {:.2}",
                is(SealVerdict::Leaks),
                is(SealVerdict::Suspect).hits,
                is(SealVerdict::Tight),
                d[d.len() / 20],
                d[d.len() / 2],
                d[d.len() * 19 / 20]
            );
        }
    }
}
