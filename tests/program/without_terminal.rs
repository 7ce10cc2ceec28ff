//! Started by an icon, and packed with what belongs beside the program.

use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use assert_cmd::Command as Checked;

/// A program of that name that writes its first argument to `told`.
#[cfg(unix)]
fn opener(folder: &Path, name: &str, told: &Path) {
    use std::os::unix::fs::PermissionsExt;
    let file = folder.join(name);
    std::fs::write(&file, format!("#!/bin/sh\nprintf %s \"$1\" > '{}'\n", told.display())).unwrap();
    std::fs::set_permissions(&file, std::fs::Permissions::from_mode(0o755)).unwrap();
}

/// An icon gives a program no argument and no terminal: the page opens on the jobs, whose folder is made.
#[test]
#[cfg(target_os = "linux")]
fn an_icon_opens_the_bench_page() {
    let dir = tempfile::tempdir().unwrap();
    let told = dir.path().join("told");
    opener(dir.path(), "xdg-open", &told);
    let path = format!("{}:/usr/bin:/bin", dir.path().display());
    let mut child = Command::new(env!("CARGO_BIN_EXE_platenote"))
        .env("PATH", path)
        .env("HOME", dir.path())
        .env("PLATENOTE_CONFIG", dir.path().join("config"))
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let begun = Instant::now();
    let address = loop {
        let address = std::fs::read_to_string(&told).unwrap_or_default();
        if !address.is_empty() || begun.elapsed() > Duration::from_secs(20) {
            break address;
        }
        std::thread::sleep(Duration::from_millis(50));
    };
    let _ = child.kill();
    let _ = child.wait();
    assert!(address.starts_with("http://127.0.0.1:") && address.contains("/start/"), "{address}");
    assert!(dir.path().join("Platenote").is_dir());
}

#[test]
fn a_package_gets_man_pages_and_completions_of_every_verb() {
    let dir = tempfile::tempdir().unwrap();
    let mut command = Checked::new(env!("CARGO_BIN_EXE_platenote"));
    command.arg("package-files").arg(dir.path()).assert().success();
    let read = |name: &str| std::fs::read_to_string(dir.path().join(name)).unwrap();
    assert!(read("man/platenote.1").contains("platenote"));
    for verb in ["record", "sweep", "bench", "report"] {
        assert!(read(&format!("man/platenote-{verb}.1")).contains(".TH"), "{verb}");
        for shell in ["completions/platenote.bash", "completions/platenote.fish", "completions/_platenote"] {
            assert!(read(shell).contains(verb), "{shell}: {verb}");
        }
    }
}
