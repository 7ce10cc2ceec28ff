//! `findings` as a restorer runs it: the real program on jobs with planted leaks, swaps and mistunings.

use std::io::Cursor;
use std::path::PathBuf;

use crate::bench::natural::natural_opposite;
use crate::bench::tone::ToneSpec;
use assert_cmd::Command;
use platenote::job::{Job, JobWriter, MeasuredIn, NewTake, PassChange};
use serde_json::Value;
use tempfile::TempDir;

/// Two plates, E3 and G3, valves on both.
const PLAN: &str = r#"format = 1
title = "Two plates"
bellows = "unisonoric"
reference_hz = 440.0
temperament = "equal"

[[block]]
name = "bass"
leak_limit_db = -40.0
tolerance_cents = 2.0

[[block.row]]
name = "A"
notes = ["E3", "G3"]
valves_mm = [[38, 38], [35, 35]]
"#;
const E3_HZ: f64 = 164.813_78;
const G3_HZ: f64 = 195.997_72;

/// A job being made in a folder of its own.
struct Made {
    folder: TempDir,
}

/// What sounds on a reed.
#[derive(Clone, Copy)]
struct Sound {
    hz: f64,
    /// The opposite reed: cents from this one and level, dB.
    opposite: Option<(f64, f64)>,
    seed: u64,
}

fn clean(hz: f64, seed: u64) -> Sound {
    Sound { hz, opposite: None, seed }
}

fn off(hz: f64, cents: f64) -> f64 {
    hz * (cents / 1200.0).exp2()
}

fn wav(sound: Sound) -> Vec<u8> {
    let partials = (1..=20).map(|number| f64::from(number).powf(-0.8)).collect();
    let mut spec = ToneSpec::plain(48_000, sound.hz, partials, 3.0);
    spec.lead_in_s = 0.2;
    spec.attack_s = 0.15;
    spec.snr_db = Some(55.0);
    if let Some((cents, level_db)) = sound.opposite {
        spec.opposite = Some(natural_opposite(sound.seed, &spec, cents, level_db));
    }
    let take = spec.render(sound.seed);
    let format = hound::WavSpec {
        channels: 1,
        sample_rate: take.rate_hz,
        bits_per_sample: 32,
        sample_format: hound::SampleFormat::Float,
    };
    let mut bytes = Cursor::new(Vec::new());
    let mut writer = hound::WavWriter::new(&mut bytes, format).expect("a writer");
    take.samples.iter().for_each(|sample| writer.write_sample(*sample).expect("a sample"));
    writer.finalize().expect("a whole file");
    bytes.into_inner()
}

impl Made {
    fn new() -> Self {
        let folder = TempDir::new().expect("a folder");
        Job::create(&folder.path().join("job"), PLAN).expect("a job");
        Self { folder }
    }

    fn path(&self) -> PathBuf {
        self.folder.path().join("job")
    }

    fn pass(&self, name: &str, temperature_c: Option<f64>) {
        let change = PassChange { place: Some(MeasuredIn::Instrument), temperature_c, date: None };
        JobWriter::open(&self.path()).expect("the job").open_pass(name, &change).expect("a pass");
    }

    fn take(&self, pass: &str, place: &str, bytes: &[u8]) {
        let mut job = JobWriter::open(&self.path()).expect("the job");
        let place = job.instrument().reed_place(place).expect("a place");
        let take = NewTake {
            pass: pass.into(),
            place,
            original: None,
            extension: "wav".into(),
            why: "test".into(),
            lossy: false,
            remarks: Vec::new(),
            clock: None,
            recorded: None,
        };
        job.store_bytes(take, bytes).expect("a stored take");
    }

    /// `A1` leaks on press (its outer valve), the draw reed of `A2` is 6 cents flat, all else is clean.
    fn leaking() -> Self {
        let made = Self::new();
        made.pass("before", Some(15.0));
        made.take(
            "before",
            "bass A1 press",
            &wav(Sound { hz: E3_HZ, opposite: Some((-12.0, -28.0)), seed: 1 }),
        );
        made.take("before", "bass A1 draw", &wav(clean(off(E3_HZ, -12.0), 2)));
        made.take("before", "bass A2 press", &wav(clean(off(G3_HZ, 0.5), 3)));
        made.take("before", "bass A2 draw", &wav(clean(off(G3_HZ, -6.0), 4)));
        made
    }

    fn run(&self, arguments: &[&str]) -> (i32, String, String) {
        let mut command = Command::cargo_bin("platenote").expect("the program");
        let ended = command.arg("findings").arg(self.path()).args(arguments).output().expect("a run");
        let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("text");
        (ended.status.code().unwrap_or(-1), text(ended.stdout), text(ended.stderr))
    }

    fn json(&self, arguments: &[&str]) -> Vec<Value> {
        let (code, out, err) = self.run(&[arguments, &["--json"]].concat());
        assert_eq!(code, 0, "{err}");
        out.lines().map(|line| serde_json::from_str(line).expect("one object a line")).collect()
    }
}

fn of_kind<'a>(lines: &'a [Value], kind: &str) -> Vec<&'a Value> {
    lines.iter().filter(|line| line["kind"] == kind).collect()
}

fn keys(value: &Value) -> Vec<&str> {
    let mut keys: Vec<&str> = value.as_object().expect("an object").keys().map(String::as_str).collect();
    keys.sort_unstable();
    keys
}

fn sorted(names: &str) -> Vec<&str> {
    let mut names: Vec<&str> = names.split(' ').collect();
    names.sort_unstable();
    names
}

#[test]
fn a_leak_is_named_with_its_face_and_the_fields_are_those_of_the_docs() {
    let made = Made::leaking();
    let lines = made.json(&["--pass", "before"]);
    let (reeds, valves) = (of_kind(&lines, "reed"), of_kind(&lines, "valve"));
    assert_eq!((reeds.len(), valves.len()), (4, 4));
    for reed in &reeds {
        assert_eq!(
            keys(reed),
            sorted("format kind pass place note f0_hz target_hz cents uncertainty_cents tune")
        );
        assert_eq!(reed["format"], 1);
    }
    for valve in &valves {
        assert_eq!(
            keys(valve),
            sorted("format kind pass plate face heard_on verdict lift_plate leak signs reason next")
        );
        for sign in valve["signs"].as_array().expect("a list") {
            assert_eq!(keys(sign), sorted("sign value limit unit stands_out"));
        }
    }
    let leak = valves[0];
    assert_eq!(
        (&leak["plate"], &leak["face"], &leak["heard_on"]),
        (&"bass A1".into(), &"outer".into(), &"press".into())
    );
    assert_eq!((&leak["verdict"], &leak["lift_plate"]), (&"leaks".into(), &false.into()));
    let sign = &leak["signs"][0];
    assert_eq!(
        (&sign["sign"], &sign["unit"], &sign["limit"]),
        (&"second_tone".into(), &"dB".into(), &(-40.0).into())
    );
    let level = sign["value"].as_f64().expect("a level");
    assert!((level - -28.0).abs() < 1.5, "planted at -28 dB, {level}");
    for valve in &valves[1..] {
        assert_ne!(valve["verdict"], "leaks", "{valve}");
    }
    let flat = reeds.iter().find(|reed| reed["place"] == "bass A2 draw").expect("the reed");
    assert_eq!((&flat["tune"], &flat["note"]), (&"raise".into(), &"G3".into()));
    assert!((flat["cents"].as_f64().expect("cents") - -6.0).abs() < 0.1, "{flat}");
}

#[test]
fn a_person_reads_first_what_to_do_next() {
    let made = Made::leaking();
    let (code, out, err) = made.run(&[]);
    assert_eq!(code, 0, "{err}");
    let at = |text: &str| out.find(text).unwrap_or_else(|| panic!("`{text}` is missing in\n{out}"));
    assert!(at("Valves with signs of a leak (1)") < at("Reeds out of tolerance"));
    assert!(at("bass A1 outer (plate stays; heard on press): consistent with a leak") < at("Reeds  "));
    assert!(at("caution:") < at("Valves  "));
    let raise =
        out.lines().find(|line| line.contains("bass A2 draw") && line.contains("raise")).expect("tuning");
    // 6 cents at G3 are 0.68 beats a second: 196·(1 - 2^(-6/1200)).
    assert!(raise.contains("-6.0") && raise.contains("0.68 beats/s"), "{raise}");
    assert!(!err.contains("listening"), "no progress bar in a pipe: {err}");
}

#[test]
fn kept_readings_are_made_again_with_the_same_content() {
    let made = Made::leaking();
    let file = made.path().join("readings.json");
    let first = made.run(&[]);
    let kept = std::fs::read(&file).expect("kept readings");
    assert_eq!(made.run(&[]), first, "from the kept readings");
    assert_eq!(std::fs::read(&file).expect("kept readings"), kept);
    std::fs::remove_file(&file).expect("gone");
    assert_eq!(made.run(&[]), first, "without them");
    assert_eq!(std::fs::read(&file).expect("kept readings"), kept);
    // What another analysis wrote is no damage: the takes are listened to again without a word.
    let others = String::from_utf8(kept.clone())
        .expect("JSON")
        .replace(platenote::job::READINGS_KEY, "platenote 0.1.0/3");
    let moved = others.replace("\"f0_hz\": 1", "\"f0_hz\": 2");
    assert_ne!(others.as_bytes(), kept);
    assert_ne!(moved, others);
    let files: [(&[u8], bool); 5] = [
        (b"{", true),
        (b"", true),
        (b"\xff\xfe", true),
        (b"{\"format\":1,\"written_by\":\"a later program\",\"readings\":[]}", false),
        (moved.as_bytes(), false),
    ];
    let findings = made.run(&["--json"]).1;
    for (damage, is_told) in files {
        std::fs::write(&file, damage).expect("damaged");
        let (code, out, err) = made.run(&["--json"]);
        assert_eq!(code, 0);
        assert_eq!(err.contains("listened to again"), is_told, "{err}");
        assert_eq!(out, findings);
        assert_eq!(std::fs::read(&file).expect("kept readings"), kept);
    }
}

#[test]
fn a_newer_take_without_a_tone_lets_the_earlier_one_speak() {
    let made = Made::leaking();
    let mut silent = wav(clean(E3_HZ, 9));
    let sound = silent.len().min(200);
    silent.iter_mut().skip(sound).for_each(|byte| *byte = 0);
    made.take("before", "bass A1 press", &silent);
    let (code, out, err) = made.run(&["--json"]);
    assert_eq!(code, 0, "{err}");
    assert!(err.contains("bass A1 press: take 2 gives no reading") && err.contains("take 1 speaks"), "{err}");
    assert!(out.contains("\"verdict\":\"leaks\""));
}

#[test]
fn a_lost_take_is_not_measured_and_the_rest_is_judged() {
    let made = Made::leaking();
    let folder = made.path().join("takes").join("before");
    std::fs::remove_file(folder.join("bass-A2-draw-1.wav")).expect("gone");
    let (code, out, err) = made.run(&["--json"]);
    assert_eq!(code, 1);
    assert!(err.contains("bass A2 draw"), "{err}");
    let lines: Vec<Value> = out.lines().map(|line| serde_json::from_str(line).expect("JSON")).collect();
    let lost = lines.iter().find(|line| line["place"] == "bass A2 draw").expect("a line for every reed");
    assert!(lost["f0_hz"].is_null() && lost["cents"].is_null() && lost["tune"].is_null());
    assert!(lines.iter().any(|line| line["verdict"] == "leaks"));
}

#[test]
fn two_passes_show_the_cure_and_how_the_reeds_moved() {
    let made = Made::leaking();
    made.pass("after", Some(25.0));
    for (place, hz, seed) in [
        ("bass A1 press", E3_HZ, 11),
        ("bass A1 draw", off(E3_HZ, -12.0), 12),
        ("bass A2 press", off(G3_HZ, 0.5), 13),
        ("bass A2 draw", G3_HZ, 14),
    ] {
        made.take("after", place, &wav(clean(off(hz, -2.15), seed)));
    }
    let lines = made.json(&["--compare", "before", "after"]);
    assert!(of_kind(&lines, "reed").iter().all(|reed| reed["pass"] == "after"));
    let valves = of_kind(&lines, "valve_change");
    assert_eq!(valves.len(), 4);
    assert_eq!(keys(valves[0]), sorted("format kind plate face change reason"));
    assert_eq!((&valves[0]["face"], &valves[0]["change"]), (&"outer".into(), &"cured".into()));
    let reeds = of_kind(&lines, "reed_change");
    assert_eq!(reeds.len(), 4);
    for reed in &reeds {
        assert_eq!(
            keys(reed),
            sorted(
                "format kind place cents common_shift_cents temperature_cents own_cents own_uncertainty_cents work"
            )
        );
        // Steel, -0.215 cents per kelvin.
        assert!((reed["temperature_cents"].as_f64().expect("known") - -2.15).abs() < 1e-9);
        let own = if reed["place"] == "bass A2 draw" { 6.0 } else { 0.0 };
        assert!((reed["own_cents"].as_f64().expect("cents") - own).abs() < 0.1, "{reed}");
    }
    let (code, out, _) = made.run(&["--compare", "before", "after"]);
    assert_eq!(code, 0);
    assert!(out.contains("From `before` to `after`") && out.contains("cured"), "{out}");
}

#[test]
fn what_cannot_be_done_is_said_with_what_to_do_next() {
    let made = Made::new();
    let (code, out, err) = made.run(&[]);
    assert_eq!((code, out.as_str()), (1, ""));
    assert!(err.starts_with("error: ") && err.contains("no pass yet") && err.contains("\nnext:  "), "{err}");
    made.pass("before", None);
    let (code, _, err) = made.run(&["--pass", "befor"]);
    assert_eq!(code, 1);
    assert!(err.contains("`befor`") && err.contains("`before`"), "{err}");
    let (code, _, _) = made.run(&["--compare", "before"]);
    assert_eq!(code, 2);
    // A pass without takes is judged all the same: everything is still to be recorded.
    let (code, out, _) = made.run(&["--pass", "before"]);
    assert_eq!(code, 0);
    assert!(out.contains("Not measured (4)") && out.contains("bass A1 press: no take in this pass"), "{out}");
    assert!(!made.path().join("readings.json").exists());
}

#[test]
fn what_is_still_to_record_shares_lines_and_a_silent_take_is_named() {
    let folder = TempDir::new().expect("a folder");
    let plan = PLAN
        .replace(r#"["E3", "G3"]"#, r#"["E3", "F3", "F#3", "G3"]"#)
        .replace("[[38, 38], [35, 35]]", "[38, 37, 36, 35]");
    let made = Made { folder };
    Job::create(&made.path(), &plan).expect("a job");
    made.pass("before", None);
    let mut silent = wav(clean(E3_HZ, 9));
    silent.iter_mut().skip(200).for_each(|byte| *byte = 0);
    made.take("before", "bass A1 press", &silent);
    let (code, out, err) = made.run(&[]);
    assert_eq!(code, 0, "{err}");
    assert!(out.contains("Not measured (8)"), "{out}");
    let told = out.lines().find(|line| line.starts_with("  bass A1 press: ")).expect("the silent take");
    assert!(told.ends_with("; record it again") && !told.contains("no take"), "{told}");
    let listed = out.split("7 have no take in this pass:\n").nth(1).expect("the list");
    let listed = listed.split("\n\n").next().expect("its end");
    assert_eq!(listed.matches("bass A").count(), 7, "{listed}");
    assert!(listed.lines().all(|line| line.chars().count() <= 100), "{listed}");
}
