//! Is every take there and whole, and does the diary agree? Looks only; changes nothing.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;
use std::fs;
use std::path::Path;

use super::account::{Account, TAKEN_OUT};
use super::diary::{Diary, Oddity};
use super::disk::{self, PART_PREFIX};
use super::event::Event;
use super::folder::Job;
use super::layout::{PHOTOS_FOLDER, PLAN_FILE, TAKES_FOLDER};
use super::{Error, Plan};

/// What a look at a job found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Verified {
    /// How many takes are there and whole.
    pub whole_takes: usize,
    /// How many photos are there and whole.
    pub whole_photos: usize,
    /// How many of these takes were withdrawn and count no more.
    pub withdrawn: usize,
    /// How many lines of the diary were read.
    pub lines: usize,
    /// What is not as it should be.
    pub troubles: Vec<Discrepancy>,
}

/// One thing that is not as it should be.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Discrepancy {
    /// Of which kind.
    pub kind: DiscrepancyKind,
    /// The file, with the line where there is one, seen from the job folder.
    pub place: String,
    /// What was found.
    pub what: String,
    /// What to do.
    pub next: String,
}

/// The kinds of trouble.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DiscrepancyKind {
    /// The diary names a file that is not there.
    Missing,
    /// A file is not what it was when it was stored.
    Altered,
    /// A file is there and the diary does not name it.
    Unlisted,
    /// A line of the diary cannot be read.
    BadLine,
    /// The last line of the diary was cut off.
    TornLine,
    /// A line of a kind this program does not know; nothing is wrong with it.
    UnknownLine,
    /// A take is of a place the plan does not have.
    NoPlace,
    /// The plan has a fault.
    PlanFault,
}

impl DiscrepancyKind {
    /// Whether something is wrong; else it is only worth knowing.
    pub fn is_wrong(self) -> bool {
        self != DiscrepancyKind::UnknownLine
    }

    /// The word for it, as `--json` writes it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Missing => "missing",
            Self::Altered => "altered",
            Self::Unlisted => "unlisted",
            Self::BadLine => "bad_line",
            Self::TornLine => "torn_line",
            Self::UnknownLine => "unknown_line",
            Self::NoPlace => "no_place",
            Self::PlanFault => "plan_fault",
        }
    }
}

impl fmt::Display for Discrepancy {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "`{}`: {}", self.place, self.what)
    }
}

/// Look through the job in `folder`. Fails only where there is no job, or one of a later program.
pub fn verify(folder: &Path) -> Result<Verified, Error> {
    let mut found =
        Verified { whole_takes: 0, whole_photos: 0, withdrawn: 0, lines: 0, troubles: Vec::new() };
    let plan_file = folder.join(PLAN_FILE);
    let text = disk::read_plain(&plan_file)?.ok_or_else(|| Error::NoJob { folder: folder.to_owned() })?;
    let plan = match Plan::parse(&String::from_utf8_lossy(&text), &plan_file) {
        Ok(plan) => Some(plan),
        Err(Error::Plan { faults, .. }) => {
            for fault in faults {
                let what = format!("`{}`: {}", fault.key, fault.wrong);
                found.add(
                    DiscrepancyKind::PlanFault,
                    format!("{PLAN_FILE} line {}", fault.line),
                    what,
                    fault.right,
                );
            }
            None
        }
        Err(other) => return Err(other),
    };
    let diary = Diary::read(folder)?;
    found.lines = diary.lines.len();
    found.look_at_lines(&diary);
    // As the plan has it now, be it edited by hand.
    let account = match (&plan, Job::open(folder)) {
        (Some(_), Ok(job)) => job.account_by_plan(),
        _ => Account::of(&diary.lines),
    };
    let named = found.look_at_takes(&diary, &account, folder, plan.as_ref());
    found.look_for_unlisted(folder, TAKES_FOLDER, &named);
    found.look_for_unlisted(folder, PHOTOS_FOLDER, &named);
    if let Some(plan) = &plan {
        found.look_at_marks(&diary, &account, plan);
    }
    Ok(found)
}

impl Verified {
    /// Whether anything is wrong.
    pub fn is_wrong(&self) -> bool {
        self.troubles.iter().any(|trouble| trouble.kind.is_wrong())
    }

    fn add(
        &mut self,
        kind: DiscrepancyKind,
        place: String,
        what: impl Into<String>,
        next: impl Into<String>,
    ) {
        self.troubles.push(Discrepancy { kind, place, what: what.into(), next: next.into() });
    }

    fn look_at_lines(&mut self, diary: &Diary) {
        for odd in &diary.odd {
            let place = format!("{} line {}", super::diary::FILE, odd.line);
            let (kind, next) = match odd.oddity {
                Oddity::Torn => (
                    DiscrepancyKind::TornLine,
                    "do again what was being done; the cut line goes to `diary.torn` when the diary is next written to",
                ),
                Oddity::Bad(_) => {
                    (DiscrepancyKind::BadLine, "mend the line from a copy of the job; the others are used")
                }
                Oddity::Unknown(_) => {
                    (DiscrepancyKind::UnknownLine, "nothing, or use a later version of platenote")
                }
            };
            self.add(kind, place, odd.oddity.to_string(), next);
        }
    }

    /// Hash every file the diary names; returns the names.
    fn look_at_takes(
        &mut self,
        diary: &Diary,
        account: &Account,
        folder: &Path,
        plan: Option<&Plan>,
    ) -> BTreeMap<String, String> {
        let mut named: BTreeMap<String, String> = BTreeMap::new();
        let mut withdrawn: BTreeSet<&str> = BTreeSet::new();
        for now in &account.takes {
            let Some(Event::Take(take)) = diary.lines.get(now.line).map(|line| &line.event) else { continue };
            if now.withdrawn.is_some() || account.standing(now.pass).is_none() {
                withdrawn.insert(&take.file);
                continue;
            }
            if let Some(Err(error)) = plan.map(|plan| plan.instrument.reed_place(&now.place)) {
                let (what, next) = no_place("a take of", &now.place, &error.to_string());
                let next = format!("{next}, or `platenote take JOB {} --to REED`", take.file);
                self.add(DiscrepancyKind::NoPlace, take.file.clone(), what, next);
            }
        }
        for (file, sha256) in diary.lines.iter().filter_map(|line| line.event.stored_file()) {
            // A take that went missing may have been brought back under the same name by a later line.
            named.insert(file.to_owned(), sha256.to_owned());
        }
        for (file, sha256) in &named {
            let path = folder.join(file);
            let is_withdrawn = withdrawn.contains(file.as_str());
            let is_take = file.starts_with(TAKES_FOLDER);
            // One that does not count may go.
            let go_on = if is_take {
                format!(
                    "; or go on without it: `platenote take JOB {file} --withdraw`, and record the reed again"
                )
            } else {
                String::new()
            };
            if fs::symlink_metadata(&path).is_err() {
                if is_withdrawn {
                    continue;
                }
                let what = "the diary names it and it is not there";
                let next = match in_other_capitals(folder, file, sha256) {
                    Some(there) => format!("rename `{there}` to this, its sound is the same"),
                    None => format!("copy it back from a copy of the job, or add its original again{go_on}"),
                };
                self.add(DiscrepancyKind::Missing, file.clone(), what, next);
                continue;
            }
            match disk::hash_of(&path) {
                Ok(hash) if hash == *sha256 => {
                    let count = if is_take { &mut self.whole_takes } else { &mut self.whole_photos };
                    *count += 1;
                    self.withdrawn += usize::from(is_withdrawn);
                }
                _ if is_withdrawn => {}
                Ok(hash) => {
                    let what = format!("its SHA-256 is {hash} and was {sha256} when it was stored");
                    let next = format!("copy it back from a copy of the job{go_on}");
                    self.add(DiscrepancyKind::Altered, file.clone(), what, next);
                }
                Err(error) => {
                    self.add(DiscrepancyKind::Altered, file.clone(), error.to_string(), error.next())
                }
            }
        }
        named
    }

    fn look_at_marks(&mut self, diary: &Diary, account: &Account, plan: &Plan) {
        for (idx, line) in diary.lines.iter().enumerate() {
            let stored = match &line.event {
                Event::Mark(mark) => &mark.places,
                Event::Photo(photo) => &photo.places,
                _ => continue,
            };
            if account.undone.get(idx).copied().unwrap_or(false) {
                continue;
            }
            for place in account.places.get(&idx).unwrap_or(stored) {
                if let Err(error) = plan.instrument.spots(place) {
                    let at = format!("{} line {}", super::diary::FILE, line.line);
                    let (what, next) = no_place("a mark at", place, &error.to_string());
                    self.add(DiscrepancyKind::NoPlace, at, what, next);
                }
            }
        }
    }

    fn look_for_unlisted(&mut self, folder: &Path, below: &str, named: &BTreeMap<String, String>) {
        let Ok(entries) = fs::read_dir(folder.join(below)) else { return };
        let mut entries: Vec<_> = entries.flatten().collect();
        entries.sort_by_key(fs::DirEntry::file_name);
        for entry in entries {
            let name = entry.file_name().to_string_lossy().into_owned();
            let place = format!("{below}/{name}");
            // Links are not followed: they may lead out of the job, or round in a ring.
            if entry.file_type().is_ok_and(|kind| kind.is_dir()) {
                self.look_for_unlisted(folder, &place, named);
            } else if name.starts_with(PART_PREFIX) {
                let what = "a copy that was cut off before it was whole";
                self.add(
                    DiscrepancyKind::Unlisted,
                    place,
                    what,
                    "add the original or record the reed again, then delete this",
                );
            } else if !is_named(folder, &place, named) && !FOREIGN.contains(&name.as_str()) {
                let next = match below {
                    PHOTOS_FOLDER => {
                        "note it with `platenote mark JOB photo FILE`, or move it out of the folder"
                    }
                    _ => "add it as a take with `platenote add`, or move it out of the folder",
                };
                self.add(
                    DiscrepancyKind::Unlisted,
                    place,
                    "it is there and the diary does not name it",
                    next,
                );
            }
        }
    }
}

/// What to say where the plan lacks a place the diary names, and what to do.
fn no_place(kind: &str, place: &str, error: &str) -> (String, String) {
    match place.strip_prefix(TAKEN_OUT).and_then(|rest| rest.trim().split_once(' ')) {
        Some((_, was)) => (
            format!("{kind} `{was}`, whose plate was taken out of the plan"),
            "put the plate back (`platenote plan JOB --undo` while it is the last change)".into(),
        ),
        None => (format!("{kind} `{place}`, but {error}"), "give the plan its plate back".into()),
    }
}

/// Whether the diary names this file. A file system that takes `A` and `a` for one may show a name in other capitals than
/// it was given: what holds the very bytes is then the file that is named.
fn is_named(folder: &Path, place: &str, named: &BTreeMap<String, String>) -> bool {
    let is_it = |(file, sha256): (&String, &String)| {
        file.to_lowercase() == place.to_lowercase()
            && disk::hash_of(&folder.join(place)).is_ok_and(|hash| hash == *sha256)
    };
    named.contains_key(place) || named.iter().any(is_it)
}

/// The file beside the missing `file` whose name differs in capitals alone and that holds the same bytes: jobs lose their
/// capitals on the way over some memory sticks and archives. The folders above it may have lost theirs too.
fn in_other_capitals(job: &Path, file: &str, sha256: &str) -> Option<String> {
    let mut there = vec![String::new()];
    for part in file.split('/') {
        let inside = |above: &String| {
            let entries = fs::read_dir(job.join(above)).into_iter().flatten().flatten();
            let names = entries.filter_map(|entry| entry.file_name().into_string().ok());
            let alike = names.filter(|name| name.to_lowercase() == part.to_lowercase());
            alike
                .map(|name| if above.is_empty() { name } else { format!("{above}/{name}") })
                .collect::<Vec<_>>()
        };
        there = there.iter().flat_map(inside).collect();
    }
    there.sort();
    there.into_iter().find(|there| disk::hash_of(&job.join(there)).is_ok_and(|hash| hash == sha256))
}

/// What systems leave in any folder they show.
const FOREIGN: [&str; 3] = [".DS_Store", "Thumbs.db", "desktop.ini"];
