//! `recent-jobs.txt` among a person's own settings: the folders of the jobs that were opened last, the newest first, each with
//! its time. Nothing depends on it: where it cannot be read or written, the list is empty.

use std::path::{Path, PathBuf};

use super::{config_folder, write_whole};

const FILE: &str = "recent-jobs.txt";
/// So many are remembered.
const MOST: usize = 12;
/// A file that is longer was not written here, bytes.
const LONGEST: u64 = 64 * 1024;

/// A job that can be opened.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Listed {
    /// Its folder, absolute.
    pub folder: PathBuf,
    /// When it was opened last, `2026-04-30 14:02`.
    pub when: Option<String>,
}

/// The jobs that were opened last and are still there.
pub fn jobs() -> Vec<Listed> {
    let mut jobs = kept();
    jobs.retain(|job| job.folder.join("plan.toml").is_file());
    jobs
}

fn kept() -> Vec<Listed> {
    let Ok(file) = config_folder().map(|folder| folder.join(FILE)) else { return Vec::new() };
    if std::fs::metadata(&file).map_or(true, |facts| !facts.is_file() || facts.len() > LONGEST) {
        return Vec::new();
    }
    let text = std::fs::read_to_string(&file).unwrap_or_default();
    let lines = text.lines().filter_map(|line| line.split_once('\t'));
    let jobs = lines.map(|(when, folder)| Listed { folder: folder.into(), when: Some(when.to_owned()) });
    jobs.filter(|job| job.folder.is_absolute()).take(MOST).collect()
}

/// Put a job at the head of the list.
pub fn remember(folder: &Path) {
    let Ok(config) = config_folder() else { return };
    let Ok(whole) = folder.canonicalize() else { return };
    // A name that is no text or holds a line break cannot stand in the list.
    let Some(name) = whole.to_str().filter(|name| !name.contains(['\n', '\r', '\t'])) else { return };
    let now = jiff::Timestamp::now()
        .to_zoned_datetime(jiff::tz::TimeZone::system())
        .strftime("%Y-%m-%d %H:%M")
        .to_string();
    let mut lines = format!("{now}\t{name}\n");
    for job in kept().iter().filter(|job| job.folder != whole).take(MOST - 1) {
        lines += &format!("{}\t{}\n", job.when.as_deref().unwrap_or(""), job.folder.display());
    }
    let _ = std::fs::create_dir_all(&config)
        .and_then(|()| write_whole(&config.join(FILE), lines.as_bytes()).map_err(std::io::Error::other));
}

/// Whether two paths lead to one folder.
pub fn is_same(one: &Path, other: &Path) -> bool {
    one == other
        || one.canonicalize().ok().zip(other.canonicalize().ok()).is_some_and(|(one, other)| one == other)
}
