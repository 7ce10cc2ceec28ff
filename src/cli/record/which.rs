//! Which reeds a session plays: all that are due, or those that were asked for.

use std::collections::BTreeSet;

use super::{Arguments, Only};
use crate::cli::failure::Failure;
use crate::cli::pass;
use crate::evaluation::{Detail, PassChoice};
use crate::instrument::{PlaceError, ReedPlace};
use crate::job::Job;
use crate::session::{Sequence, reeds_in, still_due};

/// The reeds to be played, in order.
pub(super) fn reeds(arguments: &Arguments, job: &Job, pass: &str) -> Result<Vec<ReedPlace>, Failure> {
    let order = match arguments.order.trim().to_lowercase().as_str() {
        "plates" => Sequence::Plates,
        "strokes" => Sequence::Strokes,
        _ => Sequence::Listed(arguments.order.clone()),
    };
    let mut reeds = reeds_in(job.instrument(), &order).map_err(wrong_place)?;
    let from = arguments.from.as_deref().map(|from| job.instrument().reed_place(from)).transpose();
    if let Some(from) = from.map_err(wrong_place)? {
        let Some(at) = reeds.iter().position(|reed| *reed == from) else {
            let what = format!("`{from}` is not among the reeds of `--order {}`", arguments.order);
            return Err(Failure::bad_usage(what, "begin at a reed of that order, or leave `--order` out"));
        };
        reeds.drain(..at);
    }
    match arguments.only {
        None if arguments.from.is_some() => {}
        None => return Ok(still_due(job, pass, &reeds)),
        Some(Only::Missing) => {
            let taken: BTreeSet<ReedPlace> = job.takes(pass).into_iter().map(|(place, _)| place).collect();
            reeds.retain(|reed| !taken.contains(reed));
        }
        Some(only) => {
            let told = pass::evaluate(job, &PassChoice::alone(pass), Detail::Findings)?;
            let chosen = if only == Only::Leaks { told.to_hear_again() } else { told.later.doubtful_reeds() };
            reeds.retain(|reed| chosen.contains(reed));
        }
    }
    Ok(reeds)
}

fn wrong_place(error: PlaceError) -> Failure {
    Failure::bad_usage(error.to_string(), error.next())
}
