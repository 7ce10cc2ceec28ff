//! What the job knows of tuning: work between two passes, the goes with the file so far, bench against instrument.

use std::collections::BTreeMap;

use jiff::Timestamp;

use crate::instrument::{Instrument, Note, ReedPlace, Spot, Stroke};
use crate::job::recent;
use crate::job::{Event, Job, PlayFacts, StoredTake};
use crate::judgement::{PassReadings, Worked};
use crate::repair::{Mark, Work, summed_work};
use crate::tuning::{Go, Hand, Offsets, Pair};
use crate::units::{Cents, Hz, Measured};

/// A settled play lies so long after the play at once, s.
const SETTLED_S: f64 = 45.0;

/// Work on tongues noted after the takes of one pass and before those of another, and whether the plan's A4 was moved.
pub fn worked_between(job: &Job, earlier: &str, later: &str) -> Worked {
    let (before, after) = (heard_at(job, earlier), heard_at(job, later));
    let mut touched: BTreeMap<ReedPlace, Vec<Work>> = BTreeMap::new();
    for mark in job.marks().into_iter().filter(|mark| !mark.undone && is_on_tongue(&mark.work)) {
        for reed in reeds_of(job.instrument(), &mark) {
            let window = before.get(&reed).zip(after.get(&reed));
            if window.is_some_and(|(before, after)| before < after && mark.at > *before && mark.at <= *after)
            {
                touched.entry(reed).or_default().push(mark.work.clone());
            }
        }
    }
    let touched = touched.into_iter().map(|(reed, work)| (reed, summed_work(&work))).collect();
    let reference = |pass: &str| Hz::new(job.pass(pass).ok()?.reference_hz?);
    let moved = reference(earlier).zip(reference(later)).map(|(before, after)| after.cents_above(before));
    Worked { touched, target_moved: moved.filter(|moved| moved.abs().get() > 0.01) }
}

/// When the newest take of each reed of a pass was stored.
fn heard_at(job: &Job, pass: &str) -> BTreeMap<ReedPlace, Timestamp> {
    let newest = |takes: &[StoredTake]| takes.iter().map(|take| take.at).max();
    job.takes(pass).into_iter().filter_map(|(place, takes)| Some((place, newest(&takes)?))).collect()
}

fn is_on_tongue(work: &Work) -> bool {
    matches!(work, Work::Filed(_) | Work::Tuned | Work::Soldered)
}

fn reeds_of(instrument: &Instrument, mark: &Mark) -> Vec<ReedPlace> {
    let of_spot = |spot: &Spot| match spot {
        Spot::Reed(reed) => vec![reed.clone()],
        Spot::Plate(plate) => Stroke::BOTH.map(|stroke| ReedPlace { plate: plate.clone(), stroke }).to_vec(),
        Spot::Valve(_) => Vec::new(),
    };
    let is_there = |reed: &ReedPlace| instrument.target(reed).is_some();
    mark.spots.iter().flat_map(of_spot).filter(is_there).collect()
}

fn note_of(instrument: &Instrument, place: &ReedPlace) -> Option<Note> {
    let (_, _, plate) = instrument.plate(&place.plate)?;
    Some((*plate.reeds.on(place.stroke))?.note)
}

fn pitch_of(play: &PlayFacts) -> Option<(Hz, f64)> {
    Some((Hz::new(play.f0_hz)?, play.uncertainty_cents))
        .filter(|(_, doubt)| doubt.is_finite() && *doubt >= 0.0)
}

/// Marks that were put right: taken back, and another one written at once at the same places.
fn replaced(job: &Job) -> BTreeMap<u32, u32> {
    let mut replaced: BTreeMap<u32, u32> = BTreeMap::new();
    for pair in job.diary().windows(2) {
        let [Event::Undone(undone), Event::Mark(mark)] = [&pair[0].event, &pair[1].event] else { continue };
        // A mark that was put right twice is the last one.
        replaced.values_mut().filter(|to| **to == undone.n).for_each(|to| *to = mark.n);
        replaced.insert(undone.n, mark.n);
    }
    replaced
}

/// Every go with the file that was played before and after, from the diary; goes that were taken back teach nothing.
pub fn goes(job: &Job) -> Vec<Go> {
    let marks: BTreeMap<u32, Mark> = job.marks().into_iter().map(|mark| (mark.n, mark)).collect();
    let replaced = replaced(job);
    let mut last: BTreeMap<String, (Hz, f64, Option<u32>)> = BTreeMap::new();
    let mut goes = Vec::new();
    for play in &job.plays() {
        let Some((pitch, doubt)) = pitch_of(play) else { continue };
        let before = last.insert(play.place.clone(), (pitch, doubt, play.after_mark));
        let (Some((from, from_doubt, before_mark)), Some(n)) = (before, play.after_mark) else { continue };
        let n = replaced.get(&n).copied().unwrap_or(n);
        let Some(mark) = marks.get(&n).filter(|mark| !mark.undone && before_mark != play.after_mark) else {
            continue;
        };
        let Work::Filed(filing) = &mark.work else { continue };
        let Ok(place) = job.instrument().reed_place(&play.place) else { continue };
        let (Some(note), Some(strokes)) = (note_of(job.instrument(), &place), filing.strokes) else {
            continue;
        };
        let hand =
            Hand { by: filing.by.clone().unwrap_or_default(), tool: filing.tool.clone().unwrap_or_default() };
        let uncertainty = Cents::new(doubt.hypot(from_doubt)).unwrap_or(Cents::ZERO);
        let moved = Measured { value: pitch.cents_above(from), uncertainty };
        // How light a light stroke was, the mark does not say.
        let strokes = if strokes == 0 { 0.5 } else { f64::from(strokes) };
        goes.push(Go { place, note, hand, part: filing.part, strokes, moved });
    }
    goes
}

/// Goes of the same hand in the jobs that were opened last, but this one; their reeds are told apart from this job's. None
/// for a hand without a name. Jobs that cannot be read teach nothing.
pub fn goes_elsewhere(job: &Job, hand: &Hand) -> Vec<Go> {
    if hand.by.is_empty() {
        return Vec::new();
    }
    let others = recent::jobs().into_iter().filter(|other| !recent::is_same(&other.folder, job.folder()));
    let opened = others.filter_map(|other| Job::open(&other.folder).ok().map(|job| (other.folder, job)));
    let of_hand = opened.flat_map(|(folder, job)| {
        let elsewhere = move |mut go: Go| {
            go.place.plate.block = format!("{}: {}", folder.display(), go.place.plate.block);
            go
        };
        goes(&job).into_iter().map(elsewhere)
    });
    of_hand.filter(|go| go.hand == *hand).collect()
}

/// What reeds gained between the play at once after a go and the last one after settling, from the diary.
pub fn gains(job: &Job) -> Vec<Measured> {
    let mut at_once: BTreeMap<(String, u32), (Hz, f64)> = BTreeMap::new();
    let mut gains: BTreeMap<(String, u32), Measured> = BTreeMap::new();
    for play in &job.plays() {
        let (Some(n), Some((pitch, doubt))) = (play.after_mark, pitch_of(play)) else { continue };
        let key = (play.place.clone(), n);
        match (play.settled_s, at_once.get(&key)) {
            (Some(settled_s), Some((from, from_doubt))) if settled_s >= SETTLED_S => {
                let uncertainty = Cents::new(doubt.hypot(*from_doubt)).unwrap_or(Cents::ZERO);
                gains.insert(key, Measured { value: pitch.cents_above(*from), uncertainty });
            }
            // It counts anew from each play after which more was to be filed.
            (Some(settled_s), Some(_)) if settled_s > 0.0 => {}
            _ => {
                at_once.insert(key, (pitch, doubt));
            }
        }
    }
    gains.into_values().collect()
}

/// What each reed sounds higher in the instrument than on the bench, by two passes with no work on its tongue between them.
///
/// Reeds of the same rank and stroke that were measured in one pass only get the rank's curve.
pub fn bench_offsets(
    instrument: &Instrument,
    bench: &PassReadings,
    at_home: &PassReadings,
    worked: &Worked,
) -> BTreeMap<ReedPlace, Measured> {
    let mut offsets = BTreeMap::new();
    let both = |place: &ReedPlace| -> Option<Measured> {
        let pick = |pass: &'_ PassReadings| pass.readings.get(place)?.as_ref().ok().cloned();
        let (bench, home) = (pick(bench)?, pick(at_home)?);
        let uncertainty = Cents::new(bench.uncertainty.get().hypot(home.uncertainty.get()))?;
        Some(Measured { value: home.f0.cents_above(bench.f0), uncertainty })
    };
    let reeds: Vec<(ReedPlace, f64)> =
        instrument.reeds().map(|(place, reed)| (place, f64::from(reed.note.number()))).collect();
    let rank_of = |place: &ReedPlace| (place.plate.block.clone(), place.plate.row.clone(), place.stroke);
    let mut ranks: Vec<_> = reeds.iter().map(|(place, _)| rank_of(place)).collect();
    ranks.dedup();
    ranks.sort();
    ranks.dedup();
    for rank in ranks {
        let here: Vec<&(ReedPlace, f64)> = reeds.iter().filter(|(place, _)| rank_of(place) == rank).collect();
        let pairs: Vec<(usize, Pair)> = (here.iter().enumerate())
            .filter(|(_, (place, _))| !worked.touched.contains_key(place))
            .filter_map(|(index, (place, note))| Some((index, Pair { note: *note, offset: both(place)? })))
            .collect();
        let only: Vec<Pair> = pairs.iter().map(|(_, pair)| *pair).collect();
        let Some(learnt) = Offsets::learn(&only) else { continue };
        for (index, (place, note)) in here.iter().enumerate() {
            let own = pairs.iter().position(|(at, _)| *at == index).and_then(|at| learnt.of_pair(at));
            offsets.insert(place.clone(), own.unwrap_or_else(|| learnt.of_note(*note)));
        }
    }
    offsets
}
