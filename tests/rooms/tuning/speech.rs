//! Reeds that speak badly: planted in an even block, and an even block without any.

use platenote::analysis::Warning;
use platenote::instrument::Stroke::{Draw, Press};
use platenote::tuning::{ResponseFault, responses};
use platenote::units::Dbfs;

use crate::bench::chance::Chance;
use crate::judgement::built::{change, db, in_tune, instrument, reed, seconds};

#[test]
fn each_trouble_is_told_where_it_was_planted_and_nowhere_else() {
    let plan = instrument(24);
    let mut pass = in_tune(&plan);
    let mut chance = Chance::new(7);
    for (place, played) in plan.reeds() {
        let note = f64::from(played.note.number());
        change(&mut pass, &place, |reading| {
            reading.onset = Ok(seconds(0.3 * (-(note - 40.0) / 20.0).exp() * (0.1 * chance.normal()).exp()));
            reading.level = Dbfs::new(-20.0 + 0.5 * chance.normal()).unwrap();
            reading.breath = Ok(db(-50.0 + chance.normal()));
            reading.pitch_per_db = Ok((-0.2 + 0.03 * chance.normal(), 0.05));
        });
    }
    assert_eq!(responses(&plan, &pass), []);
    change(&mut pass, &reed(3, Press), |reading| reading.onset = Ok(seconds(0.9)));
    change(&mut pass, &reed(5, Draw), |reading| reading.level = Dbfs::new(-30.0).unwrap());
    for stroke in [Press, Draw] {
        change(&mut pass, &reed(8, stroke), |reading| reading.level = Dbfs::new(-29.0).unwrap());
    }
    change(&mut pass, &reed(10, Press), |reading| reading.breath = Ok(db(-36.0)));
    change(&mut pass, &reed(12, Draw), |reading| reading.pitch_per_db = Ok((-1.8, 0.1)));
    change(&mut pass, &reed(14, Draw), |reading| reading.pitch_per_db = Ok((-0.8, 0.1)));
    change(&mut pass, &reed(16, Press), |reading| reading.warnings.push(Warning::Wandering { range: 7.0 }));
    let told: Vec<_> = responses(&plan, &pass).into_iter().map(|one| (one.place, one.trouble)).collect();
    let wanted = [
        (reed(3, Press), ResponseFault::SlowStart),
        (reed(5, Draw), ResponseFault::Weak),
        (reed(8, Press), ResponseFault::WeakOnBoth),
        (reed(8, Draw), ResponseFault::WeakOnBoth),
        (reed(10, Press), ResponseFault::Buzz),
        (reed(12, Draw), ResponseFault::Choking),
        (reed(14, Draw), ResponseFault::Bends),
        (reed(16, Press), ResponseFault::Unsteady),
    ];
    assert_eq!(told, wanted);
    for (_, trouble) in wanted {
        assert!(!trouble.reasons().is_empty() && !trouble.look_first().contains("leak"));
    }
}
