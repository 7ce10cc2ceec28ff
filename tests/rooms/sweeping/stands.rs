//! An instrument half a semitone off: what is known of its pitch settles where a part of a row belongs.

use std::fs;

use platenote::audio::write_wav;
use platenote::take::Take;
use predicates::prelude::PredicateBooleanExt;
use predicates::str::contains;
use tempfile::TempDir;

use super::program::{RATE_HZ, lines, platenote};
use crate::bench::chance::Chance;
use crate::bench::sitting::{Happens, Sitting};

const OFF_CENTS: f64 = -55.0;

/// Plates `plates` of a row of semitones from G2 on, press and draw in turn.
fn record_part(at: &TempDir, file: &str, seed: u64, plates: std::ops::RangeInclusive<u32>) {
    let chance = &mut Chance::split(seed, 3);
    let mut events = vec![Happens::Quiet { lasts_s: 1.0 }];
    for plate in plates {
        for own_cents in [-4.0, 4.0] {
            // G2 lies 26 semitones below A4.
            let cents = OFF_CENTS + own_cents + chance.between(-2.0, 2.0);
            let hz = 440.0 * ((f64::from(plate) - 27.0) / 12.0 + cents / 1200.0).exp2();
            events.push(Happens::Note { hz, lasts_s: 1.5, level_dbfs: chance.between(-27.0, -23.0) });
            events.push(Happens::Quiet { lasts_s: 0.6 });
        }
    }
    let sitting = Sitting::play(seed, RATE_HZ, -70.0, &events);
    write_wav(&at.path().join(file), &Take::new(sitting.samples, RATE_HZ)).expect("a sound file");
}

fn job() -> TempDir {
    let at = tempfile::tempdir().expect("a folder");
    fs::create_dir(at.path().join("job")).expect("a folder");
    let notes = ["G2", "G#2", "A2", "A#2", "B2", "C3", "C#3", "D3", "D#3", "E3", "F3", "F#3"];
    let plan = format!(
        "format = 1\nbellows = \"unisonoric\"\n[[block]]\nname = \"bass\"\n[[block.row]]\nname = \"A\"\nnotes = {notes:?}\n"
    );
    fs::write(at.path().join("job/plan.toml"), plan).expect("a plan");
    at
}

#[test]
fn two_placings_that_fit_are_told_with_what_to_type_and_takes_of_the_job_settle_the_next_recording() {
    let at = job();
    record_part(&at, "first.wav", 1, 4..=8);
    let places = |shown: &assert_cmd::assert::Assert| -> Vec<(String, bool)> {
        let place = |line: &serde_json::Value| line["place"].as_str().expect("a place").to_owned();
        lines(shown, "placed").iter().map(|line| (place(line), line["sure"] == true)).collect()
    };
    let own = |plates: std::ops::RangeInclusive<u32>| -> Vec<(String, bool)> {
        let both = |plate: u32| ["press", "draw"].map(|stroke| (format!("bass A{plate} {stroke}"), true));
        plates.flat_map(both).collect()
    };
    let sweep = |file: &str, more: &[&str]| {
        platenote(&at, &[&["sweep", "job", file, "--pass", "before", "--json"], more].concat())
    };

    // Nothing is known: both placings are named, with what to type for each.
    let alone = sweep("first.wav", &[])
        .success()
        .stderr(contains("Two placings fit.").and(contains("`--stands -55`")));
    assert!(places(&alone).iter().all(|(_, is_sure)| !is_sure), "{:?}", places(&alone));
    let recording = &lines(&alone, "recording")[0];
    assert!(recording["known_offset"].is_null() && recording["rival"]["place"].is_string(), "{recording}");
    let page = fs::read_to_string(at.path().join("job/report/sweep-before.html")).expect("the page");
    assert!(page.contains("<code>--stands -55</code>"));

    // Said in cents or by one reed, it is settled.
    for said in ["-55", "-50 cents", "A4 press = 112,9 Hz"] {
        let shown = sweep("first.wav", &["--stands", said]).success();
        assert_eq!(places(&shown), own(4..=8), "--stands {said}");
        assert_eq!(lines(&shown, "recording")[0]["known_offset"]["from"], "typed");
    }
    sweep("first.wav", &["--stands", "-55", "--accept"]).success();

    // The takes of the job say it for the next part; the recording they were cut from does not confirm itself.
    record_part(&at, "second.wav", 2, 6..=10);
    let next = sweep("second.wav", &[]).success().stderr(contains("10 takes of pass `before` say"));
    assert_eq!(
        places(&next).iter().map(|(place, _)| place).collect::<Vec<_>>(),
        own(6..=10).iter().map(|(place, _)| place).collect::<Vec<_>>()
    );
    assert_eq!(lines(&next, "recording")[0]["known_offset"]["from"], "takes");
    sweep("first.wav", &[]).success().stderr(contains("Two placings fit."));
}

#[test]
fn what_does_not_say_how_far_the_instrument_stands_is_refused_before_anything_is_listened_to() {
    let at = job();
    let refused = |said: &str| {
        platenote(&at, &["sweep", "job", "no-such.wav", "--pass", "before", "--stands", said]).code(2)
    };
    refused("a bit").stderr(contains("does not say how far").and(contains("next:  give it in cents")));
    refused("400").stderr(contains("`400` is +400.0 cents from the plan").and(contains("reference_hz")));
    refused("A99 press=100").stderr(contains("has the plates 1 to 12, not 99"));
    refused("A4=100").stderr(contains("`A7 press`"));
}
