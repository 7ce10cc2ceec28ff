//! Sentences on what was found, for terminal and pictures.

use crate::evaluation::long_recording::{PlacedNote, Proposal};
use crate::instrument::ReedPlace;

/// The order that was found, in a sentence; empty where none was.
pub(super) fn order_words(proposal: &Proposal) -> String {
    let Some(order) = &proposal.order else { return String::new() };
    let margin = proposal
        .runner_up
        .as_ref()
        .map_or(String::new(), |(other, log)| format!(" ({other} would be {} less likely)", times(*log)));
    let offset = proposal.offset.map_or(String::new(), |offset| {
        let known =
            proposal.known.as_ref().map_or(String::new(), |known| format!(" ({})", known.words(offset)));
        format!(" All together lie {offset} from the plan{known}.")
    });
    format!("Order: {order}{margin}.{offset}")
}

/// Where the notes fit at two offsets: both, and what settles it; empty where they do not.
pub(super) fn rival_words(proposal: &Proposal) -> String {
    let Some((rival, offset)) = proposal.rival.as_ref().zip(proposal.offset) else { return String::new() };
    let placed = proposal.rows.iter().filter(|row| row.place.is_some()).count();
    if 2 * placed < proposal.rows.len() {
        // Where most notes fit nowhere, no offset is the matter.
        return String::new();
    }
    let Some((row, other)) = placed_otherwise(proposal) else { return String::new() };
    let (Some(here), Some(pitch)) = (&row.place, row.pitch) else { return String::new() };
    format!(
        "Two placings fit. Is the note at {:.2} s, {pitch}, {here}, as shown? Then say `--stands {:.0}`. Or is it {other} \
         ({} likely)? Then say `--stands {:.0}`.",
        row.start_s,
        offset.get(),
        percent(rival.part),
        rival.offset.get()
    )
}

/// The first note that the rival places otherwise, and where.
pub(super) fn placed_otherwise(proposal: &Proposal) -> Option<(&PlacedNote, &ReedPlace)> {
    let places = &proposal.rival.as_ref()?.places;
    proposal.rows.iter().zip(places).find_map(|(row, other)| {
        let other = other.as_ref()?;
        (row.place.is_some() && row.place.as_ref() != Some(other)).then_some((row, other))
    })
}

/// `1 note`, `2 notes`.
pub(super) fn counted(n: usize, what: &str) -> String {
    format!("{n} {what}{}", if n == 1 { "" } else { "s" })
}

/// `3 %`; what is less than one in a hundred is `under 1 %`.
fn percent(part: f64) -> String {
    if part < 0.01 { "under 1 %".into() } else { format!("{:.0} %", 100.0 * part.min(0.99)) }
}

/// How many notes there are and what of them is doubtful.
pub(super) fn count_words(proposal: &Proposal) -> String {
    let placed = proposal.rows.iter().filter(|row| row.place.is_some()).count();
    let doubtful = proposal.rows.iter().filter(|row| row.place.is_some() && !row.doubts.is_empty()).count();
    let left = proposal.rows.len() - placed;
    let missing = proposal.not_heard.len();
    format!(
        "{}: {placed} placed, {doubtful} of them doubtful, {left} without a place; {} not heard.",
        counted(proposal.rows.len(), "note"),
        counted(missing, "reed")
    )
}

/// A natural logarithm as a factor people can read.
fn times(log: f64) -> String {
    match log {
        log if log < 0.0 => "not at all".into(),
        log if log < 2.0 => format!("only {:.1} times", log.exp()),
        log if log < 14.0 => format!("{:.0} times", log.exp()),
        _ => "more than a million times".into(),
    }
}
