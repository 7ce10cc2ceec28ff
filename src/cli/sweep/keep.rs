//! A second pass over the recording, in which each placed note becomes a take.

use jiff::Timestamp;

use super::arguments::Arguments;

use crate::audio;
use crate::cli::failure::{Ended, Failure, print_error};
use crate::cli::{output, recorded};
use crate::evaluation::long_recording::{PlacedNote, Proposal};
use crate::job::{self, ClockFacts, CutFacts, JobWriter, NewTake, PassChange, Recorded, Stored, TakeFacts};
use crate::segmentation::Cuts;
use crate::take::Take;

/// What became of a row.
#[derive(Debug, Clone)]
pub(super) struct Kept {
    /// The word for it in JSON.
    pub state: &'static str,
    /// The stored file, seen from the job folder.
    pub take: Option<String>,
    /// Where it was before it was moved.
    pub was: Option<String>,
}

/// How the notes are stored.
struct How {
    pass: String,
    clock: Option<ClockFacts>,
    recorded: Option<Recorded>,
}

/// Store the placed notes; for each row what became of it.
pub(super) fn keep(
    arguments: &Arguments,
    change: &PassChange,
    proposal: &Proposal,
) -> Result<(Vec<Kept>, Ended), Failure> {
    let mut kept: Vec<Kept> = proposal
        .rows
        .iter()
        .map(|row| Kept { state: left_out(proposal, row, arguments.doubtful), take: None, was: None })
        .collect();
    let stretches: Vec<_> = proposal
        .rows
        .iter()
        .zip(&kept)
        .map(|(row, kept)| if kept.state.is_empty() { row.from..row.to } else { 0..0 })
        .collect();
    let mut ended = Ended::Done;
    if stretches.iter().all(|stretch| stretch.is_empty()) {
        return Ok((kept, ended));
    }
    let clock = arguments.clock.as_ref().map(|clock| clock.at(proposal.streamed.rate_hz)).transpose()?;
    let mut job = JobWriter::open(&arguments.folder)?;
    output::say_oddities(&job);
    let recorded = recorded::of_file(&arguments.file, None, arguments.recorded, change.date);
    let sounded = recorded.and_then(|told| told.before(Timestamp::now())).unwrap_or_else(Timestamp::now);
    // What was stored of it before is put right where it is.
    let is_bound = arguments.sealed || job.holds_sound(&arguments.pass.name, &proposal.sha256);
    let is_kept = proposal.rows.iter().zip(&kept).filter(|(_, kept)| kept.state.is_empty() && !is_bound);
    let takes: Vec<_> = is_kept.filter_map(|(row, _)| Some((row.place.clone()?, sounded))).collect();
    let pass = arguments.pass.open_for(&mut job, change, &takes)?.pass;
    let how = How { pass, clock, recorded };
    let channels = proposal.streamed.channels;
    let mut cuts = Cuts::new(&stretches, channels);
    let mut stop: Option<Failure> = None;
    let mut store = |job: &mut JobWriter, idx: usize, sound: Vec<f32>| {
        let Some(row) = proposal.rows.get(idx) else { return true };
        match store(job, arguments, &how, proposal, row, sound) {
            Ok(done) => kept.get_mut(idx).into_iter().for_each(|one| *one = done.clone()),
            Err(failure) => {
                ended = Ended::CouldNot;
                kept.get_mut(idx).into_iter().for_each(|one| one.state = "refused");
                print_error(failure.what(), failure.next());
                stop = Some(failure);
            }
        }
        stop.is_none()
    };
    audio::stream_file(&arguments.file, &mut |piece| {
        let goes_on = cuts.hear(piece.sound).into_iter().all(|(idx, sound)| store(&mut job, idx, sound));
        goes_on && !cuts.is_done()
    })?;
    for (idx, sound) in cuts.finish() {
        store(&mut job, idx, sound);
    }
    for one in kept.iter_mut().filter(|one| one.state.is_empty()) {
        one.state = "refused";
    }
    Ok((kept, ended))
}

/// Why a row is not stored; empty when it is to be.
fn left_out(proposal: &Proposal, row: &PlacedNote, doubtful: bool) -> &'static str {
    if row.place.is_none() {
        return "unplaced";
    }
    if !row.doubts.is_empty() && !doubtful {
        return "doubtful";
    }
    // The newest take of a reed speaks in the job too, so a worse one played later must not be it.
    match proposal.speaks_instead(row) {
        Some(speaks) if speaks.start_s < row.start_s && (doubtful || speaks.doubts.is_empty()) => {
            "earlier_speaks"
        }
        _ => "",
    }
}

fn store(
    job: &mut JobWriter,
    arguments: &Arguments,
    how: &How,
    proposal: &Proposal,
    row: &PlacedNote,
    sound: Vec<f32>,
) -> Result<Kept, Failure> {
    let Some(place) = row.place.clone() else {
        return Ok(Kept { state: "unplaced", take: None, was: None });
    };
    let (channels, rate_hz) = (proposal.streamed.channels.max(1), proposal.streamed.rate_hz);
    let channel = audio::clearest_channel(&sound, channels, rate_hz);
    let samples = sound.chunks_exact(channels).filter_map(|frame| frame.get(channel).copied());
    let mut take = Take::new(samples.collect(), rate_hz);
    drop(sound);
    if channels > 1 {
        take.remarks.push(format!("channel {} of {channels}, the clearest, was used", channel + 1));
    }
    take.remarks.extend(row.faults.iter().cloned());
    take.remarks.extend(row.doubts.iter().map(|doubt| format!("{}{doubt}", TakeFacts::DOUBT)));
    let why = match row.is_said {
        true => "the list of the long recording's notes says so".to_owned(),
        false => "its pitch and its turn in the long recording say so".to_owned(),
    };
    let seconds = |frame: u64| frame as f64 / f64::from(rate_hz);
    let cut = CutFacts {
        sha256: proposal.sha256.clone(),
        from_s: seconds(row.from),
        to_s: seconds(row.from + take.samples.len() as u64),
    };
    let new = NewTake {
        pass: how.pass.clone(),
        place: place.clone(),
        original: Some(proposal.name.clone()),
        extension: "wav".into(),
        why: why.clone(),
        lossy: proposal.streamed.lossy,
        remarks: std::mem::take(&mut take.remarks),
        clock: how.clock.clone(),
        recorded: how.recorded,
    };
    let bytes = audio::wav_bytes(&take)?;
    let stored = if arguments.sealed {
        job.store_sealed_cut(new, cut, &bytes)
    } else {
        job.store_cut(new, cut, &bytes)
    };
    let mut was = None;
    let (state, file) = match stored {
        Ok(Stored::New(stored)) => ("stored", stored.facts.file),
        // Stored in doubt before, and sure by now.
        Ok(Stored::Again(stored)) if stored.facts.doubts().next().is_some() && row.doubts.is_empty() => {
            job.move_take(&stored.facts.file, &place, &why)?;
            ("settled", stored.facts.file)
        }
        Ok(Stored::Again(stored)) => ("already_there", stored.facts.file),
        Ok(Stored::Restored(stored)) => ("restored", stored.facts.file),
        // A better order moves what the first one placed, and not what somebody has put there since.
        Err(job::Error::SameSound { file, place: before })
            if row.is_said
                || (arguments.order.is_some() && row.doubts.is_empty() && !job.is_placed_anew(&file)) =>
        {
            job.move_take(&file, &place, &why)?;
            was = Some(before);
            ("moved", file)
        }
        Err(job::Error::SameSound { file, .. }) => ("elsewhere", file),
        Err(job::Error::Withdrawn { file, .. }) => ("withdrawn", file),
        Err(error) => return Err(error.into()),
    };
    Ok(Kept { state, take: Some(file), was })
}
