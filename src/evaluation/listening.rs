//! Listen to passes: their takes in, a reading or a reason for each reed out, with the pictures and clips that need the
//! same sound.
//!
//! Two strokes of a plate are heard first, then each is told the other's pitch to look for. Plates go in parallel,
//! a few at a time, so that memory grows with the longest take and not with their number; the result does not depend
//! on how many go at once. A plate is heard in all passes before the next one, so that no take is decoded twice.

use std::collections::BTreeMap;
use std::num::NonZero;

use rayon::prelude::*;

use super::detail::Detail;
use super::plate::{PlateHeard, PlateListener, PlateTakes};
use super::together::heard_together;
use super::view::{ListenedPass, clock_words};
use super::{EvaluationError, sealing};
use crate::instrument::{Plate, PlatePlace, ReedPlace};
use crate::job::{Job, MeasuredIn, PassFacts, Readings, StoredTake};
use crate::judgement::{MeasuredAt, PassReadings};
use crate::report::ReedCloseUp;

/// Plates that are listened to at once, at most: each holds two takes, about 20 MB for 4 s at 48 kHz, and a pass must
/// stay under 64 MB (`tests/memory/processes.rs`).
const PLATES_AT_ONCE: usize = 2;

/// A pass to be listened to.
pub(super) struct WantedPass {
    pub facts: PassFacts,
    /// Whether it is shown: only then are pictures and clips made of its takes.
    pub is_shown: bool,
}

/// What was heard in all of them.
pub(super) struct Listened {
    /// In the order they were wanted.
    pub passes: Vec<ListenedPass>,
    /// Of every reed beside which another one was heard in a pass that is shown.
    pub close_ups: Vec<ReedCloseUp>,
    /// Words on the kept readings.
    pub words: Vec<String>,
}

/// Listen to every reed that has a take in one of the passes; of several takes the newest good one speaks.
///
/// `after_plate` is called once for each plate of the plan, from any thread.
pub(super) fn listen(
    job: &Job,
    wanted: &[WantedPass],
    detail: Detail,
    after_plate: &(dyn Fn() + Sync),
) -> Result<Listened, EvaluationError> {
    let takes: Vec<BTreeMap<ReedPlace, Vec<StoredTake>>> =
        wanted.iter().map(|pass| job.takes(&pass.facts.pass).into_iter().collect()).collect();
    let (mut kept, damage) = Readings::of(job);
    let plates: Vec<(PlatePlace, &Plate)> =
        job.instrument().plates().map(|(place, _, _, plate)| (place, plate)).collect();
    let listen_to = |(place, plate): &(PlatePlace, &Plate)| {
        let listener = PlateListener { instrument: job.instrument(), kept: &kept, place, plate, detail };
        let passes = wanted.iter().zip(&takes).map(|(pass, takes)| PlateTakes {
            pass: &pass.facts.pass,
            takes,
            is_shown: pass.is_shown,
        });
        let heard = listener.listen(&passes.collect::<Vec<_>>());
        after_plate();
        heard
    };
    let heard: Vec<PlateHeard> = pool()?.install(|| plates.par_iter().map(listen_to).collect());

    let mut words: Vec<String> = damage.into_iter().collect();
    let mut passes: Vec<ListenedPass> = wanted.iter().map(|pass| ListenedPass::new(&pass.facts)).collect();
    let mut close_ups = Vec::new();
    for plate in heard {
        close_ups.extend(plate.close_ups);
        for (pass, reeds) in passes.iter_mut().zip(plate.passes) {
            for reed in reeds {
                if let (Some(take), Ok((reading, pitch, expectation))) = (&reed.take, &reed.result) {
                    kept.keep(&take.facts.sha256, expectation, *pitch, reading);
                }
                for other in &reed.further {
                    kept.keep(&other.sha256, &other.expectation, other.pitch, &other.reading);
                }
                pass.add(reed);
            }
        }
    }
    for (pass, wanted) in passes.iter_mut().zip(wanted) {
        if wanted.is_shown {
            pass.together = heard_together(job, &pass.readings);
        }
        pass.clocks = clock_words(pass);
        pass.readings.sealings = sealing::judged(job, &pass.readings.name, &mut pass.words);
        let plays = job.seal_plays(&pass.readings.name).into_iter();
        pass.plays = plays.filter_map(|(reed, plays)| Some((reed, plays.into_iter().next_back()?))).collect();
    }
    if let Err(error) = kept.save(job) {
        words.push(format!("the readings could not be kept for the next time: {error}"));
    }
    Ok(Listened { passes, close_ups, words })
}

impl ListenedPass {
    fn new(facts: &PassFacts) -> Self {
        let measured_at = match facts.place {
            MeasuredIn::Instrument => MeasuredAt::Instrument,
            MeasuredIn::Bench => MeasuredAt::Bench,
        };
        let readings = PassReadings {
            name: facts.pass.clone(),
            temperature_c: facts.temperature_c.filter(|value| value.is_finite()),
            measured_at: Some(measured_at),
            readings: BTreeMap::new(),
            further: BTreeMap::new(),
            sealings: Vec::new(),
        };
        Self {
            readings,
            takes: BTreeMap::new(),
            plays: BTreeMap::new(),
            together: Vec::new(),
            clips: BTreeMap::new(),
            clocks: Vec::new(),
            words: Vec::new(),
        }
    }
}

fn pool() -> Result<rayon::ThreadPool, EvaluationError> {
    let cores = std::thread::available_parallelism().map_or(1, NonZero::get);
    // rayon's own variable overrules, for those who have the memory; the results are the same.
    let asked = std::env::var("RAYON_NUM_THREADS").ok().and_then(|count| count.parse().ok());
    let count = asked.filter(|count| (1..=64).contains(count)).unwrap_or(cores.min(PLATES_AT_ONCE));
    let pool = rayon::ThreadPoolBuilder::new().num_threads(count).build();
    pool.map_err(|error| EvaluationError::NoThreads(error.to_string()))
}
