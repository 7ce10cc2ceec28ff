//! The invented job put into a folder.

use std::path::Path;

use super::{PASSES, PLAN, seal_plays, takes};
use crate::audio;
use crate::job::{Error, Job, JobWriter, NewTake, PassChange, SealPart, SealState};
use crate::take::Take;

/// The first pass once more, as it would be in one long recording.
const WHOLE: &str = "whole-before.wav";

/// Make the job with every take in `folder`, which is new or empty; gives how many takes there are.
pub fn make(folder: &Path) -> Result<usize, Error> {
    Job::create(folder, PLAN)?;
    let mut job = JobWriter::open(folder)?;
    let workbench = tempfile::tempdir().map_err(|source| made(&std::env::temp_dir(), source))?;
    let sound_file = workbench.path().join("take.wav");
    let mut n_takes = 0;
    for pass in PASSES {
        let change = PassChange { temperature_c: Some(pass.temperature_c), ..PassChange::default() };
        job.open_pass(pass.name, &change)?;
        let ordinary = takes(job.instrument(), &pass).into_iter().map(|(place, take)| (place, None, take));
        let plays = seal_plays(job.instrument(), &pass).into_iter().map(|(place, is_sealed, take)| {
            let state = if is_sealed { SealState::Sealed } else { SealState::Open };
            (place, Some(SealPart { state, kind: None }), take)
        });
        for (place, part, take) in ordinary.chain(plays).collect::<Vec<_>>() {
            let new = NewTake {
                pass: pass.name.to_owned(),
                place,
                original: None,
                extension: "wav".to_owned(),
                why: "invented for the demo".to_owned(),
                lossy: false,
                remarks: Vec::new(),
                clock: None,
                recorded: None,
            };
            let bytes = wav(&take, folder)?;
            std::fs::write(&sound_file, bytes).map_err(|source| made(&sound_file, source))?;
            match part {
                Some(part) => job.store_seal_file(new, part, &sound_file)?,
                None => job.store_file(new, &sound_file)?,
            };
            n_takes += 1;
        }
    }
    write_whole(&job, folder)?;
    Ok(n_takes)
}

fn made(file: &Path, source: std::io::Error) -> Error {
    Error::Io { doing: "made", file: file.to_owned(), source }
}

fn wav(take: &Take, folder: &Path) -> Result<Vec<u8>, Error> {
    audio::wav_bytes(take).map_err(|error| Error::Io {
        doing: "written",
        file: folder.to_owned(),
        source: std::io::Error::other(error),
    })
}

/// The first pass in one long recording, to try `sweep` on.
fn write_whole(job: &Job, folder: &Path) -> Result<(), Error> {
    let mut whole: Option<Take> = None;
    for (_, take) in PASSES.first().map_or(Vec::new(), |pass| takes(job.instrument(), pass)) {
        match &mut whole {
            Some(whole) => whole.samples.extend(take.samples),
            None => whole = Some(take),
        }
    }
    let Some(whole) = whole else { return Ok(()) };
    let file = folder.join(WHOLE);
    let bytes = wav(&whole, folder)?;
    std::fs::write(&file, bytes).map_err(|source| Error::Io { doing: "written", file, source })
}
