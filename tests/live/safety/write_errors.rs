//! The disk refuses: full, read-only, a rename that fails. Said with what to do; nothing that was there is touched.

use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::os::unix::process::CommandExt;
use std::process::Command;
use std::sync::atomic::{AtomicBool, Ordering};

use super::cut_off_sweep::{SWEEP, long_recording};
use super::{Workshop, text};

const ADD: [&str; 5] = ["add", "job", "A2-press.wav", "--pass", "before"];

/// A job with one take, and the sound of a second beside it.
fn with_one_take(n_samples: usize) -> Workshop {
    let workshop = Workshop::new();
    workshop.sound("A1-press.wav", 1, 20_000);
    workshop.sound("A2-press.wav", 2, n_samples);
    workshop.done(&["add", "job", "A1-press.wav", "--pass", "before"]);
    workshop
}

/// The limit on a file's length stands for the full disk: the system refuses in the middle of a copy.
#[test]
fn a_disk_that_fills_while_a_take_is_copied_costs_that_take_only() {
    let workshop = with_one_take(200_000);
    let (diary, takes) = (workshop.diary(), workshop.takes());
    // In blocks of 512 bytes (or of 1024, as some shells count): below the second take's size, above all other files'.
    let blocks = fs::metadata(workshop.path("A2-press.wav")).unwrap().len() / 512;
    for limit in [blocks / 8, blocks / 4, 3 * blocks / 8, blocks / 2 - 1] {
        let script = format!("trap '' XFSZ; ulimit -f {limit}; exec \"$@\"");
        let mut command = Command::new("sh");
        command.current_dir(workshop.path("")).args(["-c", &script, "sh"]);
        let program = assert_cmd::cargo::cargo_bin!("platenote");
        let output = command.arg(program).args(ADD).output().unwrap();
        let words = text(&output.stderr);
        assert_eq!(output.status.code(), Some(1), "{words}");
        assert!(words.contains("could not be") && words.contains("next:  "), "{words}");
        assert_eq!((workshop.diary(), workshop.takes()), (diary.clone(), takes.clone()));
        assert_eq!(workshop.troubles(), [], "no part is left");
    }
    workshop.done(&ADD);
    assert_eq!((workshop.troubles(), workshop.takes().len()), (vec![], 2));
}

/// The same in the midst of a long recording's takes: those that are stored stay, the same command stores the rest.
#[test]
fn a_disk_that_fills_while_a_sweep_stores_costs_the_takes_that_are_not_stored() {
    let workshop = Workshop::new();
    long_recording(&workshop, 2);
    // A take of one note is some 160 kB; the limit lies below that, and far above all other files.
    let mut command = Command::new("sh");
    command.current_dir(workshop.path("")).args(["-c", "trap '' XFSZ; ulimit -f 60; exec \"$@\"", "sh"]);
    let output = command.arg(assert_cmd::cargo::cargo_bin!("platenote")).args(SWEEP).output().unwrap();
    let words = text(&output.stderr);
    assert_eq!(output.status.code(), Some(1), "{words}");
    assert!(words.contains("could not be") && words.contains("next:  "), "{words}");
    assert_eq!((workshop.troubles(), workshop.takes().len()), (vec![], 0), "no part is left");
    workshop.done(&SWEEP);
    assert_eq!((workshop.troubles(), workshop.takes().len()), (vec![], 2));
}

/// A real full disk: a tmpfs of the test's own, in name spaces of its own, where the system lets us.
#[test]
#[cfg(target_os = "linux")]
fn a_small_disk_that_is_full_keeps_what_it_has() {
    let program = assert_cmd::cargo::cargo_bin!("platenote");
    let workshop = with_one_take(200_000);
    let script = "mkdir disk && mount -t tmpfs -o size=400k none disk || exit 77; cp -r job disk/job; \
        p=$0; $p add disk/job A2-press.wav --pass before; echo add $?; $p verify disk/job; echo verify $?; \
        while $p mark disk/job A1 note 'until it is full, and some words more' >/dev/null 2>&1 && [ $((n+=1)) -lt 100 ]; \
        do head -c 20000 /dev/zero >disk/filler$n 2>/dev/null; done; $p verify disk/job; echo verify $?; \
        $p valves disk/job --count 38mm=3 >/dev/null; echo full $?; $p verify disk/job; echo verify $?; \
        rm disk/filler*; $p valves disk/job --count 38mm=3 >/dev/null; echo room $?; $p verify disk/job; echo verify $?";
    let output = Command::new("unshare")
        .args(["--mount", "--user", "--map-root-user", "sh", "-c", script])
        .arg(program)
        .current_dir(workshop.path(""))
        .output();
    let not_tried = |why: String| super::not_tried("PLATENOTE_SMALL_DISK", &why);
    let Ok(output) = output else { return not_tried("there is no `unshare` here".into()) };
    if !matches!(output.status.code(), Some(0)) {
        return not_tried(format!("no tmpfs may be mounted here: {}", text(&output.stderr)));
    }
    let (said, words) = (text(&output.stdout), text(&output.stderr));
    assert!(said.contains("add 1\n") && said.matches("verify 0\n").count() == 4, "{said}\n{words}");
    assert!(said.contains("full 1\n") && said.contains("room 0\n"), "{said}\n{words}");
    assert!(words.contains("No space left") && words.contains("next:  "), "{words}");
}

/// Root may write anywhere, so that the program is run as nobody when the test is root.
#[test]
fn a_folder_that_may_not_be_written_to_is_said_and_still_read() {
    let workshop = with_one_take(20_000);
    let program = workshop.path("program");
    fs::copy(assert_cmd::cargo::cargo_bin!("platenote"), &program).unwrap();
    fs::set_permissions(workshop.path(""), fs::Permissions::from_mode(0o755)).unwrap();
    let folders = ["job", "job/takes", "job/takes/before"];
    let permit = |mode| {
        for folder in folders {
            fs::set_permissions(workshop.path(folder), fs::Permissions::from_mode(mode)).unwrap();
        }
    };
    let is_root = Command::new("id").arg("-u").output().is_ok_and(|output| output.stdout == b"0\n");
    let run = |words: &[&str]| {
        let mut command = Command::new(&program);
        command.current_dir(workshop.path("")).args(words);
        if is_root {
            command.uid(65_534).gid(65_534);
        }
        command.output().unwrap()
    };
    long_recording(&workshop, 1);
    let diary = workshop.diary();
    permit(0o555);
    let outputs = [
        run(&ADD),
        run(&["mark", "job", "A1", "lifted"]),
        run(&["valves", "job", "--count", "38=2"]),
        run(&SWEEP),
    ];
    let verified = run(&["verify", "job"]);
    permit(0o755);
    for output in outputs {
        let words = text(&output.stderr);
        assert_eq!(output.status.code(), Some(1), "{words}");
        assert!(
            words.contains("could not be") && words.contains("next:  check that the folder may be"),
            "{words}"
        );
    }
    assert!(verified.status.success(), "a job that may only be read is read");
    assert_eq!((workshop.diary(), workshop.troubles()), (diary, vec![]));
}

/// A cleaner, or a program that keeps folders alike, takes the unfinished file away: its rename fails.
#[test]
fn a_rename_that_fails_is_said_and_the_take_is_added_by_the_same_command() {
    let workshop = with_one_take(2_000_000);
    let (diary, takes) = (workshop.diary(), workshop.takes());
    let over = AtomicBool::new(false);
    let mut n_failed = 0;
    std::thread::scope(|scope| {
        scope.spawn(|| {
            while !over.load(Ordering::Relaxed) {
                for entry in fs::read_dir(workshop.path("job/takes/before")).unwrap().flatten() {
                    if entry.file_name().to_string_lossy().starts_with(".part-") {
                        let _ = fs::remove_file(entry.path());
                    }
                }
            }
        });
        for _ in 0..3 {
            let output = workshop.run(&ADD);
            if !output.status.success() {
                let words = text(&output.stderr);
                assert!(words.contains("could not be written") && words.contains("next:  "), "{words}");
                n_failed += 1;
            }
        }
        over.store(true, Ordering::Relaxed);
    });
    assert!(n_failed > 0, "the rename failed at least once");
    assert!(workshop.diary().starts_with(&diary) && workshop.takes().starts_with(&takes));
    assert_eq!(workshop.troubles(), []);
    workshop.done(&ADD);
    assert_eq!((workshop.troubles(), workshop.takes().len()), (vec![], 2));
}

/// `report/valves.html` is a folder: the page cannot be put there, and the tray is counted all the same.
#[test]
fn a_page_that_cannot_be_put_in_its_place_costs_nothing_else() {
    let workshop = Workshop::new();
    fs::create_dir_all(workshop.path("job/report/valves.html/x")).unwrap();
    let output = workshop.run(&["valves", "job", "--count", "38mm=2", "--html"]);
    let words = text(&output.stderr);
    assert_eq!(output.status.code(), Some(1), "{words}");
    assert!(words.contains("valves.html` could not be written"), "{words}");
    assert!(workshop.done(&["valves", "job", "--stock"]).contains("2 × 38 mm"));
    assert_eq!(fs::read_dir(workshop.path("job/report")).unwrap().count(), 1, "no part is left");
}
