//! Takes and passes put right by further lines, each taken back by a further line: nothing is rubbed out.

use super::Error;
use super::account::Account;
use super::diary::DiaryLine;
use super::event::{
    AmendedFacts, ClockFacts, CutFacts, Event, MeasuredIn, MergedFacts, MoveFacts, RanksFacts, RenamedFacts,
    UndoneFacts, WithdrawnFacts,
};
use super::folder::{Job, JobWriter};
use super::plain_name::is_plain_name;
use crate::instrument::ReedPlace;

/// So short a name is told from another by every letter, characters.
const SHORT_NAME: usize = 3;

/// A take as it stands, whether it counts or not.
#[derive(Debug, Clone, PartialEq)]
pub struct TakeEntry {
    /// Where it is stored, seen from the job folder.
    pub file: String,
    /// The pass it belongs to, as that is called; withdrawn passes have theirs too.
    pub pass: String,
    /// The reed it is of; the plan may not have it any more.
    pub place: String,
    /// Which take of its reed it was when it was stored.
    pub n: u32,
    /// The line that withdrew it or its pass; `None` where it counts.
    pub withdrawn: Option<u32>,
    /// The rows whose reeds sound along on purpose.
    pub with: Vec<String>,
}

/// A correction as the diary has it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Correction {
    /// Its number.
    pub n: u32,
    /// When it was noted.
    pub at: jiff::Timestamp,
    /// What was put right, in words.
    pub words: String,
    /// Whether it is of a take, not of a pass.
    pub is_of_take: bool,
    /// Whether it was taken back.
    pub undone: bool,
}

/// What is put right of a pass; what is `None` stays as it is.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct PassAmendment {
    /// Where the block was.
    pub place: Option<MeasuredIn>,
    /// Room temperature, °C; `Some(None)` where it is not known after all.
    pub temperature_c: Option<Option<f64>>,
    /// The day.
    pub date: Option<jiff::civil::Date>,
    /// The clock of all its takes; `Some(None)` where it was not measured.
    pub clock: Option<Option<ClockFacts>>,
}

impl Job {
    /// Every take of the diary in the order they were stored.
    pub fn all_takes(&self) -> Vec<TakeEntry> {
        let account = self.account();
        let entry = |now: &super::account::TakeNow| {
            let Event::Take(facts) = &self.diary().get(now.line)?.event else { return None };
            let standing = account.standing(now.pass);
            Some(TakeEntry {
                file: facts.file.clone(),
                pass: account.name(standing.unwrap_or(now.pass)).to_owned(),
                place: now.place.clone(),
                n: facts.n,
                with: now.with.clone(),
                withdrawn: now.withdrawn.or_else(|| match standing {
                    None => account.passes.get(now.pass)?.withdrawn.or(Some(0)),
                    Some(_) => None,
                }),
            })
        };
        account.takes.iter().filter_map(entry).collect()
    }

    /// Whether a take was placed anew after it was stored.
    pub fn is_placed_anew(&self, file: &str) -> bool {
        let is_it =
            |take: &&super::account::TakeNow| match self.diary().get(take.line).map(|line| &line.event) {
                Some(Event::Take(facts)) => facts.file == file,
                _ => false,
            };
        self.account().takes.iter().filter(is_it).any(|take| take.is_placed_anew)
    }

    /// Every correction in order, those that were taken back included.
    pub fn corrections(&self) -> Vec<Correction> {
        let account = self.account();
        let called = |opened: &str| account.index_of(opened).map_or(opened, |at| account.name(at)).to_owned();
        let correction = |(idx, line): (usize, &DiaryLine)| {
            let (n, is_of_take, words) = match &line.event {
                Event::Moved(facts) => {
                    let to = match facts.pass.as_deref() {
                        Some(pass) => format!("{} in pass `{}`", facts.place, called(pass)),
                        None => facts.place.clone(),
                    };
                    (facts.n?, true, format!("{} moved to {to}", facts.file))
                }
                Event::Withdrawn(facts) => match (&facts.file, &facts.pass) {
                    (Some(file), _) => (facts.n, true, format!("{file} withdrawn")),
                    (None, Some(pass)) => (facts.n, false, format!("pass `{}` withdrawn", called(pass))),
                    (None, None) => return None,
                },
                Event::Amended(facts) => (facts.n, false, amended_words(&called(&facts.pass), facts)),
                Event::Renamed(facts) => {
                    (facts.n, false, format!("the pass opened as `{}` renamed `{}`", facts.pass, facts.name))
                }
                Event::Merged(facts) => {
                    let words =
                        format!("pass `{}` merged into `{}`", called(&facts.pass), called(&facts.into));
                    (facts.n, false, words)
                }
                Event::Ranks(facts) => {
                    let with = match facts.with.as_slice() {
                        [] => "is of one rank alone".to_owned(),
                        rows => format!("has row {} sounding along", rows.join(", ")),
                    };
                    (facts.n, true, format!("{} {with}", facts.file))
                }
                _ => return None,
            };
            let undone = account.undone.get(idx).copied().unwrap_or(false);
            Some(Correction { n, at: line.at, words, is_of_take, undone })
        };
        self.diary().iter().enumerate().filter_map(correction).collect()
    }

    /// A pass that is there and whose name is one letter from `name`: put in, left out or changed. Numbers at the end tell
    /// passes apart on purpose, and so do names of a letter or two.
    pub fn pass_near(&self, name: &str) -> Option<String> {
        let stem = |name: &str| {
            name.to_lowercase().trim_end_matches(|letter: char| letter.is_ascii_digit()).to_owned()
        };
        let is_near = |there: &str| {
            let (left, right) = (name.to_lowercase(), there.to_lowercase());
            left.chars().count().min(right.chars().count()) >= SHORT_NAME
                && strsim::osa_distance(&left, &right) == 1
                && stem(name) != stem(there)
        };
        let names = self.passes().into_iter().map(|facts| facts.pass);
        if self.pass(name).is_ok() { None } else { names.into_iter().find(|there| is_near(there)) }
    }

    /// The name a pass was opened with, which is the one the diary knows it by.
    pub(super) fn opened_as(&self, pass: &str) -> String {
        let account = self.account();
        let found = account.called(pass).and_then(|at| account.passes.get(at));
        found.map_or_else(|| pass.to_owned(), |pass| pass.facts.pass.clone())
    }

    /// The take of this sound that was withdrawn from the pass, and the number of the withdrawal.
    pub(super) fn withdrawn_sound(&self, opened: &str, sha256: &str) -> Option<(String, u32)> {
        self.withdrawn_take(opened, |take| take.sha256 == sha256)
    }

    /// The same for a note of a long recording.
    pub(super) fn withdrawn_cut(&self, pass: &str, cut: &CutFacts) -> Option<(String, u32)> {
        let is_same =
            |take: &super::TakeFacts| take.cut.as_ref().is_some_and(|there| there.is_same_note(cut));
        self.withdrawn_take(&self.opened_as(pass), is_same)
    }

    fn withdrawn_take(
        &self,
        opened: &str,
        is_it: impl Fn(&super::TakeFacts) -> bool,
    ) -> Option<(String, u32)> {
        let account = self.account();
        let pass = account.index_of(opened);
        let is_here = |take: &&super::account::TakeNow| pass.is_some() && account.standing(take.pass) == pass;
        account.takes.iter().filter(is_here).find_map(|take| match &self.diary().get(take.line)?.event {
            Event::Take(facts) if is_it(facts) => Some((facts.file.clone(), take.withdrawn?)),
            _ => None,
        })
    }
}

impl JobWriter {
    /// Say that a stored take, `file` seen from the job folder, belongs to the reed at `place`.
    pub fn move_take(&mut self, file: &str, place: &ReedPlace, why: &str) -> Result<u32, Error> {
        self.reassign(file, Some(&place.to_string()), None, why)
    }

    /// Say that a stored take belongs to another reed, to another pass, or both; gives the number of the correction.
    pub fn reassign(
        &mut self,
        file: &str,
        place: Option<&str>,
        pass: Option<&str>,
        why: &str,
    ) -> Result<u32, Error> {
        let entry = self.entry(file)?;
        let pass = pass.map(|pass| self.pass(pass)).transpose()?.map(|facts| facts.pass);
        let facts = MoveFacts {
            n: Some(self.next_mark()),
            file: entry.file,
            place: place.unwrap_or(&entry.place).to_owned(),
            pass: pass.map(|pass| self.opened_as(&pass)),
            why: why.to_owned(),
        };
        self.correct(Event::Moved(facts))
    }

    /// Say that reeds of these rows sound along in a stored take on purpose, of none with an empty list; gives the number
    /// of the correction.
    pub fn sounds_with(&mut self, file: &str, rows: &[String]) -> Result<u32, Error> {
        let entry = self.entry(file)?;
        let with = self.rows_beside(&entry.place, rows)?;
        if with == entry.with {
            return Err(Error::NothingNew { what: format!("that is said of `{file}` already") });
        }
        let n = self.next_mark();
        self.correct(Event::Ranks(RanksFacts { n, file: entry.file, with }))
    }

    /// The rows as the plan writes them, each of the block of `place` and another than its own.
    pub fn rows_beside(&self, place: &str, rows: &[String]) -> Result<Vec<String>, Error> {
        // A take may be of a plate that was taken out of the plan: then no row is beside it.
        let Ok(reed) = self.instrument().reed_place(place) else {
            return if rows.is_empty() {
                Ok(Vec::new())
            } else {
                Err(Error::PlateGone { place: place.to_owned() })
            };
        };
        let block = self.instrument().blocks.iter().find(|block| block.name == reed.plate.block);
        let known: Vec<&String> = block
            .into_iter()
            .flat_map(|block| &block.rows)
            .map(|row| &row.name)
            .filter(|name| **name != reed.plate.row)
            .collect();
        let mut with: Vec<String> = Vec::new();
        for row in rows {
            let found = known.iter().find(|name| name.to_lowercase() == row.trim().to_lowercase());
            let Some(name) = found else {
                let known: Vec<String> = known.iter().map(|name| format!("`{name}`")).collect();
                return Err(Error::NoRowBeside {
                    row: row.clone(),
                    place: place.to_owned(),
                    known: known.join(", "),
                });
            };
            if !with.contains(name) {
                with.push((*name).clone());
            }
        }
        Ok(with)
    }

    /// Say that a stored take does not count; gives the number of the correction.
    pub fn withdraw_take(&mut self, file: &str, why: &str) -> Result<u32, Error> {
        let entry = self.entry(file)?;
        if entry.withdrawn.is_some() {
            return Err(Error::NothingNew { what: format!("`{file}` is withdrawn already") });
        }
        let n = self.next_mark();
        self.correct(Event::Withdrawn(WithdrawnFacts {
            n,
            file: Some(entry.file),
            pass: None,
            why: why.into(),
        }))
    }

    /// Say that a pass with all its takes does not count; gives the number of the correction.
    pub fn withdraw_pass(&mut self, pass: &str, why: &str) -> Result<u32, Error> {
        let opened = self.opened_as(&self.pass(pass)?.pass);
        let n = self.next_mark();
        self.correct(Event::Withdrawn(WithdrawnFacts { n, file: None, pass: Some(opened), why: why.into() }))
    }

    /// Call a pass otherwise; gives the number of the correction.
    pub fn rename_pass(&mut self, pass: &str, name: &str) -> Result<u32, Error> {
        let facts = self.pass(pass)?;
        if !is_plain_name(name) {
            return Err(Error::PassName { pass: name.to_owned() });
        }
        if facts.pass == name {
            return Err(Error::NothingNew { what: format!("the pass is called `{name}` already") });
        }
        let n = self.next_mark();
        let opened = self.opened_as(&facts.pass);
        self.correct(Event::Renamed(RenamedFacts { n, pass: opened, name: name.to_owned() }))
    }

    /// Give all takes of a pass to another; gives the number of the correction.
    pub fn merge_pass(&mut self, pass: &str, into: &str) -> Result<u32, Error> {
        let (pass, into) = (self.pass(pass)?.pass, self.pass(into)?.pass);
        if pass == into {
            return Err(Error::NothingNew { what: format!("`{pass}` cannot be merged into itself") });
        }
        let (n, pass, into) = (self.next_mark(), self.opened_as(&pass), self.opened_as(&into));
        self.correct(Event::Merged(MergedFacts { n, pass, into }))
    }

    /// Put right what is known of a pass; gives the number of the correction.
    pub fn amend_pass(&mut self, pass: &str, amendment: &PassAmendment) -> Result<u32, Error> {
        let facts = self.pass(pass)?;
        let amended = AmendedFacts {
            n: self.next_mark(),
            pass: self.opened_as(&facts.pass),
            place: amendment.place,
            temperature_c: amendment.temperature_c,
            date: amendment.date.map(|date| date.to_string()),
            clock: amendment.clock.clone(),
        };
        self.correct(Event::Amended(amended))
    }

    /// Take back a correction of a take or of a pass, or the newest of that kind that stands; says which it was.
    pub fn undo_correction(&mut self, n: Option<u32>, of_take: bool) -> Result<Correction, Error> {
        let mut standing = self.corrections().into_iter().filter(|correction| !correction.undone);
        let correction = match n {
            Some(n) => standing.find(|correction| correction.n == n).ok_or(Error::NoCorrection { n })?,
            None => {
                standing.rfind(|correction| correction.is_of_take == of_take).ok_or(Error::NoCorrections)?
            }
        };
        self.correct(Event::Undone(UndoneFacts { n: correction.n }))?;
        Ok(correction)
    }

    fn entry(&self, file: &str) -> Result<TakeEntry, Error> {
        let found = self.all_takes().into_iter().rev().find(|take| take.file == file);
        found.ok_or_else(|| Error::NoTake { file: file.to_owned() })
    }

    /// Note a correction, unless two passes would have one name after it.
    fn correct(&mut self, event: Event) -> Result<u32, Error> {
        let n = event.number().unwrap_or(0);
        let mut lines = self.diary().to_vec();
        lines.push(DiaryLine { line: lines.len() + 1, at: jiff::Timestamp::now(), event: event.clone() });
        let after = Account::of(&lines);
        if after.has_clash() && !self.account().has_clash() {
            let clash = (0..after.passes.len()).find_map(|at| {
                let pass = after.passes.get(at)?;
                (after.is_own(at) && pass.name != after.name(at)).then(|| pass.name.clone())
            });
            return Err(Error::PassTwice { pass: clash.unwrap_or_default() });
        }
        self.note(event)?;
        Ok(n)
    }
}

fn amended_words(pass: &str, facts: &AmendedFacts) -> String {
    let mut parts = Vec::new();
    match facts.temperature_c {
        Some(Some(celsius)) => parts.push(format!("{celsius} °C")),
        Some(None) => parts.push("temperature not known".into()),
        None => {}
    }
    parts.extend(facts.date.clone());
    parts.extend(facts.place.map(|place| format!("measured in: {}", place.name())));
    match &facts.clock {
        Some(Some(clock)) => parts.push(format!("clock of `{}`, {}", clock.device, clock.figures())),
        Some(None) => parts.push("clock not measured".into()),
        None => {}
    }
    format!("pass `{pass}`: {}", parts.join(", "))
}
