//! From sound to the work list, as a restorer goes: takes of two passes are added, and the leaking valves are listed with
//! length, bin and face, and with the plates to lift.

use std::path::Path;

use crate::bench::natural::natural_opposite;
use crate::bench::tone::ToneSpec;
use assert_cmd::Command;
use predicates::str::contains;
use serde_json::Value;
use tempfile::TempDir;

/// Two plates, E3 and G3; the valves that will leak are 38 mm (A1 inner) and 35 mm (A2 outer).
const PLAN: &str = r#"format = 1
title = "From sound to work"
bellows = "unisonoric"

[[block]]
name = "bass"

[[block.row]]
name = "A"
notes = ["E3", "G3"]
valves_mm = [[39, 38], [35, 34]]
"#;
const E3_HZ: f64 = 164.813_78;
const G3_HZ: f64 = 195.997_72;
/// Well above the leak limit of -40 dB, and well apart from the sounding reed.
const LEAK: Option<(f64, f64)> = Some((14.0, -26.0));

fn platenote(at: &TempDir, words: &[&str]) -> assert_cmd::assert::Assert {
    Command::new(assert_cmd::cargo::cargo_bin!("platenote")).current_dir(at.path()).args(words).assert()
}

fn lines(at: &TempDir, words: &[&str]) -> Vec<Value> {
    let output = platenote(at, words).success().get_output().stdout.clone();
    String::from_utf8(output).unwrap().lines().map(|line| serde_json::from_str(line).unwrap()).collect()
}

/// A take of three seconds, with the opposite reed where it is said (cents from this one, level in dB).
fn sound(file: &Path, hz: f64, opposite: Option<(f64, f64)>, seed: u64) {
    let partials = (1..=20).map(|number| f64::from(number).powf(-0.8)).collect();
    let mut spec = ToneSpec::plain(48_000, hz, partials, 3.0);
    (spec.lead_in_s, spec.attack_s, spec.snr_db) = (0.2, 0.15, Some(55.0));
    spec.opposite = opposite.map(|(cents, level_db)| natural_opposite(seed, &spec, cents, level_db));
    let take = spec.render(seed);
    let format = hound::WavSpec {
        channels: 1,
        sample_rate: take.rate_hz,
        bits_per_sample: 32,
        sample_format: hound::SampleFormat::Float,
    };
    let mut writer = hound::WavWriter::create(file, format).unwrap();
    take.samples.iter().for_each(|sample| writer.write_sample(*sample).unwrap());
    writer.finalize().unwrap();
}

/// All four takes of a pass; press tests the outer valve and draw the inner one.
fn pass(dir: &TempDir, name: &str, leaks: [(&str, bool); 4]) {
    let folder = dir.path().join(name);
    std::fs::create_dir(&folder).unwrap();
    for (seed, (place, leaks)) in (1..).zip(leaks) {
        // A plate's two reeds lie 14 cents apart.
        let hz = if place.starts_with("A1") { E3_HZ } else { G3_HZ };
        let hz = if place.ends_with("draw") { hz * (14.0_f64 / 1200.0).exp2() } else { hz };
        let opposite =
            LEAK.map(|(cents, level)| (if place.ends_with("draw") { -cents } else { cents }, level));
        sound(&folder.join(format!("bass-{place}.wav")), hz, opposite.filter(|_| leaks), seed);
    }
    let files: Vec<String> = leaks.iter().map(|(place, _)| format!("{name}/bass-{place}.wav")).collect();
    let words = ["add", "job", "--pass", name].into_iter().chain(files.iter().map(String::as_str));
    platenote(dir, &words.collect::<Vec<_>>()).success();
}

#[test]
fn a_leak_that_is_heard_is_on_the_list_until_it_is_cured() {
    let dir = tempfile::tempdir().unwrap();
    platenote(&dir, &["new", "job", "--empty"]).success();
    std::fs::write(dir.path().join("job/plan.toml"), PLAN).unwrap();
    platenote(&dir, &["valves", "job", "--count", "1 1/2 in=1", "--condition", "flat", "--bin", "3"])
        .success();
    pass(&dir, "before", [("A1-press", false), ("A1-draw", true), ("A2-press", true), ("A2-draw", false)]);

    let tasks = lines(&dir, &["worklist", "job", "--json"]);
    let told = |task: &Value| {
        ["plate", "face", "lift_plate", "trouble", "length_mm", "from", "bin"].map(|key| task[key].clone())
    };
    let expected: [[Value; 7]; 2] = [
        [
            "bass A1".into(),
            "inner".into(),
            true.into(),
            "leaks".into(),
            38.0.into(),
            "tray".into(),
            "3".into(),
        ],
        [
            "bass A2".into(),
            "outer".into(),
            false.into(),
            "leaks".into(),
            35.0.into(),
            "cut".into(),
            Value::Null,
        ],
    ];
    assert_eq!(tasks.iter().map(told).collect::<Vec<_>>(), expected);
    assert!(
        tasks.iter().all(|task| task["pass"] == "before" && task["reason"].as_str().unwrap().contains("dB"))
    );
    platenote(&dir, &["worklist", "job"])
        .success()
        .stdout(contains("bass A, lift:\n  bass A1 inner: leaks; 38 mm: 1 1/2 in flat, bin 3"))
        .stdout(contains("bass A, plate stays:\n  bass A2 outer: leaks; 35 mm: cut new"))
        .stderr(contains("caution: "));

    // Fitted, but not heard again: the ear has the last word.
    platenote(&dir, &["mark", "job", "A1", "lifted"]).success();
    platenote(&dir, &["mark", "job", "A1", "inner", "valve", "fitted", "38", "bin", "3"]).success();
    let tasks = lines(&dir, &["worklist", "job", "--json"]);
    let troubles: Vec<&str> = tasks.iter().map(|task| task["trouble"].as_str().unwrap()).collect();
    assert_eq!(troubles, ["fitted_since", "leaks"]);
    pass(&dir, "after", [("A1-press", false), ("A1-draw", false), ("A2-press", true), ("A2-draw", false)]);
    let tasks = lines(&dir, &["worklist", "job", "--json"]);
    assert_eq!(tasks.iter().map(|task| task["plate"].as_str().unwrap()).collect::<Vec<_>>(), ["bass A2"]);
}
