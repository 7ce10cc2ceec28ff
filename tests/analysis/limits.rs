//! What is told as quiet is quiet: the stated limit lies above the opposite reed's true power at the microphone.
//!
//! Sounds from `bench::dark`, on random notes, levels, lengths and colours; told and untold.

use crate::bench::chance::Chance;
use crate::bench::dark::{Note, Tongue};
use crate::bench::statistics::{Rate, over_seeds, quantile, trials};
use platenote::analysis::{Expectation, Opposite, OppositeExpectation, read};
use platenote::take::Take;
use platenote::units::{Cents, Hz};

/// At most 1 stated limit in 50 lies below the truth, from −65 to −20 dB and from one beat in the take on.
#[test]
fn a_stated_limit_lies_above_the_true_power() {
    let margins = over_seeds(7_000_000, trials(600, 150), |seed| {
        let c = &mut Chance::split(seed, 960);
        let mut note = Note::drawn(seed, 60.0, 1500.0);
        note.lasts_s = c.log_between(1.2, 6.0);
        let hz = c.log_between(1.5 / (0.7 * note.lasts_s), 8.0);
        let cents = (1200.0 * (1.0 + c.sign() * hz / note.hz).log2()).clamp(-150.0, 150.0);
        let last = if c.happens(0.5) { 99 } else { c.between(1.0, 16.0).round() as usize };
        note.tongue =
            Some(Tongue { cents, level_db: c.between(-65.0, -20.0), slope_db: c.between(-24.0, 0.0), last });
        let made = note.made(seed);
        let opposite = if seed % 2 == 0 && cents.abs() < 70.0 {
            let told = made.cents + (0.4 * c.normal()).clamp(-0.9, 0.9);
            let pitch = Hz::new(note.hz * (told / 1200.0).exp2())?;
            OppositeExpectation::Known { pitch, within: Cents::new(1.0)? }
        } else {
            OppositeExpectation::Unknown
        };
        let take = Take::new(made.samples, made.rate_hz);
        let state = read(&take, &Expectation { opposite, ..Expectation::default() }).ok()?.opposite;
        let Opposite::Quiet { limit, .. } = state else { return None };
        if limit.get() < made.level_db {
            println!(
                "   {seed} {:.1} Hz, {:.1} s, {cents:.1} cents, {:.1} dB, slope {:?}: {state:?}",
                note.hz, note.lasts_s, made.level_db, note.tongue
            );
        }
        Some((limit.get() - made.level_db, limit.get()))
    });
    let all = margins.len();
    let stated: Vec<(f64, f64)> = margins.into_iter().flatten().collect();
    let untrue = Rate::of(stated.iter().map(|(margin, _)| *margin < 0.0));
    let limits: Vec<f64> = stated.iter().map(|(_, limit)| *limit).collect();
    println!(
        "limits under the truth: {untrue}, of {all} takes; median limit {:.1} dB",
        quantile(&limits, 0.5)
    );
    assert!(stated.len() * 8 >= all && untrue.hits * 50 <= stated.len(), "{untrue} of {all}");
}
