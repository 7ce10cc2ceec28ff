//! Takes and changes in the order they happened, not in the order they came into the job.

use std::fs::{self, File};
use std::time::{Duration, SystemTime};

use predicates::prelude::PredicateBooleanExt;
use predicates::str::contains;
use tempfile::TempDir;

use super::cli_standing::{As, job, lines, platenote, sound, standing, steps};

const G3_HZ: f64 = 195.997_72;
const DAYS: Duration = Duration::from_secs(86_400);

/// A file for B1 on press, whose outer valve leaks in the job.
fn file(dir: &TempDir, name: &str, how: As, seed: u64) {
    fs::create_dir_all(dir.path().join(name)).expect("a folder");
    sound(&dir.path().join(name).join("bass-B1-press.wav"), G3_HZ, 14.0, how, seed);
}

fn passes(dir: &TempDir) -> Vec<(String, u64)> {
    let all = lines(dir, &["pass", "job", "--json"]);
    let pass = |line: &serde_json::Value| {
        (line["pass"].as_str().expect("a name").to_owned(), line["takes"].as_u64().expect("a number"))
    };
    all.iter().map(pass).collect()
}

#[test]
fn a_take_after_a_valve_change_goes_into_a_new_pass_by_default() {
    let dir = job();
    platenote(&dir, &["mark", "job", "B1", "outer", "valve", "fitted", "35", "new"]).success();
    file(&dir, "new", As::Tight, 21);
    platenote(&dir, &["add", "job", "--pass", "before", "new/bass-B1-press.wav"])
        .success()
        .stderr(contains("new takes go into pass `before-2`").and(contains("--same-pass")));
    assert_eq!(passes(&dir), [("before".to_owned(), 4), ("before-2".to_owned(), 1)]);
    let now = standing(&dir, "bass B1", "outer");
    assert_eq!(
        (now["state"].as_str(), now["evidence"]["pass"].as_str()),
        (Some("no_sign"), Some("before-2"))
    );
    // The leak of the first pass is still told of that pass.
    platenote(&dir, &["findings", "job", "--pass", "before"]).success().stdout(contains("leak"));

    // Once more: nothing was changed since, so it stays; the same sound is not stored twice.
    file(&dir, "more", As::Tight, 22);
    platenote(&dir, &["add", "job", "--pass", "before", "more/bass-B1-press.wav"]).success();
    platenote(&dir, &["add", "job", "--pass", "before", "before/bass-B1-press.wav"])
        .success()
        .stdout(contains("the same sound is there already"));
    assert_eq!(passes(&dir), [("before".to_owned(), 4), ("before-2".to_owned(), 2)]);
    // A script says so.
    file(&dir, "same", As::Tight, 23);
    platenote(&dir, &["add", "job", "--pass", "before", "--same-pass", "same/bass-B1-press.wav"]).success();
    assert_eq!(passes(&dir)[0], ("before".to_owned(), 5));
    // A reed whose valve was not touched goes on in its pass.
    fs::create_dir_all(dir.path().join("other")).expect("a folder");
    sound(&dir.path().join("other/bass-A1-press.wav"), 164.813_78, 14.0, As::Tight, 24);
    platenote(&dir, &["add", "job", "--pass", "before", "other/bass-A1-press.wav"]).success();
    assert_eq!(passes(&dir)[0], ("before".to_owned(), 6));
}

#[test]
fn a_file_from_before_the_repair_that_is_added_late_is_not_newer_than_the_repair() {
    let ways: [(&str, &[&str]); 4] = [
        ("its own date", &[]),
        ("its list", &["--list", "list.csv"]),
        ("the flag", &["--recorded", "2026-03-05"]),
        ("the day of the pass", &["--date", "2026-03-05"]),
    ];
    for (way, words) in ways {
        let dir = tempfile::tempdir().expect("a folder");
        let plan = fs::read_to_string(job().path().join("job/plan.toml")).expect("a plan");
        platenote(&dir, &["new", "job", "--empty"]).success();
        fs::write(dir.path().join("job/plan.toml"), plan).expect("a plan");
        file(&dir, "found", As::Leaking, 3);
        let path = dir.path().join("found/bass-B1-press.wav");
        if way == "its own date" {
            let then = SystemTime::now() - 3 * DAYS;
            File::options()
                .append(true)
                .open(&path)
                .and_then(|file| file.set_modified(then))
                .expect("a date");
        }
        fs::write(
            dir.path().join("list.csv"),
            "file,place,recorded\nfound/bass-B1-press.wav,bass B1 press,2026-03-05\n",
        )
        .expect("a list");
        // The repair was noted and heard first.
        platenote(&dir, &["mark", "job", "B1", "outer", "valve", "fitted", "35", "new"]).success();
        let mut command = vec!["add", "job", "--pass", "found"];
        command.extend(words);
        if way != "its list" {
            command.push("found/bass-B1-press.wav");
        }
        platenote(&dir, &command).success().stderr(contains("counts as recorded on"));
        let now = standing(&dir, "bass B1", "outer");
        assert_eq!(now["state"], "changed", "{way}: {now}");
        assert_eq!(steps(&dir, "listen_again"), ["bass B1 outer"], "{way}");
        // Said to be of now, it tells of the new valve.
        if way == "its own date" {
            file(&dir, "late", As::Leaking, 4);
            let words = ["add", "job", "--pass", "left", "--recorded", "now", "late/bass-B1-press.wav"];
            platenote(&dir, &words).success();
            assert_eq!(standing(&dir, "bass B1", "outer")["state"], "leaks");
        }
    }
    let dir = job();
    platenote(&dir, &["add", "job", "--pass", "x", "--recorded", "2999-01-01", "before/bass-B1-press.wav"])
        .failure()
        .stderr(contains("still to come"));
}

#[test]
fn valves_are_asked_for_by_the_standing_until_a_full_revalving_is_said() {
    let dir = job();
    let needed = || -> Vec<String> {
        let all = lines(&dir, &["valves", "job", "--json"]);
        let needs = all.iter().filter(|line| line["kind"] == "need");
        needs
            .map(|line| format!("{} {}", line["plate"].as_str().unwrap(), line["face"].as_str().unwrap()))
            .collect()
    };
    // Two of four valves leak; the others are let be.
    assert_eq!(needed(), ["bass A1 inner", "bass B1 outer"]);
    platenote(&dir, &["mark", "job", "A1", "outer", "valve", "off", "curled", "1 1/2 in"]).success();
    assert_eq!(needed(), ["bass A1 outer", "bass A1 inner", "bass B1 outer"]);
    // The length was given in inches and comes back so.
    platenote(&dir, &["valves", "job", "--stock"])
        .success()
        .stdout(contains("1 × 1 1/2 in, leather, curled"));
    platenote(&dir, &["status", "job", "--marks"]).success().stdout(contains("valve off 1 1/2 in curled"));
    platenote(&dir, &["valves", "job", "--renew", "all"]).success();
    assert_eq!(needed().len(), 4, "said once, it is kept");
    platenote(&dir, &["valves", "job", "--renew", "needed"]).success();
    assert_eq!(needed().len(), 3);
    // What was counted without a word on its condition is not dealt.
    platenote(&dir, &["valves", "job", "--count", "39=5"])
        .success()
        .stderr(contains("condition was not said"));
    fs::write(dir.path().join("tray.csv"), "length,count\n39 mm,5\n").unwrap();
    platenote(&dir, &["valves", "job", "--import", "tray.csv"])
        .success()
        .stdout(contains("3 needed, 0 usable"));
}

#[test]
fn a_take_a_semitone_off_names_the_line_of_the_plan() {
    let dir = job();
    fs::create_dir_all(dir.path().join("wrong")).expect("a folder");
    sound(&dir.path().join("wrong/bass-B1-press.wav"), G3_HZ * 1.0595, 14.0, As::Tight, 31);
    platenote(&dir, &["add", "job", "--pass", "wrong", "wrong/bass-B1-press.wav"]).success();
    let plan = fs::read_to_string(dir.path().join("job/plan.toml")).unwrap();
    let line = 1 + plan.lines().position(|line| line.contains("\"G3\"")).unwrap();
    platenote(&dir, &["findings", "job", "--pass", "wrong"])
        .success()
        .stdout(contains(format!("plan.toml, line {line}")));
}

#[test]
fn who_leaves_the_order_is_told_what_can_no_longer_be_found_out() {
    let dir = tempfile::tempdir().expect("a folder");
    let plan = fs::read_to_string(job().path().join("job/plan.toml")).expect("a plan");
    platenote(&dir, &["new", "job", "--empty"]).success();
    fs::write(dir.path().join("job/plan.toml"), plan).expect("a plan");
    // Without any recording there is nothing to be told.
    platenote(&dir, &["mark", "job", "A1", "outer", "valve", "off", "39"])
        .success()
        .stderr(contains("found out").not());
    file(&dir, "first", As::Tight, 41);
    platenote(&dir, &["add", "job", "--pass", "first", "first/bass-B1-press.wav"]).success();
    platenote(&dir, &["mark", "job", "A1", "inner", "valve", "off", "38"])
        .success()
        .stderr(contains("bass A1 draw was not recorded before: whether the old valve leaked"));
    platenote(&dir, &["mark", "job", "A1", "tuned"])
        .success()
        .stderr(contains("bass A1 press, bass A1 draw was not recorded before: how it was found"));
    // A new valve, and fine tuning before it was heard.
    platenote(&dir, &["mark", "job", "B1", "outer", "valve", "fitted", "35", "new"]).success();
    platenote(&dir, &["mark", "job", "B1", "press", "tuned"])
        .success()
        .stderr(contains("two reeds that agree within a cent hide a leak"));
    // Recorded then, the two agree, and the leak cannot be heard: the list says so on terminal, paper and as JSON.
    fs::create_dir_all(dir.path().join("then")).expect("a folder");
    for (name, seed) in [("bass-B1-press", 42), ("bass-B1-draw", 43)] {
        sound(&dir.path().join(format!("then/{name}.wav")), G3_HZ, 0.0, As::Clipped, seed);
    }
    platenote(&dir, &["add", "job", "--pass", "then", "then/bass-B1-press.wav", "then/bass-B1-draw.wav"])
        .success();
    platenote(&dir, &["next", "job", "--html"]).success().stdout(
        contains("what can no longer be found out").and(contains("bass B1: its reeds agree within a cent")),
    );
    let page = fs::read_to_string(dir.path().join("job/report/next.html")).unwrap();
    assert!(page.contains("can no longer be found out"), "{page}");
    let all = lines(&dir, &["next", "job", "--json"]);
    let astray: Vec<_> = all.iter().filter(|line| line["kind"] == "out_of_order").collect();
    assert!(astray.iter().any(|line| line["places"][0] == "bass A1 outer"), "{astray:?}");
    assert!(astray.iter().any(|line| line["places"][0] == "bass B1"), "{astray:?}");
}

#[test]
fn lists_of_places_are_told_as_ranges() {
    let dir = tempfile::tempdir().expect("a folder");
    platenote(&dir, &["new", "job", "--template", "bass24"]).success();
    platenote(&dir, &["mark", "job", "A1..A12", "cleaned"])
        .success()
        .stdout("mark 1: bass A1-A12: cleaned\n");
    platenote(&dir, &["status", "job", "--marks"]).success().stdout(contains("bass A1-A12"));
    platenote(&dir, &["next", "job"]).success().stdout(contains(
        "bass A1-A12 press, bass A1-A12 draw, bass B1-B12 press, bass B1-B12 draw: record it",
    ));
    // As JSON each is a step of its own.
    let all = lines(&dir, &["next", "job", "--json"]);
    assert_eq!(all.iter().filter(|line| line["step"] == "missing_take").count(), 48);
}

/// A picture of two pixels as PNG.
fn png(file: &std::path::Path) {
    let mut encoder = png::Encoder::new(File::create(file).expect("a file"), 2, 1);
    encoder.set_color(png::ColorType::Rgb);
    let mut writer = encoder.write_header().expect("a head");
    writer.write_image_data(&[200, 30, 30, 30, 30, 200]).expect("pixels");
}

#[test]
fn photos_are_shown_small_in_the_report_and_the_owners_sheet_has_room_for_them() {
    let dir = job();
    png(&dir.path().join("rivet.png"));
    platenote(&dir, &["mark", "job", "A1", "photo", "rivet.png"]).success();
    platenote(&dir, &["report", "job", "--sound", "0"]).success();
    let page = |name: &str| {
        let text = fs::read_to_string(dir.path().join("job/report").join(name)).expect("a page");
        scraper::Html::parse_document(&text)
    };
    let count = |page: &scraper::Html, selector: &str| {
        page.select(&scraper::Selector::parse(selector).expect("a selector")).count()
    };
    let report = page("report.html");
    assert_eq!(count(&report, "#photos img[src^='data:image/png;base64,']"), 1);
    let caption = scraper::Selector::parse("#photos figcaption").expect("a selector");
    let caption: String = report.select(&caption).flat_map(|one| one.text()).collect();
    assert!(caption.contains("of bass A1"), "{caption}");
    // One photo, and frames for three prints; without any photo four frames.
    let sheet = page("hand-over.html");
    assert_eq!((count(&sheet, ".room img"), count(&sheet, ".room .frame")), (1, 3));
    platenote(&dir, &["mark", "job", "--undo"]).success();
    platenote(&dir, &["report", "job", "--sound", "0"]).success();
    assert_eq!(count(&page("report.html"), "#photos img"), 0);
    assert_eq!(count(&page("hand-over.html"), ".room .frame"), 4);
}
