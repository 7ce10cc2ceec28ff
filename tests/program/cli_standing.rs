//! What holds of a job over several passes, notes and visits, told with the real program: the stories of a restorer whose
//! record must forget nothing and claim nothing.

use std::path::Path;

use crate::bench::natural::natural_opposite;
use crate::bench::tone::ToneSpec;
use assert_cmd::Command;
use predicates::str::contains;
use serde_json::Value;
use tempfile::TempDir;

/// Two rows of one plate each, E3 and G3.
const PLAN: &str = r#"format = 1
title = "One standing"
bellows = "unisonoric"

[[block]]
name = "bass"

[[block.row]]
name = "A"
notes = ["E3"]
valves_mm = [[39, 38]]

[[block.row]]
name = "B"
notes = ["G3"]
valves_mm = [[35, 34]]
"#;
const HZ: [(&str, f64); 2] = [("A1", 164.813_78), ("B1", 195.997_72)];
/// Well above the leak limit of -40 dB, and well apart from the sounding reed.
const LEAK: (f64, f64) = (14.0, -26.0);

/// How a take is sounded.
#[derive(Clone, Copy, PartialEq)]
pub(super) enum As {
    Tight,
    Leaking,
    /// So loud that nothing can be told of weak tones.
    Clipped,
}

pub(super) fn platenote(at: &TempDir, words: &[&str]) -> assert_cmd::assert::Assert {
    Command::new(assert_cmd::cargo::cargo_bin!("platenote")).current_dir(at.path()).args(words).assert()
}

pub(super) fn lines(at: &TempDir, words: &[&str]) -> Vec<Value> {
    let output = platenote(at, words).success().get_output().stdout.clone();
    let text = String::from_utf8(output).expect("text");
    text.lines().map(|line| serde_json::from_str(line).expect("JSON")).collect()
}

/// A take of three seconds.
pub(super) fn sound(file: &Path, hz: f64, opposite_cents: f64, how: As, seed: u64) {
    let partials = (1..=20).map(|number| f64::from(number).powf(-0.8)).collect();
    let mut spec = ToneSpec::plain(48_000, hz, partials, 3.0);
    (spec.lead_in_s, spec.attack_s, spec.snr_db) = (0.2, 0.15, Some(55.0));
    spec.opposite = (how == As::Leaking).then(|| natural_opposite(seed, &spec, opposite_cents, LEAK.1));
    let take = spec.render(seed);
    let format = hound::WavSpec {
        channels: 1,
        sample_rate: take.rate_hz,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let loudest = take.samples.iter().fold(0.0_f32, |most, sample| most.max(sample.abs()));
    let gain = if how == As::Clipped { 3.0 } else { 0.5 } / loudest;
    let mut writer = hound::WavWriter::create(file, format).expect("a file");
    for sample in &take.samples {
        let scaled = (32_767.0 * gain * sample).clamp(-32_768.0, 32_767.0);
        writer.write_sample(scaled as i16).expect("written");
    }
    writer.finalize().expect("written");
}

/// Add takes of a pass; press tests the outer valve and draw the inner one.
fn pass(dir: &TempDir, name: &str, takes: &[(&str, As)]) -> String {
    let folder = dir.path().join(name);
    std::fs::create_dir_all(&folder).expect("a folder");
    let mut files = Vec::new();
    for (seed, (place, how)) in (1..).zip(takes) {
        let (_, press_hz) = HZ.iter().find(|(plate, _)| place.starts_with(plate)).expect("a plate");
        // A plate's two reeds lie 14 cents apart.
        let is_draw = place.ends_with("draw");
        let hz = if is_draw { press_hz * (LEAK.0 / 1200.0).exp2() } else { *press_hz };
        let file = format!("{name}/bass-{place}.wav");
        sound(&dir.path().join(&file), hz, if is_draw { -LEAK.0 } else { LEAK.0 }, *how, seed);
        files.push(file);
    }
    let words = ["add", "job", "--pass", name].into_iter().chain(files.iter().map(String::as_str));
    let added = platenote(dir, &words.collect::<Vec<_>>()).success();
    String::from_utf8_lossy(&added.get_output().stderr).into_owned()
}

/// A job with four takes, the inner valve of A1 and the outer one of B1 leaking.
pub(super) fn job() -> TempDir {
    let dir = tempfile::tempdir().expect("a folder");
    platenote(&dir, &["new", "job", "--empty"]).success();
    std::fs::write(dir.path().join("job/plan.toml"), PLAN).expect("a plan");
    let takes = [
        ("A1-press", As::Tight),
        ("A1-draw", As::Leaking),
        ("B1-press", As::Leaking),
        ("B1-draw", As::Tight),
    ];
    pass(&dir, "before", &takes);
    dir
}

/// The standing of a valve by `findings --json`.
pub(super) fn standing(dir: &TempDir, plate: &str, face: &str) -> Value {
    let all = lines(dir, &["findings", "job", "--json"]);
    let is_it = |line: &Value| line["kind"] == "standing" && line["plate"] == plate && line["face"] == face;
    all.into_iter().find(is_it).expect("a standing for every slot")
}

pub(super) fn steps(dir: &TempDir, step: &str) -> Vec<String> {
    let all = lines(dir, &["next", "job", "--json"]);
    let of_kind = all.iter().filter(|line| line["kind"] == "next" && line["step"] == step);
    of_kind.map(|line| line["place"].as_str().expect("a place").to_owned()).collect()
}

/// The owner's sheet without its tags.
fn owners_sheet(dir: &TempDir) -> String {
    platenote(dir, &["report", "job", "--sound", "0"]).success();
    let page = std::fs::read_to_string(dir.path().join("job/report/hand-over.html")).expect("the sheet");
    let document = scraper::Html::parse_document(&page);
    let body = scraper::Selector::parse("body").expect("a selector");
    let text: String = document.select(&body).flat_map(|body| body.text()).collect();
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn a_leak_stays_open_on_every_list_when_only_another_row_is_recorded_again() {
    let dir = job();
    pass(&dir, "after", &[("A1-press", As::Tight), ("A1-draw", As::Tight)]);

    let open = standing(&dir, "bass B1", "outer");
    assert_eq!((open["state"].as_str(), open["evidence"]["pass"].as_str()), (Some("leaks"), Some("before")));
    assert_eq!(open["evidence"]["sign"], "second_tone");
    assert!(open["evidence"]["value"].as_f64().is_some_and(|level| level > -40.0), "{open}");
    assert!(open["evidence"]["take"] == 1 && open["since"] == open["evidence"]["date"], "{open}");
    let healed = standing(&dir, "bass A1", "inner");
    assert_eq!(
        (healed["state"].as_str(), healed["evidence"]["pass"].as_str()),
        (Some("no_sign"), Some("after"))
    );

    let tasks = lines(&dir, &["worklist", "job", "--json"]);
    let listed: Vec<_> = tasks.iter().map(|task| (task["plate"].as_str(), task["pass"].as_str())).collect();
    assert_eq!(listed, [(Some("bass B1"), Some("before"))]);
    assert_eq!(steps(&dir, "valve"), ["bass B1 outer"]);
    let faces = lines(&dir, &["status", "job", "--json"]);
    let face = faces.iter().find(|line| line["plate"] == "bass B1" && line["face"] == "outer");
    assert_eq!(face.expect("a face")["valve"], "leaks");
    platenote(&dir, &["status", "job"])
        .success()
        .stdout(contains("valve: bass B1 outer leaks: pass `before`"));

    let sheet = owners_sheet(&dir);
    assert!(sheet.contains("Of 2 valves found leaking"), "{sheet}");
    assert!(sheet.contains("1 heard again") && sheet.contains("1 not seen to, or still leaking"), "{sheet}");
    let page = std::fs::read_to_string(dir.path().join("job/report/report.html")).expect("the report");
    let next = scraper::Selector::parse("#next").expect("a selector");
    let page = scraper::Html::parse_document(&page);
    let next: String = page.select(&next).flat_map(|next| next.text()).collect();
    assert!(next.contains("B1") && next.contains("pass `before`, take 1"), "{next}");

    // One pass alone can be looked at, and says so.
    platenote(&dir, &["worklist", "job", "--pass", "after"])
        .success()
        .stdout(contains("no valve wants work"))
        .stderr(contains("pass `after` alone"));
}

#[test]
fn what_no_take_answers_is_neither_cured_nor_forgotten() {
    let dir = job();
    platenote(&dir, &["mark", "job", "A1", "inner", "valve", "fitted", "38", "new"]).success();
    let takes = ["A1-press", "A1-draw", "B1-press", "B1-draw"].map(|place| (place, As::Clipped));
    pass(&dir, "after", &takes);

    // The one was changed and not confirmed, the other goes on leaking: "not judged" overwrites no verdict.
    let changed = standing(&dir, "bass A1", "inner");
    assert_eq!(changed["state"], "changed", "{changed}");
    assert_eq!(changed["before_change"], true);
    assert_eq!(changed["unanswered"]["pass"], "after");
    let open = standing(&dir, "bass B1", "outer");
    assert_eq!((open["state"].as_str(), open["evidence"]["pass"].as_str()), (Some("leaks"), Some("before")));
    let sheet = owners_sheet(&dir);
    assert!(sheet.contains("Of 2 valves found leaking"), "{sheet}");
    assert!(sheet.contains("1 changed and not confirmed"), "{sheet}");
    assert!(sheet.contains("1 not seen to, or still leaking"), "{sheet}");
    for word in ["cured", "heard again, without", "show none", "shows none"] {
        assert!(!sheet.contains(word), "{word}: {sheet}");
    }
}

#[test]
fn a_changed_valve_is_listened_to_again_and_a_new_take_closes_it() {
    let dir = job();
    platenote(&dir, &["mark", "job", "A1", "lifted"]).success();
    platenote(&dir, &["mark", "job", "A1", "inner", "valve", "fitted", "38", "new"]).success();
    platenote(&dir, &["mark", "job", "B1", "outer", "valve", "fitted", "35", "new"]).success();
    assert_eq!(steps(&dir, "listen_again"), ["bass A1 inner", "bass B1 outer"]);
    assert!(steps(&dir, "valve").is_empty());
    let listed = lines(&dir, &["next", "job", "--json"]);
    assert_eq!(listed[0]["stage"], "listen_again", "tuning comes after the valves were heard");
    assert_eq!(standing(&dir, "bass A1", "inner")["changed"]["work"], "valve fitted 38 mm new");

    let takes =
        [("A1-press", As::Tight), ("A1-draw", As::Tight), ("B1-press", As::Leaking), ("B1-draw", As::Tight)];
    pass(&dir, "after", &takes);
    assert!(steps(&dir, "listen_again").is_empty());
    assert_eq!(steps(&dir, "valve"), ["bass B1 outer"], "the new valve leaks, too");
    assert_eq!(standing(&dir, "bass A1", "inner")["state"], "no_sign");
    // A lifted plate does not stay in place.
    platenote(&dir, &["mark", "job", "B1", "lifted"]).success();
    platenote(&dir, &["worklist", "job"]).success().stdout(contains("bass B, lies beside the block:"));
}

/// Put everything the diary holds a year back.
fn a_year_passes(dir: &TempDir) {
    let file = dir.path().join("job/diary.jsonl");
    let text = std::fs::read_to_string(&file).expect("the diary");
    let this_year = jiff::ZonedDateTime::now().year();
    let of = |year: i16| [format!("\"at\":\"{year}-"), format!("\"date\":\"{year}-")];
    let older = of(this_year)
        .iter()
        .zip(&of(this_year - 1))
        .fold(text.clone(), |text, (now, then)| text.replace(now, then));
    assert_ne!(older, text);
    std::fs::write(&file, older).expect("written");
}

#[test]
fn a_second_visit_tells_no_work_of_the_first() {
    let dir = job();
    for work in [
        &["A1", "inner", "valve", "fitted", "38", "new"][..],
        &["A1", "B1", "cleaned"],
        &["A1", "press", "tuned"],
    ] {
        platenote(&dir, &[&["mark", "job"], work].concat()).success();
    }
    pass(&dir, "after", &[("A1-press", As::Tight), ("A1-draw", As::Tight)]);
    let sheet = owners_sheet(&dir);
    assert!(sheet.contains("1 valve fitted.") && sheet.contains("2 plates cleaned."), "{sheet}");
    let before: Vec<Value> =
        ["A1", "B1"].map(|plate| standing(&dir, &format!("bass {plate}"), "inner")).into();

    a_year_passes(&dir);
    // Months have passed: a visit is offered, and nothing is opened unasked.
    let said = platenote(&dir, &["mark", "job", "note", "back", "again"]).success();
    let said = String::from_utf8_lossy(&said.get_output().stderr).into_owned();
    assert!(said.contains("visit job --open"), "{said}");
    assert_eq!(lines(&dir, &["visit", "job", "--json"]).len(), 1);
    a_year_passes(&dir);
    platenote(&dir, &["visit", "job", "--open", "second"]).success();
    let visits = lines(&dir, &["visit", "job", "--json"]);
    assert_eq!(visits.iter().map(|visit| visit["n"].as_u64()).collect::<Vec<_>>(), [Some(1), Some(2)]);
    assert_eq!(visits[0]["passes"], serde_json::json!(["before", "after"]));

    for recorded in [false, true] {
        if recorded {
            pass(&dir, "second", &[("A1-press", As::Tight), ("A1-draw", As::Tight)]);
        }
        let sheet = owners_sheet(&dir);
        assert!(sheet.contains("No work is noted in this visit so far."), "{sheet}");
        assert!(
            !sheet.contains("fitted.") && !sheet.contains("cleaned.") && !sheet.contains("tuned."),
            "{sheet}"
        );
        // What was known is still known.
        assert!(sheet.contains("Visit 2") && sheet.contains("1 not seen to, or still leaking"), "{sheet}");
        assert_eq!(standing(&dir, "bass B1", "outer")["state"], "leaks");
    }
    assert_eq!(standing(&dir, "bass B1", "inner")["state"], before[1]["state"]);
}
