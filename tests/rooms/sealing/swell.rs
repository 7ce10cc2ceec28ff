//! Swells by hand, open, sealed, open.

use super::{judged, set};
use crate::bench::chance::Chance;
use crate::bench::sealing::{Curves, OwnEffect, Spot, plates, swell};
use crate::bench::statistics::Rate;
use platenote::judgement::sealing::{SealVerdict, SealingFinding};

/// Sizes of leak, shares of the opening.
pub const SIZES: [f64; 5] = [0.0, 0.3, 0.5, 1.0, 2.0];

/// One test of a plate whose leak has the size `SIZES[leak]`; sealed, it is the tight plate with the seal's own effect. Where
/// the plays cannot be compared they are played again, as the program asks, up to three times in all.
fn test(plate: &[Curves], leak: usize, seed: u64, own_db: f64, moved_m: f64) -> Option<SealingFinding> {
    let chance = &mut Chance::split(seed, 910);
    let spot = Spot::new(chance);
    let own = OwnEffect::drawn(chance, own_db);
    let mut last = None;
    for _ in 0..3 {
        let mut plays = Vec::new();
        for play in 0..3 {
            let stirred = spot.stirred(chance, moved_m);
            let (curves, own) = if play == 1 { (&plate[0], own) } else { (&plate[leak], OwnEffect::NONE) };
            plays.push(swell(curves, chance, &stirred, own)?);
        }
        let finding = judged(set(1, plate[0].hz, plays));
        if finding.verdict != SealVerdict::Refused {
            return Some(finding);
        }
        last = Some(finding);
    }
    last
}

/// Figures by size over the plates, printed: found (leaks or suspect), leaks, tight, refused.
fn figures(name: &str, lo_hz: f64, hi_hz: f64, n_plates: u64, per_plate: u64) -> Vec<(f64, Rate, Rate)> {
    let plates = plates(7_000 + lo_hz as u64, n_plates, lo_hz, hi_hz, &SIZES);
    let mut told = Vec::new();
    for (leak, size) in SIZES.iter().enumerate() {
        let findings: Vec<Option<SealingFinding>> = plates
            .iter()
            .enumerate()
            .flat_map(|(idx, plate)| {
                (0..per_plate).map(move |i| test(plate, leak, 1_000 * idx as u64 + i, 0.3, 0.004))
            })
            .collect();
        let unplayed = findings.iter().filter(|finding| finding.is_none()).count();
        let findings: Vec<SealingFinding> = findings.into_iter().flatten().collect();
        let is = |wanted: &[SealVerdict]| {
            Rate::of(findings.iter().map(|finding| wanted.contains(&finding.verdict)))
        };
        let found = is(&[SealVerdict::Leaks, SealVerdict::Suspect]);
        let tight = is(&[SealVerdict::Tight]);
        let untrue =
            findings.iter().filter(|finding| finding.limit.is_some_and(|limit| limit < *size)).count();
        let mut evidence: Vec<f64> = findings.iter().filter_map(|finding| finding.evidence).collect();
        evidence.sort_by(f64::total_cmp);
        let at = |q: f64| evidence.get((evidence.len() as f64 * q) as usize).copied().unwrap_or(f64::NAN);
        let mut sizes: Vec<f64> = findings.iter().filter_map(|finding| finding.size).collect();
        sizes.sort_by(f64::total_cmp);
        println!(
            "{name} {size}: found {found}; leaks {}; tight {} (untrue {untrue}); refused {}; unplayed {unplayed}; \
             evidence 50 % {:.2}, 95 % {:.2}, 98 % {:.2}; size 50 % {:.2}",
            is(&[SealVerdict::Leaks]).hits,
            tight.hits,
            is(&[SealVerdict::Refused]).hits,
            at(0.5),
            at(0.95),
            at(0.98),
            sizes.get(sizes.len() / 2).copied().unwrap_or(f64::NAN)
        );
        told.push((*size, found, tight));
    }
    told
}

#[test]
fn leaks_are_found_in_swells() {
    for (name, lo, hi) in [
        ("110-220", 110.0, 220.0),
        ("220-440", 220.0, 440.0),
        ("440-880", 440.0, 880.0),
        ("880-1760", 880.0, 1760.0),
    ] {
        figures(name, lo, hi, 6, 40);
    }
}
