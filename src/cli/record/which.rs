//! Which reeds a session plays: all that are due, or those that were asked for.

use std::collections::BTreeSet;

use super::{Arguments, Only};
use crate::analysis::Opposite;
use crate::cli::failure::Failure;
use crate::cli::pass;
use crate::evaluation::{Detail, PassChoice, PassView};
use crate::instrument::{PlaceError, ReedPlace};
use crate::job::Job;
use crate::judgement::{Missing, Verdict};
use crate::repair::{Standing, ValveVerdict};
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
            let chosen = chosen(job, pass, only)?;
            reeds.retain(|reed| chosen.contains(reed));
        }
    }
    Ok(reeds)
}

/// The reeds whose takes are doubtful, or whose valves show signs of a leak.
fn chosen(job: &Job, pass: &str, only: Only) -> Result<BTreeSet<ReedPlace>, Failure> {
    let told = pass::evaluate(job, &PassChoice::alone(pass), Detail::Findings)?;
    if only == Only::Leaks {
        return Ok(to_hear_again(&told.standing));
    }
    let PassView { readings, findings, .. } = told.later;
    let mut chosen = BTreeSet::new();
    for valve in &findings.valves {
        let place = ReedPlace { plate: valve.place.plate.clone(), stroke: valve.heard_on };
        let is_chosen = match valve.verdict {
            Verdict::NotJudged { .. } => only == Only::Doubtful,
            Verdict::Leaks | Verdict::Suspect | Verdict::NoSign | Verdict::Tight | Verdict::NoValve => false,
        };
        if is_chosen && readings.readings.get(&place).is_some_and(|reading| *reading != Err(Missing::NoTake))
        {
            chosen.insert(place);
        }
    }
    if only == Only::Doubtful {
        let doubtful = readings.readings.iter().filter(|(_, reading)| match reading {
            Ok(reading) => {
                !reading.warnings.is_empty()
                    || matches!(reading.opposite, Opposite::Unresolved { needs: Some(_), .. })
            }
            Err(missing) => *missing != Missing::NoTake,
        });
        chosen.extend(doubtful.map(|(place, _)| place.clone()));
    }
    Ok(chosen)
}

/// By all passes and notes: what leaks or may leak, and what was changed and not heard since.
fn to_hear_again(standing: &Standing) -> BTreeSet<ReedPlace> {
    use ValveVerdict::{Changed, Leaks, Suspect};
    let open = standing.valves.iter().filter(|valve| matches!(valve.state, Leaks | Suspect | Changed));
    open.map(|valve| valve.tested_by.clone()).collect()
}

fn wrong_place(error: PlaceError) -> Failure {
    Failure::bad_usage(error.to_string(), error.next())
}
