//! The whole way from samples: what the curves promise must come out of the sound.

use super::{judged, set};
use crate::bench::chance::Chance;
use crate::bench::reed::RATE_HZ;
use crate::bench::sealing::{Curves, OwnEffect, Spot, held_course, plates, sound, swell_course};
use platenote::analysis::{Expectation, Play, PlayKind, play_curves};
use platenote::judgement::sealing::{SealVerdict, SealingFinding};
use platenote::take::Take;

fn heard(curves: &Curves, chance: &mut Chance, course: &[f64], spot: &Spot, own: OwnEffect) -> Play {
    let loudest = curves.rise.iter().flat_map(|point| point.partials).fold(0.0, f64::max);
    let samples = sound(curves, chance, course, spot, own, 0.1 / loudest);
    play_curves(&Take::new(samples, RATE_HZ), &Expectation::default()).expect("a play")
}

fn by_swells(plate: &[Curves], seed: u64) -> SealingFinding {
    let chance = &mut Chance::split(seed, 930);
    let spot = Spot::new(chance);
    // Both curves are scaled alike, so that the level lost stays lost.
    let plays = (0..3).map(|play| {
        let curves = &plate[usize::from(play != 1)];
        let course = swell_course(curves, chance);
        heard(curves, chance, &course, &spot, OwnEffect { db: 0.2, tilt: 0.0 })
    });
    let plays: Vec<Play> = plays.collect();
    assert!(plays.iter().all(|play| play.kind == PlayKind::Swell));
    judged(set(1, plate[0].hz, None, plays.into_iter().map(Some).collect()))
}

/// A leak of one opening in the sound of a middle plate, and the same plate with a tight valve.
#[test]
fn a_leak_is_told_from_the_sound_itself() {
    let plates = plates(9_100, 1, 230.0, 420.0, &[0.0, 1.0]);
    let plate = &plates[0];
    let leak = by_swells(plate, 1);
    assert!(matches!(leak.verdict, SealVerdict::Leaks | SealVerdict::Suspect), "{leak:?}");
    let tight = by_swells(&[plate[0].clone(), plate[0].clone()], 2);
    assert!(matches!(tight.verdict, SealVerdict::Tight | SealVerdict::Unclear), "{tight:?}");

    let chance = &mut Chance::split(3, 931);
    let spot = Spot::new(chance);
    let gain = 0.1 / plate[0].rise.iter().flat_map(|point| point.partials).fold(0.0, f64::max);
    let held: Vec<Play> = (0..7)
        .map(|play| {
            let course = held_course(chance, 450.0, 0.02);
            let curves = &plate[usize::from(play % 2 == 0)];
            let samples = sound(curves, chance, &course, &spot, OwnEffect::NONE, gain);
            play_curves(&Take::new(samples, RATE_HZ), &Expectation::default()).expect("a play")
        })
        .collect();
    assert!(held.iter().all(|play| play.kind == PlayKind::Held));
    let told = judged(set(1, plate[0].hz, None, held.into_iter().map(Some).collect()));
    assert_eq!(told.verdict, SealVerdict::Leaks, "{told:?}");
    let levels = |curves: &Curves| curves.level_db(450.0).expect("a level");
    let wanted = levels(&plate[0]) - levels(&plate[1]);
    let found = told.difference_db.expect("a difference");
    assert!((found - wanted).abs() < told.uncertainty_db.expect("its doubt"), "{found} for {wanted}");
}
