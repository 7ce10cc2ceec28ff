//! Runs while building: the key of kept readings, a hash of everything that decides a reading.
//!
//! Whoever changes the analysis need not think of it: another source gives another key, and a job's readings are then
//! made anew. Comments do not count.

use std::path::{Path, PathBuf};

/// What lies between a sound file and a stored reading, relative to the crate. The room `audio` without the microphone,
/// which only writes takes; `job` with the stored form of a reading.
const SOURCES: [&str; 7] = [
    "src/analysis",
    "src/audio",
    "src/job/reading_line.rs",
    "src/job/reading_words.rs",
    "src/job/readings.rs",
    "src/take.rs",
    "src/units.rs",
];
/// What is left out of them.
const LEFT_OUT: [&str; 1] = ["src/audio/live"];
/// Crates that decode sound or transform it: their version decides, too.
const CRATES: [&str; 4] = ["hound", "realfft", "rustfft", "symphonia"];

fn main() {
    let root = PathBuf::from(std::env::var_os("CARGO_MANIFEST_DIR").unwrap_or_default());
    for source in SOURCES.iter().chain(&["src/build.rs", "Cargo.lock"]) {
        println!("cargo:rerun-if-changed={source}");
    }
    match readings_key(&root) {
        Ok(key) => println!("cargo:rustc-env=PLATENOTE_READINGS_KEY={key:016x}"),
        Err(error) => panic!("the sources of the analysis cannot be read in {}: {error}", root.display()),
    }
}

/// The key for the sources in `root`, the folder of `Cargo.toml`.
pub fn readings_key(root: &Path) -> std::io::Result<u64> {
    let mut files = Vec::new();
    for source in SOURCES {
        list(&root.join(source), &mut files)?;
    }
    let left_out = LEFT_OUT.map(|folder| root.join(folder));
    files.retain(|file| !left_out.iter().any(|folder| file.starts_with(folder)));
    files.sort();
    let mut hash = Fnv::default();
    for file in files {
        let name: Vec<String> = file
            .strip_prefix(root)
            .unwrap_or(&file)
            .components()
            .map(|part| part.as_os_str().to_string_lossy().into_owned())
            .collect();
        hash.add(&name.join("/"));
        // By lines, so that the line ends of another system make no difference.
        let text = std::fs::read_to_string(&file)?;
        text.lines().map(str::trim).filter(|line| !line.starts_with("//")).for_each(|line| hash.add(line));
    }
    // A package as published has its lock file; without one, the manifest's ranges are all that is known.
    let lock = std::fs::read_to_string(root.join("Cargo.lock")).unwrap_or_default();
    versions(&lock).iter().for_each(|version| hash.add(version));
    Ok(hash.0)
}

fn list(path: &Path, files: &mut Vec<PathBuf>) -> std::io::Result<()> {
    if path.is_dir() {
        for entry in std::fs::read_dir(path)? {
            list(&entry?.path(), files)?;
        }
    } else if path.extension().is_some_and(|extension| extension == "rs") {
        files.push(path.to_owned());
    }
    Ok(())
}

/// `name version` of the crates that decide, from the lock file.
fn versions(lock: &str) -> Vec<String> {
    let value = |line: Option<&str>, key: &str| {
        Some(line?.strip_prefix(key)?.trim_start_matches([' ', '=']).trim_matches('"').to_owned())
    };
    let packages = lock.split("[[package]]").filter_map(|package| {
        let mut lines = package.trim_start().lines();
        Some((value(lines.next(), "name")?, value(lines.next(), "version")?))
    });
    packages
        .filter(|(name, _)| CRATES.iter().any(|known| name.starts_with(known)))
        .map(|(name, version)| format!("{name} {version}"))
        .collect()
}

/// FNV-1a, 64 bits: tells sources apart, keeps no secret. Source: draft-eastlake-fnv, offset basis and prime for 64 bits.
struct Fnv(u64);

impl Default for Fnv {
    fn default() -> Self {
        Self(0xcbf2_9ce4_8422_2325)
    }
}

impl Fnv {
    fn add(&mut self, line: &str) {
        for byte in line.bytes().chain([b'\n']) {
            self.0 = (self.0 ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3);
        }
    }
}
