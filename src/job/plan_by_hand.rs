//! A plan that was edited by hand: its plates carry numbers, so what was moved is noticed, and takes and notes go along.

use std::collections::BTreeMap;
use std::path::Path;

use super::account::{Account, TAKEN_OUT};
use super::diary::DiaryLine;
use super::event::{Event, PlateMove, PlatesFacts};
use super::folder::{Job, JobWriter};
use super::moved_by_hand::MovedByHand;
use super::plan::Plan;
use super::{Error, disk};

impl Job {
    /// The number the next plate gets: no other plate ever had it.
    pub(super) fn next_plate(&self) -> u32 {
        let in_diary = self.diary().iter().filter_map(|line| match &line.event {
            Event::Plates(facts) => facts.numbers.keys().max().copied(),
            _ => None,
        });
        let most = in_diary.chain(self.plan().numbers.values().max().copied()).max();
        most.unwrap_or(0).saturating_add(1)
    }

    /// What the plate of each number is called once `moved` has been done: the plan's, and those that are out of it.
    pub(super) fn numbers_told(&self, plan: &Plan, moved: &[PlateMove]) -> BTreeMap<u32, String> {
        let mut numbers = known(self.diary()).cloned().unwrap_or_default();
        if plan.numbers.is_empty() {
            return BTreeMap::new();
        }
        for name in numbers.values_mut() {
            if let Some(plate) = moved.iter().find(|plate| plate.from == *name) {
                name.clone_from(&plate.to);
            }
        }
        numbers.extend(named_numbers(plan));
        numbers
    }

    /// What was moved in the plan's text by hand, by the numbers of the plates.
    pub fn moved_by_hand(&self) -> MovedByHand {
        let account = Account::of(self.diary());
        let moves = moves_by_hand(self.plan(), self.diary());
        let lost = if moves.is_empty() { Vec::new() } else { self.lost_in(self.plan(), &moves, &account) };
        MovedByHand { moves, lost }
    }

    /// The account with what was moved by hand, as if that stood in the diary already.
    pub(super) fn account_by_plan(&self) -> Account {
        let moved = moves_by_hand(self.plan(), self.diary());
        if moved.is_empty() {
            return Account::of(self.diary());
        }
        let mut lines = self.diary().to_vec();
        let at = jiff::Timestamp::now();
        let facts = PlatesFacts {
            moved,
            before_sha256: String::new(),
            plan_sha256: String::new(),
            numbers: BTreeMap::new(),
        };
        lines.push(DiaryLine { line: lines.len() + 1, at, event: Event::Plates(facts) });
        Account::of(&lines)
    }
}

impl JobWriter {
    /// Write down what a person moved in the plan's text, and number the plates that are new. `agreed`: takes and notes may
    /// be left without a place.
    pub(super) fn adopt_plan(&mut self, agreed: bool) -> Result<MovedByHand, Error> {
        let moved = self.moved_by_hand();
        if !moved.lost.is_empty() && !agreed {
            return Err(Error::EditedByHand { words: moved.words(), lost: moved.lost });
        }
        if self.plan().numbers.is_empty() && moved.moves.is_empty() {
            return Ok(moved);
        }
        let text = self.plan_text();
        if !moved.moves.is_empty() {
            self.say_numbers(&text, moved.moves.clone())?;
        }
        // A line of its own, so that it can be taken back without the person's own change.
        if self.plan().instrument.plates().count() != self.plan().numbers.len() {
            let numbered = self.plan().numbered(self.next_plate()).written_into(&text);
            self.put_plan(&numbered, Vec::new())?;
        }
        Ok(moved)
    }

    /// Before the first line that names a plate, say which number each has.
    pub(super) fn say_numbers_first(&mut self) -> Result<(), Error> {
        let is_said = known(self.diary()).is_some();
        if is_said || self.plan().numbers.is_empty() {
            return Ok(());
        }
        self.say_numbers(&self.plan_text(), Vec::new())
    }

    fn say_numbers(&mut self, text: &str, moved: Vec<PlateMove>) -> Result<(), Error> {
        let sha256 = disk::hash_of_bytes(text.as_bytes());
        let numbers = self.numbers_told(self.plan(), &moved);
        let facts = PlatesFacts { moved, before_sha256: sha256.clone(), plan_sha256: sha256, numbers };
        self.append_line(Event::Plates(facts))?;
        Ok(())
    }

    /// Give every plate of the plan a number, so that a change by hand is noticed from now on.
    pub fn number_plates(&mut self) -> Result<(), Error> {
        let plan = self.plan().numbered(self.next_plate());
        if plan == *self.plan() {
            return Err(Error::NothingNew { what: "every plate has its number already".into() });
        }
        self.put_plan(&plan.written_into(&self.plan_text()), Vec::new())
    }

    /// Open a job whose plan was edited by hand, even where takes or notes are left without a place by that.
    pub fn open_edited(folder: &Path, agreed: bool) -> Result<Self, Error> {
        Self::open_agreed(folder, agreed)
    }
}

/// The numbers with the names of their plates.
fn named_numbers(plan: &Plan) -> BTreeMap<u32, String> {
    plan.numbers.iter().map(|(place, number)| (*number, place.to_string())).collect()
}

/// What the diary calls the plate of each number; `None` where it knows none.
fn known(lines: &[DiaryLine]) -> Option<&BTreeMap<u32, String>> {
    let numbers = lines.iter().rev().find_map(|line| match &line.event {
        Event::Plates(facts) => Some(&facts.numbers),
        _ => None,
    });
    numbers.filter(|numbers| !numbers.is_empty())
}

fn moves_by_hand(plan: &Plan, lines: &[DiaryLine]) -> Vec<PlateMove> {
    let (Some(known), false) = (known(lines), plan.numbers.is_empty()) else { return Vec::new() };
    let now = named_numbers(plan);
    let changes = lines.iter().filter(|line| matches!(line.event, Event::Plates(_))).count();
    let moved = known.iter().filter_map(|(number, from)| {
        let to = match now.get(number) {
            Some(name) if name == from => return None,
            Some(name) => name.clone(),
            None if from.starts_with(TAKEN_OUT) => return None,
            None => format!("{TAKEN_OUT}{} {from}", changes + 1),
        };
        Some(PlateMove { from: from.clone(), to })
    });
    moved.collect()
}
