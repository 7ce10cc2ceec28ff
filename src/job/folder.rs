//! A job folder: read by anyone, written to by one program at a time.

use std::collections::HashMap;
use std::fs;
use std::ops::Deref;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use super::account::{Account, TakeNow, unsaid_pass};
use super::diary::{self, Diary, DiaryLine, OddLine};
use super::event::{AmendedFacts, Event, MeasuredIn, PassFacts, TakeFacts};
use super::layout::{PHOTOS_FOLDER, PLAN_FILE, RECORDINGS_FOLDER, REPORT_FOLDER, TAKES_FOLDER};
use super::lock::{self, Lock};
use super::moved_by_hand::MovedByHand;
use super::plain_name::is_plain_name;
use super::plan::Plan;
use super::{Error, disk};
use crate::instrument::{Instrument, ReedPlace};
use crate::repair::ValveRule;

/// What a writer writes to, or into.
const WRITTEN: [&str; 6] =
    [diary::FILE, diary::TORN_FILE, lock::FILE, TAKES_FOLDER, PHOTOS_FOLDER, RECORDINGS_FOLDER];

/// A job as it was read: its plan and its diary. Reading takes no lock and changes nothing.
#[derive(Debug)]
pub struct Job {
    folder: PathBuf,
    plan: Plan,
    diary: Diary,
    /// What the diary comes to; empty until it is asked for, and after each new line.
    account: OnceLock<Account>,
}

/// A job that may be written to; other writers are kept off as long as it lives.
#[derive(Debug)]
pub struct JobWriter {
    pub(super) job: Job,
    lock: Lock,
    moved: MovedByHand,
}

/// A stored take of a reed.
#[derive(Debug, Clone, PartialEq)]
pub struct StoredTake {
    /// Where it is of.
    pub place: ReedPlace,
    /// The file, to be opened.
    pub path: PathBuf,
    /// When it was sounded: as that was told of it, else when it was stored.
    pub at: jiff::Timestamp,
    /// What the diary says of it.
    pub facts: TakeFacts,
    /// The rows whose reeds sound along on purpose; empty for an ordinary take.
    pub with: Vec<String>,
}

impl StoredTake {
    /// Whether it is an ordinary take of its reed: no play of a sealing test, and no other rank on purpose.
    pub fn is_ordinary(&self) -> bool {
        self.facts.sealed.is_none() && self.with.is_empty()
    }
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
        if fs::symlink_metadata(&file).is_err() {
            return Err(Error::NoJob { folder: folder.to_owned() });
        }
        let diary = Diary::read(folder)?;
        let text = Self::plan_bytes(folder, &diary.lines)?
            .ok_or_else(|| Error::NoJob { folder: folder.to_owned() })?;
        // What is not UTF-8 becomes a replacement mark, which no key and no note contains: the line is then named.
        let plan = Plan::parse(&String::from_utf8_lossy(&text), &file)?;
        Ok(Self { folder: folder.to_owned(), plan, diary, account: OnceLock::new() })
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
        let text = Self::plan_bytes(&self.folder, &self.diary.lines).ok().flatten().unwrap_or_default();
        String::from_utf8_lossy(&text).into_owned()
    }

    /// The plan as it was read.
    pub(super) fn plan(&self) -> &Plan {
        &self.plan
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

    /// What the diary comes to after all corrections.
    pub(super) fn account(&self) -> &Account {
        self.account.get_or_init(|| self.account_by_plan())
    }

    /// The passes in the order they were opened, each as it is called and with what is known of it now; those that were
    /// withdrawn or merged into others are left out.
    pub fn passes(&self) -> Vec<PassFacts> {
        let account = self.account();
        let own = (0..account.passes.len()).filter(|at| account.is_own(*at));
        own.filter_map(|at| self.pass_at(at)).collect()
    }

    /// The pass of that name, in any case.
    pub fn pass(&self, name: &str) -> Result<PassFacts, Error> {
        let found = self.account().called(name).and_then(|at| self.pass_at(at));
        found.ok_or_else(|| Error::NoPass {
            pass: name.to_owned(),
            known: match self.passes().as_slice() {
                [] => "none".into(),
                passes => passes.iter().map(|pass| format!("`{}`", pass.pass)).collect::<Vec<_>>().join(", "),
            },
        })
    }

    fn pass_at(&self, at: usize) -> Option<PassFacts> {
        let facts = self.account().passes.get(at)?.facts.clone();
        Some(PassFacts { pass: self.account().name(at).to_owned(), called: None, ..facts })
    }

    /// The takes of a pass: every reed of the plan that has any, in the plan's order, each with its takes, oldest first.
    ///
    /// Of several takes the newest good one speaks. Takes whose place the plan no longer has are left out
    /// ([`super::verify`] names them).
    pub fn takes(&self, pass: &str) -> Vec<(ReedPlace, Vec<StoredTake>)> {
        // Plays of a sealing test are blown otherwise, and half of them sealed: they are no takes of the pass.
        let mut stored: Vec<StoredTake> = self.stored_takes(pass).filter(StoredTake::is_ordinary).collect();
        let mut takes = Vec::new();
        for (place, _) in self.instrument().reeds() {
            let mut of_reed: Vec<StoredTake> = stored.extract_if(.., |take| take.place == place).collect();
            if of_reed.iter().any(|take| take.facts.recorded.is_some()) {
                // Stored later, and recorded before.
                of_reed.sort_by_key(|take| take.at);
            }
            if !of_reed.is_empty() {
                takes.push((place, of_reed));
            }
        }
        takes
    }

    /// The takes of a pass in which reeds of other ranks sound along on purpose, oldest first.
    pub fn takes_together(&self, pass: &str) -> Vec<StoredTake> {
        self.stored_takes(pass).filter(|take| take.facts.sealed.is_none() && !take.with.is_empty()).collect()
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
        self.stored_takes(pass).filter(StoredTake::is_ordinary).last().map(|take| take.place)
    }

    /// The takes of a pass that count and whose reed the plan has, oldest first.
    pub(super) fn stored_takes(&self, pass: &str) -> impl Iterator<Item = StoredTake> {
        let account = self.account();
        let later = self.diary.later_remarks();
        let pass = account.called(pass);
        let of_pass = move |take: &&TakeNow| {
            pass.is_some() && take.withdrawn.is_none() && account.standing(take.pass) == pass
        };
        account.takes.iter().filter(of_pass).filter_map(move |now| {
            let place = self.instrument().reed_place(&now.place).ok()?;
            self.stored_take(now, place, &later)
        })
    }

    /// A take as it stands: its pass, place, remarks and clock are those of now.
    fn stored_take(
        &self,
        now: &TakeNow,
        place: ReedPlace,
        later: &HashMap<&str, Vec<&str>>,
    ) -> Option<StoredTake> {
        let line = self.diary.lines.get(now.line)?;
        let Event::Take(facts) = &line.event else { return None };
        let mut facts = with_later(facts, later.get(facts.file.as_str()));
        let account = self.account();
        facts.pass = account.name(account.standing(now.pass).unwrap_or(now.pass)).to_owned();
        if now.is_placed_anew {
            facts.remarks.retain(|remark| !remark.starts_with(TakeFacts::DOUBT));
        }
        facts.clock = now.clock.clone().unwrap_or(facts.clock);
        let (path, with) = (self.folder.join(&facts.file), now.with.clone());
        let at = facts.sounded_at(line.at);
        Some(StoredTake { place, path, at, facts, with })
    }
}

impl JobWriter {
    /// Open the job in `folder` to write to it: waits a few seconds for another writer, then is refused.
    ///
    /// A torn last line of the diary is moved into `diary.torn`.
    pub fn open(folder: &Path) -> Result<Self, Error> {
        Self::open_agreed(folder, false)
    }

    /// `agreed`: takes and notes may be left without a place where the plan was edited by hand.
    pub(super) fn open_agreed(folder: &Path, agreed: bool) -> Result<Self, Error> {
        // Read first, so that nothing is written into a folder that holds no job or one of a later program.
        Job::open(folder)?;
        for name in WRITTEN {
            disk::stay_inside(folder, &folder.join(name))?;
        }
        let lock = Lock::take(folder)?;
        let mut job = Job::open(folder)?;
        job.diary.set_torn_aside(folder)?;
        let mut writer = Self { job, lock, moved: MovedByHand::default() };
        writer.settle_plan()?;
        writer.moved = writer.adopt_plan(agreed)?;
        Ok(writer)
    }

    /// Whether the lock holds; where the disk knows none, nothing keeps a second program off, and that is to be said.
    pub fn is_locked(&self) -> bool {
        self.lock.is_held
    }

    /// What was moved in the plan by hand before the job was opened, and is written down now.
    pub fn moved(&self) -> &MovedByHand {
        &self.moved
    }

    /// Add an event to the diary.
    pub fn note(&mut self, event: Event) -> Result<(), Error> {
        self.append(event)?;
        Ok(())
    }

    /// Add an event to the diary, and say when that was.
    pub(super) fn append(&mut self, event: Event) -> Result<jiff::Timestamp, Error> {
        if !matches!(event, Event::Plates(_)) {
            self.say_numbers_first()?;
        }
        self.append_line(event)
    }

    pub(super) fn append_line(&mut self, event: Event) -> Result<jiff::Timestamp, Error> {
        self.job.account = OnceLock::new();
        Ok(self.job.diary.append(&self.job.folder, event)?.at)
    }

    pub(super) fn set_plan(&mut self, plan: Plan) {
        self.job.plan = plan;
    }

    /// Open a pass, or correct what is known of it; nothing is written when nothing is new. Returns its facts.
    pub fn open_pass(&mut self, name: &str, change: &PassChange) -> Result<PassFacts, Error> {
        let Some(at) = self.job.account().called(name) else { return self.open_new_pass(name, change) };
        let Some(known) = self.job.account().passes.get(at).map(|pass| pass.facts.clone()) else {
            return Err(Error::PassName { pass: name.to_owned() });
        };
        let date = change.date.map(|date| date.to_string());
        let amended = AmendedFacts {
            n: self.next_mark(),
            pass: known.pass,
            place: change.place.filter(|place| *place != known.place),
            temperature_c: change
                .temperature_c
                .filter(|celsius| Some(*celsius) != known.temperature_c)
                .map(Some),
            date: date.filter(|date| *date != known.date),
            clock: None,
        };
        if amended.place.is_some() || amended.temperature_c.is_some() || amended.date.is_some() {
            self.note(Event::Amended(amended))?;
        }
        self.job.pass(name)
    }

    fn open_new_pass(&mut self, name: &str, change: &PassChange) -> Result<PassFacts, Error> {
        if !is_plain_name(name) {
            return Err(Error::PassName { pass: name.to_owned() });
        }
        let opened = self.free_pass_name(name);
        let unsaid = unsaid_pass(&opened, jiff::Timestamp::now());
        let facts = PassFacts {
            called: (opened != name).then(|| name.to_owned()),
            pass: opened,
            place: change.place.unwrap_or(unsaid.place),
            temperature_c: change.temperature_c,
            date: change.date.map_or(unsaid.date, |date| date.to_string()),
            reference_hz: Some(self.instrument().tuning.reference.get()),
        };
        self.note(Event::Pass(facts))?;
        self.job.pass(name)
    }

    /// `name`, or the like where a pass was opened under it that is called otherwise now, or is withdrawn.
    fn free_pass_name(&self, name: &str) -> String {
        /// So that a number still fits behind it.
        const STEM: usize = 36;
        let is_taken = |wanted: &str| {
            let passes = &self.job.account().passes;
            passes.iter().any(|pass| pass.facts.pass.to_lowercase() == wanted.to_lowercase())
        };
        if !is_taken(name) {
            return name.to_owned();
        }
        let stem: String = name.chars().take(STEM).collect();
        let others = (2..1000).map(|n| format!("{stem}-{n}"));
        others.into_iter().find(|other| !is_taken(other)).unwrap_or_else(|| name.to_owned())
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
