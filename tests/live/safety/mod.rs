//! Nothing lost, nobody let in: the real program killed, starved, crowded, and handed folders that mean harm.
#![cfg(unix)]

mod clocks;
mod crashes;
mod crowds;
mod cut_off_sweep;
#[cfg(all(target_os = "linux", feature = "mic"))]
mod killed_at_the_bench;
mod same_bits;
mod strange_folders;
mod without_capitals;
mod write_errors;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use platenote::audio::write_wav;
use platenote::take::Take;

/// What the system does not let a test try passes, but fails where `variable` says that it is needed.
#[cfg(target_os = "linux")]
fn not_tried(variable: &str, why: &str) {
    assert!(!std::env::var(variable).is_ok_and(|wish| wish == "needed"), "{why}");
    println!("not tried: {why}; {variable}=needed lets this fail");
}

/// A folder with a job of three plates in `job`, and what a test puts beside it.
struct Workshop {
    dir: tempfile::TempDir,
}

impl Workshop {
    fn new() -> Self {
        Self::named("job")
    }

    fn named(job: &str) -> Self {
        let workshop = Self { dir: tempfile::tempdir().unwrap() };
        fs::create_dir_all(workshop.path(job)).unwrap();
        let plan = "format = 1\ntitle = \"Trial\"\nbellows = \"unisonoric\"\n[[block]]\nname = \"bass\"\n\
            [[block.row]]\nname = \"A\"\nnotes = [\"E3\", \"F3\", \"F#3\"]\nvalves_mm = [38, 38, 35]\n";
        fs::write(workshop.path(job).join("plan.toml"), plan).unwrap();
        workshop
    }

    fn path(&self, name: &str) -> PathBuf {
        self.dir.path().join(name)
    }

    fn command(&self, words: &[&str]) -> Command {
        let mut command = Command::new(assert_cmd::cargo::cargo_bin!("platenote"));
        command.current_dir(self.dir.path()).args(words);
        command.env("PLATENOTE_CONFIG", self.path("config"));
        command
    }

    fn run(&self, words: &[&str]) -> Output {
        self.command(words).output().unwrap()
    }

    /// Run, which must succeed; gives what was printed.
    fn done(&self, words: &[&str]) -> String {
        let output = self.run(words);
        assert!(output.status.success(), "{words:?}: {}", text(&output.stderr));
        text(&output.stdout)
    }

    /// A sound of `n_samples`, another one for each `seed`.
    fn sound(&self, name: &str, seed: u32, n_samples: usize) -> PathBuf {
        let at = |i: usize| ((i as f32) * 0.02 * (1.0 + seed as f32 * 0.01)).sin() * 0.3;
        let file = self.path(name);
        write_wav(&file, &Take::new((0..n_samples).map(at).collect(), 48_000)).unwrap();
        file
    }

    fn diary(&self) -> String {
        text(&fs::read(self.path("job/diary.jsonl")).unwrap_or_default())
    }

    /// `verify --json` without the last line, the sum: what is wrong.
    fn troubles(&self) -> Vec<(String, String)> {
        let lines = text(&self.run(&["verify", "job", "--json"]).stdout);
        let lines = lines.lines().map(|line| serde_json::from_str::<serde_json::Value>(line).unwrap());
        let lines: Vec<_> = lines.filter(|line| line["wrong"].is_boolean()).collect();
        let word = |value: &serde_json::Value| value.as_str().unwrap().to_owned();
        lines.iter().map(|line| (word(&line["kind"]), word(&line["place"]))).collect()
    }

    /// The names of the files in a folder, in order.
    #[cfg_attr(not(all(target_os = "linux", feature = "mic")), allow(dead_code))]
    fn files_in(&self, folder: &str) -> Vec<String> {
        let entries = fs::read_dir(self.path(folder)).into_iter().flatten().flatten();
        let mut names: Vec<String> = entries.map(|entry| name_of(&entry.path())).collect();
        names.sort();
        names
    }

    /// Every take with its bytes.
    fn takes(&self) -> Vec<(PathBuf, Vec<u8>)> {
        let Ok(entries) = fs::read_dir(self.path("job/takes/before")) else { return Vec::new() };
        let is_whole = |path: &PathBuf| !name_of(path).starts_with(".part-");
        let mut files: Vec<PathBuf> = entries.map(|entry| entry.unwrap().path()).filter(is_whole).collect();
        files.sort();
        files.into_iter().map(|file| (file.clone(), fs::read(file).unwrap())).collect()
    }
}

fn name_of(path: &Path) -> String {
    path.file_name().unwrap().to_string_lossy().into_owned()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

/// Numbers without pattern, the same for the same seed (constants of Knuth's MMIX generator, from memory).
struct Dice(u64);

impl Dice {
    fn below(&mut self, sides: u64) -> u64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % sides.max(1)
    }
}

/// How often each accident happens: `PLATENOTE_ACCIDENTS`, or `usual`.
fn rounds(usual: u64) -> u64 {
    std::env::var("PLATENOTE_ACCIDENTS").ok().and_then(|count| count.parse().ok()).unwrap_or(usual)
}
