//! One plate listened to in every pass: both strokes, each told of the other, and what is drawn or played of them.

use std::collections::BTreeMap;

use super::clip;
use super::detail::Detail;
use crate::analysis::{self, Expectation, Heard, Opposite, OppositeExpectation, Reading};
use crate::audio;
use crate::instrument::{Instrument, Plate, PlatePlace, ReedPlace, Stroke};
use crate::job::{KeptReading, Readings, StoredTake};
use crate::judgement::{Missing, PLACE_DOUBT};
use crate::report::{PassCloseUp, ReedCloseUp};
use crate::take::Take;
use crate::units::{Cents, Hz};

/// The opposite reed's pitch is never taken for surer than this, cents: it sounds in another take than its own.
const OPPOSITE_WITHIN_CENTS: f64 = 1.0;

/// What is needed to listen to one plate.
pub(super) struct PlateListener<'a> {
    pub instrument: &'a Instrument,
    pub kept: &'a Readings,
    pub place: &'a PlatePlace,
    pub plate: &'a Plate,
    pub detail: Detail,
}

/// A pass as a plate sees it.
pub(super) struct PlateTakes<'a> {
    pub pass: &'a str,
    /// Every take of the pass.
    pub takes: &'a BTreeMap<ReedPlace, Vec<StoredTake>>,
    pub is_shown: bool,
}

/// A plate, listened to.
pub(super) struct PlateHeard {
    /// Its reeds in each pass.
    pub passes: Vec<Vec<ReedOutcome>>,
    pub close_ups: Vec<ReedCloseUp>,
}

/// A reed of a plate in one pass.
pub(super) struct ReedOutcome {
    pub place: ReedPlace,
    /// The take that speaks; where none gives a reading, the newest.
    pub take: Option<StoredTake>,
    /// Its reading, the pitch before the opposite reed was looked for, and what was expected.
    pub result: Result<(Reading, (Hz, Cents), Expectation), Missing>,
    /// What its older good takes told.
    pub further: Vec<FurtherTake>,
    pub words: Vec<String>,
    /// A second of it, where it was decoded and clips are wanted.
    pub clip: Option<Vec<u8>>,
}

/// A good take beside the one that speaks.
pub(super) struct FurtherTake {
    pub sha256: String,
    pub reading: Reading,
    /// Its pitch before the opposite reed was looked for.
    pub pitch: (Hz, Cents),
    pub expectation: Expectation,
}

/// A reed with the state its reading was made in, where that is at hand.
struct LiveReed {
    outcome: ReedOutcome,
    heard: Option<Box<Heard>>,
}

/// Where the pitch of a take comes from.
enum PitchSource<'a> {
    Kept(&'a KeptReading),
    Decoded(Box<Decoded>),
}

/// A take decoded and listened to.
struct Decoded {
    /// Kept only where clips are wanted.
    sound: Option<Take>,
    heard: Heard,
}

/// The newest good take of a reed, its pitch known.
struct SpeakingTake<'a> {
    take: &'a StoredTake,
    source: PitchSource<'a>,
}

impl<'a> PlateListener<'a> {
    /// Listen to the plate in each of the passes.
    pub fn listen(&self, passes: &[PlateTakes<'a>]) -> PlateHeard {
        let mut heard: Vec<Vec<LiveReed>> = passes.iter().map(|pass| self.listen_in(pass)).collect();
        let close_ups = if self.detail.close_ups() {
            let stroke = |stroke| self.close_up(stroke, passes, &mut heard);
            Stroke::BOTH.into_iter().filter_map(stroke).collect()
        } else {
            Vec::new()
        };
        let outcomes = |reeds: Vec<LiveReed>| reeds.into_iter().map(|reed| reed.outcome).collect();
        PlateHeard { passes: heard.into_iter().map(outcomes).collect(), close_ups }
    }

    fn listen_in(&self, pass: &PlateTakes<'a>) -> Vec<LiveReed> {
        let both = Stroke::BOTH
            .map(|stroke| self.plate.reeds.on(stroke).is_some().then(|| self.newest_good(stroke, pass)));
        let pitches = both
            .each_ref()
            .map(|found| found.as_ref()?.0.as_ref().ok().map(|speaking| speaking.source.pitch()));
        let [press, draw] = both;
        let [press_pitch, draw_pitch] = pitches;
        [(Stroke::Press, press, draw_pitch, press_pitch), (Stroke::Draw, draw, press_pitch, draw_pitch)]
            .into_iter()
            .filter_map(|(stroke, found, opposite, own)| {
                let (found, words) = found?;
                let opposite = self.opposite(stroke, own, opposite);
                Some(self.read(stroke, found, words, opposite, pass))
            })
            .collect()
    }

    /// Go back from the newest take to the first that gives a pitch, with a word on each passed over.
    fn newest_good(
        &self,
        stroke: Stroke,
        pass: &PlateTakes<'a>,
    ) -> (Result<SpeakingTake<'a>, Missing>, Vec<String>) {
        let place = self.reed(stroke);
        let mut first_reason = None;
        let mut passed_over = Vec::new();
        for take in pass.takes.get(&place).into_iter().flatten().rev() {
            let expectation = self.expectation(stroke, take);
            let kept = self.kept.get(&take.facts.sha256, &expectation).filter(|_| is_as_stored(take));
            let source = match kept {
                Some(kept) => Ok(PitchSource::Kept(kept)),
                None => decode(take, &expectation, self.detail.clips())
                    .map(|decoded| PitchSource::Decoded(Box::new(decoded))),
            };
            match source {
                Ok(source) => {
                    let words = passed_over
                        .iter()
                        .map(|word| format!("{word}; take {} speaks instead", take.facts.n))
                        .collect();
                    return (Ok(SpeakingTake { take, source }), words);
                }
                Err(missing) => {
                    passed_over.push(format!("{place}: take {} gives no reading: {missing}", take.facts.n));
                    first_reason.get_or_insert(missing);
                }
            }
        }
        (Err(first_reason.unwrap_or(Missing::NoTake)), Vec::new())
    }

    fn read(
        &self,
        stroke: Stroke,
        found: Result<SpeakingTake, Missing>,
        words: Vec<String>,
        opposite: OppositeExpectation,
        pass: &PlateTakes,
    ) -> LiveReed {
        let place = self.reed(stroke);
        let SpeakingTake { take, source } = match found {
            Ok(speaking) => speaking,
            Err(missing) => {
                let take = pass.takes.get(&place).and_then(|takes| takes.last()).cloned();
                let outcome =
                    ReedOutcome { place, take, result: Err(missing), further: Vec::new(), words, clip: None };
                return LiveReed { outcome, heard: None };
            }
        };
        let is_shown = pass.is_shown;
        let pitch = source.pitch();
        let expectation = Expectation { opposite, ..self.expectation(stroke, take) };
        let from_sound = |mut decoded: Box<Decoded>| {
            let reading = decoded.heard.reading(opposite);
            (reading, Some(decoded))
        };
        let read = match source {
            PitchSource::Decoded(decoded) => Ok(from_sound(decoded)),
            PitchSource::Kept(kept) => match kept.reading(&opposite) {
                Some(reading) => Ok((reading.clone(), None)),
                None => decode(take, &expectation, self.detail.clips())
                    .map(|decoded| from_sound(Box::new(decoded))),
            },
        };
        let speaks = take;
        let take = Some(take.clone());
        let (reading, decoded) = match read {
            Ok(read) => read,
            Err(missing) => {
                let outcome =
                    ReedOutcome { place, take, result: Err(missing), further: Vec::new(), words, clip: None };
                return LiveReed { outcome, heard: None };
            }
        };
        let wants = |what: bool| is_shown && what;
        let clip = decoded
            .as_ref()
            .filter(|_| wants(self.detail.clips()))
            .and_then(|decoded| clip::cut(decoded.sound.as_ref()?, &reading));
        let heard = decoded.filter(|_| wants(self.detail.close_ups())).map(|decoded| Box::new(decoded.heard));
        let reading = without_settled_doubt(reading, take.as_ref());
        let result = Ok((reading, pitch, expectation));
        let further = self.further(stroke, speaks, opposite, pass);
        LiveReed { outcome: ReedOutcome { place, take, result, further, words, clip }, heard }
    }

    /// The readings of the good takes before the one that speaks, one at a time so that memory does not grow with them.
    fn further(
        &self,
        stroke: Stroke,
        speaks: &StoredTake,
        opposite: OppositeExpectation,
        pass: &PlateTakes,
    ) -> Vec<FurtherTake> {
        let all = pass.takes.get(&self.reed(stroke)).into_iter().flatten();
        let older = all.take_while(|take| take.facts.n != speaks.facts.n);
        older
            .filter_map(|take| {
                let alone = self.expectation(stroke, take);
                let kept = self.kept.get(&take.facts.sha256, &alone).filter(|_| is_as_stored(take));
                let known = kept.and_then(|kept| Some((kept.reading(&opposite)?.clone(), kept.heard())));
                let (reading, pitch) = match known {
                    Some(known) => known,
                    None => {
                        let mut heard = listen_to(take, &alone).ok()?;
                        let pitch = heard.pitch();
                        (heard.reading(opposite), pitch)
                    }
                };
                let expectation = Expectation { opposite, ..alone };
                Some(FurtherTake { sha256: take.facts.sha256.clone(), reading, pitch, expectation })
            })
            .collect()
    }

    /// What lies around a partial in every pass that is shown, where another reed was heard in one of them.
    fn close_up(
        &self,
        stroke: Stroke,
        passes: &[PlateTakes],
        heard: &mut [Vec<LiveReed>],
    ) -> Option<ReedCloseUp> {
        let reed = self.reed(stroke);
        let mut shown: Vec<(&str, &mut LiveReed)> = passes
            .iter()
            .zip(heard)
            .filter(|(pass, _)| pass.is_shown)
            .filter_map(|(pass, reeds)| {
                Some((pass.pass, reeds.iter_mut().find(|live| live.outcome.place == reed)?))
            })
            .collect();
        // The pass in which it is heard says which partial shows it best; the other one shows the same, to be compared.
        let (first, second) =
            shown.iter().enumerate().find_map(|(at, (_, live))| Some((at, live.outcome.second_tone()?)))?;
        let (_, clearest) = shown.get_mut(first)?;
        let partial = clearest.draw(Some(second), None, self.detail).map(|drawn| drawn.partial);
        let passes = shown.into_iter().filter_map(|(pass, live)| {
            let at = live.outcome.second_tone().unwrap_or(second);
            let close_up = live.draw(Some(at), partial, self.detail)?;
            let opposite = live.outcome.reading()?.opposite.clone();
            Some(PassCloseUp { pass: pass.to_owned(), close_up, opposite })
        });
        let passes: Vec<PassCloseUp> = passes.collect();
        Some(ReedCloseUp { reed, passes })
    }

    /// What is known of the opposite reed: its own take's pitch, as sure as the two takes together are.
    fn opposite(
        &self,
        stroke: Stroke,
        own: Option<(Hz, Cents)>,
        opposite: Option<(Hz, Cents)>,
    ) -> OppositeExpectation {
        if self.plate.reeds.on(stroke.other()).is_none() {
            return OppositeExpectation::None;
        }
        let Some((pitch, doubt)) = opposite else { return OppositeExpectation::Unknown };
        let own_doubt = own.map_or(0.0, |(_, doubt)| doubt.get());
        let within = doubt.get().hypot(own_doubt).max(OPPOSITE_WITHIN_CENTS);
        Cents::new(within)
            .map_or(OppositeExpectation::Unknown, |within| OppositeExpectation::Known { pitch, within })
    }

    fn expectation(&self, stroke: Stroke, take: &StoredTake) -> Expectation {
        Expectation {
            pitch: self.instrument.target(&self.reed(stroke)),
            clock: take.facts.clock(),
            ..Expectation::default()
        }
    }

    fn reed(&self, stroke: Stroke) -> ReedPlace {
        ReedPlace { plate: self.place.clone(), stroke }
    }
}

impl ReedOutcome {
    fn reading(&self) -> Option<&Reading> {
        self.result.as_ref().ok().map(|(reading, ..)| reading)
    }

    /// Where another reed was heard beside this one.
    fn second_tone(&self) -> Option<Cents> {
        match self.reading()?.opposite {
            Opposite::Sounding { offset, .. } => Some(offset),
            _ => None,
        }
    }
}

impl LiveReed {
    /// Draw from the state the reading was made in; where the reading was kept, that state is made again from the sound.
    fn draw(
        &mut self,
        second: Option<Cents>,
        partial: Option<u32>,
        detail: Detail,
    ) -> Option<analysis::CloseUp> {
        let (reading, _, expectation) = self.outcome.result.as_ref().ok()?;
        if self.heard.is_none() {
            let take = self.outcome.take.as_ref()?;
            let Decoded { sound, mut heard } = decode(take, expectation, detail.clips()).ok()?;
            heard.reading(expectation.opposite);
            self.outcome.clip = sound.and_then(|sound| clip::cut(&sound, reading));
            self.heard = Some(Box::new(heard));
        }
        self.heard.as_ref()?.close_up(reading, second, partial)
    }
}

impl PitchSource<'_> {
    fn pitch(&self) -> (Hz, Cents) {
        match self {
            PitchSource::Kept(kept) => kept.heard(),
            PitchSource::Decoded(decoded) => decoded.heard.pitch(),
        }
    }
}

/// A kept reading may know a doubt of the take's place that was settled since.
fn without_settled_doubt(mut reading: Reading, take: Option<&StoredTake>) -> Reading {
    if take.is_none_or(|take| take.facts.doubts().next().is_none()) {
        reading.warnings.retain(|warning| !warning.to_string().starts_with(PLACE_DOUBT));
    }
    reading
}

/// Whether the file still has the length the diary gives; `verify` looks at every byte.
pub(super) fn is_as_stored(take: &StoredTake) -> bool {
    std::fs::metadata(&take.path).is_ok_and(|found| found.len() == take.facts.bytes)
}

/// Decode a take and listen to it: everything but the opposite reed.
pub(super) fn listen_to(take: &StoredTake, expectation: &Expectation) -> Result<Heard, Missing> {
    decode(take, expectation, false).map(|decoded| decoded.heard)
}

fn decode(take: &StoredTake, expectation: &Expectation, keep: bool) -> Result<Decoded, Missing> {
    let sound: Take = audio::read_file(&take.path).map_err(|error| Missing::Unreadable(error.to_string()))?;
    let remarks = sound
        .remarks
        .iter()
        .chain(take.facts.remarks.iter().filter(|remark| !sound.remarks.contains(remark)));
    let remarks = remarks.cloned().collect();
    let sound = Take { lossy: sound.lossy || take.facts.lossy, remarks, ..sound };
    let heard = analysis::listen(&sound, expectation).map_err(Missing::Refused)?;
    Ok(Decoded { sound: keep.then_some(sound), heard })
}
