//! A job folder: read by anyone, written to by one program at a time.

use std::fs;
use std::ops::Deref;
use std::path::{Path, PathBuf};

use super::diary::{self, Diary, DiaryLine, OddLine};
use super::event::{Event, MeasuredIn, PassFacts, TakeFacts};
use super::lock::{self, Lock};
use super::long_recording;
use super::plan::{Plan, is_plain_name};
use super::{Error, disk};
use crate::instrument::{Instrument, ReedPlace};
use crate::repair::ValveRule;

pub(super) const PLAN_FILE: &str = "plan.toml";
const PLAN_BEFORE_FILE: &str = "plan.before.toml";
pub(super) const TAKES_FOLDER: &str = "takes";
pub(super) const PHOTOS_FOLDER: &str = "photos";
const REPORT_FOLDER: &str = "report";
/// What a writer writes to, or into.
const WRITTEN: [&str; 6] =
    [diary::FILE, diary::TORN_FILE, lock::FILE, TAKES_FOLDER, PHOTOS_FOLDER, long_recording::FOLDER];

/// A job as it was read: its plan and its diary. Reading takes no lock and changes nothing.
#[derive(Debug)]
pub struct Job {
    folder: PathBuf,
    plan: Plan,
    pub(super) diary: Diary,
}

/// A job that may be written to; other writers are kept off as long as it lives.
#[derive(Debug)]
pub struct JobWriter {
    pub(super) job: Job,
    lock: Lock,
}

/// A stored take of a reed.
#[derive(Debug, Clone, PartialEq)]
pub struct StoredTake {
    /// Where it is of.
    pub place: ReedPlace,
    /// The file, to be opened.
    pub path: PathBuf,
    /// When it was stored.
    pub at: jiff::Timestamp,
    /// What the diary says of it.
    pub facts: TakeFacts,
}

/// What is to be said of a pass when it is opened or corrected; what is `None` stays as it is.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct PassChange {
    /// Where the block is while it is measured; in the instrument where never said.
    pub place: Option<MeasuredIn>,
    /// Room temperature, °C.
    pub temperature_c: Option<f64>,
    /// The day; today where never said.
    pub date: Option<jiff::civil::Date>,
}

impl Job {
    /// Read the job in `folder`.
    pub fn open(folder: &Path) -> Result<Self, Error> {
        let file = folder.join(PLAN_FILE);
        let text = disk::read_plain(&file)?.ok_or_else(|| Error::NoJob { folder: folder.to_owned() })?;
        // What is not UTF-8 becomes a replacement mark, which no key and no note contains: the line is then named.
        let plan = Plan::parse(&String::from_utf8_lossy(&text), &file)?;
        Ok(Self { folder: folder.to_owned(), plan, diary: Diary::read(folder)? })
    }

    /// Make a job with this `plan.toml`, in a folder that is new or holds no job yet.
    pub fn create(folder: &Path, plan_text: &str) -> Result<Self, Error> {
        let file = folder.join(PLAN_FILE);
        Plan::parse(plan_text, &file)?;
        for name in [PLAN_FILE, diary::FILE, TAKES_FOLDER] {
            let path = folder.join(name);
            // An empty folder for takes is what a making that was cut off leaves behind.
            let is_empty = || fs::read_dir(&path).is_ok_and(|mut entries| entries.next().is_none());
            if fs::symlink_metadata(&path).is_ok() && !is_empty() {
                return Err(Error::JobThere { folder: folder.to_owned(), name });
            }
        }
        disk::make_folder(folder)?;
        disk::make_folder(&folder.join(TAKES_FOLDER))?;
        disk::write_whole(&file, plan_text.as_bytes())?;
        Self::open(folder)
    }

    /// The job's folder.
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// What the job is called.
    pub fn title(&self) -> &str {
        &self.plan.title
    }

    /// The text of `plan.toml` as it lies there now, remarks and all; empty where it cannot be read any more.
    pub fn plan_text(&self) -> String {
        let text = disk::read_plain(&self.folder.join(PLAN_FILE)).ok().flatten().unwrap_or_default();
        String::from_utf8_lossy(&text).into_owned()
    }

    /// The numbers valves are cut by.
    pub fn valve_rule(&self) -> &ValveRule {
        &self.plan.valve_rule
    }

    /// What lies on the bench.
    pub fn instrument(&self) -> &Instrument {
        &self.plan.instrument
    }

    /// Everything that happened, in order.
    pub fn diary(&self) -> &[DiaryLine] {
        &self.diary.lines
    }

    /// Lines of the diary that could not be used: to be told, never to stop for.
    pub fn odd_lines(&self) -> &[OddLine] {
        &self.diary.odd
    }

    /// The passes in the order they were opened, each with the newest facts.
    pub fn passes(&self) -> Vec<PassFacts> {
        let mut passes: Vec<PassFacts> = Vec::new();
        for line in &self.diary.lines {
            let (facts, is_said) = match &line.event {
                Event::Pass(facts) => (facts.clone(), true),
                // Its own line may have been lost; the takes still count.
                Event::Take(take) => (unsaid_pass(&take.pass, line.at), false),
                _ => continue,
            };
            match passes.iter_mut().find(|there| there.pass == facts.pass) {
                Some(there) if is_said => *there = facts,
                Some(_) => {}
                None => passes.push(facts),
            }
        }
        passes
    }

    /// The pass of that name, in any case.
    pub fn pass(&self, name: &str) -> Result<PassFacts, Error> {
        let passes = self.passes();
        let found = passes.iter().find(|pass| pass.pass.to_lowercase() == name.to_lowercase());
        found.cloned().ok_or_else(|| Error::NoPass {
            pass: name.to_owned(),
            known: match passes.as_slice() {
                [] => "none".into(),
                _ => passes.iter().map(|pass| format!("`{}`", pass.pass)).collect::<Vec<_>>().join(", "),
            },
        })
    }

    /// The takes of a pass: every reed of the plan that has any, in the plan's order, each with its takes, oldest first.
    ///
    /// Of several takes the newest good one speaks. Takes whose place the plan no longer has are left out
    /// ([`super::verify`] names them).
    pub fn takes(&self, pass: &str) -> Vec<(ReedPlace, Vec<StoredTake>)> {
        // Plays of a sealing test are blown otherwise, and half of them sealed: they are no takes of the pass.
        let mut stored: Vec<StoredTake> =
            self.stored_takes(pass).filter(|take| take.facts.sealed.is_none()).collect();
        let mut takes = Vec::new();
        for (place, _) in self.instrument().reeds() {
            let of_reed: Vec<StoredTake> = stored.extract_if(.., |take| take.place == place).collect();
            if !of_reed.is_empty() {
                takes.push((place, of_reed));
            }
        }
        takes
    }

    /// The folder for what is derived and drawn; it is made when it is first written to.
    pub fn report_folder(&self) -> PathBuf {
        self.folder.join(REPORT_FOLDER)
    }

    /// The file of derived readings; deleted, it is made again.
    pub fn readings_file(&self) -> PathBuf {
        self.folder.join("readings.json")
    }

    /// Write a file of the report whole, under a plain name such as `page.html`, and say where it is.
    pub fn write_report(&self, name: &str, bytes: &[u8]) -> Result<PathBuf, Error> {
        let file = self.report_folder().join(name);
        disk::stay_inside(&self.folder, &self.report_folder())?;
        disk::make_folder(&self.report_folder())?;
        disk::write_whole(&file, bytes)?;
        Ok(file)
    }

    /// The reed whose take was stored last in this pass.
    pub fn last_recorded(&self, pass: &str) -> Option<ReedPlace> {
        self.stored_takes(pass).filter(|take| take.facts.sealed.is_none()).last().map(|take| take.place)
    }

    pub(super) fn stored_takes(&self, pass: &str) -> impl Iterator<Item = StoredTake> {
        let moved = self.diary.moves();
        let later = self.diary.later_remarks();
        self.diary.lines.iter().filter_map(move |line| match &line.event {
            Event::Take(facts) if facts.pass == pass => Some(StoredTake {
                place: self
                    .instrument()
                    .reed_place(moved.get(facts.file.as_str()).unwrap_or(&facts.place.as_str()))
                    .ok()?,
                path: self.folder.join(&facts.file),
                at: line.at,
                facts: with_later(facts, later.get(facts.file.as_str())),
            }),
            _ => None,
        })
    }
}

impl JobWriter {
    /// Open the job in `folder` to write to it: waits a few seconds for another writer, then is refused.
    ///
    /// A torn last line of the diary is moved into `diary.torn`.
    pub fn open(folder: &Path) -> Result<Self, Error> {
        // Read first, so that nothing is written into a folder that holds no job or one of a later program.
        Job::open(folder)?;
        for name in WRITTEN {
            disk::stay_inside(folder, &folder.join(name))?;
        }
        let lock = Lock::take(folder)?;
        let mut job = Job::open(folder)?;
        job.diary.set_torn_aside(folder)?;
        Ok(Self { job, lock })
    }

    /// Whether the lock holds; where the disk knows none, nothing keeps a second program off, and that is to be said.
    pub fn is_locked(&self) -> bool {
        self.lock.is_held
    }

    /// Add an event to the diary.
    pub fn note(&mut self, event: Event) -> Result<(), Error> {
        self.job.diary.append(&self.job.folder, event)?;
        Ok(())
    }

    /// Put another text in the place of `plan.toml`; the one before is kept in `plan.before.toml`.
    pub fn write_plan(&mut self, text: &str) -> Result<(), Error> {
        let file = self.job.folder.join(PLAN_FILE);
        let plan = Plan::parse(text, &file)?;
        let before = fs::read(&file).map_err(|error| Error::read(&file, error))?;
        disk::write_whole(&self.job.folder.join(PLAN_BEFORE_FILE), &before)?;
        disk::write_whole(&file, text.as_bytes())?;
        self.job.plan = plan;
        Ok(())
    }

    /// Open a pass, or correct what is known of it; nothing is written when nothing is new. Returns its facts.
    pub fn open_pass(&mut self, name: &str, change: &PassChange) -> Result<PassFacts, Error> {
        let known = self.job.pass(name).ok();
        if known.is_none() && !is_plain_name(name) {
            return Err(Error::PassName { pass: name.to_owned() });
        }
        let is_new = known.is_none();
        let before = known.unwrap_or_else(|| unsaid_pass(name, jiff::Timestamp::now()));
        let facts = PassFacts {
            pass: before.pass.clone(),
            place: change.place.unwrap_or(before.place),
            temperature_c: change.temperature_c.or(before.temperature_c),
            date: change.date.map_or(before.date.clone(), |date| date.to_string()),
            // Of a pass that is there already nobody knows what the plan said when it was opened.
            reference_hz: if is_new {
                Some(self.instrument().tuning.reference.get())
            } else {
                before.reference_hz
            },
        };
        if is_new || facts != before {
            self.note(Event::Pass(facts.clone()))?;
        }
        Ok(facts)
    }
}

impl Deref for JobWriter {
    type Target = Job;
    fn deref(&self) -> &Job {
        &self.job
    }
}

/// A take's facts with what was noticed after it was stored.
fn with_later(facts: &TakeFacts, later: Option<&Vec<&str>>) -> TakeFacts {
    let mut facts = facts.clone();
    facts.remarks.extend(later.into_iter().flatten().map(|remark| (*remark).to_owned()));
    facts
}

/// What holds of a pass of which nothing was said: in the instrument, on the day of its first line.
fn unsaid_pass(name: &str, at: jiff::Timestamp) -> PassFacts {
    PassFacts {
        pass: name.to_owned(),
        place: MeasuredIn::Instrument,
        temperature_c: None,
        date: at.to_zoned_datetime(jiff::tz::TimeZone::system()).date().to_string(),
        reference_hz: None,
    }
}
