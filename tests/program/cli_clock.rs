//! `calibrate` and `--clock` through the real program: a planted clock error is measured, kept for the device, written on
//! the takes and taken off the pitches; a wrong rate is named and not taken for a clock.

use std::f64::consts::TAU;
use std::fs;

use crate::bench::chance::Chance;
use assert_cmd::Command;
use assert_cmd::assert::Assert;
use platenote::audio::write_wav;
use platenote::take::Take;
use predicates::prelude::*;
use predicates::str::contains;
use serde_json::Value;
use tempfile::TempDir;

const RATE: u32 = 48_000;

fn platenote(at: &TempDir, arguments: &[&str]) -> Assert {
    let mut command = Command::new(assert_cmd::cargo::cargo_bin!("platenote"));
    command.current_dir(at.path()).env("PLATENOTE_CONFIG", at.path().join("config")).args(arguments).assert()
}

/// A file that says 48 kHz, of a recorder whose clock really runs `error_ppm` faster; sound as a function of true time.
fn recorded(at: &TempDir, name: &str, seconds: f64, error_ppm: f64, sound: impl Fn(f64) -> f64) {
    let true_rate = f64::from(RATE) * (1.0 + 1e-6 * error_ppm);
    let mut chance = Chance::split(11, name.len() as u64);
    let samples = (0..(seconds * true_rate) as u32)
        .map(|n| (sound(f64::from(n) / true_rate) + 1e-4 * chance.normal()) as f32);
    write_wav(&at.path().join(name), &Take::new(samples.collect(), RATE)).unwrap();
}

fn tone(hz: f64) -> impl Fn(f64) -> f64 {
    move |time| 0.1 * (TAU * hz * time).sin()
}

/// A reed of `hz` that sounds from 0.3 s to 2.8 s.
fn reed(hz: f64) -> impl Fn(f64) -> f64 {
    move |time| {
        let swell = ((time - 0.3) / 0.05).clamp(0.0, 1.0) * ((2.8 - time) / 0.01).clamp(0.0, 1.0);
        (1..=12).map(|n| 0.1 * swell * (TAU * hz * f64::from(n) * time).sin() / f64::from(n)).sum()
    }
}

fn lines(assert: &Assert) -> Vec<Value> {
    let text = std::str::from_utf8(&assert.get_output().stdout).unwrap();
    text.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
}

fn number(line: &Value, field: &str) -> f64 {
    line[field].as_f64().unwrap_or_else(|| panic!("{field} of {line}"))
}

#[test]
fn a_planted_clock_error_is_measured_within_what_is_stated() {
    let at = tempfile::tempdir().unwrap();
    for (planted_ppm, hz) in [(-180.0, 1_000.0), (0.0, 440.0), (37.5, 3_150.0)] {
        recorded(&at, "tone.wav", 8.0, planted_ppm, tone(hz));
        let hz = hz.to_string();
        let words = [
            "calibrate",
            "tone.wav",
            "--tone",
            &hz,
            "--tone-within",
            "0.5",
            "--device",
            "recorder",
            "--json",
        ];
        let assert = platenote(&at, &words).success();
        let line = &lines(&assert)[0];
        let (error, doubt) = (number(line, "error_ppm"), number(line, "uncertainty_ppm"));
        // 5 ppm stay for what a quartz moves by itself; the tone adds little to them.
        assert!((error - planted_ppm).abs() < 2.0 && (5.0..6.0).contains(&doubt), "{planted_ppm}: {line}");
    }
    let listed = lines(&platenote(&at, &["calibrate", "--list", "--json"]).success());
    assert_eq!(listed.len(), 1, "the newest measurement replaces the others: {listed:?}");
}

#[test]
fn readings_are_corrected_and_say_so_and_the_job_alone_reproduces_them() {
    let at = tempfile::tempdir().unwrap();
    let planted_ppm = 250.0; // 0.43 cents.
    recorded(&at, "tone.wav", 8.0, planted_ppm, tone(1_000.0));
    let words =
        ["calibrate", "tone.wav", "--tone", "1000", "--tone-within", "1", "--device", "field recorder"];
    platenote(&at, &words).success().stdout(contains("field recorder, 48000 Hz: +2"));
    let played_hz = 330.1;
    recorded(&at, "A1-press.wav", 3.2, planted_ppm, reed(played_hz));
    recorded(&at, "A1-draw.wav", 3.2, planted_ppm, reed(played_hz));
    platenote(&at, &["new", "job", "--template", "bass24"]).success();
    let press = ["add", "job", "A1-press.wav", "--pass", "before", "--clock", "Field Recorder"];
    platenote(&at, &press).success();
    platenote(&at, &["add", "job", "A1-draw.wav", "--pass", "before"]).success();
    let pitches = |at: &TempDir| -> Vec<(f64, f64)> {
        let lines = lines(&platenote(at, &["findings", "job", "--json"]).success());
        let reeds = lines.iter().filter(|line| line["kind"] == "reed" && !line["f0_hz"].is_null());
        reeds.map(|line| (number(line, "f0_hz"), number(line, "uncertainty_cents"))).collect()
    };
    let heard = pitches(&at);
    let [(press, press_doubt), (draw, draw_doubt)] = heard[..] else { panic!("{heard:?}") };
    let cents = |hz: f64| 1200.0 * (hz / played_hz).log2();
    assert!(cents(press).abs() < press_doubt && press_doubt < 0.05, "{} ± {press_doubt}", cents(press));
    // 250 ppm as an interval are 0.4328 cents: 1200·log2(1.00025).
    assert!((cents(draw) + 0.4328).abs() < 0.02 && draw_doubt > 0.17, "{} ± {draw_doubt}", cents(draw));
    let says = contains("1 pitches are corrected for the clock of `field recorder`: +2");
    platenote(&at, &["findings", "job"]).success().stdout(says);
    // The job goes to another computer, without what this one knows and without the kept readings.
    fs::remove_dir_all(at.path().join("config")).unwrap();
    fs::remove_file(at.path().join("job/readings.json")).unwrap();
    assert_eq!(pitches(&at), heard);
    // A take that is there already is not changed behind the diary's back.
    let again = ["add", "job", "A1-draw.wav", "--pass", "before", "--clock", "250±3"];
    platenote(&at, &again).success().stderr(contains("keeps the clock it was stored with"));
    let typed = ["add", "job", "A1-draw.wav", "--pass", "typed", "--clock", "250±3"];
    platenote(&at, &typed).success();
    let diary = fs::read_to_string(at.path().join("job/diary.jsonl")).unwrap();
    assert!(
        diary.contains(r#""clock":{"device":"as typed","error_ppm":250.0,"uncertainty_ppm":3.0}"#),
        "{diary}"
    );
}

#[test]
fn a_tone_that_is_no_clock_error_is_refused_with_its_reason() {
    let at = tempfile::tempdir().unwrap();
    recorded(&at, "tone.wav", 8.0, 0.0, tone(1_000.0));
    let refused = |tone: &str, more: &[&str], wanted: &str| {
        let words = [&["calibrate", "tone.wav", "--tone", tone, "--device", "x"], more].concat();
        platenote(&at, &words).code(1).stderr(contains(wanted).and(contains("next:  ")));
    };
    // 1000 Hz heard where 918.75 or 1088.4 sounds: 44100 for 48000 and the reverse.
    refused("918.75", &[], "the ratio of 48000 to 44100");
    refused("1088.4", &[], "the ratio of 48000 to 44100");
    refused("1010", &[], "no clock is off by more than 1000 ppm");
    refused("1000", &["--tone-within", "120"], "this tone tells the clock within 120 ppm");
    recorded(&at, "tone.wav", 2.0, 0.0, tone(1_000.0));
    refused("1000", &[], "the tone lasts 2.0 s, and 5 s are needed");
    recorded(&at, "tone.wav", 8.0, 0.0, |_| 0.0);
    refused("1000", &[], "no steady tone is heard");
    assert!(!at.path().join("config").exists(), "nothing was kept");
}

#[test]
fn clocks_are_listed_forgotten_and_never_guessed() {
    let at = tempfile::tempdir().unwrap();
    recorded(&at, "tone.wav", 6.0, 20.0, tone(1_000.0));
    platenote(&at, &["calibrate", "tone.wav", "--tone", "1000"])
        .code(2)
        .stderr(contains("does not say which device"));
    platenote(&at, &["calibrate", "tone.wav", "--tone", "1000", "--device", "recorder"]).success();
    platenote(&at, &["new", "job", "--template", "bass24"]).success();
    fs::copy(at.path().join("tone.wav"), at.path().join("A1-press.wav")).unwrap();
    let other = ["add", "job", "A1-press.wav", "--pass", "p", "--clock", "another"];
    platenote(&at, &other).code(1).stderr(contains("no clock of a device `another` is known"));
    platenote(&at, &["calibrate", "--forget", "--device", "recorder"]).success();
    platenote(&at, &["calibrate", "--forget", "--device", "recorder"]).code(1);
    platenote(&at, &["calibrate", "--forget"]).code(2);
    platenote(&at, &["calibrate"]).code(2);
    let file = at.path().join("config/clocks.toml");
    for (text, wanted) in [
        ("format = 9\nnew_key = 1\n", "has format 9"),
        ("format = 1\nclock = 3\n", "cannot be used"),
        (
            "format = 1\n[[clock]]\ndevice = \"x\"\nrate_hz = 48000\nerror_ppm = 1e9\nuncertainty_ppm = 1.0\ntone_hz = 1.0\nmeasured = \"\"\n",
            "out of range",
        ),
    ] {
        fs::write(&file, text).unwrap();
        platenote(&at, &["calibrate", "--list"]).code(1).stderr(contains(wanted));
        assert_eq!(fs::read_to_string(&file).unwrap(), text, "the file is as it was");
    }
}

/// 1200·log2(48000/44100) = 146.7 cents: a whole block recorded at 44.1 kHz in files that say 48 kHz.
#[test]
fn a_block_at_a_wrong_rate_is_named_and_no_tuning_is_listed() {
    let at = tempfile::tempdir().unwrap();
    platenote(&at, &["new", "job", "--template", "bass24"]).success();
    let plan = platenote::job::Job::open(&at.path().join("job")).unwrap();
    let wrong_ppm = 1e6 * (44_100.0 / 48_000.0 - 1.0);
    let mut list = String::from("file,place\n");
    for (n, (place, _)) in plan.instrument().reeds().step_by(2).take(6).enumerate() {
        let hz = plan.instrument().target(&place).unwrap().get();
        recorded(&at, &format!("{n}.wav"), 3.2, wrong_ppm, reed(hz));
        list += &format!("{n}.wav,{place}\n");
    }
    fs::write(at.path().join("list.csv"), list).unwrap();
    platenote(&at, &["add", "job", "--list", "list.csv", "--pass", "before"]).success();
    let said =
        contains("the ratio of 48000 to 44100 samples per second: the files' sample rate is probably wrong");
    platenote(&at, &["findings", "job"]).success().stdout(said.and(contains("Reeds out of tolerance").not()));
}
