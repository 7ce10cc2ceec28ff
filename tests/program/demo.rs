//! The invented job: is it what it says, and is it the same every time?

use std::f64::consts::TAU;
use std::path::Path;

use platenote::demo::{DemoPass, PASSES, PLAN, takes};
use platenote::instrument::Instrument;
use platenote::job::Plan;
use platenote::take::Take;

fn instrument() -> Instrument {
    Plan::parse(PLAN, Path::new("plan.toml")).expect("the plan can be read").instrument
}

fn take(pass: &DemoPass, place: &str) -> Take {
    let all = takes(&instrument(), pass);
    all.into_iter().find(|(at, _)| at.to_string() == place).unwrap_or_else(|| panic!("no take of {place}")).1
}

/// Amplitude of a sinusoid in the steady part, by a plain windowed sum.
fn amplitude(take: &Take, hz: f64) -> f64 {
    let rate = f64::from(take.rate_hz);
    let steady = &take.samples[take.samples.len() / 3..take.samples.len() * 4 / 5];
    let n = steady.len() as f64;
    let (mut re, mut im, mut weight) = (0.0, 0.0, 0.0);
    for (k, sample) in steady.iter().enumerate() {
        let window = 0.5 - 0.5 * (TAU * (k as f64 + 0.5) / n).cos();
        let turn = TAU * hz * k as f64 / rate;
        re += window * f64::from(*sample) * turn.cos();
        im += window * f64::from(*sample) * turn.sin();
        weight += window;
    }
    2.0 * re.hypot(im) / weight
}

/// Where the strongest sinusoid within `reach` cents of `hz` lies, cents.
fn strongest(take: &Take, hz: f64, reach: i32) -> f64 {
    let at = |tenth: i32| f64::from(tenth) * 0.1;
    let level = |tenth: &i32| amplitude(take, hz * (at(*tenth) / 1200.0).exp2());
    let best =
        (-10 * reach..=10 * reach).map(|tenth| (tenth, level(&tenth))).max_by(|a, b| a.1.total_cmp(&b.1));
    at(best.unwrap().0)
}

#[test]
fn every_reed_has_a_take_but_the_forgotten_one() {
    let plan = instrument();
    let [before, after] = PASSES.each_ref().map(|pass| takes(&plan, pass));
    assert_eq!(before.len(), plan.reeds().count());
    assert_eq!(after.len(), before.len() - 1);
    assert!(after.iter().all(|(place, _)| place.to_string() != "bass A6 draw"));
    let whole = |take: &Take| take.samples.iter().all(|sample| sample.abs() < 1.0 && sample.is_finite());
    assert!(before.iter().chain(&after).all(|(_, take)| whole(take)));
}

#[test]
fn the_takes_are_the_same_every_time_and_no_two_alike() {
    let plan = instrument();
    let first = takes(&plan, &PASSES[0]);
    assert!(first == takes(&plan, &PASSES[0]));
    for (k, (place, take)) in first.iter().enumerate() {
        assert!(first[..k].iter().all(|(_, other)| other != take), "{place} sounds like another");
    }
}

#[test]
fn reeds_sound_at_the_pitch_the_story_gives_them() {
    // B4 draw is 3.9 cents sharp at 20 °C, G4 at A4 = 442 Hz is 393.777 Hz; before it is 18 °C, -0.215 cents/K.
    let off = strongest(&take(&PASSES[0], "bass B4 draw"), 393.777, 8);
    assert!((off - (3.9 + 0.43)).abs() < 0.6, "{off}"); // The bellows waver by some tenths.
    // A3 holds plate A4 after: G2, 1 semitone above F#2 (92.919 Hz at 442).
    let off = strongest(&take(&PASSES[1], "bass A3 press"), 2.0 * 92.919, 115);
    assert!((off - (100.0 + 0.9 - 0.43)).abs() < 1.0, "{off}");
}

#[test]
fn the_opposite_reed_is_there_where_a_valve_leaks_and_nowhere_else() {
    // B3 press at 442 Hz: F#4 371.676 Hz + 0.4 cents; its draw reed 7.2 cents lower; 18 °C before. Third partials.
    let cents = |offset: f64| 3.0 * 371.676 * ((offset + 0.43) / 1200.0).exp2();
    let beside = |pass: &DemoPass, shift: f64| {
        let take = take(pass, "bass B3 press");
        20.0 * (amplitude(&take, cents(-6.8 + shift)) / amplitude(&take, cents(0.4 + shift))).log10()
    };
    let before = beside(&PASSES[0], -0.5); // The leak pulls the sounding reed by half a cent.
    assert!((-36.0..-22.0).contains(&before), "{before:.1} dB");
    let clean = take(&PASSES[0], "bass B4 press");
    let third = |offset: f64| 3.0 * 393.777 * ((offset + 0.43) / 1200.0).exp2();
    let ratio = 20.0 * (amplitude(&clean, third(3.9)) / amplitude(&clean, third(-0.9))).log10();
    assert!(ratio < -33.0, "{ratio:.1} dB");
}
