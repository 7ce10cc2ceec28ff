//! What the diary comes to: passes, takes and notes after every correction, made anew from its lines.
//!
//! A line names a pass by what it was opened with and a take by its file. Neither ever changes, so any correction can be
//! taken back without touching those that came after it. Plates are the exception: a line names them by what they were
//! called when it was written, and later `plates` lines carry the name along.

use std::collections::{BTreeMap, HashMap};

use jiff::Timestamp;
use jiff::tz::TimeZone;

use super::diary::DiaryLine;
use super::event::{AmendedFacts, ClockFacts, Event, MeasuredIn, PassFacts, PlatesFacts};

/// Begins the name of a plate that is not in the plan: `out 3 bass A7`. No block can have the name with a blank behind it
/// and a plain number as its row.
pub(super) const TAKEN_OUT: &str = "out ";

/// The diary after all corrections.
#[derive(Debug, Default, PartialEq)]
pub(super) struct Account {
    /// In the order they were opened, those that are withdrawn or merged included.
    pub passes: Vec<PassNow>,
    /// In the order they were stored, those that are withdrawn included.
    pub takes: Vec<TakeNow>,
    /// Where marks, photos and plays are, by the index of their line; those that no plate was renamed under are left out.
    pub places: BTreeMap<usize, Vec<String>>,
    /// For each line whether it was taken back.
    pub undone: Vec<bool>,
    /// How often plates were renamed, put in or taken out.
    pub plate_changes: usize,
}

/// A pass after all corrections.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct PassNow {
    /// What is known of it; `pass` is the name it was opened with.
    pub facts: PassFacts,
    /// What it is called.
    pub name: String,
    /// The pass its takes belong to, by index.
    pub into: Option<usize>,
    /// The line that withdrew it.
    pub withdrawn: Option<u32>,
}

/// A take after all corrections.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct TakeNow {
    /// The index of its line.
    pub line: usize,
    /// Its pass, by index, before merging.
    pub pass: usize,
    /// The reed it is of.
    pub place: String,
    /// The line that withdrew it.
    pub withdrawn: Option<u32>,
    /// The rows whose reeds sound along on purpose; such a take is no ordinary take of its pass.
    pub with: Vec<String>,
    /// Whether it was placed anew, so that a doubt of its first place is settled.
    pub is_placed_anew: bool,
    /// The clock, where that was put right.
    pub clock: Option<Option<ClockFacts>>,
}

impl Account {
    pub(super) fn of(lines: &[DiaryLine]) -> Self {
        let mut account = Account { undone: undone(lines), ..Account::default() };
        let mut by_file: HashMap<&str, Vec<usize>> = HashMap::new();
        for (idx, line) in lines.iter().enumerate() {
            if account.undone.get(idx).copied().unwrap_or(false) {
                continue;
            }
            let takes_of = |file: &str| by_file.get(file).cloned().unwrap_or_default();
            match &line.event {
                Event::Pass(facts) => account.open(facts),
                Event::Take(facts) => {
                    // Its own line may have been lost; the takes still count.
                    let pass = account.index_of(&facts.pass).unwrap_or_else(|| {
                        account.open(&unsaid_pass(&facts.pass, line.at));
                        account.passes.len() - 1
                    });
                    by_file.entry(&facts.file).or_default().push(account.takes.len());
                    let place = facts.place.clone();
                    account.takes.push(TakeNow {
                        line: idx,
                        pass,
                        place,
                        withdrawn: None,
                        with: Vec::new(),
                        is_placed_anew: false,
                        clock: None,
                    });
                }
                Event::Moved(facts) => {
                    let pass = facts.pass.as_deref().and_then(|pass| account.index_of(pass));
                    for at in takes_of(&facts.file) {
                        let Some(take) = account.takes.get_mut(at) else { continue };
                        take.place.clone_from(&facts.place);
                        take.is_placed_anew = true;
                        take.pass = pass.unwrap_or(take.pass);
                    }
                }
                Event::Withdrawn(facts) => {
                    for at in facts.file.as_deref().map_or(Vec::new(), takes_of) {
                        let take = account.takes.get_mut(at).into_iter();
                        take.for_each(|take| take.withdrawn = Some(facts.n));
                    }
                    if let Some(pass) = facts.pass.as_deref().and_then(|pass| account.pass_mut(pass)) {
                        pass.withdrawn = Some(facts.n);
                    }
                }
                Event::Amended(facts) => account.amend(facts),
                Event::Renamed(facts) => {
                    account
                        .pass_mut(&facts.pass)
                        .into_iter()
                        .for_each(|pass| pass.name.clone_from(&facts.name));
                }
                Event::Merged(facts) => {
                    let into = account.index_of(&facts.into);
                    account.pass_mut(&facts.pass).into_iter().for_each(|pass| pass.into = into);
                }
                Event::Ranks(facts) => {
                    for at in takes_of(&facts.file) {
                        account
                            .takes
                            .get_mut(at)
                            .into_iter()
                            .for_each(|take| take.with.clone_from(&facts.with));
                    }
                }
                Event::Plates(facts) => account.rename_plates(lines, idx, facts),
                Event::Remark(_)
                | Event::Mark(_)
                | Event::Photo(_)
                | Event::Undone(_)
                | Event::Stock(_)
                | Event::Renew(_)
                | Event::Visit(_)
                | Event::Play(_) => {}
            }
        }
        account
    }

    /// The pass the takes of `at` belong to after merging; `None` where that is withdrawn.
    pub(super) fn standing(&self, at: usize) -> Option<usize> {
        let mut at = at;
        // A diary edited by hand might merge passes in a ring.
        for _ in 0..=self.passes.len() {
            let pass = self.passes.get(at)?;
            match pass.into {
                _ if pass.withdrawn.is_some() => return None,
                None => return Some(at),
                Some(into) => at = into,
            }
        }
        None
    }

    /// Whether the pass is one of its own: neither withdrawn nor merged into another.
    pub(super) fn is_own(&self, at: usize) -> bool {
        self.standing(at) == Some(at)
    }

    /// What a pass is called. Two of one name, from a diary edited by hand, are told apart by what they were opened with.
    pub(super) fn name(&self, at: usize) -> &str {
        let Some(pass) = self.passes.get(at) else { return "" };
        let is_clash = |(other, there): (usize, &PassNow)| {
            other != at && self.is_own(other) && there.name.to_lowercase() == pass.name.to_lowercase()
        };
        let is_renamed = pass.name != pass.facts.pass;
        if is_renamed && self.passes.iter().enumerate().any(is_clash) { &pass.facts.pass } else { &pass.name }
    }

    /// The pass that is called so, in these very letters or else in any case.
    pub(super) fn called(&self, name: &str) -> Option<usize> {
        let own: Vec<usize> = (0..self.passes.len()).filter(|at| self.is_own(*at)).collect();
        let very = own.iter().find(|at| self.name(**at) == name);
        very.or_else(|| own.iter().find(|at| self.name(**at).to_lowercase() == name.to_lowercase())).copied()
    }

    /// Whether two passes that stand have one name.
    pub(super) fn has_clash(&self) -> bool {
        let own: Vec<usize> = (0..self.passes.len()).filter(|at| self.is_own(*at)).collect();
        own.iter().any(|at| self.passes.get(*at).is_some_and(|pass| pass.name != self.name(*at)))
    }

    /// The pass that was opened under this name.
    pub(super) fn index_of(&self, opened: &str) -> Option<usize> {
        self.passes.iter().position(|pass| pass.facts.pass == opened)
    }

    fn pass_mut(&mut self, opened: &str) -> Option<&mut PassNow> {
        self.passes.iter_mut().find(|pass| pass.facts.pass == opened)
    }

    fn open(&mut self, facts: &PassFacts) {
        let name = facts.called.clone();
        match self.pass_mut(&facts.pass) {
            Some(there) => {
                there.facts = facts.clone();
                there.name = name.unwrap_or_else(|| there.name.clone());
            }
            None => {
                let name = name.unwrap_or_else(|| facts.pass.clone());
                self.passes.push(PassNow { facts: facts.clone(), name, into: None, withdrawn: None });
            }
        }
    }

    fn amend(&mut self, amended: &AmendedFacts) {
        let Some(at) = self.index_of(&amended.pass) else { return };
        if let Some(clock) = &amended.clock {
            let of_pass: Vec<bool> =
                self.takes.iter().map(|take| self.standing(take.pass) == Some(at)).collect();
            for (take, _) in self.takes.iter_mut().zip(of_pass).filter(|(_, is_of_pass)| *is_of_pass) {
                take.clock = Some(clock.clone());
            }
        }
        let Some(pass) = self.passes.get_mut(at) else { return };
        let facts = &mut pass.facts;
        facts.place = amended.place.unwrap_or(facts.place);
        facts.temperature_c = amended.temperature_c.unwrap_or(facts.temperature_c);
        facts.date = amended.date.clone().unwrap_or_else(|| facts.date.clone());
    }

    fn rename_plates(&mut self, lines: &[DiaryLine], until: usize, facts: &PlatesFacts) {
        self.plate_changes += 1;
        let names: HashMap<String, &str> =
            facts.moved.iter().map(|plate| (plate.from.to_lowercase(), plate.to.as_str())).collect();
        for take in &mut self.takes {
            if let Some(place) = renamed(&take.place, &names) {
                take.place = place;
            }
        }
        for (idx, line) in lines.iter().enumerate().take(until) {
            let stored = match &line.event {
                Event::Mark(mark) => mark.places.as_slice(),
                Event::Photo(photo) => &photo.places,
                Event::Play(play) => std::slice::from_ref(&play.place),
                _ => continue,
            };
            let now = self.places.get(&idx).map_or(stored, Vec::as_slice);
            if now.iter().any(|place| renamed(place, &names).is_some()) {
                let now =
                    now.iter().map(|place| renamed(place, &names).unwrap_or_else(|| place.clone())).collect();
                self.places.insert(idx, now);
            }
        }
    }
}

/// The place with its plate's other name; `None` where that has none.
fn renamed(place: &str, names: &HashMap<String, &str>) -> Option<String> {
    let lower = place.to_lowercase();
    if let Some(plate) = names.get(lower.trim()) {
        return Some((*plate).to_owned());
    }
    let (plate, side) = lower.trim().rsplit_once(' ')?;
    names.get(plate).map(|plate| format!("{plate} {side}"))
}

/// For each line whether it was taken back: of several lines with one number the newest before.
fn undone(lines: &[DiaryLine]) -> Vec<bool> {
    let mut undone = vec![false; lines.len()];
    let mut by_number: HashMap<u32, usize> = HashMap::new();
    for (idx, line) in lines.iter().enumerate() {
        if let Event::Undone(facts) = &line.event {
            let taken_back = by_number.get(&facts.n).and_then(|at| undone.get_mut(*at));
            taken_back.into_iter().for_each(|undone| *undone = true);
        } else if let Some(n) = line.event.number() {
            by_number.insert(n, idx);
        }
    }
    undone
}

/// What holds of a pass of which nothing was said: in the instrument, on the day of its first line.
pub(super) fn unsaid_pass(name: &str, at: Timestamp) -> PassFacts {
    PassFacts {
        pass: name.to_owned(),
        place: MeasuredIn::Instrument,
        temperature_c: None,
        date: at.to_zoned_datetime(TimeZone::system()).date().to_string(),
        reference_hz: None,
        called: None,
    }
}
