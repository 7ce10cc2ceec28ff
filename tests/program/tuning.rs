//! Tuning told with the real program: ranks that sound together, what a temperament costs, strokes learnt in another job.

use std::path::Path;

use assert_cmd::Command;
use platenote::instrument::{ReedPlace, Spot};
use platenote::job::{Event, JobWriter, PlayFacts};
use platenote::repair::{Filing, Part, Work};
use serde_json::Value;
use tempfile::TempDir;

use crate::bench::tone::ToneSpec;

/// Row B is set off 2.5 beats a second at A4.
const PLAN: &str = r#"format = 1
title = "Two ranks"
bellows = "bisonoric"

[[block]]
name = "treble"

[[block.row]]
name = "A"
notes = { press = ["A4"], draw = ["B4"] }

[[block.row]]
name = "B"
notes = { press = ["A4"], draw = ["B4"] }
tremolo_beats_hz = { "A4" = 2.5 }
"#;

fn platenote(at: &TempDir) -> Command {
    let mut command = Command::new(assert_cmd::cargo::cargo_bin!("platenote"));
    command.current_dir(at.path()).env("PLATENOTE_CONFIG", at.path().join("own"));
    command
}

fn lines(at: &TempDir, words: &[&str]) -> Vec<Value> {
    let output = platenote(at).args(words).assert().success().get_output().stdout.clone();
    let text = String::from_utf8(output).expect("text");
    text.lines().map(|line| serde_json::from_str(line).expect("JSON")).collect()
}

fn tone(hz: f64, seed: u64) -> Vec<f32> {
    let partials = (1..=20).map(|number| f64::from(number).powf(-0.9)).collect();
    let mut spec = ToneSpec::plain(48_000, hz, partials, 4.0);
    (spec.lead_in_s, spec.attack_s, spec.snr_db) = (0.2, 0.1, Some(60.0));
    spec.render(seed).samples
}

fn write(file: &Path, samples: &[f32]) {
    let format = hound::WavSpec {
        channels: 1,
        sample_rate: 48_000,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let loudest = samples.iter().fold(0.0_f32, |most, sample| most.max(sample.abs()));
    let mut writer = hound::WavWriter::create(file, format).expect("a file");
    for sample in samples {
        writer.write_sample((16_000.0 * sample / loudest) as i16).expect("written");
    }
    writer.finalize().expect("written");
}

fn a_job(at: &TempDir, name: &str) {
    let folder = at.path().join(name);
    platenote(at).args(["new", name, "--empty"]).assert().success();
    std::fs::write(folder.join("plan.toml"), PLAN).expect("a plan");
}

/// The single takes say 2.3 beats; together the reeds pull each other to 2.0. The take of both is no tuning work for one.
#[test]
fn ranks_that_sound_together_are_checked_against_their_single_takes() {
    let at = TempDir::new().expect("a folder");
    a_job(&at, "job");
    write(&at.path().join("treble-A1-press.wav"), &tone(440.0, 1));
    write(&at.path().join("treble-B1-press.wav"), &tone(442.3, 2));
    let both: Vec<f32> = tone(440.15, 3).iter().zip(tone(442.15, 4)).map(|(a, b)| a + 0.8 * b).collect();
    write(&at.path().join("both.wav"), &both);
    std::fs::write(at.path().join("list.csv"), "file,place,with\nboth.wav,treble A1 press,b\n")
        .expect("a list");
    platenote(&at)
        .args(["add", "job", "--pass", "before", "treble-A1-press.wav", "treble-B1-press.wav"])
        .assert()
        .success();
    platenote(&at).args(["add", "job", "--pass", "before", "--list", "list.csv"]).assert().success();

    let takes = lines(&at, &["take", "job", "--json"]);
    assert_eq!(takes.iter().filter(|take| take["with"] == serde_json::json!(["B"])).count(), 1, "{takes:?}");
    let found = lines(&at, &["findings", "job", "--json"]);
    let together = found.iter().find(|line| line["kind"] == "together").expect("a line");
    let figure = |name: &str| together[name].as_f64().unwrap_or(f64::NAN);
    assert!((figure("beats_hz") - 2.0).abs() < 0.05, "{together}");
    assert!((figure("computed_hz") - 2.3).abs() < 0.05, "{together}");
    assert!((figure("pull_hz") + 0.3).abs() < 0.1, "{together}");
    // The reed's own reading is that of the take alone, though the take of both is newer.
    let reed = found
        .iter()
        .find(|line| line["kind"] == "reed" && line["place"] == "treble A1 press")
        .expect("a reed");
    assert!((reed["f0_hz"].as_f64().expect("a pitch") - 440.0).abs() < 0.05, "{reed}");

    // A take that was meant for one reed is filed so afterwards; and back.
    platenote(&at)
        .args(["take", "job", "treble A1 press", "--number", "2", "--with", "-"])
        .assert()
        .success();
    let alone = lines(&at, &["findings", "job", "--json"]);
    assert!(alone.iter().all(|line| line["kind"] != "together"));
    let reed = alone
        .iter()
        .find(|line| line["kind"] == "reed" && line["place"] == "treble A1 press")
        .expect("a reed");
    assert!(reed["tune"].is_null(), "{reed}");
    platenote(&at).args(["take", "job", "--undo"]).assert().success();
    let again = lines(&at, &["findings", "job", "--json"]);
    assert_eq!(again, found);
    // A row that is not there is named with those that are.
    let words = ["take", "job", "treble A1 press", "--number", "1", "--with", "D"];
    let output = platenote(&at).args(words).assert().failure().get_output().stderr.clone();
    let text = String::from_utf8_lossy(&output).into_owned();
    assert!(text.contains("`D`") && text.contains("`B`"), "{text}");
}

/// A temperament with a wide third for C# alone costs nothing where no C# sounds, and work where A is held and B moves.
#[test]
fn a_temperament_and_a_stretch_have_their_cost() {
    let at = TempDir::new().expect("a folder");
    a_job(&at, "job");
    let hz = |note: f64| 440.0 * (note / 12.0).exp2();
    let beside = |hz: f64| hz + 2.5;
    for (name, hz) in [
        ("treble-A1-press.wav", hz(0.0)),
        ("treble-A1-draw.wav", hz(2.0)),
        ("treble-B1-press.wav", beside(hz(0.0))),
        ("treble-B1-draw.wav", beside(hz(2.0))),
    ] {
        write(&at.path().join(name), &tone(hz, 5));
        platenote(&at).args(["add", "job", "--pass", "before", name]).assert().success();
    }
    let cost = |words: &[&str]| {
        let all = [&["findings", "job", "--json"], words].concat();
        let found = lines(&at, &all);
        let costs =
            found.into_iter().filter(|line| line["kind"] == "pitch_cost" && line["reference_hz"] == 440.0);
        costs.map(|line| line["reeds"].as_u64().expect("a count")).collect::<Vec<u64>>()
    };
    assert_eq!(cost(&["--temperament", "0 9 0 0 0 0 0 0 0 0 0 0"]), [0, 0]);
    // B is to lie 8 cents higher: two of the four reeds.
    let mut other = cost(&["--temperament", "0 0 0 0 0 0 0 0 0 0 0 8"]);
    other.sort_unstable();
    assert_eq!(other, [0, 2]);
    let mut stretched = cost(&["--stretch", "36"]);
    stretched.sort_unstable();
    assert_eq!(stretched, [0, 2]);
    platenote(&at).args(["findings", "job", "--temperament", "1 2 3"]).assert().failure().code(2);
}

/// Strokes that a person made in another job are counted in; another person's are not.
#[cfg(feature = "mic")]
#[test]
fn strokes_are_learnt_across_jobs() {
    let at = TempDir::new().expect("a folder");
    a_job(&at, "first");
    a_job(&at, "second");
    let mut job = JobWriter::open(&at.path().join("first")).expect("a job");
    let reed: ReedPlace = job.instrument().reed_place("treble A1 press").expect("a reed");
    let play = |hz: f64, after_mark: Option<u32>| {
        Event::Play(PlayFacts {
            place: reed.to_string(),
            f0_hz: hz,
            uncertainty_cents: 0.2,
            target_hz: 440.0,
            level_dbfs: -20.0,
            after_mark,
            settled_s: after_mark.map(|_| 0.0),
        })
    };
    job.note(play(437.0, None)).expect("noted");
    let by = Some("anna".to_owned());
    let filing = Filing { part: Part::Tip, strokes: Some(3), tool: Some("file".into()), by };
    let mark = job.mark(&[Spot::Reed(reed.clone())], &Work::Filed(filing)).expect("noted");
    job.note(play(437.6, Some(mark))).expect("noted");
    drop(job);
    std::fs::create_dir_all(at.path().join("own")).expect("a folder");
    let first = at.path().join("first").canonicalize().expect("there");
    std::fs::write(at.path().join("own/recent-jobs.txt"), format!("2026-05-01 10:00\t{}\n", first.display()))
        .expect("a list");
    let said = |by: &str| {
        let words = ["tune", "second", "A1", "--by", by, "--tool", "file", "--device", "no such input"];
        let output = platenote(&at).args(words).assert().failure().get_output().stderr.clone();
        String::from_utf8_lossy(&output).into_owned()
    };
    assert!(said("anna").contains("from other jobs: 1 go of anna"), "{}", said("anna"));
    assert!(!said("ben").contains("other jobs"));
}
