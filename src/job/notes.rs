//! The bench notes: marks, what was taken back, and counts of the tray, out of the diary and into it.

use jiff::tz::TimeZone;

use super::event::{Event, LotFacts, MarkFacts, PlayFacts, RenewFacts, StockFacts, UndoneFacts};
use super::folder::{Job, JobWriter};
use super::{DiaryLine, Error};
use crate::instrument::{Material, Spot};
use crate::repair::{Bench, Happening, Lot, Mark, Work};
use crate::units::Millimetres;

impl Job {
    /// Every mark, photo and count in order, those that were taken back included. Places that the plan no longer has
    /// are left out of a mark ([`super::verify`] names them).
    pub fn happenings(&self) -> Vec<Happening> {
        let account = self.account();
        let mark = |idx: usize, line: &DiaryLine, n: u32, places: &[String], work: Work| {
            let day = line.at.to_zoned_datetime(TimeZone::system()).date();
            let places = account.places.get(&idx).map_or(places, Vec::as_slice);
            let spots =
                places.iter().filter_map(|place| self.instrument().spots(place).ok()).flatten().collect();
            let undone = account.undone.get(idx).copied().unwrap_or(false);
            Happening::Mark(Mark { n, at: line.at, day, spots, work, undone })
        };
        let happening = |(idx, line): (usize, &DiaryLine)| match &line.event {
            Event::Mark(facts) => {
                let words = facts.work.as_str();
                let work = Work::parse(&[words]).unwrap_or_else(|_| Work::Other(words.to_owned()));
                Some(mark(idx, line, facts.n, &facts.places, work))
            }
            Event::Photo(facts) => {
                Some(mark(idx, line, facts.n, &facts.places, Work::Photo(facts.file.clone())))
            }
            Event::Stock(facts) => Some(Happening::Counted {
                lots: facts.lots.iter().filter_map(lot).collect(),
                whole: facts.whole,
            }),
            _ => None,
        };
        self.diary().iter().enumerate().filter_map(happening).collect()
    }

    /// Every mark and photo in order, those that were taken back included.
    pub fn marks(&self) -> Vec<Mark> {
        let marks = self.happenings().into_iter().filter_map(|happening| match happening {
            Happening::Mark(mark) => Some(mark),
            Happening::Counted { .. } => None,
        });
        marks.collect()
    }

    /// Every play of a tuning sitting in order, by what its reed is called now.
    pub fn plays(&self) -> Vec<PlayFacts> {
        let account = self.account();
        let play = |(idx, line): (usize, &DiaryLine)| {
            let Event::Play(play) = &line.event else { return None };
            let place = account.places.get(&idx).and_then(|places| places.first());
            Some(PlayFacts { place: place.unwrap_or(&play.place).clone(), ..play.clone() })
        };
        self.diary().iter().enumerate().filter_map(play).collect()
    }

    /// Whether every valve is renewed in this job, as it was said last.
    pub fn renews_all(&self) -> bool {
        let said = self.diary().iter().rev().find_map(|line| match &line.event {
            Event::Renew(facts) => Some(facts.all),
            _ => None,
        });
        said.unwrap_or(false)
    }

    /// The bench after everything that was noted.
    pub fn bench(&self) -> Bench {
        Bench::after(self.instrument(), self.valve_rule(), &self.happenings())
    }

    /// The number the next mark or correction gets.
    pub(super) fn next_mark(&self) -> u32 {
        let numbers = self.diary().iter().filter_map(|line| line.event.number());
        numbers.max().unwrap_or(0).saturating_add(1)
    }
}

impl JobWriter {
    /// Note a piece of work at these places, and say the mark's number. Flushed when this returns.
    pub fn mark(&mut self, spots: &[Spot], work: &Work) -> Result<u32, Error> {
        let n = self.next_mark();
        let facts = MarkFacts { n, places: places(spots), work: work.to_string() };
        self.note(Event::Mark(facts))?;
        Ok(n)
    }

    /// Take back a mark, or the newest one that stands, by a further line; says which it was.
    pub fn undo(&mut self, n: Option<u32>) -> Result<Mark, Error> {
        let standing: Vec<Mark> = self.marks().into_iter().filter(|mark| !mark.undone).collect();
        let mark = match n {
            Some(n) => standing.into_iter().find(|mark| mark.n == n).ok_or(Error::NoMark { n })?,
            None => standing.into_iter().next_back().ok_or(Error::NoMarks)?,
        };
        self.note(Event::Undone(UndoneFacts { n: mark.n }))?;
        Ok(mark)
    }

    /// Say whether every valve is renewed in this job; nothing is written where that was said already.
    pub fn renew(&mut self, all: bool) -> Result<(), Error> {
        if self.renews_all() == all { Ok(()) } else { self.note(Event::Renew(RenewFacts { all })) }
    }

    /// Note a count of the tray; `whole` when it holds nothing else.
    pub fn count(&mut self, lots: &[Lot], whole: bool) -> Result<(), Error> {
        let lots = lots.iter().map(lot_facts).collect();
        self.note(Event::Stock(StockFacts { whole, lots }))
    }
}

/// Places as the diary writes them.
pub(super) fn places(spots: &[Spot]) -> Vec<String> {
    spots.iter().map(Spot::to_string).collect()
}

/// A lot as files have it.
pub(super) fn lot_facts(lot: &Lot) -> LotFacts {
    LotFacts {
        length_mm: lot.length.get(),
        width_mm: lot.width.map(Millimetres::get),
        thickness_mm: lot.thickness.map(Millimetres::get),
        in_inches: lot.length.is_in_inches(),
        material: lot.material.to_string(),
        condition: lot.condition.to_string(),
        bin: lot.bin.clone(),
        count: lot.count,
    }
}

/// The lot of a line; `None` where somebody wrote what no lot can be.
pub(super) fn lot(facts: &LotFacts) -> Option<Lot> {
    Some(Lot {
        length: Millimetres::new(facts.length_mm)?.written(facts.in_inches),
        width: facts.width_mm.and_then(Millimetres::new),
        thickness: facts.thickness_mm.and_then(Millimetres::new),
        material: Material::named(&facts.material)?,
        condition: facts.condition.parse().ok()?,
        bin: facts.bin.clone(),
        count: facts.count,
    })
}
