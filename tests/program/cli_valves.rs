//! `valves`, `mark`, `status` and `worklist` through the real program: output, messages, exit codes, files, accidents.

use std::fs;

use assert_cmd::Command;
use predicates::prelude::*;
use predicates::str::{contains, is_empty, starts_with};
use tempfile::TempDir;

fn platenote(at: &TempDir, words: &[&str]) -> assert_cmd::assert::Assert {
    let mut command = Command::new(assert_cmd::cargo::cargo_bin!("platenote"));
    command.current_dir(at.path()).args(words).assert()
}

fn said(at: &TempDir, words: &[&str]) -> String {
    String::from_utf8(platenote(at, words).success().get_output().stdout.clone()).unwrap()
}

fn json(at: &TempDir, words: &[&str]) -> Vec<serde_json::Value> {
    said(at, words).lines().map(|line| serde_json::from_str(line).unwrap()).collect()
}

/// A job of six slots, five with a valve.
fn with_job() -> TempDir {
    let dir = tempfile::tempdir().unwrap();
    platenote(&dir, &["new", "job", "--empty"]).success();
    let plan = "format = 1\ntitle = \"Trial\"\nbellows = \"unisonoric\"\n[[block]]\nname = \"bass\"\n[[block.row]]\n\
        name = \"A\"\nnotes = [\"E2\", \"F2\", \"F#2\"]\nvalves_mm = [[38, 38], [38, 35], [35, 0]]\n";
    fs::write(dir.path().join("job/plan.toml"), plan).unwrap();
    dir
}

#[test]
fn a_tray_is_counted_dealt_out_and_carried_through_csv() {
    let dir = with_job();
    platenote(&dir, &["valves", "job", "--count", "3.8=2"])
        .code(2)
        .stdout(is_empty())
        .stderr(contains("next:  write `38 mm` or `3.8 cm` if 38 mm is meant"));
    assert!(!dir.path().join("job/diary.jsonl").exists());
    platenote(
        &dir,
        &["valves", "job", "--count", "38mm=2", "--count", "1.5in=0", "--condition", "flat", "--bin", "1"],
    )
    .success();
    platenote(
        &dir,
        &["valves", "job", "--count", "36 mm=1", "--bin", "2", "--condition", "curled", "--width", "6.5"],
    )
    .success()
    .stdout(starts_with("5 needed, 3 usable: cut 2: 38 mm × 1, 35 mm × 1\n"))
    .stdout(contains("strip of leather: at least 14 mm × 38.5 mm, for 2 side by side, each 6.5 mm wide"))
    .stderr(contains("tray: 3 valves, 2 before"));
    let list = said(&dir, &["valves", "job", "--stock", "--csv"]);
    assert_eq!(
        list,
        "length,count,width,material,condition,bin,thickness\n38 mm,2,,leather,flat,1,\n36 mm,1,6.5 mm,leather,curled,2,\n"
    );
    fs::write(dir.path().join("tray.csv"), &list).unwrap();
    platenote(&dir, &["valves", "job", "--count", "30=9", "--condition", "flat"]).success();
    platenote(&dir, &["valves", "job", "--import", "tray.csv"]).success();
    assert_eq!(said(&dir, &["valves", "job", "--stock", "--csv"]), list);
    fs::write(dir.path().join("bad.csv"), "length,count\n38 mm,2\n3.8,4\n").unwrap();
    platenote(&dir, &["valves", "job", "--import", "bad.csv"])
        .code(1)
        .stderr(contains("`bad.csv` line 3: `length`: `3.8`"));
    assert_eq!(said(&dir, &["valves", "job", "--stock", "--csv"]), list);

    let lines = json(&dir, &["valves", "job", "--json"]);
    let of = |kind: &str| lines.iter().filter(|line| line["kind"] == kind).count();
    assert_eq!((of("need"), of("cut"), of("strip"), of("left"), of("summary")), (5, 2, 1, 0, 1));
    let summary = lines.last().unwrap();
    assert_eq!((&summary["needed"], &summary["usable"], &summary["cut"]), (&5.into(), &3.into(), &2.into()));
    let csv = said(&dir, &["valves", "job", "--csv"]);
    assert_eq!(csv.lines().count(), 6);
    assert!(csv.contains("\nbass A1,outer,38,leather,no,tray,38,flat,1,0,as the plan has it,"), "{csv}");
    let table = |name: &str| said(&dir, &["valves", "job", "--csv", "--table", name]);
    assert_eq!(table("cut"), "material,length_mm,count\nleather,38,1\nleather,35,1\n");
    assert_eq!(table("strip"), "material,count,length_mm,width_mm,valve_width_mm\nleather,2,14,38.5,6.5\n");
    assert_eq!(table("left"), "length,count,width,material,condition,bin,thickness\n");
    assert_eq!(table("differences"), "place,text\n");
    assert!(table("count").contains("\nneeded,5\nusable,3\ncut,2\n"));
    platenote(&dir, &["valves", "job", "--table", "cut"]).code(2);
    assert!(
        said(&dir, &["valves", "job", "--explain"]).contains("bass A1 outer needs 38 mm, as the plan has it")
    );
    platenote(&dir, &["valves", "job", "--html"]).success();
    let page = fs::read_to_string(dir.path().join("job/report/valves.html")).unwrap();
    assert!(page.contains("5 needed, 3 usable") && page.contains("size: A4"));
}

#[test]
fn marks_take_ranges_and_several_places_and_are_taken_back_by_a_line() {
    let dir = with_job();
    for (words, answer) in [
        (vec!["A1", "outer", "cleaned"], "mark 1: bass A1 outer: cleaned\n"),
        (vec!["A1..A3", "lifted"], "mark 2: bass A1-A3: lifted\n"),
        (
            vec!["bass", "A1", "inner", "A2", "inner", "valve", "fitted", "3.8cm", "bin", "1"],
            "mark 3: bass A1-A2 inner: valve fitted 38 mm bin 1\n",
        ),
        (vec!["A1,A3", "rust", "light"], "mark 4: bass A1, bass A3: rust light\n"),
        (vec!["A1", "press", "filed", "tip"], "mark 5: bass A1 press: filed tip\n"),
        (vec!["note", "A1 smells of camphor"], "mark 6: note A1 smells of camphor\n"),
        (vec!["--undo=4"], "mark 4 taken back: bass A1, bass A3: rust light\n"),
        (vec!["--undo"], "mark 6 taken back: note A1 smells of camphor\n"),
    ] {
        let all: Vec<&str> = ["mark", "job"].into_iter().chain(words).collect();
        platenote(&dir, &all).success().stdout(answer);
    }
    platenote(&dir, &["mark", "job", "--undo=4"]).code(1).stderr(contains("there is no mark 4 to take back"));
    let diary = fs::read_to_string(dir.path().join("job/diary.jsonl")).unwrap();
    assert_eq!(diary.lines().count(), 8, "nothing is erased: {diary}");
    platenote(&dir, &["mark", "job", "A1", "A2", "cleaned", "--csv"])
        .success()
        .stdout("n,places,work,file,undone\n7,\"bass A1; bass A2\",cleaned,,no\n");
    platenote(&dir, &["mark", "job", "--undo", "--csv"])
        .success()
        .stdout("n,places,work,file,undone\n7,\"bass A1; bass A2\",cleaned,,yes\n");
    let listed = json(&dir, &["status", "job", "--marks", "--json"]);
    let undone: Vec<bool> = listed.iter().map(|mark| mark["undone"].as_bool().unwrap()).collect();
    assert_eq!(undone, [false, false, false, true, false, true, true]);
    platenote(&dir, &["verify", "job"]).success();
}

#[test]
fn what_cannot_be_understood_later_is_refused_and_leaves_no_line() {
    let dir = with_job();
    for (words, code, message) in [
        (vec!["A1", "valve", "fitted", "38"], 2, "does not say on which face"),
        (vec!["A1", "outer", "valve", "fitted", "3.8"], 2, "`3.8` has no unit"),
        (vec!["waxed"], 2, "nothing says where"),
        (vec!["A1", "polished"], 2, "`polished` is no work that can be marked"),
        (vec!["A1"], 2, "nothing is said of what was done"),
        (vec!["A9", "waxed"], 1, "has the plates 1 to 3, not 9"),
        (vec!["treble", "A1", "waxed"], 1, "there is no block `treble`"),
        (vec!["A1", "photo", "nowhere.jpg"], 1, "`nowhere.jpg` could not be read"),
        (vec!["A1", "photo", "."], 1, "`.` is not a file"),
    ] {
        let all: Vec<&str> = ["mark", "job"].into_iter().chain(words).collect();
        platenote(&dir, &all)
            .code(code)
            .stdout(is_empty())
            .stderr(contains(message).and(contains("next:  ")));
    }
    assert!(!dir.path().join("job/diary.jsonl").exists());
}

#[test]
fn photos_are_copied_hashed_and_verified() {
    let dir = with_job();
    // Looked at, and not believed for its name.
    for (bytes, words) in [
        (b"first".as_slice(), "no photo in JPEG, PNG or WebP, whatever its name says"),
        // As telephones begin such a file (ISO/IEC 23008-12).
        (b"\0\0\0\x24ftypheic\0\0\0\0".as_slice(), "but one in HEIC"),
    ] {
        fs::write(dir.path().join("Tip of A1.JPG"), bytes).unwrap();
        platenote(&dir, &["mark", "job", "A1", "photo", "Tip of A1.JPG"]).code(1).stderr(contains(words));
    }
    assert!(!dir.path().join("job/diary.jsonl").exists());
    fs::write(dir.path().join("Tip of A1.JPG"), b"\xff\xd8\xfffirst").unwrap();
    platenote(&dir, &["mark", "job", "A1", "outer", "photo", "Tip of A1.JPG"])
        .success()
        .stdout("mark 1: bass A1 outer: photo photos/photo-Tip_of_A1.jpg\n");
    // The same again is not stored twice; another of the same name is kept beside it.
    platenote(&dir, &["mark", "job", "A2", "photo", "Tip of A1.JPG"])
        .success()
        .stdout(contains("photo-Tip_of_A1.jpg"));
    fs::write(dir.path().join("Tip of A1.JPG"), b"\xff\xd8\xffsecond").unwrap();
    platenote(&dir, &["mark", "job", "A2", "photo", "Tip of A1.JPG"])
        .success()
        .stdout(contains("photo-Tip_of_A1-2.jpg"));
    platenote(&dir, &["verify", "job"]).success();
    let stored = dir.path().join("job/photos/photo-Tip_of_A1.jpg");
    assert_eq!(fs::read(&stored).unwrap(), b"\xff\xd8\xfffirst");
    fs::write(&stored, b"retouched").unwrap();
    fs::write(dir.path().join("job/photos/stray.jpg"), b"\xff\xd8\xffstray").unwrap();
    platenote(&dir, &["verify", "job"]).code(1).stdout(
        contains("altered: `photos/photo-Tip_of_A1.jpg`").and(contains("unlisted: `photos/stray.jpg`")),
    );
    // Cut off between the copy and its line: doing it again finds the copy.
    fs::write(dir.path().join("stray.jpg"), b"\xff\xd8\xffstray").unwrap();
    platenote(&dir, &["mark", "job", "photo", "stray.jpg"])
        .success()
        .stdout("mark 4: photo photos/stray.jpg\n");
    fs::remove_file(&stored).unwrap();
    platenote(&dir, &["verify", "job"]).code(1).stdout(contains("missing: `photos/photo-Tip_of_A1.jpg`"));
}

#[test]
fn status_maps_what_is_done_and_warns() {
    let dir = with_job();
    platenote(&dir, &["mark", "job", "A1", "lifted"]).success().stderr(contains("caution: "));
    platenote(&dir, &["mark", "job", "A1", "outer", "valve", "off", "38", "curled", "bin", "2"]).success();
    platenote(&dir, &["mark", "job", "A1", "waxed"])
        .success()
        .stderr(contains("warning: bass A1 waxed, and its inner valve is not noted as fitted"));
    platenote(&dir, &["mark", "job", "A2", "tuned"]).success().stderr(contains("before its valves are done"));
    platenote(&dir, &["mark", "job", "A2", "cleaned", "solvent"])
        .success()
        .stderr(contains("no pause is noted"));
    platenote(&dir, &["status", "job"])
        .success()
        .stdout(contains("bass    A1     A2     A3\nouter   OW     CT     .\ninner   W      CT     -\n"))
        .stdout(contains("next: clean: bass A3\n"))
        .stdout(contains("count: bass A1 outer: a 38 mm valve was lifted off, none fitted yet\n"))
        .stderr(
            contains("warning: mark 3: ")
                .and(contains("warning: mark 4: "))
                .and(contains("warning: mark 5: ")),
        );
    let lines = json(&dir, &["status", "job", "--json"]);
    let of = |kind: &str| lines.iter().filter(|line| line["kind"] == kind).count();
    assert_eq!((of("face"), of("difference"), of("warning")), (6, 1, 3));
    assert_eq!(
        said(&dir, &["status", "job", "--csv", "--table", "differences"]),
        "place,text\nbass A1 outer,\"a 38 mm valve was lifted off, none fitted yet\"\n"
    );
    assert_eq!(said(&dir, &["status", "job", "--csv", "--table", "warnings"]).lines().count(), 4);
    let csv = said(&dir, &["status", "job", "--csv"]);
    assert!(
        csv.starts_with(
            "plate,face,lifted,done,next,valve\nbass A1,outer,no,\"lifted; valve off 38 mm curled bin 2; waxed\",fit valve 38 mm,off\n"
        ),
        "{csv}"
    );
}

#[test]
fn the_work_list_comes_from_marks_alone_where_nothing_was_heard() {
    let dir = with_job();
    platenote(&dir, &["worklist", "job"]).success().stdout("no valve wants work\n");
    platenote(&dir, &["mark", "job", "A2", "inner", "valve", "off", "35", "bin", "3"]).success();
    // Taken off and not looked at, it is not dealt back.
    let lines = json(&dir, &["worklist", "job", "--json"]);
    assert_eq!((&lines[0]["from"], &lines[0]["bin"]), (&"cut".into(), &serde_json::Value::Null));
    platenote(&dir, &["mark", "job", "A2", "inner", "valve", "off", "flat"])
        .success()
        .stderr(contains("the valve of bass A2 inner was noted as off before").and(contains("counted once")));
    let lines = json(&dir, &["worklist", "job", "--json"]);
    assert_eq!(lines.len(), 1);
    let task = &lines[0];
    assert_eq!(
        (&task["plate"], &task["face"], &task["bin"]),
        (&"bass A2".into(), &"inner".into(), &"3".into())
    );
    assert_eq!(
        (&task["lift_plate"], &task["length_mm"], &task["pass"]),
        (&true.into(), &35.0.into(), &serde_json::Value::Null)
    );
    platenote(&dir, &["worklist", "job", "--csv"])
        .success()
        .stdout(contains("\n,bass A2,inner,yes,off,35,tray,3,35,"));
    platenote(&dir, &["worklist", "job", "--html"]).success();
    assert!(
        fs::read_to_string(dir.path().join("job/report/work-list.html"))
            .unwrap()
            .contains("Lift these plates")
    );
    platenote(&dir, &["worklist", "job", "--pass", "never"])
        .code(1)
        .stderr(contains("there is no pass `never`"));
}

/// Marks until the disk takes no more: with a limit on the length of a file, which kills the program half-way through
/// a line, or (the signal ignored) makes the system refuse the rest of it, as a full disk does.
#[cfg(unix)]
fn fill(dir: &TempDir, shell: &str) -> (usize, std::process::Output) {
    let program = assert_cmd::cargo::cargo_bin!("platenote");
    for n in 1..=200 {
        let script = format!("{shell} ulimit -f 8; exec \"$0\" mark job A1 outer note \"$1\"");
        let mut command = std::process::Command::new("sh");
        command
            .current_dir(dir.path())
            .args(["-c", &script])
            .arg(program)
            .arg(format!("{n} {}", "word ".repeat(30)));
        let output = command.output().unwrap();
        if !output.status.success() {
            return (n - 1, output);
        }
    }
    panic!("the limit was never reached");
}

#[cfg(unix)]
fn notes(dir: &TempDir) -> Vec<String> {
    let marks = json(dir, &["status", "job", "--marks", "--json"]);
    marks.iter().map(|mark| mark["work"].as_str().unwrap().split(' ').nth(1).unwrap().to_owned()).collect()
}

#[cfg(unix)]
#[test]
fn a_crash_half_way_through_a_line_loses_no_mark() {
    let dir = with_job();
    let (kept, output) = fill(&dir, "");
    assert_eq!(output.status.code(), None, "killed: {output:?}");
    let numbers: Vec<String> = (1..=kept).map(|n| n.to_string()).collect();
    assert_eq!(notes(&dir), numbers);
    platenote(&dir, &["mark", "job", "A1", "note", "later"])
        .success()
        .stdout(format!("mark {}: bass A1: note later\n", kept + 1));
    assert_eq!(notes(&dir).len(), kept + 1);
    platenote(&dir, &["verify", "job"]).success();
}

#[cfg(unix)]
#[test]
fn a_full_disk_is_said_and_loses_no_mark() {
    let dir = with_job();
    let (kept, output) = fill(&dir, "trap '' XFSZ;");
    assert_eq!(output.status.code(), Some(1), "{output:?}");
    let words = String::from_utf8(output.stderr).unwrap();
    assert!(words.contains("diary.jsonl` could not be written") && words.contains("next:  "), "{words}");
    assert!(output.stdout.is_empty(), "no mark is claimed that is not kept");
    let numbers: Vec<String> = (1..=kept).map(|n| n.to_string()).collect();
    assert_eq!(notes(&dir), numbers);
    let diary = fs::read(dir.path().join("job/diary.jsonl")).unwrap();
    assert_eq!(diary.last(), Some(&b'\n'), "the half line was cut back");
    platenote(&dir, &["verify", "job"]).success();
}
