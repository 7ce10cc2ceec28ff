//! Another plan in the place of the one before, and the takes and notes along with their plates.
//!
//! The new text is written beside, then the diary says which plate is called what from now on, then the text takes its
//! place: cut off before the line nothing has changed, and cut off after it the next to open the job sees the new text.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;

use super::account::{Account, TAKEN_OUT};
use super::diary::DiaryLine;
use super::event::{Event, PlateMove, PlatesFacts};
use super::folder::{Job, JobWriter};
use super::layout::{PLAN_BEFORE_FILE, PLAN_FILE, PLAN_NEXT_FILE};
use super::plan::{Origins, Plan, PlanEdit, PlateNumbers};
use super::{Error, disk};

impl Job {
    /// The text of the plan: that of a change that was cut off at its last step, else `plan.toml`.
    pub(super) fn plan_bytes(folder: &Path, lines: &[DiaryLine]) -> Result<Option<Vec<u8>>, Error> {
        let newest = lines.iter().rev().find_map(|line| match &line.event {
            Event::Plates(facts) if !facts.is_same_plan() => Some(facts),
            _ => None,
        });
        if let Some(facts) = newest
            && let Some(next) = disk::read_plain(&folder.join(PLAN_NEXT_FILE))?
            && disk::hash_of_bytes(&next) == facts.plan_sha256
        {
            return Ok(Some(next));
        }
        disk::read_plain(&folder.join(PLAN_FILE))
    }

    /// The plan after `edit`, as text with the remarks kept, and where each of its plates comes from.
    pub fn plan_after(&self, edit: &PlanEdit) -> Result<(String, Origins), Error> {
        let changed = self.plan().after(edit);
        let (plan, origins) = changed.map_err(|(wrong, right)| Error::PlanEdit { wrong, right })?;
        let plan = Plan { numbers: self.numbers_after(&plan, &origins), ..plan };
        Ok((plan.written_into(&self.plan_text()), origins))
    }

    /// What a plan with this text would leave without a place: `bass A3 press: takes/before/bass-A3-press-1.wav`.
    pub fn left_without_place(&self, text: &str, origins: &Origins) -> Result<Vec<String>, Error> {
        let plan = Plan::parse(text, &self.folder().join(PLAN_FILE))?;
        Ok(self.lost_in(&plan, &self.moves(origins), self.account()))
    }

    /// What these moves leave without a place in `plan`, of what `account` counts.
    pub(super) fn lost_in(&self, plan: &Plan, moves: &[PlateMove], account: &Account) -> Vec<String> {
        let names: BTreeMap<String, &str> =
            moves.iter().map(|plate| (plate.from.to_lowercase(), plate.to.as_str())).collect();
        let is_known = |place: &str| !place.starts_with(TAKEN_OUT);
        let is_lost = |place: &str| {
            let lower = place.to_lowercase();
            let (plate, side) = match names.contains_key(&lower) {
                true => (lower.as_str(), ""),
                false => lower.rsplit_once(' ').unwrap_or((&lower, "")),
            };
            let now = names.get(plate).map_or(lower.clone(), |plate| format!("{plate} {side}"));
            let there = plan.instrument.spots(now.trim());
            let reed = side == "press" || side == "draw";
            there.is_err() || (reed && plan.instrument.reed_place(now.trim()).is_err())
        };
        let mut lost = Vec::new();
        for take in account.takes.iter().filter(|take| take.withdrawn.is_none()) {
            let Some(Event::Take(facts)) = self.diary().get(take.line).map(|line| &line.event) else {
                continue;
            };
            if is_known(&take.place) && account.standing(take.pass).is_some() && is_lost(&take.place) {
                lost.push(format!("{}: {}", take.place, facts.file));
            }
        }
        for (idx, line) in self.diary().iter().enumerate() {
            let (stored, work) = match &line.event {
                Event::Mark(facts) => (&facts.places, facts.work.as_str()),
                Event::Photo(facts) => (&facts.places, facts.file.as_str()),
                _ => continue,
            };
            if account.undone.get(idx).copied().unwrap_or(false) {
                continue;
            }
            let places = account.places.get(&idx).unwrap_or(stored).iter();
            lost.extend(
                places
                    .filter(|place| is_known(place) && is_lost(place))
                    .map(|place| format!("{place}: {work}")),
            );
        }
        lost
    }

    /// The numbers of the plates after a change of the plan; new plates get the next ones. None where this plan has none.
    pub fn numbers_after(&self, text: &Plan, origins: &Origins) -> PlateNumbers {
        if self.plan().numbers.is_empty() {
            return PlateNumbers::new();
        }
        let numbers = self.plan().numbers_after(origins);
        Plan { numbers, ..text.clone() }.numbered(self.next_plate()).numbers
    }

    /// What each plate is called from now on, where that is another name.
    fn moves(&self, origins: &Origins) -> Vec<PlateMove> {
        let mut moves = Vec::new();
        for (place, was) in origins {
            if let Some(was) = was.as_ref().filter(|was| *was != place) {
                moves.push(PlateMove { from: was.to_string(), to: place.to_string() });
            }
        }
        let kept: BTreeSet<String> = origins.values().flatten().map(ToString::to_string).collect();
        let nth = self.account().plate_changes + 1;
        for (place, ..) in self.instrument().plates() {
            let place = place.to_string();
            if !kept.contains(&place) {
                moves.push(PlateMove { to: format!("{TAKEN_OUT}{nth} {place}"), from: place });
            }
        }
        moves
    }
}

impl JobWriter {
    /// Put another plan in the place of `plan.toml`; the takes and notes of each plate go along. The plan before is kept in
    /// `plan.before.toml`, and [`JobWriter::undo_plan`] brings it back.
    ///
    /// Fails with [`Error::LeavesWithoutPlace`] where takes or notes would be left without a place and `agreed` is not said.
    pub fn change_plan(&mut self, text: &str, origins: &Origins, agreed: bool) -> Result<(), Error> {
        let lost = self.left_without_place(text, origins)?;
        if !lost.is_empty() && !agreed {
            return Err(Error::LeavesWithoutPlace { lost });
        }
        let moved = self.moves(origins);
        self.put_plan(text, moved)
    }

    /// Bring back the plan before the newest change that this program made, and its plates' names with it.
    pub fn undo_plan(&mut self) -> Result<(), Error> {
        let newest = self.diary().iter().rev().find_map(|line| match &line.event {
            Event::Plates(facts) if !facts.is_same_plan() => Some(facts.clone()),
            _ => None,
        });
        let facts = newest.ok_or(Error::NoPlanChange)?;
        let before = disk::read_plain(&self.folder().join(PLAN_BEFORE_FILE))?.unwrap_or_default();
        let is_last = disk::hash_of_bytes(self.plan_text().as_bytes()) == facts.plan_sha256
            && disk::hash_of_bytes(&before) == facts.before_sha256;
        if !is_last {
            return Err(Error::PlanSince);
        }
        let back = facts.moved.into_iter().map(|plate| PlateMove { from: plate.to, to: plate.from });
        self.put_plan(&String::from_utf8_lossy(&before), back.collect())
    }

    pub(super) fn put_plan(&mut self, text: &str, moved: Vec<PlateMove>) -> Result<(), Error> {
        let folder = self.folder().to_owned();
        let (file, next) = (folder.join(PLAN_FILE), folder.join(PLAN_NEXT_FILE));
        let plan = Plan::parse(text, &file)?;
        let before = fs::read(&file).map_err(|error| Error::read(&file, error))?;
        let numbers = self.numbers_told(&plan, &moved);
        let facts = PlatesFacts {
            moved,
            before_sha256: disk::hash_of_bytes(&before),
            plan_sha256: disk::hash_of_bytes(text.as_bytes()),
            numbers,
        };
        disk::write_whole(&folder.join(PLAN_BEFORE_FILE), &before)?;
        disk::write_whole(&next, text.as_bytes())?;
        self.note(Event::Plates(facts))?;
        fs::rename(&next, &file).map_err(|error| Error::written(&file, error))?;
        disk::flush_folder(&folder)?;
        self.set_plan(plan);
        Ok(())
    }

    /// Bring a change of the plan to its end that was cut off; what never came to its line is cleared away.
    pub(super) fn settle_plan(&mut self) -> Result<(), Error> {
        let (file, next) = (self.folder().join(PLAN_FILE), self.folder().join(PLAN_NEXT_FILE));
        if fs::symlink_metadata(&next).is_err() {
            return Ok(());
        }
        let text = disk::read_plain(&next)?.unwrap_or_default();
        let is_meant = Job::plan_bytes(self.folder(), self.diary())? == Some(text);
        let done = if is_meant { fs::rename(&next, &file) } else { fs::remove_file(&next) };
        done.map_err(|error| Error::written(&file, error))?;
        disk::flush_folder(self.folder())
    }
}
