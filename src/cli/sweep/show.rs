//! What was found, in words and in JSON.

use serde_json::json;

use super::arguments::Arguments;
use super::draw::Pictures;
use super::keep::Kept;

use super::words::{count_words, counted, order_words, placed_otherwise, rival_words};
use crate::cli::failure::Failure;
use crate::cli::output;
use crate::evaluation::long_recording::{PlacedNote, Proposal};
use crate::segmentation::NoNote;
use crate::units::{Cents, Hz};

pub(super) fn show(
    arguments: &Arguments,
    proposal: &Proposal,
    kept: Option<&[Kept]>,
    pictures: &Pictures,
) -> Result<(), Failure> {
    if arguments.json {
        as_json(proposal, kept, pictures)?;
    } else {
        as_table(proposal, kept)?;
    }
    say_around(arguments, proposal, kept, pictures);
    Ok(())
}

fn as_table(proposal: &Proposal, kept: Option<&[Kept]>) -> Result<(), Failure> {
    let width =
        proposal.rows.iter().filter_map(|row| row.place.as_ref()).map(|place| place.to_string().len());
    let width = width.max().unwrap_or(0).max(8);
    output::line(&format!("   from s     to s       pitch  {:width$}  cents off", "place"))?;
    for (idx, row) in proposal.rows.iter().enumerate() {
        let pitch = row.pitch.map_or(String::new(), |pitch| pitch.to_string());
        let place = row.place.as_ref().map_or("no place".into(), ToString::to_string);
        let off = row.deviation.map_or(String::new(), |off| output::signed(off.get(), 1));
        let state = kept.and_then(|kept| kept.get(idx)).map(state_words);
        let remarks: Vec<String> =
            doubts(row).into_iter().chain(instead(proposal, row)).chain(state).collect();
        let line = format!(
            "{:9.2} {:8.2} {pitch:>11}  {place:width$}  {off:>9}  {}",
            row.start_s,
            row.stop_s,
            remarks.join("; ")
        );
        output::line(line.trim_end())?;
    }
    for (from_s, to_s, what) in
        proposal.others.iter().filter(|(.., what)| matches!(what, NoNote::Blip { .. }))
    {
        let pitch = blip_pitch(what).map_or(String::new(), |pitch| pitch.to_string());
        output::line(&format!("{from_s:9.2} {to_s:8.2} {pitch:>11}  no note: {}", what.words()))?;
    }
    for [a, b] in &proposal.swaps {
        output::line(&format!(
            "plates {a} and {b} seem to lie in each other's place; their notes are left where they were played"
        ))?;
    }
    if !proposal.not_heard.is_empty() {
        let names: Vec<String> = proposal.not_heard.iter().map(ToString::to_string).collect();
        output::line(&format!("not heard: {}", crate::instrument::place_ranges(&names)))?;
    }
    Ok(())
}

fn doubts(row: &PlacedNote) -> Vec<String> {
    let head = if row.place.is_some() { "doubtful: " } else { "" };
    let doubts = row.doubts.iter().map(|doubt| format!("{head}{doubt}"));
    doubts.chain(row.faults.iter().cloned()).collect()
}

fn instead(proposal: &Proposal, row: &PlacedNote) -> Option<String> {
    proposal.speaks_instead(row).map(|speaks| format!("the one at {:.2} s speaks", speaks.start_s))
}

fn state_words(kept: &Kept) -> String {
    let take = kept.take.as_deref().unwrap_or_default();
    match kept.state {
        "stored" => format!("stored as {take}"),
        "already_there" => format!("there already as {take}"),
        "restored" => format!("its take had gone and is back: {take}"),
        "moved" => {
            format!(
                "moved there from {}, the take keeps its name: {take}",
                kept.was.as_deref().unwrap_or_default()
            )
        }
        "settled" => format!("its place is sure now: {take}"),
        "doubtful" => "doubtful, and so not stored".into(),
        "withdrawn" => format!("stored before as {take}, and withdrawn"),
        "elsewhere" => format!("stored before at another place, as {take}, and left there"),
        _ => "not stored".into(),
    }
}

fn as_json(proposal: &Proposal, kept: Option<&[Kept]>, pictures: &Pictures) -> Result<(), Failure> {
    let (runner_up, margin) = proposal.runner_up.clone().unzip();
    output::json(&json!({
        "format": 1, "kind": "recording", "file": proposal.name, "sha256": proposal.sha256,
        "length_s": proposal.streamed.frames as f64 / f64::from(proposal.streamed.rate_hz.max(1)),
        "order": proposal.order, "runner_up": runner_up, "margin": margin,
        "offset_cents": proposal.offset.map(Cents::get),
        "known_offset": proposal.known.as_ref().map(|known| json!({
            "cents": known.offset.centre.get(), "from": known.word(),
        })),
        "rival": proposal.rival.as_ref().zip(placed_otherwise(proposal)).map(|(rival, (row, other))| json!({
            "offset_cents": rival.offset.get(), "part": rival.part,
            "start_s": row.start_s, "place": other.to_string(),
        })),
        "remarks": proposal.streamed.remarks,
    }))?;
    for (idx, row) in proposal.rows.iter().enumerate() {
        let kept = kept.and_then(|kept| kept.get(idx));
        match &row.place {
            Some(place) => output::json(&json!({
                "format": 1, "kind": "placed", "place": place.to_string(), "start_s": row.start_s, "end_s": row.stop_s,
                "f0_hz": row.pitch.map(Hz::get), "cents": row.deviation.map(Cents::get),
                "level_dbfs": row.level.map(|level| level.get()),
                "sure": row.doubts.is_empty(), "doubts": row.doubts, "faults": row.faults, "speaks": row.speaks,
                "by": if row.is_said { "list" } else { "order" },
                "state": kept.map(|kept| kept.state), "take": kept.and_then(|kept| kept.take.clone()),
                "was": kept.and_then(|kept| kept.was.clone()),
            }))?,
            None => output::json(&json!({
                "format": 1, "kind": "unplaced", "start_s": row.start_s, "end_s": row.stop_s,
                "f0_hz": row.pitch.map(Hz::get), "reason": row.doubts.first(), "faults": row.faults,
            }))?,
        }
    }
    for (from_s, to_s, what) in &proposal.others {
        output::json(&json!({
            "format": 1, "kind": "no_note", "start_s": from_s, "end_s": to_s,
            "f0_hz": blip_pitch(what).map(Hz::get), "reason": what.words(),
        }))?;
    }
    for [a, b] in &proposal.swaps {
        output::json(&json!({"format": 1, "kind": "swap", "places": [a.to_string(), b.to_string()]}))?;
    }
    for reed in &proposal.not_heard {
        output::json(&json!({"format": 1, "kind": "not_heard", "place": reed.to_string()}))?;
    }
    for (svg, png) in &pictures.pictures {
        output::json(&json!({"format": 1, "kind": "chart", "svg": svg, "png": png}))?;
    }
    output::json(&json!({"format": 1, "kind": "page", "file": pictures.page}))
}

fn blip_pitch(what: &NoNote) -> Option<Hz> {
    match what {
        NoNote::Blip { pitch, .. } => Some(*pitch),
        _ => None,
    }
}

fn say_around(arguments: &Arguments, proposal: &Proposal, kept: Option<&[Kept]>, pictures: &Pictures) {
    let order = order_words(proposal);
    if !order.is_empty() {
        output::say(&order);
    }
    output::say(&count_words(proposal));
    let rival = rival_words(proposal);
    if !rival.is_empty() {
        output::say(&rival);
    }
    let others: Vec<&str> = proposal.others.iter().map(|(.., what)| what.words()).collect();
    let mut kinds: Vec<&str> = others.clone();
    kinds.sort_unstable();
    kinds.dedup();
    let not_notes: Vec<String> = kinds
        .iter()
        .map(|kind| match others.iter().filter(|other| *other == kind).count() {
            1 => (*kind).to_owned(),
            n => format!("{n} times {kind}"),
        })
        .collect();
    if !not_notes.is_empty() {
        output::say(&format!("Not taken for notes: {}.", not_notes.join(", ")));
    }
    output::say(&format!("To look at: {}", pictures.page.display()));
    let doubtful = proposal.rows.iter().any(|row| !row.doubts.is_empty());
    let job = output::quoted(&arguments.folder);
    match kept {
        None => output::say(&format!(
            "Nothing is stored yet; the same with --accept stores.{}",
            if doubtful && arguments.list.is_none() {
                " Doubtful places can be corrected with --list placing.csv."
            } else {
                ""
            }
        )),
        Some(kept) => {
            output::say(&format!("{}; `platenote findings {job}` tells what they say.", kept_words(kept)));
            if kept.iter().any(|kept| kept.state == "doubtful") {
                output::say(
                    "The doubtful ones: correct them in a list (--list placing.csv), or store them as they are with --doubtful.",
                );
            }
            output::say(
                "Where a stored note lies at a wrong place: the same with a better --order or a corrected --list, or \
                 `platenote take`.",
            );
        }
    }
}

/// How many takes were stored, and what became of those that were not new.
fn kept_words(kept: &[Kept]) -> String {
    let of = |state: &str| kept.iter().filter(|kept| kept.state == state).count();
    let are = |n: usize| if n == 1 { "is" } else { "are" };
    let others: Vec<String> = [
        ("already_there", "there already"),
        ("restored", "back"),
        ("moved", "moved"),
        ("settled", "sure now"),
        ("doubtful", "doubtful and left out"),
        ("withdrawn", "withdrawn and left out"),
    ]
    .iter()
    .map(|(state, words)| (of(state), words))
    .filter(|(n, _)| *n > 0)
    .map(|(n, words)| format!("{n} {} {words}", are(n)))
    .collect();
    match of("stored") {
        0 if !others.is_empty() => format!("No new take: {}", others.join(", ")),
        new => [vec![format!("{} {} stored", counted(new, "take"), are(new))], others].concat().join(", "),
    }
}
