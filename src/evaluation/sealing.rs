//! The sealing tests of a pass: their plays measured and judged together.

use rayon::prelude::*;

use crate::analysis::{Expectation, Play, PlayKind, Refusal, play_curves};
use crate::audio;
use crate::instrument::ReedPlace;
use crate::job::{BlownKind, Job, SealBenchFile, SealPart, SealState, StoredTake};
use crate::judgement::sealing::{Seal, SealPlay, SealSet, SealingFinding, judge_sealings, set_of};

/// The verdicts of a pass's sealing tests, in the plan's order; none where none was made. What cannot be read is told in
/// `words`.
pub(super) fn judged(job: &Job, pass: &str, words: &mut Vec<String>) -> Vec<SealingFinding> {
    let sets = sets_of_pass(job, pass, words);
    if sets.is_empty() {
        return Vec::new();
    }
    let bench = match SealBenchFile::open() {
        Ok(file) => file.bench(),
        Err(error) => {
            words.push(format!("sealing tests are judged without what was measured of this bench: {error}"));
            Default::default()
        }
    };
    judge_sealings(&sets, &bench)
}

/// Measure all plays of a pass's sealing tests.
///
/// Where a reed was played sealed only, as in a row's sealed pass, its ordinary takes of the pass are the open plays.
pub fn sets_of_pass(job: &Job, pass: &str, words: &mut Vec<String>) -> Vec<SealSet> {
    let ordinary = job.takes(pass);
    let tests: Vec<(ReedPlace, Vec<(StoredTake, SealPart)>)> = job
        .seal_plays(pass)
        .into_iter()
        .map(|(reed, takes)| {
            let part = |take: &StoredTake| SealPart {
                state: take.facts.sealed.unwrap_or(SealState::Open),
                kind: take.facts.kind,
            };
            let mut plays: Vec<(StoredTake, SealPart)> =
                takes.into_iter().map(|take| (take.clone(), part(&take))).collect();
            if plays.iter().all(|(_, part)| part.state == SealState::Sealed) {
                let open = ordinary.iter().find(|(there, _)| *there == reed);
                let open = open.into_iter().flat_map(|(_, takes)| takes.iter().cloned());
                let part = SealPart { state: SealState::Open, kind: None };
                plays = open.map(|take| (take, part)).chain(plays).collect();
            }
            (reed, plays)
        })
        .collect();
    let measured: Vec<(ReedPlace, Vec<SealPlay>, Vec<String>)> = tests
        .into_par_iter()
        .map(|(reed, plays)| {
            let mut unread = Vec::new();
            let plays = plays
                .into_iter()
                .filter_map(|(take, part)| match audio::read_file(&take.path) {
                    Ok(sound) => {
                        let expectation = Expectation {
                            pitch: job.instrument().target(&reed),
                            clock: take.facts.clock(),
                            ..Expectation::default()
                        };
                        Some(play(part, play_curves(&sound, &expectation)))
                    }
                    Err(error) => {
                        unread.push(format!("{reed}: a play of its sealing test cannot be read: {error}"));
                        None
                    }
                })
                .collect();
            (reed, plays, unread)
        })
        .collect();
    let mut sets = Vec::new();
    for (reed, plays, unread) in measured {
        words.extend(unread);
        sets.extend(set_of(job.instrument(), &reed, plays));
    }
    sets
}

fn play(part: SealPart, sound: Result<Play, Refusal>) -> SealPlay {
    SealPlay {
        seal: match part.state {
            SealState::Open => Seal::Open,
            SealState::Sealed => Seal::Sealed,
        },
        kind: part.kind.map(|kind| match kind {
            BlownKind::Held => PlayKind::Held,
            BlownKind::Swell => PlayKind::Swell,
        }),
        sound,
    }
}
