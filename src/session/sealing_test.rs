//! The sealing test of one valve at the bench: asks for each play in turn, keeps it, and says after each pair how it stands.

use super::cutter::{Cut, Cutter, Piece};
use super::{SessionError, Setting};
use crate::analysis::{Clock, Expectation, PlayKind, Refusal, play_curves};
use crate::audio;
use crate::instrument::{Instrument, PlaceError, ReedPlace, Stroke, Valve, ValvePlace};
use crate::job::{BlownKind, ClockFacts, JobWriter, NewTake, SealPart, SealState, Stored};
use crate::judgement::sealing::{
    Seal, SealBench, SealPlay, SealVerdict, SealingFinding, Way, judge_sealings, set_of,
};
use crate::take::Take;

/// More pairs are not asked for.
const MOST_PAIRS: usize = 6;
/// A verdict of held plays is not trusted before so many pairs, whatever it says.
const LEAST_HELD_PAIRS: usize = 2;

/// What to do where a place has no valve to be tested.
pub const NAME_A_VALVE: &str = "name a valve that the plan has, as `B3 outer`";

/// The reed that tests the valve of that name, or the reed of that name; the inner error says why none can be tested there.
pub fn reed_that_tests(
    instrument: &Instrument,
    text: &str,
) -> Result<Result<ReedPlace, &'static str>, PlaceError> {
    let reed = match instrument.valve_place(text) {
        Ok(ValvePlace { plate, face }) => {
            let stroke = instrument.plate(&plate).map(|(block, _, _)| block.stroke_that_tests(face));
            ReedPlace { plate, stroke: stroke.unwrap_or(Stroke::Press) }
        }
        Err(_) => instrument.reed_place(text)?,
    };
    if instrument.target(&reed).is_none() {
        return Ok(Err("no reed sounds there"));
    }
    let has_valve = instrument.valve_tested_by(&reed).is_some_and(|(_, valve)| !matches!(valve, Valve::None));
    Ok(if has_valve { Ok(reed) } else { Err("no valve is due there") })
}

/// A sealing test under way.
pub struct SealingTest<'a> {
    job: &'a mut JobWriter,
    setting: Setting,
    reed: ReedPlace,
    kind: Option<BlownKind>,
    bench: SealBench,
    cutter: Cutter,
    channel: Option<usize>,
    plays: Vec<SealPlay>,
    /// The stored file of each, seen from the job folder.
    files: Vec<String>,
    finding: Option<SealingFinding>,
    is_hushed: bool,
}

/// What happened in a sealing test.
#[derive(Debug, Clone, PartialEq)]
pub enum SealSaid {
    /// A note stands out.
    Began,
    /// A play gives nothing and was not kept.
    Nothing(Refusal),
    /// A play was kept; with a pair behind it, how things stand.
    Kept {
        /// Open or sealed.
        state: SealState,
        /// The stored file, seen from the job folder.
        file: String,
        /// Its mean level, dBFS.
        level_db: f64,
        /// How it was blown.
        kind: PlayKind,
        /// The verdict so far.
        finding: Option<Box<SealingFinding>>,
    },
    /// Something went wrong with the sound.
    Trouble(String),
}

impl<'a> SealingTest<'a> {
    /// Begin with an open play of `reed`, which the plan must have.
    pub fn new(
        job: &'a mut JobWriter,
        setting: Setting,
        reed: ReedPlace,
        kind: Option<BlownKind>,
        bench: SealBench,
    ) -> Self {
        let cutter = Cutter::new(setting.rate_hz, setting.channels);
        let (plays, files, finding) = (Vec::new(), Vec::new(), None);
        let is_hushed = false;
        Self { job, setting, reed, kind, bench, cutter, channel: None, plays, files, finding, is_hushed }
    }

    /// The job that is written to.
    pub fn job(&mut self) -> &mut JobWriter {
        self.job
    }

    /// Something speaks to the one who plays: what ends meanwhile is no play.
    pub fn hush(&mut self, is_on: bool) {
        self.is_hushed = is_on;
    }

    /// The plays that were kept, in order: open or sealed, and the mean level of each, dBFS.
    pub fn kept(&self) -> impl Iterator<Item = (Seal, f64)> {
        self.plays.iter().filter_map(|play| Some((play.seal, play.sound.as_ref().ok()?.level_db)))
    }

    /// How long what sounds has been steady, s; `None` between notes.
    pub fn steady_s(&self) -> Option<f64> {
        self.cutter.steady_s()
    }

    /// Whether the sound just heard was clipped.
    pub fn was_clipped(&mut self) -> bool {
        self.cutter.was_clipped()
    }

    /// What is due next; `None` when it is settled or enough was played.
    pub fn due(&self) -> Option<SealState> {
        let sealed = self.plays.iter().filter(|play| play.seal == Seal::Sealed).count();
        let is_open_due = self.plays.len().is_multiple_of(2);
        let least = match self.finding.as_ref().and_then(|finding| finding.way) {
            Some(Way::Swell) => 1,
            _ => LEAST_HELD_PAIRS,
        };
        let settled = self.finding.as_ref().is_some_and(|finding| {
            matches!(finding.verdict, SealVerdict::Leaks | SealVerdict::Tight) && sealed >= least
        });
        // The first pair is closed by a second open play.
        match (settled || sealed >= MOST_PAIRS) && self.plays.len() >= 3 {
            true => None,
            false if is_open_due => Some(SealState::Open),
            false => Some(SealState::Sealed),
        }
    }

    /// How it stands; `None` before there is a pair.
    pub fn finding(&self) -> Option<&SealingFinding> {
        self.finding.as_ref()
    }

    /// How many plays were kept.
    pub fn plays(&self) -> usize {
        self.plays.len()
    }

    /// Withdraw the newest play: a slip of the hand. Its file stays, and no longer counts; `None` where none was kept.
    pub fn again(&mut self) -> Result<Option<String>, SessionError> {
        let Some(file) = self.files.pop() else { return Ok(None) };
        self.job.withdraw_take(&file, "played again at the sealing test")?;
        self.plays.pop();
        self.judge();
        Ok(Some(file))
    }

    /// The level now and the noise between the notes, dBFS.
    pub fn levels(&self) -> (f64, Option<f64>) {
        (self.cutter.level_db(), self.cutter.floor_db())
    }

    /// Take in interleaved frames, and what went wrong with the sound up to now.
    pub fn hear(&mut self, sound: &[f32], troubles: Vec<String>) -> Result<Vec<SealSaid>, SessionError> {
        let mut said: Vec<SealSaid> = troubles.into_iter().map(SealSaid::Trouble).collect();
        for cut in self.cutter.hear(sound) {
            match cut {
                Cut::Began => said.push(SealSaid::Began),
                Cut::Knock => {}
                Cut::Ended(_) if self.is_hushed => {}
                Cut::Ended(piece) => said.extend(self.ended(piece)?),
            }
        }
        Ok(said)
    }

    /// A whole sound file as the play that is due.
    pub fn file(&mut self, take: Take) -> Result<Option<SealSaid>, SessionError> {
        self.keep(take)
    }

    fn ended(&mut self, piece: Piece) -> Result<Option<SealSaid>, SessionError> {
        let (channels, rate_hz) = (self.setting.channels.max(1), self.setting.rate_hz);
        let channel =
            *self.channel.get_or_insert_with(|| audio::clearest_channel(&piece.sound, channels, rate_hz));
        let samples = piece.sound.chunks_exact(channels).filter_map(|frame| frame.get(channel).copied());
        self.keep(Take::new(samples.collect(), rate_hz))
    }

    fn keep(&mut self, take: Take) -> Result<Option<SealSaid>, SessionError> {
        let Some(state) = self.due() else { return Ok(None) };
        let expectation = Expectation {
            pitch: self.job.instrument().target(&self.reed),
            clock: self.setting.clock.as_ref().map_or(Clock::default(), ClockFacts::clock),
            ..Expectation::default()
        };
        let play = match play_curves(&take, &expectation) {
            Ok(play) => play,
            Err(refusal) => return Ok(Some(SealSaid::Nothing(refusal))),
        };
        let new = NewTake {
            pass: self.setting.pass.clone(),
            place: self.reed.clone(),
            original: None,
            extension: "wav".into(),
            why: "it was played when this play of a sealing test was due".into(),
            lossy: take.lossy,
            remarks: take.remarks.clone(),
            clock: self.setting.clock.clone(),
            recorded: None,
        };
        let part = SealPart { state, kind: self.kind };
        let stored = match self.job.store_seal_bytes(new, part, &audio::wav_bytes(&take)?)? {
            Stored::New(stored) | Stored::Again(stored) | Stored::Restored(stored) => stored,
        };
        let (level_db, kind) = (play.level_db, play.kind);
        self.plays.push(SealPlay {
            seal: if state == SealState::Open { Seal::Open } else { Seal::Sealed },
            kind: self.kind.map(|kind| match kind {
                BlownKind::Held => PlayKind::Held,
                BlownKind::Swell => PlayKind::Swell,
            }),
            sound: Ok(play),
        });
        self.judge();
        self.files.push(stored.facts.file.clone());
        let finding = self.finding.clone().map(Box::new);
        Ok(Some(SealSaid::Kept { state, file: stored.facts.file, level_db, kind, finding }))
    }

    /// How it stands: told from the first whole pair on, when the open plays stand around or beside the sealed ones.
    fn judge(&mut self) {
        let set = set_of(self.job.instrument(), &self.reed, self.plays.clone());
        self.finding =
            set.filter(|_| self.plays.len() >= 3).and_then(|set| judge_sealings(&[set], &self.bench).pop());
    }
}
