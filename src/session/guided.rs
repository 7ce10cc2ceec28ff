//! A session: sound in, takes into the job, one reed after the other.

use std::collections::BTreeMap;

use super::cutter::{Cut, Cutter, Piece, PieceEnd};
use super::need::{self, steady_need};
use super::pitch_cache::{self, PitchCache, other_reed, other_stroke};
use super::{Agenda, Due, OtherReed, SessionError, SessionEvent, Snapshot, Taken};
use crate::analysis::{self, Clock, Expectation, Heard, Opposite, Reading, Warning};
use crate::audio;
use crate::instrument::{Instrument, ReedPlace, Stroke, Valve};
use crate::job::{ClockFacts, JobWriter, NewTake, Stored, StoredTake};
use crate::take::Take;

/// A second note this near to a held one insists on it, cents.
const SAME_CENTS: f64 = 20.0;
/// A reed is asked for so often; nobody at the bench should be stuck at one.
const MOST_TRIES: u32 = 3;
/// Part of the steady time that will do: the analysis leaves out more at the ends than the ear at the bench.
const WILL_DO: f64 = 0.85;
/// Lost sound shows so late at most, s: the time stamps are compared over two stretches.
const SHOWS_LATE_S: f64 = 1.1;
/// What a session is told beforehand.
#[derive(Debug, Clone, PartialEq)]
pub struct Setting {
    /// The pass, which must be open.
    pub pass: String,
    /// Samples per second of the input.
    pub rate_hz: u32,
    /// Its channels, at least one.
    pub channels: usize,
    /// The input's clock, where it was measured.
    pub clock: Option<ClockFacts>,
}

/// Takes of one pass, reed after reed.
pub struct Session<'a> {
    job: &'a mut JobWriter,
    setting: Setting,
    agenda: Agenda,
    due: Option<Due>,
    cutter: Cutter,
    channel: Option<usize>,
    /// What went wrong with the sound, and the frame at which that showed.
    troubles: Vec<(u64, String)>,
    last: Option<Last>,
    held: Option<Held>,
    tries: u32,
    is_told_enough: bool,
    known: PitchCache,
    /// Steady time that was asked for beyond the usual; asked for once, and remembered.
    longer: BTreeMap<ReedPlace, f64>,
    is_hushed: bool,
}

/// The take that was stored last.
struct Last {
    place: ReedPlace,
    file: String,
    from: u64,
    to: u64,
}

/// A take whose pitch is not that of the due reed.
struct Held {
    other: OtherReed,
    take: Take,
    span: (u64, u64),
}

impl<'a> Session<'a> {
    /// Begin with the first reed of the agenda.
    pub fn new(job: &'a mut JobWriter, setting: Setting, agenda: Agenda) -> Self {
        let cutter = Cutter::new(setting.rate_hz, setting.channels);
        let mut session = Self {
            job,
            setting,
            agenda,
            due: None,
            cutter,
            channel: None,
            troubles: Vec::new(),
            last: None,
            held: None,
            tries: 0,
            is_told_enough: false,
            known: PitchCache::default(),
            longer: BTreeMap::new(),
            is_hushed: false,
        };
        session.look_ahead();
        session
    }

    /// The reed that is due; `None` when all are done.
    pub fn due(&self) -> Option<&Due> {
        self.due.as_ref()
    }

    /// The reeds that were passed over.
    pub fn skipped(&self) -> impl Iterator<Item = &ReedPlace> {
        self.agenda.skipped()
    }

    /// How things stand now.
    pub fn look(&mut self) -> Snapshot {
        Snapshot {
            due: self.due.clone(),
            level_db: self.cutter.level_db(),
            floor_db: self.cutter.floor_db(),
            is_clipped: self.cutter.was_clipped(),
            steady_s: self.cutter.steady_s(),
        }
    }

    /// What the plan says lies on the bench.
    pub fn instrument(&self) -> &Instrument {
        self.job.instrument()
    }

    /// Whether there is a reed before the due one to go back to.
    pub fn has_back(&self) -> bool {
        self.agenda.has_back()
    }

    /// The job that is written to.
    pub fn job(&mut self) -> &mut JobWriter {
        self.job
    }

    /// The channel that is used, from 0; chosen with the first note.
    pub fn channel(&self) -> Option<usize> {
        self.channel
    }

    /// Take in interleaved frames, and what went wrong with the sound up to now, a sentence each.
    pub fn hear(&mut self, sound: &[f32], troubles: Vec<String>) -> Result<Vec<SessionEvent>, SessionError> {
        let mut said = Vec::new();
        let at = self.cutter.heard() + (sound.len() / self.setting.channels.max(1)) as u64;
        for trouble in troubles {
            said.push(self.trouble(at, trouble)?);
        }
        for cut in self.cutter.hear(sound) {
            match cut {
                Cut::Ended(_) | Cut::Knock if self.is_hushed => {}
                Cut::Began => {
                    self.is_told_enough = false;
                    said.push(SessionEvent::Began);
                }
                Cut::Knock => said.push(SessionEvent::Knock),
                Cut::Ended(piece) => said.extend(self.ended(piece, None)?),
            }
        }
        let enough = self.due.as_ref().zip(self.cutter.steady_s());
        if !self.is_told_enough && enough.is_some_and(|(due, steady_s)| steady_s >= due.need.hold_s) {
            self.is_told_enough = true;
            said.push(SessionEvent::Enough);
        }
        Ok(said)
    }

    /// The sound has ended, with the reason where nobody asked for it: keep what is there of a note.
    pub fn finish(&mut self, why: Option<&str>) -> Result<Vec<SessionEvent>, SessionError> {
        let Some(piece) = self.cutter.finish() else { return Ok(Vec::new()) };
        let remark = why.map(|why| format!("the take ends here: {why}"));
        match &remark {
            Some(_) => self.ended(piece, remark),
            // Stopped by the one who plays: half a note is no take.
            None => Ok(Vec::new()),
        }
    }

    /// Play the reed that was recorded last once more; while a note sounds, forget that note.
    pub fn again(&mut self) {
        self.held = None;
        if self.cutter.steady_s().is_some() {
            self.cutter.let_go();
        } else if let Some(last) = &self.last {
            self.agenda.again(&last.place);
            self.look_ahead();
        }
    }

    /// Pass over the reed that is due.
    pub fn skip(&mut self) {
        self.agenda.skip();
        self.look_ahead();
    }

    /// Go back to the reed before.
    pub fn back(&mut self) {
        self.agenda.back();
        self.look_ahead();
    }

    /// Whether a held take fits both strokes of a plate, so that the stroke must be said.
    pub fn is_stroke_open(&self) -> bool {
        self.held.as_ref().is_some_and(|held| held.other.is_stroke_open)
    }

    /// The held take is of the reed its pitch belongs to, on `stroke` where both fit; `None` when none is held, none fits,
    /// or the stroke is wanted and not said.
    pub fn there(&mut self, stroke: Option<Stroke>) -> Result<Option<SessionEvent>, SessionError> {
        let Some(held) = self.held.take() else { return Ok(None) };
        let fits = held.other.belongs_to.clone();
        let place = match (fits, held.other.is_stroke_open, stroke) {
            (Some(place), false, _) => place,
            (Some(place), true, Some(stroke)) => ReedPlace { stroke, ..place },
            _ => {
                self.held = Some(held);
                return Ok(None);
            }
        };
        self.keep_held(held, place, "its pitch is that of this reed, and the one who played says so")
    }

    /// What sounds now is the room: its noise is learnt anew.
    pub fn learn_room(&mut self) {
        self.cutter.learn_room();
    }

    /// What ends while something speaks to the one who plays is no take.
    pub fn hush(&mut self, is_on: bool) {
        self.is_hushed = is_on;
    }

    /// The held take is of the reed that was due, whatever its pitch.
    pub fn here(&mut self) -> Result<Option<SessionEvent>, SessionError> {
        let Some(held) = self.held.take() else { return Ok(None) };
        let due = held.other.due.clone();
        self.keep_held(held, due, "the one who played says so, though its pitch is another")
    }

    fn keep_held(
        &mut self,
        held: Held,
        place: ReedPlace,
        why: &str,
    ) -> Result<Option<SessionEvent>, SessionError> {
        let Ok(heard) = analysis::listen(&held.take, &self.expectation(&place)) else { return Ok(None) };
        self.keep(place, held.take, heard, held.span, why).map(Some)
    }

    fn trouble(&mut self, at: u64, trouble: String) -> Result<SessionEvent, SessionError> {
        let late = (SHOWS_LATE_S * f64::from(self.setting.rate_hz)) as u64;
        let begins = at.saturating_sub(late);
        self.troubles.retain(|(there, _)| *there + 60 * u64::from(self.setting.rate_hz) > at);
        self.troubles.push((at, trouble.clone()));
        let spoiled = self.last.as_ref().filter(|last| at >= last.from && begins <= last.to);
        let Some(last) = spoiled else { return Ok(SessionEvent::Trouble(trouble)) };
        let (place, now) = (last.place.clone(), self.cutter.steady_s().is_none());
        self.job.remark(&last.file, &trouble)?;
        if now {
            self.agenda.again(&place);
            self.look_ahead();
        } else {
            self.agenda.at_the_end(&place);
        }
        Ok(SessionEvent::Spoiled { place, remark: trouble, now })
    }

    /// A note has ended: listen to it, and keep it where it belongs.
    fn ended(&mut self, piece: Piece, remark: Option<String>) -> Result<Vec<SessionEvent>, SessionError> {
        let Some(due) = self.due.as_ref().map(|due| due.place.clone()) else { return Ok(Vec::new()) };
        let (channels, rate_hz) = (self.setting.channels.max(1), self.setting.rate_hz);
        let channel =
            *self.channel.get_or_insert_with(|| audio::clearest_channel(&piece.sound, channels, rate_hz));
        let samples = piece.sound.chunks_exact(channels).filter_map(|frame| frame.get(channel).copied());
        let mut take = Take::new(samples.collect(), rate_hz);
        take.remarks = self.troubles_in(piece.from, piece.to);
        take.remarks.extend(remark);
        if piece.end == PieceEnd::TooLong {
            take.remarks.push("the note was longer than a take may be, and was cut".into());
        }
        let heard = match analysis::listen(&take, &self.expectation(&due)) {
            Ok(heard) => heard,
            Err(refusal) => {
                return Ok(vec![SessionEvent::NoReading { place: due, refusal, remarks: take.remarks }]);
            }
        };
        let span = (piece.from, piece.to);
        let (pitch, _) = heard.pitch();
        let mut why = "it was recorded when this reed was due";
        if let Some(other) = other_reed(self.job, pitch, &due) {
            let insists = self.held.take().is_some_and(|held| {
                held.other.due == due && pitch.cents_above(held.other.pitch).abs().get() < SAME_CENTS
            });
            if !insists {
                self.held = Some(Held { other: other.clone(), take, span });
                return Ok(vec![SessionEvent::Other(other)]);
            }
            why = "it was played twice when this reed was due, though its pitch is another";
        }
        self.held = None;
        Ok(vec![self.keep(due, take, heard, span, why)?])
    }

    fn troubles_in(&self, from: u64, to: u64) -> Vec<String> {
        let late = (SHOWS_LATE_S * f64::from(self.setting.rate_hz)) as u64;
        let inside = self.troubles.iter().filter(|(at, _)| *at >= from && at.saturating_sub(late) <= to);
        inside.map(|(_, trouble)| trouble.clone()).collect()
    }

    fn keep(
        &mut self,
        place: ReedPlace,
        take: Take,
        mut heard: Heard,
        (from, to): (u64, u64),
        why: &str,
    ) -> Result<SessionEvent, SessionError> {
        let own = heard.pitch();
        let opposite = self.known.opposite(self.job, &self.setting.pass, &place, own);
        let new = NewTake {
            pass: self.setting.pass.clone(),
            place: place.clone(),
            original: None,
            extension: "wav".into(),
            why: why.into(),
            lossy: false,
            remarks: take.remarks.clone(),
            clock: self.setting.clock.clone(),
            recorded: None,
        };
        let stored = match self.job.store_bytes(new, &audio::wav_bytes(&take)?)? {
            Stored::New(stored) | Stored::Again(stored) | Stored::Restored(stored) => stored,
        };
        let reading = heard.reading(opposite);
        self.known.learn(&place, own, &reading);
        let is_due = self.due.as_ref().is_some_and(|due| due.place == place);
        let hold_s = self.due.as_ref().filter(|_| is_due).map_or(0.0, |due| due.need.hold_s);
        let tests_valve = self.tests_valve(&place) && !self.longer.contains_key(&place);
        let again = reasons_to_repeat(&reading, &take.remarks, hold_s, tests_valve);
        self.tries = if is_due { self.tries + 1 } else { self.tries };
        let stays_due = is_due && !again.is_empty() && self.tries < MOST_TRIES;
        let taken = self.taken(&stored, reading, again, stays_due);
        self.last = Some(Last { place: place.clone(), file: stored.facts.file, from, to });
        if !stays_due {
            self.agenda.done(&place);
        }
        if let (true, Some(more)) = (tests_valve && !taken.again.is_empty(), needs_s(&taken.reading)) {
            self.longer.insert(taken.place.clone(), more);
        }
        self.look_ahead();
        Ok(SessionEvent::Taken(Box::new(taken)))
    }

    fn taken(&self, stored: &StoredTake, reading: Reading, again: Vec<String>, stays_due: bool) -> Taken {
        let place = stored.place.clone();
        let instrument = self.job.instrument();
        let note = instrument.reeds().find(|(there, _)| *there == place).map(|(_, reed)| reed.note);
        let target = instrument.target(&place).unwrap_or(reading.f0);
        Taken {
            deviation: reading.f0.cents_above(target),
            file: stored.facts.file.clone(),
            n: stored.facts.n,
            note,
            louder: self.known.louder(&place, reading.level),
            place,
            reading,
            again,
            stays_due,
        }
    }

    fn expectation(&self, place: &ReedPlace) -> Expectation {
        let clock = self.setting.clock.as_ref().map_or(Clock::default(), ClockFacts::clock);
        pitch_cache::expectation(self.job, place, clock)
    }

    /// Whether the reed's take tests a valve: it has none where the slot is bare.
    fn tests_valve(&self, place: &ReedPlace) -> bool {
        self.job.instrument().valve_tested_by(place).is_some_and(|(_, valve)| valve != Valve::None)
    }

    /// Find out all about the reed that is due now.
    fn look_ahead(&mut self) {
        let place = self.agenda.due().cloned();
        if self.due.as_ref().map(|due| &due.place) != place.as_ref() {
            self.tries = 0;
            self.held = None;
        }
        self.due = place.and_then(|place| {
            let target = self.job.instrument().target(&place)?;
            let mut pitch_of =
                |place: &ReedPlace| Some(self.known.pitch_of(self.job, &self.setting.pass, place)?.0);
            let opposite = pitch_of(&other_stroke(&place));
            let own = pitch_of(&place).unwrap_or(target);
            let (_, row, plate) = self.job.instrument().plate(&place.plate)?;
            let reed = (*plate.reeds.on(place.stroke))?;
            // A slot without a valve has none that the opposite reed could tell of.
            let has_opposite = plate.reeds.on(place.stroke.other()).is_some() && self.tests_valve(&place);
            let mut need = steady_need(own, opposite, has_opposite);
            need.hold_s = need.hold_s.max(self.longer.get(&place).copied().unwrap_or(0.0));
            Some(Due {
                need,
                row_len: row.plates.len(),
                note: reed.note,
                target,
                left: self.agenda.left(),
                place,
            })
        });
    }
}

/// Steady time that would settle the opposite reed, where it can be held for so long.
fn needs_s(reading: &Reading) -> Option<f64> {
    match &reading.opposite {
        Opposite::Unresolved { needs: Some(needs), .. } => {
            Some(needs.get() + need::ENDS_S).filter(|needs| *needs <= need::MOST_S)
        }
        _ => None,
    }
}

/// `tests_valve`: the take is to tell a valve, and was not yet asked to be longer for it.
fn reasons_to_repeat(reading: &Reading, remarks: &[String], hold_s: f64, tests_valve: bool) -> Vec<String> {
    let mut reasons = remarks.to_vec();
    let clipped = reading.warnings.iter().find(|warning| matches!(warning, Warning::Clipped { .. }));
    reasons.extend(clipped.map(Warning::to_string));
    let steady_s = reading.steady.length().get();
    if steady_s < WILL_DO * hold_s - need::ENDS_S {
        reasons.push(format!("it was steady for {steady_s:.1} s, and {hold_s:.1} s are needed"));
    } else if let Some(needs) = needs_s(reading).filter(|_| tests_valve) {
        reasons.push(format!("the plate's two reeds are close; hold it for {needs:.1} s to tell them apart"));
    }
    reasons
}
