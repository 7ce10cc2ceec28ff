//! What several parts of the page look up in the open job: places as typed, the pass for new takes, files of its folder.

use std::path::{Path, PathBuf};

use super::Error;
use crate::instrument::{PlatePlace, Spot};
use crate::job::{self, Event, Job};
use crate::repair::Work;

/// The places as typed, each once.
pub(super) fn spots_in(job: &Job, places: &str) -> Result<Vec<Spot>, Error> {
    let mut spots: Vec<Spot> = Vec::new();
    for place in places.split(',').map(str::trim).filter(|place| !place.is_empty()) {
        for spot in job.instrument().spots(place)? {
            if !spots.contains(&spot) {
                spots.push(spot);
            }
        }
    }
    Ok(spots)
}

/// The pass that new takes go to by default: the newest one while no work was noted since its last take, else a new one.
pub(super) fn running_pass(job: &Job) -> String {
    let Some(newest) = job.passes().pop() else { return "before".into() };
    let last_take = job.diary().iter().rev().find_map(|line| match &line.event {
        Event::Take(take) if take.pass == newest.pass => Some(line.at),
        _ => None,
    });
    let changes = |work: &Work| {
        matches!(
            work,
            Work::ValveFitted { .. }
                | Work::ValveOff { .. }
                | Work::SpringFitted
                | Work::Filed(_)
                | Work::Soldered
                | Work::Tuned
        )
    };
    let is_worked_on = last_take.is_some_and(|last| {
        job.marks().iter().any(|mark| !mark.undone && mark.at > last && changes(&mark.work))
    });
    if is_worked_on { free_pass(job) } else { newest.pass }
}

/// The pass to record a plate in once more: takes of it that are there already stay as they are.
pub(super) fn pass_for(job: &Job, plate: &PlatePlace) -> String {
    let running = running_pass(job);
    let is_taken =
        job.takes(&running).iter().any(|(place, takes)| place.plate == *plate && !takes.is_empty());
    if is_taken { free_pass(job) } else { running }
}

/// A name no pass has yet.
fn free_pass(job: &Job) -> String {
    let names: Vec<String> = job.passes().into_iter().map(|facts| facts.pass).collect();
    let mut wanted = std::iter::once("after".to_owned()).chain((2..).map(|n| format!("after-{n}")));
    wanted.find(|name| !names.contains(name)).unwrap_or_else(|| "after".into())
}

/// What tells one text of the plan from another.
pub(super) fn seen(job: &Job) -> String {
    let text = job.plan_text();
    // FNV-1a: nobody forges a plan against its own page.
    let hash = text.bytes().fold(0xcbf2_9ce4_8422_2325_u64, |hash, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
    });
    format!("{hash:016x}")
}

/// A file that lies in the job's folder with all links followed.
pub(super) fn inside_job(job: &Job, path: &Path) -> Option<Vec<u8>> {
    let real = |path: &Path| -> Option<PathBuf> { path.canonicalize().ok() };
    let (file, folder) = real(path).zip(real(job.folder()))?;
    // Reading a pipe would hold us for ever.
    if file.starts_with(folder) { job::read_plain(&file).ok().flatten() } else { None }
}
