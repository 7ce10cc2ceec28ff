//! The visits of an instrument: rounds of work, months or years apart. A job in which none was opened is one visit.

use std::collections::BTreeSet;

use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan};

use super::Error;
use super::event::{Event, PassFacts, TakeFacts, VisitFacts};
use super::folder::{Job, JobWriter};
use crate::repair::Mark;

/// After so many months without a line a new visit is offered (common practice, no source: a repair rarely rests for a
/// quarter of a year).
const OFFERED_AFTER_MONTHS: i32 = 3;

/// A round of work on the instrument.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Visit {
    /// Which, from 1.
    pub n: u32,
    /// What it is called, where it was told.
    pub title: Option<String>,
    /// The day of its first line.
    pub opened: Date,
    /// The passes opened in it, in order.
    pub passes: Vec<String>,
    /// The marks noted in it, by number.
    pub marks: BTreeSet<u32>,
}

impl Visit {
    fn new(n: u32, title: Option<String>, at: Timestamp) -> Self {
        let opened = at.to_zoned_datetime(TimeZone::system()).date();
        Self { n, title, opened, passes: Vec::new(), marks: BTreeSet::new() }
    }

    /// `visit 2, 2026-05-01`
    pub fn words(&self) -> String {
        let title = self.title.as_ref().map_or(String::new(), |title| format!(" ({title})"));
        format!("visit {}{title}, from {}", self.n, self.opened)
    }
}

impl Job {
    /// The visits, oldest first; there is always one.
    pub fn visits(&self) -> Vec<Visit> {
        let first_at = self.diary().first().map_or(Timestamp::UNIX_EPOCH, |line| line.at);
        let mut visits = vec![Visit::new(1, None, first_at)];
        let mut known: BTreeSet<&str> = BTreeSet::new();
        for line in self.diary() {
            let is_fresh = known.is_empty() && visits.len() == 1;
            let n = u32::try_from(visits.len()).unwrap_or(u32::MAX);
            let Some(visit) = visits.last_mut() else { continue };
            match &line.event {
                // Opened before anything was recorded or noted, it is the first one.
                Event::Visit(facts) if is_fresh && visit.marks.is_empty() => {
                    *visit = Visit::new(1, facts.title.clone(), line.at);
                }
                Event::Visit(facts) => {
                    visits.push(Visit::new(n.saturating_add(1), facts.title.clone(), line.at));
                }
                Event::Pass(PassFacts { pass, .. }) | Event::Take(TakeFacts { pass, .. })
                    if known.insert(pass) =>
                {
                    visit.passes.push(pass.clone());
                }
                Event::Mark(facts) => {
                    visit.marks.insert(facts.n);
                }
                Event::Photo(facts) => {
                    visit.marks.insert(facts.n);
                }
                _ => {}
            }
        }
        // By the names the passes have now; those that were withdrawn or merged are none any more.
        let account = self.account();
        let called = |opened: String| {
            let at = account.index_of(&opened).filter(|at| account.is_own(*at))?;
            Some(account.name(at).to_owned())
        };
        for visit in &mut visits {
            visit.passes = std::mem::take(&mut visit.passes).into_iter().filter_map(called).collect();
        }
        visits
    }

    /// The visit in which a pass was opened, or the newest one; a newest pass belongs to the newest visit's telling even
    /// where that visit has none of its own yet.
    pub fn visit_of(&self, pass: Option<&str>) -> Visit {
        let mut visits = self.visits();
        let newest = self.passes().pop().map(|facts| facts.pass);
        let wanted = pass.filter(|pass| newest.as_deref() != Some(*pass));
        let at = wanted
            .and_then(|pass| visits.iter().position(|visit| visit.passes.iter().any(|own| own == pass)));
        let last = visits.len().saturating_sub(1);
        visits.swap_remove(at.unwrap_or(last))
    }

    /// The marks noted in a visit.
    pub fn marks_of(&self, visit: &Visit) -> Vec<Mark> {
        self.marks().into_iter().filter(|mark| visit.marks.contains(&mark.n)).collect()
    }

    /// The day of the newest line, where a visit on `day` would most likely be a new one.
    pub fn rested_since(&self, day: Date) -> Option<Date> {
        let passes = self.passes();
        let measured = passes.iter().filter_map(|facts| facts.date.parse::<Date>().ok());
        let noted = self.diary().iter().map(|line| line.at.to_zoned_datetime(TimeZone::system()).date());
        let newest = measured.chain(noted).max()?;
        let opened = self.visits().pop().map(|visit| visit.opened);
        let newest = opened.map_or(newest, |opened| newest.max(opened));
        newest.checked_add(OFFERED_AFTER_MONTHS.months()).is_ok_and(|then| then < day).then_some(newest)
    }
}

impl JobWriter {
    /// Open a new visit: work and comparison belong to it from here on.
    pub fn open_visit(&mut self, title: Option<String>) -> Result<Visit, Error> {
        self.note(Event::Visit(VisitFacts { title }))?;
        Ok(self.visit_of(None))
    }
}
