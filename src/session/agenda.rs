//! Which reed is due: the order of the block, what is done and what was skipped.

use crate::instrument::{Instrument, PlaceError, ReedPlace, Spot, Stroke};
use crate::job::Job;

/// In which order the reeds are played.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Sequence {
    /// Plate after plate, press then draw.
    Plates,
    /// Row after row, all press, then all draw.
    Strokes,
    /// As listed: `B1..B12, A1 draw`; a plate without its stroke stands for press, then draw.
    Listed(String),
}

/// The reeds still to be played, and where in them we are.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Agenda {
    reeds: Vec<(ReedPlace, State)>,
    at: usize,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum State {
    Due,
    Done,
    Skipped,
}

/// The reeds of the plan in this order.
pub fn reeds_in(instrument: &Instrument, order: &Sequence) -> Result<Vec<ReedPlace>, PlaceError> {
    let all: Vec<ReedPlace> = instrument.reeds().map(|(place, _)| place).collect();
    match order {
        Sequence::Plates => Ok(all),
        Sequence::Strokes => {
            let mut sorted: Vec<ReedPlace> = Vec::new();
            for row in all.chunk_by(|a, b| (&a.plate.block, &a.plate.row) == (&b.plate.block, &b.plate.row)) {
                for stroke in Stroke::BOTH {
                    sorted.extend(row.iter().filter(|place| place.stroke == stroke).cloned());
                }
            }
            Ok(sorted)
        }
        Sequence::Listed(list) => {
            let mut listed: Vec<ReedPlace> = Vec::new();
            for part in list.split(',').map(str::trim).filter(|part| !part.is_empty()) {
                for spot in instrument.spots(part)? {
                    let reeds = match spot {
                        Spot::Plate(plate) => {
                            Stroke::BOTH.map(|stroke| ReedPlace { plate: plate.clone(), stroke }).to_vec()
                        }
                        Spot::Reed(reed) => vec![reed],
                        Spot::Valve(_) => {
                            let wanted = "a plate or a reed";
                            return Err(PlaceError::OtherKind { text: part.to_owned(), wanted });
                        }
                    };
                    let fresh = reeds.into_iter().filter(|reed| all.contains(reed));
                    for reed in fresh {
                        if !listed.contains(&reed) {
                            listed.push(reed);
                        }
                    }
                }
            }
            Ok(listed)
        }
    }
}

/// Those of `reeds` that have no sound take in the pass yet, beginning after the reed that was recorded last.
///
/// A recorded take with a remark lost sound, so its reed is still due; added files count as they are.
pub fn still_due(job: &Job, pass: &str, reeds: &[ReedPlace]) -> Vec<ReedPlace> {
    let takes = job.takes(pass);
    let is_done = |reed: &ReedPlace| {
        let of_reed = takes.iter().find(|(place, _)| place == reed).map(|(_, takes)| takes);
        of_reed.is_some_and(|takes| {
            takes.iter().any(|take| take.facts.original.is_some() || take.facts.remarks.is_empty())
        })
    };
    // The diary's order, not the clock's: it may have been set back.
    let newest = job.last_recorded(pass);
    let from = newest.and_then(|newest| reeds.iter().position(|reed| *reed == newest)).unwrap_or(0);
    let (before, after) = reeds.split_at(from.min(reeds.len()));
    after.iter().chain(before).filter(|reed| !is_done(reed)).cloned().collect()
}

impl Agenda {
    /// Play these reeds, in this order.
    pub fn new(reeds: Vec<ReedPlace>) -> Self {
        Self { reeds: reeds.into_iter().map(|reed| (reed, State::Due)).collect(), at: 0 }
    }

    /// The reed that is due; `None` when nothing is left.
    pub fn due(&self) -> Option<&ReedPlace> {
        self.reeds.get(self.at).map(|(reed, _)| reed)
    }

    /// How many are still to be played, this one included.
    pub fn left(&self) -> usize {
        self.reeds.iter().filter(|(_, state)| *state == State::Due).count()
    }

    /// The reeds that were passed over.
    pub fn skipped(&self) -> impl Iterator<Item = &ReedPlace> {
        self.reeds.iter().filter(|(_, state)| *state == State::Skipped).map(|(reed, _)| reed)
    }

    /// This reed is done; when it is the due one, the next is due.
    pub fn done(&mut self, reed: &ReedPlace) {
        let is_due = self.due() == Some(reed);
        if let Some((_, state)) = self.reeds.iter_mut().find(|(there, _)| there == reed) {
            *state = State::Done;
        }
        if is_due {
            self.go_on();
        }
    }

    /// Pass over the reed that is due.
    pub fn skip(&mut self) {
        if let Some((_, state)) = self.reeds.get_mut(self.at) {
            *state = State::Skipped;
            self.go_on();
        }
    }

    /// Whether there is a reed before this one.
    pub fn has_back(&self) -> bool {
        self.at > 0
    }

    /// The reed before this one is due again; nothing at the beginning.
    pub fn back(&mut self) {
        self.at = self.at.saturating_sub(1);
        self.due_again();
    }

    /// Make the reed at hand due, whatever it was.
    fn due_again(&mut self) {
        if let Some((_, state)) = self.reeds.get_mut(self.at) {
            *state = State::Due;
        }
    }

    /// This reed is due again, now.
    pub fn again(&mut self, reed: &ReedPlace) {
        if let Some(at) = self.reeds.iter().position(|(there, _)| there == reed) {
            self.at = at;
            self.due_again();
        }
    }

    /// This reed is due again, once those ahead are done.
    pub fn at_the_end(&mut self, reed: &ReedPlace) {
        if let Some((_, state)) = self.reeds.iter_mut().find(|(there, _)| there == reed) {
            *state = State::Due;
        }
    }

    fn go_on(&mut self) {
        let is_due = |(_, (_, state)): &(usize, &(ReedPlace, State))| *state == State::Due;
        let ahead = self.reeds.iter().enumerate().skip(self.at).find(is_due);
        let next = ahead.or_else(|| self.reeds.iter().enumerate().find(is_due)).map(|(at, _)| at);
        self.at = next.unwrap_or(self.reeds.len());
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::instrument::PlatePlace;

    fn reed(number: u32, stroke: Stroke) -> ReedPlace {
        ReedPlace { plate: PlatePlace { block: "bass".into(), row: "A".into(), number }, stroke }
    }

    #[test]
    fn skipped_reeds_are_named_and_back_makes_one_due_again() {
        let all = [reed(1, Stroke::Press), reed(1, Stroke::Draw), reed(2, Stroke::Press)];
        let mut agenda = Agenda::new(all.to_vec());
        agenda.done(&all[0]);
        agenda.skip();
        assert_eq!(agenda.due(), Some(&all[2]));
        agenda.back();
        assert_eq!((agenda.due(), agenda.left()), (Some(&all[1]), 2));
        agenda.skip();
        agenda.done(&all[2]);
        assert_eq!((agenda.due(), agenda.left()), (None, 0));
        assert_eq!(agenda.skipped().collect::<Vec<_>>(), [&all[1]]);
        agenda.again(&all[0]);
        assert_eq!(agenda.due(), Some(&all[0]));
    }
}
