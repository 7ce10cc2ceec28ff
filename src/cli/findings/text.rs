//! Findings for a person: what to do next first, the tables after it.

use super::remarks::warnings;
use crate::cli::failure::Failure;
use crate::cli::output::{line, signed};
use crate::evaluation::Evaluation;
use crate::instrument::Face;
use crate::job::Job;
use crate::judgement::{
    Comparison, Findings, MeasuredAt, Missing, ReedChange, ReedFinding, ReedPitch, Tune, ValveChange,
    ValveFinding, Verdict,
};
use crate::report::{Hazard, caution};
use crate::tuning::{Goal, rank_pairs, responses};
use crate::units::Cents;

/// Reeds without a take that are listed a line each; more of them share lines.
const NAMED_ALONE: usize = 6;
/// Longest line of a list of places, characters.
const WIDEST_LIST: usize = 90;

pub(super) fn print(job: &Job, told: &Evaluation, goals: &[Goal]) -> Result<(), Failure> {
    let Findings { reeds, valves, swaps, shifts, .. } = &told.later.findings;
    heading(job, told)?;
    let instrument = job.instrument();
    super::standing_pitch::Choice::of(instrument, &told.later.findings, goals).print(instrument)?;
    let with = |wanted: fn(&Verdict) -> bool| -> Vec<&ValveFinding> {
        valves.iter().filter(|valve| wanted(&valve.verdict)).collect()
    };
    leaks(&with(|verdict| *verdict == Verdict::Leaks))?;
    section("Listen again", &with(|verdict| *verdict == Verdict::Suspect), valve_lines)?;
    tuning(reeds)?;
    super::beating::print(&rank_pairs(instrument, &told.later.findings), &told.later.together)?;
    super::speech::print(&responses(instrument, &told.later.readings))?;
    section("Plates that may lie in each other's place", swaps, |swap| {
        let places: Vec<String> = swap.places.iter().map(ToString::to_string).collect();
        let doubt = if swap.sure { "" } else { " (only one of them was heard out of its place)" };
        let next = if swap.sure { "put them right before tuning" } else { "look at them before tuning" };
        vec![format!("{}{doubt}: {next}", places.join(" and "))]
    })?;
    not_measured(told)?;
    // A valve whose take is missing is in the list above already.
    let heard = |valve: &&ValveFinding| {
        reeds.iter().any(|reed| {
            reed.place.plate == valve.place.plate
                && reed.place.stroke == valve.heard_on
                && reed.pitch.is_err()
        })
    };
    let untold: Vec<&ValveFinding> = with(|verdict| matches!(verdict, Verdict::NotJudged { .. }))
        .into_iter()
        .filter(|valve| !heard(valve))
        .collect();
    section("Valves not judged", &untold, valve_lines)?;
    section("Sealing tests", &told.later.readings.sealings, crate::cli::sealing_words::lines)?;
    section("To bear in mind", &warnings(job, told), |warning| vec![warning.clone()])?;
    if let Some(comparison) = &told.comparison {
        changes(comparison)?;
    }
    reed_table(reeds, shifts)?;
    valve_table(valves)
}

fn heading(job: &Job, told: &Evaluation) -> Result<(), Failure> {
    let Findings { pass, reeds, .. } = &told.later.findings;
    let heard = reeds.iter().filter(|reed| reed.pitch.is_ok()).count();
    line(job.title())?;
    let mut text = format!("Pass `{pass}`: {heard} of {} reeds heard", reeds.len());
    if let Some(temperature) = told.later.readings.temperature_c {
        text += &format!(", {temperature} °C");
    }
    text += match told.later.readings.measured_at {
        Some(MeasuredAt::Instrument) => ", in the instrument",
        Some(MeasuredAt::Bench) => ", on a test bench",
        None => "",
    };
    line(&text)
}

fn leaks(leaks: &[&ValveFinding]) -> Result<(), Failure> {
    section("Valves with signs of a leak", leaks, valve_lines)?;
    if leaks.is_empty() {
        return Ok(());
    }
    line(&format!("  caution: {}", caution(Hazard::Solvent)))?;
    if leaks.iter().any(|valve| valve.lift_plate()) {
        line(&format!("  caution: {}", caution(Hazard::Heat)))?;
    }
    line(&format!("  caution: {}", caution(Hazard::Knife)))
}

fn valve_lines(valve: &&ValveFinding) -> Vec<String> {
    let reach = match valve.place.face {
        Face::Outer => "plate stays",
        Face::Inner => "lift the plate",
    };
    let mut lines = vec![format!("{} ({reach}; heard on {}): {}", valve.place, valve.heard_on, valve.reason)];
    if !valve.next.is_empty() {
        lines.push(format!("    {}", valve.next));
    }
    lines
}

fn tuning(reeds: &[ReedFinding]) -> Result<(), Failure> {
    let due: Vec<(&ReedFinding, &ReedPitch)> = reeds
        .iter()
        .filter_map(|reed| Some((reed, reed.pitch.as_ref().ok()?)))
        .filter(|(_, pitch)| matches!(pitch.tune, Some(Tune::Raise | Tune::Lower)))
        .collect();
    section("Reeds out of tolerance", &due, |(reed, pitch)| {
        let what = if pitch.tune == Some(Tune::Raise) { "raise" } else { "lower" };
        vec![format!(
            "{:<16} {:<4} {what}   {:>6} ± {:.1} cents   {:>5.2} beats/s against the target",
            reed.place,
            reed.note,
            signed(pitch.deviation.value.get(), 1),
            pitch.deviation.uncertainty.get(),
            pitch.f0.beat_rate(reed.target),
        )]
    })?;
    if due.is_empty() { Ok(()) } else { line(&format!("  caution: {}", caution(Hazard::File))) }
}

/// Reeds without a pitch: a take that gave none with its reason, and what is still to be recorded.
fn not_measured(told: &Evaluation) -> Result<(), Failure> {
    let missing: Vec<&ReedFinding> =
        told.later.findings.reeds.iter().filter(|reed| reed.pitch.is_err()).collect();
    let reason = |reed: &ReedFinding| reed.pitch.as_ref().err().cloned().unwrap_or_default();
    let is_taken = |reed: &&&ReedFinding| {
        !matches!(told.later.readings.readings.get(&reed.place), None | Some(Err(Missing::NoTake)))
    };
    let (taken, untaken): (Vec<&ReedFinding>, Vec<&ReedFinding>) =
        missing.iter().partition(|reed| is_taken(reed));
    if missing.is_empty() {
        return Ok(());
    }
    line("")?;
    line(&format!("Not measured ({})", missing.len()))?;
    for reed in taken {
        line(&format!("  {}: {}; record it again", reed.place, reason(reed)))?;
    }
    if untaken.len() <= NAMED_ALONE {
        return untaken.iter().try_for_each(|reed| line(&format!("  {}: {}", reed.place, reason(reed))));
    }
    line(&format!("  {} have no take in this pass:", untaken.len()))?;
    let mut row = String::new();
    for reed in untaken {
        let place = reed.place.to_string();
        if !row.is_empty() && row.chars().count() + place.chars().count() > WIDEST_LIST {
            line(&format!("    {row}"))?;
            row.clear();
        }
        row = if row.is_empty() { place } else { format!("{row}, {place}") };
    }
    line(&format!("    {row}"))
}

fn changes(comparison: &Comparison) -> Result<(), Failure> {
    let Comparison { earlier, later, valves, reeds, .. } = comparison;
    use ValveChange::{CannotTell, Cured, NewlyLeaks, StillLeaks, StillNoSign};
    line("")?;
    line(&format!("From `{earlier}` to `{later}`"))?;
    for (change, words) in [
        (StillLeaks, "still leaks"),
        (NewlyLeaks, "newly leaks"),
        (CannotTell, "cannot tell"),
        (Cured, "cured"),
    ] {
        for valve in valves.iter().filter(|valve| valve.change == change) {
            line(&format!("  {:<16} {words}: {}", valve.place, valve.reason))?;
        }
    }
    let quiet = valves.iter().filter(|valve| valve.change == StillNoSign).count();
    line(&format!("  {quiet} of {} valves showed no sign before and show none now", valves.len()))?;
    if reeds.is_empty() {
        return Ok(());
    }
    line("")?;
    line("How reeds moved, cents: in all = by temperature + with the whole block + the reed itself")?;
    line(&format!(
        "{:<16} {:>9} {:>13} {:>12} {:>9}",
        "Reed", "in all", "temperature", "whole block", "itself"
    ))?;
    for reed in reeds {
        line(&change_line(reed))?;
    }
    Ok(())
}

fn change_line(reed: &ReedChange) -> String {
    let part = |part: Option<Cents>| part.map_or("not known".to_string(), |part| signed(part.get(), 2));
    let itself = match &reed.astray_in {
        Some(pass) => format!("another plate lies here in `{pass}`"),
        None => format!("{:>9} ± {:.2}", signed(reed.own.value.get(), 2), reed.own.uncertainty.get()),
    };
    let in_all = signed(reed.change.value.get(), 2);
    let work = if reed.work.is_empty() { String::new() } else { format!("   {}", reed.work.join(", ")) };
    format!(
        "{:<16} {in_all:>9} {:>13} {:>12} {itself}{work}",
        reed.place,
        part(reed.temperature),
        part(reed.common_shift),
    )
}

fn reed_table(reeds: &[ReedFinding], shifts: &[(String, Cents)]) -> Result<(), Failure> {
    line("")?;
    line("Reeds            note     target Hz      pitch Hz    cents     ±")?;
    for reed in reeds {
        let start = format!("{:<16} {:<4} {:>13.3}", reed.place, reed.note, reed.target.get());
        match &reed.pitch {
            Ok(pitch) => {
                line(&format!(
                    "{start} {:>13.3} {:>8} {:>5.2}",
                    pitch.f0.get(),
                    signed(pitch.deviation.value.get(), 2),
                    pitch.deviation.uncertainty.get()
                ))?;
            }
            Err(_) => line(&format!("{start}  not measured"))?,
        }
        for warning in &reed.warnings {
            line(&format!("    {warning}"))?;
        }
    }
    for (block, shift) in shifts {
        line(&format!("block `{block}` as a whole: {} cents (median)", signed(shift.get(), 2)))?;
    }
    Ok(())
}

fn valve_table(valves: &[ValveFinding]) -> Result<(), Failure> {
    line("")?;
    line("Valves           verdict       why")?;
    for valve in valves.iter().filter(|valve| valve.verdict != Verdict::NoValve) {
        line(&format!("{:<16} {:<13} {}", valve.place, valve.verdict.as_str(), valve.reason))?;
    }
    Ok(())
}

/// A titled list, left out when it is empty.
fn section<T>(title: &str, items: &[T], lines: impl Fn(&T) -> Vec<String>) -> Result<(), Failure> {
    if items.is_empty() {
        return Ok(());
    }
    line("")?;
    line(&format!("{title} ({})", items.len()))?;
    for item in items {
        for text in lines(item) {
            line(&format!("  {text}"))?;
        }
    }
    Ok(())
}
