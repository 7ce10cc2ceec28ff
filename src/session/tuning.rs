//! The tuning loop: a reed is played, filed, played again, until it stays within its tolerance; then the next one.
//!
//! Hands free: a go with the file is told by the pitch that moved the way that was advised, and noted as advised; who filed
//! otherwise says so afterwards.

use super::SessionError;
use super::follow::{Follow, FollowEvent, Played};
use super::pitch_cache::other_stroke;
use crate::analysis::{Clock, Expectation, OppositeExpectation, Refusal};
use crate::audio;
use crate::instrument::{Note, ReedPlace, Spot};
use crate::job::{ClockFacts, Event, JobWriter, NewTake, PlayFacts};
use crate::repair::{Filing, Part, Work};
use crate::tuning::{Advice, Gain, Go, Hand, Rate, Settled, advise, gain, rate, warmed};
use crate::units::{Cents, Hz, Measured};

/// A pitch so far from the due reed's target is another reed's, cents; reeds to be tuned lie nearer.
const ANOTHER_CENTS: f64 = 60.0;
/// Less than this is no go but another play, cents. Our own choice: half of what one light stroke does to most reeds.
const LEAST_GO_CENTS: f64 = 0.4;
/// A play settles a reed when it comes so long after the play at once, s.
const SETTLED_S: f64 = 45.0;
/// After so long a tongue in tolerance is asked for again, s.
const ASK_AGAIN_S: f64 = crate::tuning::ASK_AGAIN_S;

/// What the loop is told beforehand.
#[derive(Debug, Clone)]
pub struct TuneSetting {
    /// Samples per second of the input.
    pub rate_hz: u32,
    /// Its channels.
    pub channels: usize,
    /// The input's clock, where it was measured.
    pub clock: Option<ClockFacts>,
    /// Who files, with what.
    pub hand: Hand,
    /// The pass that plays are kept in as takes; none are kept without.
    pub keep: Option<String>,
}

/// A reed on the bench.
#[derive(Debug, Clone, PartialEq)]
pub struct TuneReed {
    /// Which.
    pub place: ReedPlace,
    /// Its note.
    pub note: Note,
    /// What it is to be here: on a bench, the instrument's target less the offset.
    pub target: Hz,
    /// Half the 95 % interval that a bench offset adds; zero without.
    pub target_doubt: Cents,
    /// Tolerance about the target.
    pub tolerance: Cents,
    state: State,
    goes: Vec<DoneGo>,
    /// Plays since the last go.
    plays: Vec<Settled>,
    /// The first play since then after which no filing was advised: what it gains from here on it gains by settling.
    at_once: Option<Settled>,
    /// Everything played in this sitting: deviation, and how many goes were before it.
    history: Vec<(Measured, usize)>,
    pitch: Option<Hz>,
    /// Deviation when the other reed of the plate began to be worked on.
    watched: Option<Measured>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum State {
    Due,
    /// In tolerance at once; played again from this time on, s.
    Waits(f64),
    Done,
    Skipped,
}

/// A go that was noted.
#[derive(Debug, Clone, PartialEq)]
struct DoneGo {
    mark: u32,
    filing: Filing,
    moved: Measured,
    /// Plays between the go before it and this one: with this one taken back they count again.
    plays_before: Vec<Settled>,
}

/// Something that happened.
#[derive(Debug, Clone)]
pub enum TuneSaid {
    /// A note began.
    Began,
    /// A play was read.
    Played(Box<TunePlay>),
    /// A sound gave no reading.
    Nothing(Option<Refusal>),
    /// A pitch that is not the due reed's; whose it is, where it is one of those on the bench.
    Other {
        /// The pitch.
        pitch: Hz,
        /// Whose it may be.
        whose: Option<ReedPlace>,
    },
    /// A word.
    Word(String),
}

/// A play and what it means.
#[derive(Debug, Clone)]
pub struct TunePlay {
    /// The reed.
    pub place: ReedPlace,
    /// Its pitch.
    pub f0: Hz,
    /// Deviation from the target.
    pub off: Measured,
    /// The go it tells of, with its mark's number and how far the pitch moved.
    pub go: Option<(u32, Filing, Measured)>,
    /// How fast the pitch moves, where two plays since the last go tell.
    pub rate: Option<Rate>,
    /// How far to go now; `None` in tolerance, or while it still moves.
    pub advice: Option<Advice>,
    /// How it stands.
    pub stands: Stands,
    /// How far it moved while the plate's other reed was worked on.
    pub watched: Option<Measured>,
}

/// How a reed stands after a play.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stands {
    /// Out of tolerance: file on.
    Out,
    /// It still moves: play it again after a minute.
    Moves,
    /// In tolerance at once after a go: play it again after a minute.
    AtOnce,
    /// In tolerance, and at rest.
    Settled,
}

/// How things stand now, for a screen.
#[derive(Debug, Clone)]
pub struct TuneNow<'a> {
    /// The due reed; `None` when all are done.
    pub due: Option<&'a TuneReed>,
    /// A reed that waits to settle, and for how long still, s, when nothing else is due.
    pub waits: Option<(&'a TuneReed, f64)>,
    /// Reeds still to be done.
    pub left: usize,
    /// The pitch that sounds, as deviation from the target, and for how long it has sounded, s.
    pub live: Option<(Measured, f64)>,
    /// The advice for the due reed.
    pub advice: Option<Advice>,
    /// Level now, dBFS.
    pub level_db: f64,
    /// Noise of the room, dBFS.
    pub quiet_db: Option<f64>,
}

/// The loop.
pub struct Tuning<'a> {
    job: &'a mut JobWriter,
    setting: TuneSetting,
    reeds: Vec<TuneReed>,
    at: usize,
    follow: Follow,
    goes: Vec<Go>,
    gains: Vec<Measured>,
    live: Option<(Measured, f64)>,
    advice: Option<Advice>,
    is_hushed: bool,
}

impl TuneReed {
    /// A reed to be tuned.
    pub fn new(place: ReedPlace, note: Note, target: Hz, target_doubt: Cents, tolerance: Cents) -> Self {
        Self {
            place,
            note,
            target,
            target_doubt,
            tolerance,
            state: State::Due,
            goes: Vec::new(),
            plays: Vec::new(),
            at_once: None,
            history: Vec::new(),
            pitch: None,
            watched: None,
        }
    }

    /// Everything played in this sitting: deviation, and how many goes were before it.
    pub fn history(&self) -> &[(Measured, usize)] {
        &self.history
    }

    /// The goes of this sitting, as they were noted.
    pub fn filings(&self) -> impl Iterator<Item = &Filing> {
        self.goes.iter().map(|go| &go.filing)
    }

    /// A go was made before the last `after` plays; those before it belong to the go before.
    fn plays_go_before(&mut self, after: usize) {
        let Some(go) = self.goes.last_mut() else { return };
        go.plays_before.extend(self.plays.drain(..self.plays.len().saturating_sub(after)));
    }

    fn last(&self) -> Option<Measured> {
        self.history.last().map(|(off, _)| *off)
    }
}

impl<'a> Tuning<'a> {
    /// Begin with the first of `reeds`; `goes` and `gains` are what the job knows from before.
    pub fn new(
        job: &'a mut JobWriter,
        setting: TuneSetting,
        reeds: Vec<TuneReed>,
        goes: Vec<Go>,
        gains: Vec<Measured>,
    ) -> Self {
        let clock = setting.clock.as_ref().map_or(Clock::default(), ClockFacts::clock);
        let expectation = Expectation { pitch: None, opposite: OppositeExpectation::None, clock };
        let follow = Follow::new(setting.rate_hz, setting.channels, expectation);
        let mut tuning = Self {
            job,
            setting,
            reeds,
            at: 0,
            follow,
            goes,
            gains,
            live: None,
            advice: None,
            is_hushed: false,
        };
        tuning.turn_to(0);
        tuning
    }

    /// The job that is written to.
    pub fn job(&mut self) -> &mut JobWriter {
        self.job
    }

    /// Something speaks to the one who files: what ends meanwhile is no play.
    pub fn hush(&mut self, is_on: bool) {
        self.is_hushed = is_on;
    }

    /// All reeds on the bench.
    pub fn reeds(&self) -> &[TuneReed] {
        &self.reeds
    }

    /// The history of the reed at hand.
    pub fn due_history(&self) -> &[(Measured, usize)] {
        self.reeds.get(self.at).map_or(&[], TuneReed::history)
    }

    /// What reeds gain while they settle, as learnt so far.
    pub fn gain(&self) -> Gain {
        gain(&self.gains)
    }

    /// How things stand.
    pub fn look(&mut self) -> TuneNow<'_> {
        self.next();
        let now_s = self.follow.at().get();
        let waits = self.reeds.iter().filter_map(|reed| match reed.state {
            State::Waits(from) => Some((reed, (from - now_s).max(0.0))),
            _ => None,
        });
        let is_due = |reed: &&TuneReed| matches!(reed.state, State::Due);
        let due = self.reeds.get(self.at).filter(is_due);
        let waits = waits.min_by(|a, b| a.1.total_cmp(&b.1)).filter(|_| due.is_none());
        TuneNow {
            waits,
            left: self.reeds.iter().filter(|reed| matches!(reed.state, State::Due | State::Waits(_))).count(),
            live: self.live,
            advice: self.advice.filter(|_| due.is_some()),
            due,
            level_db: self.follow.level_db(),
            quiet_db: self.follow.quiet_db(),
        }
    }

    /// Whether nothing is left to be played.
    pub fn is_done(&self) -> bool {
        !self.reeds.iter().any(|reed| matches!(reed.state, State::Due | State::Waits(_)))
    }

    /// Take in interleaved frames.
    pub fn hear(&mut self, sound: &[f32]) -> Result<Vec<TuneSaid>, SessionError> {
        let mut said = Vec::new();
        for heard in self.follow.hear(sound) {
            match heard {
                FollowEvent::Began => said.push(TuneSaid::Began),
                FollowEvent::Now { f0, uncertainty, since } => {
                    let reed = self.reeds.get(self.at);
                    self.live = reed.map(|reed| {
                        (Measured { value: f0.cents_above(reed.target), uncertainty }, since.get())
                    });
                }
                FollowEvent::Nothing(_) | FollowEvent::Played(_) if self.is_hushed => self.live = None,
                FollowEvent::Nothing(refusal) => {
                    self.live = None;
                    said.push(TuneSaid::Nothing(refusal));
                }
                FollowEvent::Played(played) => {
                    self.live = None;
                    said.push(self.played(*played)?);
                }
            }
        }
        Ok(said)
    }

    fn played(&mut self, played: Played) -> Result<TuneSaid, SessionError> {
        let f0 = played.reading.f0;
        let far = |reed: &TuneReed| f0.cents_above(reed.pitch.unwrap_or(reed.target)).abs().get();
        let is_far = |reed: &TuneReed| far(reed).min(f0.cents_above(reed.target).abs().get()) > ANOTHER_CENTS;
        if self.reeds.get(self.at).is_none_or(is_far) {
            let fitting = (self.reeds.iter().enumerate()).filter(|(_, reed)| !is_far(reed));
            let Some((at, _)) = fitting.min_by(|a, b| far(a.1).total_cmp(&far(b.1))) else {
                return Ok(TuneSaid::Other { pitch: f0, whose: None });
            };
            // Another reed of those on the bench was taken up: hands free, it is the due one now.
            self.turn_to(at);
        }
        let at_s = played.at.get();
        let Some(reed) = self.reeds.get(self.at) else {
            return Ok(TuneSaid::Other { pitch: f0, whose: None });
        };
        let uncertainty = Cents::new(played.reading.uncertainty.get().hypot(reed.target_doubt.get()));
        let off = Measured {
            value: f0.cents_above(reed.target),
            uncertainty: uncertainty.unwrap_or(played.reading.uncertainty),
        };
        let place = reed.place.clone();
        let go = self.go_told_by(off, &played)?;
        let gain_before = self.gain();
        let after_mark = self.reeds.get(self.at).and_then(|reed| reed.goes.last()).map(|go| go.mark);
        let Some(reed) = self.reeds.get_mut(self.at) else {
            return Ok(TuneSaid::Other { pitch: f0, whose: None });
        };
        if go.is_some() {
            reed.plays_go_before(0);
            reed.at_once = None;
        }
        let settled_s = reed.at_once.map_or(0.0, |first| at_s - first.at_s);
        reed.plays.push(Settled { at_s, off });
        reed.history.push((off, reed.goes.len()));
        reed.pitch = Some(f0);
        let rate = rate(&reed.plays).filter(|_| !reed.goes.is_empty());
        let watched = reed.watched.take().map(|before| Measured {
            value: off.value - before.value,
            uncertainty: Cents::new(off.uncertainty.get().hypot(before.uncertainty.get()))
                .unwrap_or(off.uncertainty),
        });
        let moves = rate.is_some_and(|rate| rate.is_moving(reed.tolerance));
        let is_in = off.value.abs().get() <= reed.tolerance.get();
        let stands = match (is_in, moves) {
            (_, true) => Stands::Moves,
            (false, _) => Stands::Out,
            (true, _) if reed.goes.is_empty() || settled_s >= SETTLED_S => Stands::Settled,
            (true, _) => Stands::AtOnce,
        };
        reed.state = match stands {
            Stands::Out => State::Due,
            Stands::Moves | Stands::AtOnce => State::Waits(at_s + ASK_AGAIN_S),
            Stands::Settled => State::Done,
        };
        if stands == Stands::Settled
            && !reed.goes.is_empty()
            && let Some(first) = reed.at_once
        {
            let uncertainty = first.off.uncertainty.get().hypot(off.uncertainty.get());
            self.gains.push(Measured {
                value: off.value - first.off.value,
                uncertainty: Cents::new(uncertainty).unwrap_or(Cents::ZERO),
            });
        }
        let (note, tolerance, target) = (reed.note, reed.tolerance, reed.target);
        let is_warm = !reed.goes.is_empty() && settled_s < SETTLED_S;
        self.job.note(Event::Play(PlayFacts {
            place: place.to_string(),
            f0_hz: f0.get(),
            uncertainty_cents: played.reading.uncertainty.get(),
            target_hz: target.get(),
            level_dbfs: played.reading.level.get(),
            after_mark,
            settled_s: after_mark.map(|_| settled_s),
        }))?;
        // A warm tongue will rise by what was learnt: that much need not be filed.
        let aimed = if is_warm { off.value + gain_before.expected.value } else { off.value };
        let out = stands == Stands::Out;
        self.advice =
            out.then(|| advise(&self.goes, &self.setting.hand, &place, note, aimed, tolerance)).flatten();
        if out && self.advice.is_none() {
            // Out now, in once it has settled: wait instead of filing.
            if let Some(reed) = self.reeds.get_mut(self.at) {
                reed.state = State::Waits(at_s + ASK_AGAIN_S);
            }
        }
        let stands = if out && self.advice.is_none() { Stands::AtOnce } else { stands };
        if let Some(reed) = self.reeds.get_mut(self.at) {
            // What is filed on advice and moves too little to be told must not pass for settling.
            let is_left_alone = self.advice.is_none();
            reed.at_once = reed.at_once.or(Some(Settled { at_s, off })).filter(|_| is_left_alone);
        }
        self.keep(&place, &played)?;
        if matches!(stands, Stands::Settled) && after_mark.is_some() {
            self.job.mark(&[Spot::Reed(place.clone())], &Work::Tuned)?;
        }
        if go.is_some() {
            self.watch_other(&place);
        }
        let told = TunePlay { place, f0, off, go, rate, advice: self.advice, stands, watched };
        self.next();
        Ok(TuneSaid::Played(Box::new(told)))
    }

    /// The go that a play tells of: the pitch moved as advised, by more than doubt and settling explain.
    fn go_told_by(
        &mut self,
        off: Measured,
        played: &Played,
    ) -> Result<Option<(u32, Filing, Measured)>, SessionError> {
        let (Some(advice), Some(reed)) = (self.advice, self.reeds.get(self.at)) else { return Ok(None) };
        let Some(before) = reed.last() else { return Ok(None) };
        // Both plays were heard with the same clock and target: what they share says nothing of the difference.
        let shared = reed.target_doubt.get();
        let own = |off: Measured| (off.uncertainty.get().powi(2) - shared.powi(2)).max(0.0).sqrt();
        let doubt = own(off).hypot(own(before));
        let moved = off.value - before.value;
        let sign = if advice.part == Part::Tip { 1.0 } else { -1.0 };
        let warmth = if reed.goes.is_empty() || advice.part == Part::Root {
            0.0
        } else {
            let gain = self.gain().expected;
            let since_s = reed.plays.last().map_or(f64::INFINITY, |last| played.at.get() - last.at_s);
            warmed(gain, since_s)
        };
        if sign * moved.get() < (LEAST_GO_CENTS + warmth).max(doubt) {
            return Ok(None);
        }
        let Hand { by, tool } = self.setting.hand.clone();
        let told = |name: String| Some(name).filter(|name| !name.is_empty());
        let filing =
            Filing { part: advice.part, strokes: Some(advice.strokes), tool: told(tool), by: told(by) };
        let moved = Measured { value: moved, uncertainty: Cents::new(doubt).unwrap_or(off.uncertainty) };
        Ok(Some(self.note_go(filing, moved)?))
    }

    fn note_go(&mut self, filing: Filing, moved: Measured) -> Result<(u32, Filing, Measured), SessionError> {
        let Some(reed) = self.reeds.get_mut(self.at) else { return Ok((0, filing, moved)) };
        let mark = self.job.mark(&[Spot::Reed(reed.place.clone())], &Work::Filed(filing.clone()))?;
        reed.goes.push(DoneGo { mark, filing: filing.clone(), moved, plays_before: Vec::new() });
        if let Some(strokes) = filing.strokes {
            let (place, note, hand) = (reed.place.clone(), reed.note, self.setting.hand.clone());
            // A light stroke is as light as was advised, or half a usual one.
            let light = self.advice.filter(|advice| advice.strokes == 0).map_or(0.5, |advice| advice.light);
            let strokes = if strokes == 0 { light } else { f64::from(strokes) };
            self.goes.push(Go { place, note, hand, part: filing.part, strokes, moved });
        }
        Ok((mark, filing, moved))
    }

    /// The last go was another: so many strokes at that end.
    pub fn correct(&mut self, part: Option<Part>, strokes: u32) -> Result<TuneSaid, SessionError> {
        let Some(done) = self.reeds.get_mut(self.at).and_then(|reed| reed.goes.pop()) else {
            return Ok(TuneSaid::Word("no go was noted yet to be put right".into()));
        };
        self.job.undo(Some(done.mark))?;
        self.forget(&done);
        let filing = Filing { part: part.unwrap_or(done.filing.part), strokes: Some(strokes), ..done.filing };
        let (mark, filing, _) = self.note_go(filing, done.moved)?;
        if let Some(go) = self.reeds.get_mut(self.at).and_then(|reed| reed.goes.last_mut()) {
            go.plays_before = done.plays_before;
        }
        self.advise_anew();
        Ok(TuneSaid::Word(format!("mark {mark} in its place: filed {filing}")))
    }

    /// A go that the pitch did not tell of.
    pub fn filed(&mut self, part: Part, strokes: u32) -> Result<TuneSaid, SessionError> {
        let Some(reed) = self.reeds.get(self.at) else { return Ok(TuneSaid::Word("no reed is due".into())) };
        let moved = match reed.history.as_slice() {
            [.., (before, _), (now, _)] => Measured {
                value: now.value - before.value,
                uncertainty: Cents::new(now.uncertainty.get().hypot(before.uncertainty.get()))
                    .unwrap_or(now.uncertainty),
            },
            _ => Measured { value: Cents::ZERO, uncertainty: Cents::ZERO },
        };
        let has_before = reed.history.len() > 1;
        let Hand { by, tool } = self.setting.hand.clone();
        let told = |name: String| Some(name).filter(|name| !name.is_empty());
        let filing = Filing { part, strokes: Some(strokes), tool: told(tool), by: told(by) };
        let (mark, filing, _) = self.note_go(filing, moved)?;
        if !has_before {
            self.goes.pop();
        } else if let Some(reed) = self.reeds.get_mut(self.at) {
            // The last play came after it.
            reed.plays_go_before(1);
        }
        self.advise_anew();
        Ok(TuneSaid::Word(format!("mark {mark}: filed {filing}")))
    }

    /// Take the last go of the due reed back.
    pub fn undo(&mut self) -> Result<TuneSaid, SessionError> {
        let Some(done) = self.reeds.get_mut(self.at).and_then(|reed| reed.goes.pop()) else {
            return Ok(TuneSaid::Word("no go of this reed is noted in this sitting".into()));
        };
        self.job.undo(Some(done.mark))?;
        self.forget(&done);
        if let Some(reed) = self.reeds.get_mut(self.at) {
            reed.plays.splice(0..0, done.plays_before);
        }
        self.advise_anew();
        Ok(TuneSaid::Word(format!("mark {} taken back: filed {}", done.mark, done.filing)))
    }

    /// The last go teaches nothing more.
    fn forget(&mut self, done: &DoneGo) {
        let Some(reed) = self.reeds.get(self.at) else { return };
        let is_it = |go: &Go| go.place == reed.place && go.moved == done.moved;
        if let Some(at) = self.goes.iter().rposition(is_it) {
            self.goes.remove(at);
        }
    }

    fn advise_anew(&mut self) {
        let Some(reed) = self.reeds.get(self.at) else { return };
        let Some(off) = reed.last() else { return };
        self.advice =
            advise(&self.goes, &self.setting.hand, &reed.place, reed.note, off.value, reed.tolerance);
    }

    /// Leave the due reed.
    pub fn skip(&mut self) {
        if let Some(reed) = self.reeds.get_mut(self.at) {
            reed.state = State::Skipped;
        }
        self.next();
    }

    /// Back to the reed before.
    pub fn back(&mut self) {
        let at = self.at.min(self.reeds.len()).saturating_sub(1);
        if let Some(reed) = self.reeds.get_mut(at) {
            reed.state = State::Due;
        }
        self.turn_to(at);
    }

    /// Work on one tongue moves the other by heat and by scratching: it is to be played again, if it is on the bench.
    fn watch_other(&mut self, place: &ReedPlace) {
        let other = other_stroke(place);
        let found = self.reeds.iter_mut().find(|reed| reed.place == other);
        let Some(reed) = found.filter(|reed| matches!(reed.state, State::Done | State::Waits(_))) else {
            return;
        };
        reed.watched = reed.watched.or(reed.last());
        if reed.state == State::Done {
            reed.state = State::Due;
        }
    }

    /// Turn to what is due: the reed at hand, the next one due, or one that has waited long enough.
    fn next(&mut self) {
        let now_s = self.follow.at().get();
        for reed in &mut self.reeds {
            if matches!(reed.state, State::Waits(from) if from <= now_s) {
                reed.state = State::Due;
            }
        }
        let is_due = |reed: &TuneReed| reed.state == State::Due;
        if self.reeds.get(self.at).is_some_and(is_due) {
            return;
        }
        let ahead = self.reeds.iter().enumerate().skip(self.at).find(|(_, reed)| is_due(reed));
        let any = ahead.or_else(|| self.reeds.iter().enumerate().find(|(_, reed)| is_due(reed)));
        // Nothing is due: what is played now is the reed that has waited longest.
        let waiting = self.reeds.iter().enumerate().filter_map(|(at, reed)| match reed.state {
            State::Waits(from) => Some((at, from)),
            _ => None,
        });
        let waiting = waiting.min_by(|a, b| a.1.total_cmp(&b.1)).map(|(at, _)| at);
        if let Some(at) = any.map(|(at, _)| at).or(waiting).filter(|at| *at != self.at) {
            self.turn_to(at);
        }
    }

    fn turn_to(&mut self, at: usize) {
        self.at = at;
        self.advice = None;
        self.follow.expect(self.reeds.get(at).map(|reed| reed.target));
        self.advise_anew();
    }

    fn keep(&mut self, place: &ReedPlace, played: &Played) -> Result<(), SessionError> {
        let Some(pass) = self.setting.keep.clone() else { return Ok(()) };
        let new = NewTake {
            pass,
            place: place.clone(),
            original: None,
            extension: "wav".into(),
            why: "it was played while this reed was tuned".into(),
            lossy: false,
            remarks: Vec::new(),
            clock: self.setting.clock.clone(),
            recorded: None,
        };
        self.job.store_bytes(new, &audio::wav_bytes(&played.take)?)?;
        Ok(())
    }
}
