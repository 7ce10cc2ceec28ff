//! `sweep` with the real program: shown, listed, corrected, stored once.

use std::fs;
use std::path::Path;

use assert_cmd::Command;
use platenote::audio::write_wav;
use platenote::instrument::ReedPlace;
use platenote::job::{CutFacts, Event, Job};
use platenote::take::Take;
use predicates::prelude::PredicateBooleanExt;
use predicates::str::contains;
use serde_json::Value;
use tempfile::TempDir;

use crate::bench::chance::Chance;
use crate::bench::sitting::{Happens, Sitting};

pub const RATE_HZ: u32 = 16_000;

pub fn platenote(at: &TempDir, words: &[&str]) -> assert_cmd::assert::Assert {
    let mut command = Command::new(assert_cmd::cargo::cargo_bin!("platenote"));
    command.current_dir(at.path()).args(words).assert()
}

pub fn lines(assert: &assert_cmd::assert::Assert, kind: &str) -> Vec<Value> {
    let text = String::from_utf8(assert.get_output().stdout.clone()).expect("text");
    let all = text.lines().map(|line| serde_json::from_str::<Value>(line).expect("JSON"));
    all.filter(|line| line["kind"] == kind).collect()
}

/// Row A of a job, in order, 18 cents flat as a whole; with a word, a blip, a knock and a note that belongs nowhere.
/// The third plate's press is played twice. Where nothing is said, the notes are those of the row, each reed once.
fn row_a(at: &TempDir) -> Vec<ReedPlace> {
    platenote(at, &["new", "job", "--template", "bass24"]).success();
    let job = Job::open(&at.path().join("job")).expect("a job");
    let instrument = job.instrument();
    let reeds: Vec<ReedPlace> =
        instrument.reeds().map(|(place, _)| place).filter(|place| place.plate.row == "A").collect();
    let chance = &mut Chance::split(5, 9);
    let mut events = vec![Happens::Quiet { lasts_s: 1.2 }];
    let note = |hz: f64, lasts_s: f64, level_dbfs: f64| Happens::Note { hz, lasts_s, level_dbfs };
    for (idx, reed) in reeds.iter().enumerate() {
        let target = instrument.target(reed).expect("a target").get();
        // The two reeds of a plate differ by some cents, as they do.
        let own = if reed.stroke == platenote::instrument::Stroke::Press { -4.0 } else { 5.0 };
        let hz = target * ((-18.0 + own + chance.between(-2.0, 2.0)) / 1200.0).exp2();
        let level_dbfs = chance.between(-27.0, -22.0);
        match idx {
            3 => events.extend([
                Happens::Speech { lasts_s: 1.5, level_dbfs: -30.0 },
                Happens::Quiet { lasts_s: 0.6 },
                Happens::Blip { hz, lasts_s: 0.3, level_dbfs },
                Happens::Quiet { lasts_s: 0.6 },
            ]),
            4 => events.extend([note(hz, 1.6, -30.0), Happens::Quiet { lasts_s: 0.8 }]),
            8 => events.extend([Happens::Knock { level_dbfs: -15.0 }, Happens::Quiet { lasts_s: 0.6 }]),
            10 => events.extend([note(2_960.0, 1.5, -25.0), Happens::Quiet { lasts_s: 0.6 }]),
            _ => {}
        }
        events.extend([note(hz, chance.between(1.6, 2.4), level_dbfs), Happens::Quiet { lasts_s: 0.7 }]);
    }
    let sitting = Sitting::play(3, RATE_HZ, -70.0, &events);
    write_wav(&at.path().join("row-a.wav"), &Take::new(sitting.samples, RATE_HZ)).expect("a sound file");
    reeds
}

fn cuts(at: &TempDir) -> Vec<(String, CutFacts)> {
    let job = Job::open(&at.path().join("job")).expect("a job");
    let takes = job.diary().iter().filter_map(|line| match &line.event {
        Event::Take(take) => take.cut.clone().map(|cut| (take.place.clone(), cut)),
        _ => None,
    });
    takes.collect()
}

fn files_below(folder: &Path) -> usize {
    fs::read_dir(folder).map_or(0, |entries| entries.count())
}

#[test]
fn a_recording_is_shown_first_then_stored_once_and_corrected_by_its_list() {
    let at = tempfile::tempdir().expect("a folder");
    let reeds = row_a(&at);
    let original = fs::read(at.path().join("row-a.wav")).expect("the recording");

    // Shown: everything placed, nothing stored.
    let sweep = ["sweep", "job", "row-a.wav", "--pass", "before", "--json"];
    let shown = platenote(&at, &sweep).success().stderr(contains("Nothing is stored yet"));
    let placed = lines(&shown, "placed");
    let speaking: Vec<String> = placed
        .iter()
        .filter(|line| line["speaks"] == true)
        .map(|line| line["place"].as_str().expect("a place").to_owned())
        .collect();
    assert_eq!(speaking, reeds.iter().map(ToString::to_string).collect::<Vec<_>>());
    assert_eq!(placed.len(), reeds.len() + 1, "the repeated one is placed too");
    let [stray] = lines(&shown, "unplaced").try_into().expect("one note belongs nowhere");
    assert!((stray["f0_hz"].as_f64().expect("its pitch") - 2_960.0).abs() < 10.0);
    assert!(stray["reason"].is_string());
    let recording = &lines(&shown, "recording")[0];
    assert!((recording["offset_cents"].as_f64().expect("an offset") + 18.0).abs() < 4.0, "{recording}");
    // Of the three goes at one plate nobody can be sure; of the others one can.
    let doubtful: Vec<&str> = placed
        .iter()
        .filter(|line| line["sure"] == false)
        .filter_map(|line| line["place"].as_str())
        .collect();
    assert!(doubtful.iter().all(|place| place.contains("A3 ")) && !doubtful.is_empty(), "{doubtful:?}");
    let blips = lines(&shown, "no_note");
    assert!(blips.iter().any(|line| line["f0_hz"].is_f64()), "the blip is listed: {blips:?}");
    for chart in lines(&shown, "chart") {
        for file in ["svg", "png"] {
            assert!(at.path().join(chart[file].as_str().expect("a file")).is_file());
        }
    }
    assert!(at.path().join("job/report/sweep-before.html").is_file());
    assert_eq!(files_below(&at.path().join("job/takes")), 0, "nothing is stored");
    assert!(!at.path().join("job/diary.jsonl").exists());

    // Listed and corrected: the blip's neighbour moved by hand, one note taken out.
    let with_list = ["sweep", "job", "row-a.wav", "--pass", "before", "--list", "placing.csv"];
    platenote(&at, &with_list).success().stderr(contains("`placing.csv` is written"));
    let list = fs::read_to_string(at.path().join("placing.csv")).expect("the list");
    assert_eq!(list.lines().count(), 1 + placed.len() + 1);
    // What is doubtful is left out, and stored only when that is said.
    platenote(&at, &["sweep", "job", "row-a.wav", "--pass", "before", "--accept"])
        .success()
        .stdout(contains("doubtful, and so not stored"))
        .stderr(contains("takes are stored").and(contains("--doubtful")));
    let n_sure = placed.iter().filter(|line| line["sure"] == true).count();
    assert_eq!(cuts(&at).len(), n_sure);
    platenote(&at, &["sweep", "job", "row-a.wav", "--pass", "before", "--accept", "--doubtful"]).success();
    let found = platenote(&at, &["findings", "job", "--pass", "before", "--json"]).success();
    let valves: Vec<Value> = lines(&found, "valve");
    let of_a3 = valves.iter().filter(|line| line["plate"] == "bass A3");
    let reasons: Vec<&str> = of_a3.filter_map(|line| line["reason"].as_str()).collect();
    assert!(reasons.iter().any(|reason| reason.contains("its place is doubtful")), "{reasons:?}");
    let mut stored = cuts(&at);
    stored.sort_by(|left, right| left.1.from_s.total_cmp(&right.1.from_s));
    assert_eq!(stored.len(), placed.len());
    let hash = platenote::job::hash_of(&at.path().join("row-a.wav")).expect("a hash");
    for ((place, cut), line) in stored.iter().zip(&placed) {
        assert_eq!(*place, line["place"].as_str().expect("a place"));
        assert_eq!(cut.sha256, hash);
        let (start_s, end_s) = (line["start_s"].as_f64().expect("s"), line["end_s"].as_f64().expect("s"));
        assert!(
            cut.from_s < start_s - 0.1 && cut.to_s > end_s + 0.1,
            "silence before and the tail: {cut:?}, {line}"
        );
    }

    // Again: nothing is stored twice.
    let diary = fs::read(at.path().join("job/diary.jsonl")).expect("the diary");
    platenote(&at, &["sweep", "job", "row-a.wav", "--pass", "before", "--accept", "--doubtful"])
        .success()
        .stdout(contains("there already as"))
        .stderr(contains("No new take: ").and(contains("are there already; `platenote findings")));
    assert_eq!(fs::read(at.path().join("job/diary.jsonl")).expect("the diary"), diary);
    platenote(&at, &["verify", "job"]).success();

    // What the list says holds: the two strokes of plate 12 were played the other way round.
    let swapped =
        list.replace("A12 press", "A12 x").replace("A12 draw", "A12 press").replace("A12 x", "A12 draw");
    fs::write(at.path().join("placing.csv"), swapped).expect("the list");
    let moved = platenote(&at, &[&with_list[..], &["--accept", "--json"]].concat()).success();
    let states: Vec<Value> =
        lines(&moved, "placed").into_iter().filter(|line| line["state"] == "moved").collect();
    assert_eq!(states.len(), 2, "{states:?}");
    assert!(
        states.iter().all(|line| line["was"].as_str().is_some_and(|was| was.contains("A12"))),
        "{states:?}"
    );
    assert!(states.iter().all(
        |line| line["by"] == "list" && line["place"].as_str().is_some_and(|place| place.contains("A12"))
    ));

    // And what an order says: the whole row was played draw first.
    let order =
        ["sweep", "job", "row-a.wav", "--pass", "before", "--order", "A1..A12 draw press", "--accept"];
    platenote(&at, &order).success().stdout(contains("moved there from"));

    // The takes can be listened to.
    platenote(&at, &["findings", "job", "--pass", "before"]).success();
    assert_eq!(fs::read(at.path().join("row-a.wav")).expect("the recording"), original, "untouched");
}

#[test]
fn a_list_for_another_recording_and_a_slip_in_the_order_are_refused() {
    let at = tempfile::tempdir().expect("a folder");
    platenote(&at, &["new", "job", "--template", "bass24"]).success();
    let events = [
        Happens::Quiet { lasts_s: 1.0 },
        Happens::Note { hz: 110.0, lasts_s: 1.8, level_dbfs: -24.0 },
        Happens::Quiet { lasts_s: 1.0 },
    ];
    let sitting = Sitting::play(1, RATE_HZ, -70.0, &events);
    write_wav(&at.path().join("one.wav"), &Take::new(sitting.samples, RATE_HZ)).expect("a sound file");
    let sweep =
        |more: &[&str]| platenote(&at, &[&["sweep", "job", "one.wav", "--pass", "before"], more].concat());
    sweep(&["--order", "A1..A99"])
        .code(2)
        .stderr(contains("row `A` of block `bass`"))
        .stderr(contains("next:"));
    sweep(&["--order", "A1..A12 press draw", "--json"]).success();
    sweep(&["--block", "treble"]).code(2).stderr(contains("there is no block `treble`"));
    fs::write(at.path().join("other.csv"), "start_s,end_s,place,recording\n1.0,2.8,A1 press,0123456789ab\n")
        .expect("a list");
    sweep(&["--list", "other.csv"]).code(1).stderr(contains("it belongs to another recording"));
    fs::write(at.path().join("late.csv"), "start_s,end_s,place\n60,62,A1 press\n").expect("a list");
    sweep(&["--list", "late.csv"])
        .code(1)
        .stderr(contains("`late.csv` line 2: it begins at 60 s, and the recording ends at"));
    fs::write(at.path().join("own.csv"), "start_s,end_s,place\n1.5,2.5,A1 press\n").expect("a list");
    sweep(&["--list", "own.csv", "--accept"])
        .success()
        .stdout(contains("bass A1 press"))
        .stderr(contains("Order: as the list says.").and(contains("1 take is stored")));
    let [(place, cut)] = cuts(&at).try_into().expect("one take");
    assert_eq!(place, "bass A1 press");
    assert!(
        (cut.from_s - 0.8).abs() < 0.01 && (cut.to_s - 3.3).abs() < 0.01,
        "a stretch as the list says: {cut:?}"
    );
}

/// Real reeds one after the other, as `PLATENOTE_RECORDINGS` holds them, in a plan of their notes; those long enough for
/// a note, one recording for each sample rate.
#[test]
fn real_reeds_joined_to_one_recording_are_found_and_placed() {
    let Some(folder) = std::env::var_os("PLATENOTE_RECORDINGS").map(std::path::PathBuf::from) else {
        eprintln!(
            "skipped: real reeds joined to one recording need recordings, and PLATENOTE_RECORDINGS is not set; \
             set it to the folder that holds them and their manifest.json"
        );
        return;
    };
    let text =
        fs::read_to_string(folder.join("manifest.json")).expect("PLATENOTE_RECORDINGS has a manifest.json");
    let manifest: Value = serde_json::from_str(&text).expect("JSON");
    let mut takes: Vec<(f64, Take)> = manifest["notes"]
        .as_array()
        .expect("notes")
        .iter()
        .map(|note| {
            let file = folder.join(note["file"].as_str().expect("a file"));
            (
                note["f0"]["hz"].as_f64().expect("a pitch"),
                platenote::audio::read_file(&file).expect("a recording"),
            )
        })
        .filter(|(_, take)| take.length_s() > 0.85)
        .collect();
    takes.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut joined = 0;
    for rate_hz in [44_100, 48_000] {
        let of_rate: Vec<&(f64, Take)> = takes.iter().filter(|(_, take)| take.rate_hz == rate_hz).collect();
        joined += of_rate.len();
        joined_reeds(rate_hz, &of_rate);
    }
    assert!(joined >= 12, "{joined} notes");
}

fn joined_reeds(rate_hz: u32, takes: &[&(f64, Take)]) {
    let tuning = platenote::instrument::Tuning {
        reference: platenote::units::Hz::STANDARD_A4,
        temperament: platenote::instrument::Temperament::EQUAL,
        stretch: platenote::units::Cents::ZERO,
    };
    let name = |hz: f64| tuning.nearest(platenote::units::Hz::new(hz).expect("a pitch")).expect("a note").0;
    let at = tempfile::tempdir().expect("a folder");
    fs::create_dir(at.path().join("job")).expect("a folder");
    let names: Vec<String> = takes.iter().map(|(hz, _)| format!("\"{}\"", name(*hz))).collect();
    let plan = format!(
        "format = 1\nbellows = \"unisonoric\"\n[[block]]\nname = \"real\"\n[[block.row]]\nname = \"A\"\nnotes = [{}]\n",
        names.join(", ")
    );
    fs::write(at.path().join("job/plan.toml"), plan).expect("a plan");
    let chance = &mut Chance::split(1, 1);
    let rate = f64::from(rate_hz);
    let mut samples: Vec<f32> = Vec::new();
    let mut quiet = |samples: &mut Vec<f32>| {
        samples.extend((0..(0.8 * rate) as usize).map(|_| (1e-4 * chance.normal()) as f32));
    };
    quiet(&mut samples);
    let mut spans = Vec::new();
    for (hz, take) in takes {
        let from = samples.len();
        samples.extend(&take.samples);
        spans.push((*hz, from as f64 / rate, samples.len() as f64 / rate));
        quiet(&mut samples);
    }
    write_wav(&at.path().join("real.wav"), &Take::new(samples, rate_hz)).expect("a sound file");
    let order = format!("A1..A{} press", takes.len());
    let shown =
        platenote(&at, &["sweep", "job", "real.wav", "--pass", "before", "--order", &order, "--json"])
            .success();
    let placed = lines(&shown, "placed");
    assert_eq!(placed.len(), takes.len(), "{placed:#?}");
    assert!(lines(&shown, "unplaced").is_empty());
    for ((number, (hz, from_s, to_s)), line) in (1..).zip(&spans).zip(&placed) {
        let (start_s, end_s) = (line["start_s"].as_f64().expect("s"), line["end_s"].as_f64().expect("s"));
        let cents = 1200.0 * (line["f0_hz"].as_f64().expect("a pitch") / hz).log2();
        println!(
            "A{number}: {hz:.1} Hz, {cents:+.1} cents, {start_s:.2} to {end_s:.2} s of {from_s:.2} to {to_s:.2}"
        );
        assert_eq!(line["place"], format!("real A{number} press"));
        assert!((*from_s..*to_s).contains(&(0.5 * (start_s + end_s))), "{line}");
        // The pitch is a coarse one; of two reeds of a tremolo, up to 22 cents apart here, it may be either's.
        assert!(cents.abs() < 25.0, "{line}");
    }
}
