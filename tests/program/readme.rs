//! Every command the README prints is run as printed, by the shell, with the real program in an empty folder.
#![cfg(unix)]

use std::path::Path;
use std::process::{Command, Output};

const README: &str = include_str!("../../README.md");
const CI: &str = include_str!("../../.ci/run");
/// How the README starts the program before it is installed.
const BY_CARGO: &str = ".ci/setup && cargo run --release -- ";
/// The command that runs this very test.
const TESTS: &str = ".ci/setup && cargo test --release";

/// The lines of the fenced `sh` blocks, in order.
fn printed_commands() -> Vec<&'static str> {
    let mut in_block = false;
    let mut commands = Vec::new();
    for line in README.lines() {
        match (in_block, line.trim()) {
            (false, "```sh") => in_block = true,
            (true, "```") => in_block = false,
            (true, command) if !command.is_empty() => commands.push(command),
            _ => {}
        }
    }
    commands
}

fn shell(command: &str, folder: &Path) -> Output {
    let program = Path::new(env!("CARGO_BIN_EXE_platenote"));
    let programs = program.parent().expect("the program lies in a folder");
    let path = format!("{}:{}", programs.display(), std::env::var("PATH").unwrap_or_default());
    let mut shell = Command::new("sh");
    shell.current_dir(folder).env("PATH", path).args(["-c", command]);
    shell.output().expect("a shell")
}

#[test]
fn every_printed_command_does_what_it_says() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let mut started = 0;
    for printed in printed_commands() {
        let command = match printed.strip_prefix(BY_CARGO) {
            Some(words) => format!("platenote {words}"),
            None if printed == TESTS => continue,
            None => printed.to_owned(),
        };
        assert!(command.starts_with("platenote ") || command.starts_with("cp "), "who runs `{printed}`?");
        started += usize::from(command.starts_with("platenote "));
        let output = shell(&command, folder.path());
        let (said, told) = (String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
        assert!(output.status.success(), "`{command}`: {}\n{said}\n{told}", output.status);
        assert!(!said.trim().is_empty() || !command.starts_with("platenote "), "`{command}` says nothing");
    }
    assert!(started >= 8, "{started} commands were found in the README");
    for named in named_files("demo-job/") {
        assert!(is_there(folder.path(), named), "the README names `{named}`, and it is not there");
    }
    assert!(is_there(folder.path(), "my-job/report/map-bass.svg"));
}

/// Names in backquotes that begin with `start`; `…` stands for any characters.
fn named_files(start: &str) -> impl Iterator<Item = &'static str> {
    README.split('`').skip(1).step_by(2).filter(move |word| word.starts_with(start) && !word.contains(' '))
}

fn is_there(folder: &Path, named: &str) -> bool {
    let Some((before, after)) = named.split_once('…') else {
        return folder.join(named).metadata().is_ok_and(|file| file.len() > 0);
    };
    let (parent, start) = before.rsplit_once('/').unwrap_or((".", before));
    let mut names = std::fs::read_dir(folder.join(parent)).into_iter().flatten().flatten();
    names.any(|entry| {
        let name = entry.file_name().to_string_lossy().into_owned();
        name.starts_with(start) && name.ends_with(after)
    })
}

#[test]
fn two_commands_do_all_the_setting_up_and_the_checks_run_both() {
    let by_cargo: Vec<_> = printed_commands().into_iter().filter(|line| line.contains("cargo")).collect();
    assert_eq!(by_cargo, [format!("{BY_CARGO}demo"), TESTS.to_owned()]);
    // They are taken from the README there, by what they begin with.
    assert!(CI.contains(r#"grep -m 1 -E "^\.ci/setup && cargo $1" README.md"#));
    assert!(CI.contains("readme 'run .*demo$'") && CI.contains("readme 'test'"));
}

#[test]
fn every_linked_page_is_there() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    for page in [
        "README.md",
        "DEVELOPERS.md",
        "docs/third-party.md",
        "docs/CHANGELOG.md",
        "docs/glossary.md",
        "docs/method.md",
        "docs/json.md",
        "docs/job-format.md",
    ] {
        let text = std::fs::read_to_string(root.join(page)).unwrap_or_else(|error| panic!("{page}: {error}"));
        let folder = root.join(page);
        for link in text.split("](").skip(1).filter_map(|rest| rest.split(')').next()) {
            if !link.contains("://") && !link.starts_with('#') {
                let target = folder.parent().expect("a page lies in a folder").join(link);
                assert!(target.exists(), "{page} links to `{link}`, and it is not there");
            }
        }
    }
}

#[test]
fn the_first_paragraph_states_the_job_and_no_page_names_a_machine() {
    let first = README.split("\n\n").nth(1).expect("a first paragraph");
    for word in ["valve", "leak", "reed", "pitch", "press", "draw"] {
        assert!(first.contains(word), "the first paragraph does not mention `{word}`");
    }
    for page in [README, include_str!("../../DEVELOPERS.md")] {
        for private in ["/work", "/tmp/", "/home/", "/root"] {
            assert!(!page.contains(private), "a page names `{private}`");
        }
    }
}
