//! Jobs in odd places and in hostile hands: names, foreign files, links that lead out, cells that are formulas.

use std::fs;
use std::os::unix::fs::symlink;

use super::{Workshop, text};

#[test]
fn a_job_lives_on_any_path_and_is_whole_after_it_was_copied() {
    let long = "ä".repeat(120);
    for name in
        ["a job with spaces", "Größe — ñ 字", "-dash", "quote\"and'apostrophe", "new\nline", long.as_str()]
    {
        let workshop = Workshop::named(name);
        workshop.sound("A1-press.wav", 1, 20_000);
        let job = format!("./{name}");
        workshop.done(&["add", &job, "A1-press.wav", "--pass", "before"]);
        workshop.done(&["mark", &job, "A1", "lifted"]);
        workshop.done(&["valves", &job, "--count", "38mm=3", "--html"]);
        workshop.done(&["verify", &job]);
        // To another machine: nothing in the folder knows where it lay.
        let copied = std::process::Command::new("cp")
            .args(["-r", &job, "copy"])
            .current_dir(workshop.path(""))
            .status();
        assert!(copied.unwrap().success());
        workshop.done(&["verify", "copy"]);
        workshop.done(&["mark", "copy", "A1", "put", "back"]);
    }
}

/// On a file system that takes `A` and `a` for one, two names must not differ in case alone.
#[test]
fn no_two_files_of_a_job_differ_in_case_alone() {
    let workshop = Workshop::new();
    for (seed, file) in [(1, "A1-press.wav"), (2, "a1-PRESS.wav"), (3, "A1-press.WAV")] {
        workshop.sound(file, seed, 20_000);
        let pass = if seed == 2 { "BEFORE" } else { "before" };
        workshop.done(&["add", "job", file, "--pass", pass]);
    }
    let mut names: Vec<String> = Vec::new();
    let mut folders = vec![workshop.path("job")];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder).unwrap().map(Result::unwrap) {
            names.push(entry.path().to_string_lossy().to_lowercase());
            if entry.file_type().unwrap().is_dir() {
                folders.push(entry.path());
            }
        }
    }
    let count = names.len();
    names.sort();
    names.dedup();
    assert_eq!(names.len(), count, "{names:?}");
    assert_eq!(workshop.takes().len(), 3);
}

#[test]
fn foreign_files_of_a_synced_folder_are_named_and_never_touched() {
    let workshop = Workshop::new();
    workshop.sound("A1-press.wav", 1, 20_000);
    workshop.done(&["add", "job", "A1-press.wav", "--pass", "before"]);
    let foreign = [
        "job/diary (conflicted copy).jsonl",
        "job/plan.toml~",
        "job/takes/.DS_Store",
        "job/takes/before/bass-A1-press-1 (conflicted copy).wav",
        "job/takes/before/bass-A1-press-2.wav",
        "job/takes/desktop.ini",
        "job/report.tmp",
    ];
    for file in foreign {
        fs::write(workshop.path(file), file).unwrap();
    }
    workshop.done(&["mark", "job", "A1", "lifted"]);
    workshop.sound("A1-press.wav", 2, 20_000);
    workshop.done(&["add", "job", "A1-press.wav", "--pass", "before"]);
    for file in foreign {
        assert_eq!(fs::read(workshop.path(file)).unwrap(), file.as_bytes(), "{file}");
    }
    let named: Vec<String> = workshop.troubles().into_iter().map(|(_, place)| place).collect();
    let wanted = ["takes/before/bass-A1-press-1 (conflicted copy).wav", "takes/before/bass-A1-press-2.wav"];
    assert_eq!(named, wanted);
}

/// A job from somebody else's hands must not make us write to a file that is none of the job's.
#[test]
fn links_that_lead_out_of_the_job_are_not_written_through() {
    for name in ["diary.jsonl", "diary.torn", ".lock", "takes", "photos", "takes/before", "report"] {
        let workshop = Workshop::new();
        workshop.sound("A1-press.wav", 1, 20_000);
        fs::create_dir_all(workshop.path("outside")).unwrap();
        fs::write(workshop.path("outside.txt"), "").unwrap();
        if name == "takes/before" {
            fs::create_dir_all(workshop.path("job/takes")).unwrap();
        }
        let is_file = name.contains('.') && name != "takes/before";
        let target = workshop.path(if is_file { "outside.txt" } else { "outside" });
        symlink(&target, workshop.path(&format!("job/{name}"))).unwrap();
        let output = match name {
            "report" => workshop.run(&["valves", "job", "--html"]),
            _ => workshop.run(&["add", "job", "A1-press.wav", "--pass", "before"]),
        };
        let words = text(&output.stderr);
        assert_eq!(output.status.code(), Some(1), "{name}: {words}");
        assert!(words.contains(&format!("`job/{name}` leads out of the job")), "{name}: {words}");
        assert_eq!(fs::read(workshop.path("outside.txt")).unwrap(), b"", "{name}");
        assert_eq!(fs::read_dir(workshop.path("outside")).unwrap().count(), 0, "{name}");
    }
    // A link that stays inside, or the job's own folder reached by one, is nobody's harm.
    let workshop = Workshop::new();
    symlink(workshop.path("job"), workshop.path("by another name")).unwrap();
    workshop.done(&["mark", "by another name", "A1", "lifted"]);
}

/// A diary from somebody else's hands says that a take lies behind a link, and that it is gone.
#[test]
fn a_take_that_is_brought_back_is_not_put_behind_a_link() {
    let workshop = Workshop::new();
    let sound = workshop.sound("A1-press.wav", 1, 20_000);
    let sha256 = platenote::job::hash_of(&sound).unwrap();
    fs::create_dir_all(workshop.path("outside")).unwrap();
    fs::create_dir_all(workshop.path("job/takes")).unwrap();
    symlink(workshop.path("outside"), workshop.path("job/takes/else")).unwrap();
    let line = format!(
        "{{\"format\":1,\"at\":\"2026-04-30T10:00:00Z\",\"what\":\"take\",\"pass\":\"before\",\
         \"place\":\"bass A1 press\",\"file\":\"takes/else/x.wav\",\"n\":1,\"sha256\":\"{sha256}\",\
         \"bytes\":1,\"original\":null,\"why\":\"\",\"lossy\":false,\"remarks\":[]}}\n"
    );
    fs::write(workshop.path("job/diary.jsonl"), line).unwrap();
    let output = workshop.run(&["add", "job", "A1-press.wav", "--pass", "before"]);
    let words = text(&output.stderr);
    assert_eq!(output.status.code(), Some(1), "{words}");
    assert!(words.contains("`job/takes/else` leads out of the job"), "{words}");
    assert_eq!(fs::read_dir(workshop.path("outside")).unwrap().count(), 0);
}

/// A lock that is a pipe would be waited for without end.
#[test]
fn a_lock_that_is_a_pipe_is_refused() {
    let workshop = Workshop::new();
    assert!(std::process::Command::new("mkfifo").arg(workshop.path("job/.lock")).status().unwrap().success());
    let output = workshop.run(&["mark", "job", "A1", "lifted"]);
    let words = text(&output.stderr);
    assert_eq!(output.status.code(), Some(1), "{words}");
    assert!(words.contains("`job/.lock` is not a file"), "{words}");
}

/// A title, a name or a note of somebody else's must not colour, clear or rename the terminal.
#[test]
fn what_others_wrote_gives_the_terminal_no_commands() {
    let workshop = Workshop::new();
    let plan = fs::read_to_string(workshop.path("job/plan.toml")).unwrap();
    fs::write(workshop.path("job/plan.toml"), plan.replace("Trial", "T\\u001b]0;x\\u0007\\u009b2J")).unwrap();
    workshop.sound("A1-press.wav", 1, 48_000);
    workshop.done(&["add", "job", "A1-press.wav", "--pass", "before"]);
    workshop.sound("A2\u{1b}[2J-press.wav", 2, 48_000);
    for words in
        [&["findings", "job"] as &[&str], &["read", "A2\u{1b}[2J-press.wav"], &["read", "\u{1b}[2J.wav"]]
    {
        let output = workshop.run(words);
        let all = text(&output.stdout) + &text(&output.stderr);
        assert!(
            !all.contains(['\u{1b}', '\u{7}', '\u{9b}']) && all.contains('\u{FFFD}'),
            "{words:?}: {all:?}"
        );
    }
}

/// Reading a pipe, a device or a folder would never end, or fill the memory.
#[test]
fn what_is_no_plain_file_is_refused_where_a_job_has_its_files() {
    for name in ["plan.toml", "diary.jsonl"] {
        for target in ["/dev/zero", "pipe", "job"] {
            let workshop = Workshop::new();
            assert!(
                std::process::Command::new("mkfifo").arg(workshop.path("pipe")).status().unwrap().success()
            );
            let _ = fs::remove_file(workshop.path(&format!("job/{name}")));
            symlink(workshop.dir.path().join(target), workshop.path(&format!("job/{name}"))).unwrap();
            let output = workshop.run(&["status", "job"]);
            let words = text(&output.stderr);
            assert_eq!(output.status.code(), Some(1), "{name} → {target}: {words}");
            assert!(words.contains("is not a file"), "{name} → {target}: {words}");
        }
    }
}

#[test]
fn names_with_dots_that_climb_are_refused() {
    let workshop = Workshop::new();
    workshop.sound("A1-press.wav", 1, 20_000);
    for pass in ["../up", "..", "/tmp/x", "a/b", "nul", ""] {
        let output = workshop.run(&["add", "job", "A1-press.wav", "--pass", pass]);
        assert!(!output.status.success(), "{pass}");
    }
    let line = "{\"format\":1,\"at\":\"2026-04-30T10:00:00Z\",\"what\":\"take\",\"pass\":\"../../x\",\
        \"place\":\"bass A1 press\",\"file\":\"takes/../../x.wav\",\"n\":1,\"sha256\":\"\",\"bytes\":1,\"why\":\"\"}\n";
    fs::write(workshop.path("job/diary.jsonl"), line).unwrap();
    assert_eq!(workshop.troubles()[0].0, "bad_line");
    assert!(!workshop.path("up").exists() && !workshop.path("job/up").exists());
}

/// What people type into notes comes out of a table as text, in every spreadsheet.
#[test]
fn cells_that_look_like_formulas_are_text_in_every_table() {
    for formula in ["=HYPERLINK(\"x\")", "+1+cmd", "@SUM(A1)", "-2+3", "\t=1", "\r=1"] {
        let cell = platenote::report::csv_line(&[formula]);
        assert!(cell.trim_start_matches('"').starts_with('\''), "{cell}");
    }
    // Figures with a sign stay figures.
    assert_eq!(platenote::report::csv_line(&["-3.4", "+10.00", "1e-3"]), "-3.4,+10.00,1e-3");
    let workshop = Workshop::new();
    // A bin may be called so; it comes back from the table as it was.
    workshop.done(&["valves", "job", "--count", "38mm=2", "--bin=-A1"]);
    let tray = workshop.done(&["valves", "job", "--stock", "--csv"]);
    assert!(tray.contains(",'-A1,\n"), "{tray}");
    fs::write(workshop.path("tray.csv"), &tray).unwrap();
    workshop.done(&["valves", "job", "--import", "tray.csv"]);
    assert_eq!(workshop.done(&["valves", "job", "--stock", "--csv"]), tray);
}
