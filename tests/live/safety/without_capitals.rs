//! Jobs on file systems that take `A` and `a` for one, and jobs that lost their capitals on the way.

use std::fs;
#[cfg(target_os = "linux")]
use std::process::Command;

use super::{Workshop, text};

/// Some memory sticks and archives give names back in small letters: nothing is lost, and `verify` says what to rename.
#[test]
fn a_job_that_lost_its_capitals_says_what_to_rename() {
    let workshop = Workshop::new();
    for (idx, file) in ["A1-press.wav", "A2-press.wav"].into_iter().enumerate() {
        workshop.sound(file, idx as u32 + 1, 20_000);
        workshop.done(&["add", "job", file, "--pass", "before"]);
    }
    let folder = workshop.path("job/takes/before");
    let names: Vec<String> = fs::read_dir(&folder)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    assert_eq!(names.len(), 2);
    for name in &names {
        assert_ne!(*name, name.to_lowercase());
        fs::rename(folder.join(name), folder.join(name.to_lowercase())).unwrap();
    }
    let output = workshop.run(&["verify", "job"]);
    let said = text(&output.stdout);
    assert_eq!(output.status.code(), Some(1), "{said}");
    for name in &names {
        let wanted = format!("rename `takes/before/{}` to this", name.to_lowercase());
        assert!(said.contains(&wanted) && !said.contains("unlisted"), "{said}");
        fs::rename(folder.join(name.to_lowercase()), folder.join(name)).unwrap();
    }
    workshop.done(&["verify", "job"]);

    // Another sound under such a name is a file of its own.
    workshop.sound("other.wav", 9, 20_000);
    fs::copy(workshop.path("other.wav"), folder.join(names[0].to_lowercase())).unwrap();
    let said = text(&workshop.run(&["verify", "job"]).stdout);
    assert!(said.contains("unlisted") && said.contains("1 wrong"), "{said}");
}

/// A real file system that ignores capitals and shows all names in small letters (NTFS as its driver can be asked to),
/// where we are root and may mount one.
#[test]
#[cfg(target_os = "linux")]
fn a_job_lives_where_capitals_do_not_count() {
    let program = assert_cmd::cargo::cargo_bin!("platenote");
    let workshop = Workshop::new();
    workshop.sound("A1-press.wav", 1, 20_000);
    workshop.sound("A2-press.wav", 2, 20_000);
    workshop.sound("A3-press.wav", 3, 20_000);
    fs::write(workshop.path("photo.jpg"), [0xFF, 0xD8, 0xFF, 0xE0, 1, 2, 3]).unwrap();
    workshop.done(&["add", "job", "A1-press.wav", "--pass", "before"]);
    // The disk goes with the name space. Without the last line of the diary the last take is one that was cut off.
    let script = "PATH=$PATH:/usr/sbin:/sbin; mkdir disk; truncate -s 40M image; \
        mkntfs -q -F -f image >/dev/null 2>&1 && lowntfs-3g -o ignore_case,windows_names image disk || exit 77; \
        trap 'umount disk' EXIT; touch disk/Capital; test -e disk/cAPITAL || exit 77; \
        cp -r job disk/Job; p=$0; \
        $p verify disk/JOB; echo copied $?; \
        $p add disk/job A2-press.wav --pass before; echo added $?; \
        $p add disk/JOB A2-press.wav --pass BEFORE; echo again $?; \
        $p mark disk/job A1 lifted; echo marked $?; \
        $p mark disk/job A1 photo photo.jpg; echo photo $?; \
        $p add disk/job A3-press.wav --pass before; cp disk/job/diary.jsonl kept; \
        sed '$d' kept >disk/job/diary.jsonl; $p add disk/job A3-press.wav --pass before; echo finished $?; \
        $p verify disk/jOB; echo whole $?; ls disk/job/takes/before | wc -l; cp -r disk/job back";
    let output = Command::new("unshare")
        .args(["--mount", "sh", "-c", script])
        .arg(program)
        .current_dir(workshop.path(""))
        .env("PLATENOTE_CONFIG", workshop.path("config"))
        .output();
    let not_tried = |why: String| super::not_tried("PLATENOTE_CASELESS_DISK", &why);
    let Ok(output) = output else { return not_tried("there is no `unshare` here".into()) };
    if output.status.code() == Some(77) || !text(&output.stdout).contains("copied") {
        return not_tried(format!("no such disk may be mounted here: {}", text(&output.stderr)));
    }
    let said = text(&output.stdout);
    for step in ["copied", "added", "again", "marked", "photo", "finished", "whole"] {
        assert!(said.contains(&format!("{step} 0\n")), "{said}\n{}", text(&output.stderr));
    }
    assert!(!said.contains("unlisted") && said.trim_end().ends_with('3'), "{said}");
    // Back where capitals count, each small name is told with the one it had.
    let told = text(&workshop.run(&["verify", "back"]).stdout);
    assert!(!told.contains("unlisted") && told.matches("rename `takes/before/").count() == 3, "{told}");
}
