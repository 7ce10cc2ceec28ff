//! Listen to a pass: its takes in, a reading or a reason for each reed out.
//!
//! Two strokes of a plate are heard first, then each is told the other's pitch to look for. Plates go in parallel,
//! a few at a time, so that memory grows with the longest take and not with their number; the result does not depend
//! on how many go at once.

use std::collections::BTreeMap;
use std::num::NonZero;
use std::path::PathBuf;

use rayon::prelude::*;

use super::Error;
use crate::analysis::{self, Expectation, Heard, OppositeExpectation, Reading};
use crate::audio;
use crate::instrument::{Instrument, Plate, PlatePlace, ReedPlace, Stroke};
use crate::job::{ClockFacts, Job, KeptReading, MeasuredIn, Readings, StoredTake};
use crate::judgement::{MeasuredAt, Missing, PassReadings};
use crate::take::Take;
use crate::units::{Cents, Hz};

/// Plates that are listened to at once, at most: each holds two takes, about 20 MB for 4 s at 48 kHz, and a pass must
/// stay under 64 MB (`tests/memory/processes.rs`).
const PLATES_AT_ONCE: usize = 2;
/// The opposite reed's pitch is never taken for surer than this, cents: it sounds in another take than its own.
const OPPOSITE_WITHIN_CENTS: f64 = 1.0;

/// A pass that has been listened to.
pub struct HeardPass {
    /// What each reed's take told.
    pub readings: PassReadings,
    /// The file of the take that speaks for each reed.
    pub files: BTreeMap<ReedPlace, PathBuf>,
    /// Which clocks of sound cards were corrected for, in words.
    pub clocks: Vec<String>,
    /// Words on takes that were passed over and on the kept readings, the clocks among them.
    pub words: Vec<String>,
}

/// Listen to every reed of the pass that has a take; of several takes the newest good one speaks.
///
/// `after_plate` is called once for each plate of the plan, from any thread.
pub fn listen(job: &Job, pass: &str, after_plate: &(dyn Fn() + Sync)) -> Result<HeardPass, Error> {
    let facts = job.pass(pass)?;
    let takes: BTreeMap<ReedPlace, Vec<StoredTake>> = job.takes(&facts.pass).into_iter().collect();
    let (mut kept, damage) = Readings::of(job);
    let plates: Vec<(PlatePlace, &Plate)> =
        job.instrument().plates().map(|(place, _, _, plate)| (place, plate)).collect();
    let listen_to = |(place, plate): &(PlatePlace, &Plate)| {
        let heard =
            PlateEar { instrument: job.instrument(), kept: &kept, takes: &takes, place, plate }.listen();
        after_plate();
        heard
    };
    let heard: Vec<Vec<HeardReed>> = pool()?.install(|| plates.par_iter().map(listen_to).collect());

    let mut words: Vec<String> = damage.into_iter().collect();
    let mut files = BTreeMap::new();
    let mut readings = BTreeMap::new();
    let mut corrections: Vec<(&ClockFacts, usize)> = Vec::new();
    for reed in heard.iter().flatten().filter(|reed| reed.result.is_ok()) {
        let Some(clock) = reed.take.as_ref().and_then(|take| take.facts.clock.as_ref()) else { continue };
        match corrections.iter_mut().find(|(there, _)| *there == clock) {
            Some((_, count)) => *count += 1,
            None => corrections.push((clock, 1)),
        }
    }
    let clocks: Vec<String> = corrections
        .into_iter()
        .map(|(facts, count)| {
            let figures = facts.figures();
            format!("{count} pitches are corrected for the clock of `{}`: {figures}", facts.device)
        })
        .collect();
    words.extend(clocks.iter().cloned());
    for reed in heard.into_iter().flatten() {
        words.extend(reed.words);
        if let (Some(take), Ok((reading, heard, expectation))) = (&reed.take, &reed.result) {
            kept.keep(&take.facts.sha256, expectation, *heard, reading);
            files.insert(reed.place.clone(), take.path.clone());
        }
        readings.insert(reed.place, reed.result.map(|(reading, ..)| reading));
    }
    if let Err(error) = kept.save(job) {
        words.push(format!("the readings could not be kept for the next time: {error}"));
    }
    let measured_at = match facts.place {
        MeasuredIn::Instrument => MeasuredAt::Instrument,
        MeasuredIn::Bench => MeasuredAt::Bench,
    };
    let pass_name = facts.pass.clone();
    let readings = PassReadings {
        name: facts.pass,
        temperature_c: facts.temperature_c.filter(|value| value.is_finite()),
        measured_at: Some(measured_at),
        readings,
        sealings: super::sealing::judged(job, pass_name.as_str(), &mut words),
    };
    Ok(HeardPass { readings, files, clocks, words })
}

/// A reed of a plate, listened to.
struct HeardReed {
    place: ReedPlace,
    /// The take that speaks.
    take: Option<StoredTake>,
    /// Its reading, the pitch before the opposite reed was looked for, and what was expected.
    result: Result<(Reading, (Hz, Cents), Expectation), Missing>,
    words: Vec<String>,
}

/// What is needed to listen to one plate.
struct PlateEar<'a> {
    instrument: &'a Instrument,
    kept: &'a Readings,
    takes: &'a BTreeMap<ReedPlace, Vec<StoredTake>>,
    place: &'a PlatePlace,
    plate: &'a Plate,
}

/// A take whose pitch is known, from the kept readings or by listening.
enum Ear<'a> {
    Kept(&'a KeptReading),
    Live(Box<Heard>),
}

/// The newest good take of a reed, its pitch known.
struct Found<'a> {
    take: &'a StoredTake,
    ear: Ear<'a>,
}

impl<'a> PlateEar<'a> {
    fn listen(&self) -> Vec<HeardReed> {
        let both = Stroke::BOTH
            .map(|stroke| self.plate.reeds.on(stroke).is_some().then(|| self.newest_good(stroke)));
        let pitches =
            both.each_ref().map(|found| found.as_ref()?.0.as_ref().ok().map(|found| found.ear.pitch()));
        let [press, draw] = both;
        let [press_pitch, draw_pitch] = pitches;
        [(Stroke::Press, press, draw_pitch, press_pitch), (Stroke::Draw, draw, press_pitch, draw_pitch)]
            .into_iter()
            .filter_map(|(stroke, found, opposite, own)| {
                let (found, words) = found?;
                Some(self.read(stroke, found, words, self.opposite(stroke, own, opposite)))
            })
            .collect()
    }

    /// Go back from the newest take to the first that gives a pitch, with a word on each passed over.
    fn newest_good(&self, stroke: Stroke) -> (Result<Found<'a>, Missing>, Vec<String>) {
        let place = self.reed(stroke);
        let mut first_reason = None;
        let mut passed_over = Vec::new();
        for take in self.takes.get(&place).into_iter().flatten().rev() {
            let expectation = self.expectation(stroke, take);
            let kept = self.kept.get(&take.facts.sha256, &expectation).filter(|_| is_as_stored(take));
            let ear = match kept {
                Some(kept) => Ok(Ear::Kept(kept)),
                None => listen_to(take, &expectation).map(|heard| Ear::Live(Box::new(heard))),
            };
            match ear {
                Ok(ear) => {
                    let words = passed_over
                        .iter()
                        .map(|word| format!("{word}; take {} speaks instead", take.facts.n))
                        .collect();
                    return (Ok(Found { take, ear }), words);
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
        found: Result<Found, Missing>,
        words: Vec<String>,
        opposite: OppositeExpectation,
    ) -> HeardReed {
        let place = self.reed(stroke);
        match found {
            Err(missing) => HeardReed { place, take: None, result: Err(missing), words },
            Ok(Found { take, ear }) => {
                let heard = ear.pitch();
                let expectation = Expectation { opposite, ..self.expectation(stroke, take) };
                let reading = match ear {
                    Ear::Live(live) => Ok(live.reading(opposite)),
                    Ear::Kept(kept) => match kept.reading(&opposite) {
                        Some(reading) => Ok(reading.clone()),
                        None => listen_to(take, &expectation).map(|live| live.reading(opposite)),
                    },
                };
                let result = reading.map(|reading| (reading, heard, expectation));
                HeardReed { place, take: Some(take.clone()), result, words }
            }
        }
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

impl Ear<'_> {
    fn pitch(&self) -> (Hz, Cents) {
        match self {
            Ear::Kept(kept) => kept.heard(),
            Ear::Live(live) => live.pitch(),
        }
    }
}

/// Whether the file still has the length the diary gives; `verify` looks at every byte.
pub(super) fn is_as_stored(take: &StoredTake) -> bool {
    std::fs::metadata(&take.path).is_ok_and(|found| found.len() == take.facts.bytes)
}

pub(super) fn listen_to(take: &StoredTake, expectation: &Expectation) -> Result<Heard, Missing> {
    let sound: Take = audio::read_file(&take.path).map_err(|error| Missing::Unreadable(error.to_string()))?;
    let remarks = sound
        .remarks
        .iter()
        .chain(take.facts.remarks.iter().filter(|remark| !sound.remarks.contains(remark)));
    let remarks = remarks.cloned().collect();
    let sound = Take { lossy: sound.lossy || take.facts.lossy, remarks, ..sound };
    analysis::listen(&sound, expectation).map_err(Missing::Refused)
}

fn pool() -> Result<rayon::ThreadPool, Error> {
    let cores = std::thread::available_parallelism().map_or(1, NonZero::get);
    // rayon's own variable overrules, for those who have the memory; the results are the same.
    let asked = std::env::var("RAYON_NUM_THREADS").ok().and_then(|count| count.parse().ok());
    let count = asked.filter(|count| (1..=64).contains(count)).unwrap_or(cores.min(PLATES_AT_ONCE));
    let pool = rayon::ThreadPoolBuilder::new().num_threads(count).build();
    pool.map_err(|error| Error::NoThreads(error.to_string()))
}
