//! Ranks beside each other: how they beat, the curve they follow, the worst notes.

use serde_json::json;

use crate::cli::failure::Failure;
use crate::cli::output::{json, line, signed};
use crate::instrument::Tremolo;
use crate::tuning::{RankPair, TakeTogether};

/// Notes furthest from the curve that are named.
const NAMED: usize = 6;

/// Anchors as the plan writes them: `{ "A3" = 2.20, "E4" = 2.80 }`.
fn anchors(tremolo: &Tremolo) -> Vec<(String, f64)> {
    match tremolo {
        Tremolo::BeatsAt(anchors) => anchors.iter().map(|(note, beats)| (note.stored(), *beats)).collect(),
        Tremolo::CentsAt(anchors) => {
            anchors.iter().map(|(note, cents)| (note.stored(), cents.get())).collect()
        }
        Tremolo::Even(_) => Vec::new(),
    }
}

pub(super) fn print(pairs: &[RankPair], together: &[TakeTogether]) -> Result<(), Failure> {
    if pairs.is_empty() && together.is_empty() {
        return Ok(());
    }
    line("")?;
    line("Ranks beside each other, beats per second")?;
    for pair in pairs {
        let what =
            format!("  {} {} beside {}, {} notes", pair.block, pair.row, pair.companion, pair.notes.len());
        let Some(followed) = pair.followed() else {
            line(&format!("{what}: too few for a curve"))?;
            continue;
        };
        line(&format!("{what}: scatter about the curve it follows {:.2}", followed.evenness_hz))?;
        let anchors: Vec<String> = anchors(&followed.tremolo)
            .iter()
            .map(|(note, beats)| format!("\"{note}\" = {beats:.2}"))
            .collect();
        line(&format!("    to keep that curve: tremolo_beats_hz = {{ {} }}", anchors.join(", ")))?;
        let worst: Vec<String> = (pair.worst().into_iter().take(NAMED))
            .map(|(place, beats)| format!("{place} {}", signed(beats, 2)))
            .collect();
        if !worst.is_empty() {
            line(&format!("    furthest from the plan's curve: {}", worst.join(", ")))?;
        }
    }
    for take in together {
        let told = match &take.beats {
            Err(why) => format!("not told, since {why}"),
            Ok(beats) => {
                let off = signed(beats.heard - beats.computed, 2);
                let doubt = beats.uncertainty;
                let pull = match beats.pull() {
                    Some(_) => "they pull each other, or one was blown otherwise",
                    None => "as the single takes say",
                };
                format!(
                    "{:.2} heard, {:.2} from the single takes ({off} ± {doubt:.2}: {pull})",
                    beats.heard, beats.computed
                )
            }
        };
        line(&format!("  {} with {}: {told}", take.place, take.with))?;
    }
    Ok(())
}

pub(super) fn print_json(pass: &str, pairs: &[RankPair], together: &[TakeTogether]) -> Result<(), Failure> {
    for take in together {
        let beats = take.beats.as_ref();
        json(&json!({"format": 1, "kind": "together", "pass": pass, "place": take.place.to_string(),
            "with": take.with.to_string(), "take": take.file,
            "beats_hz": beats.ok().map(|beats| beats.heard), "computed_hz": beats.ok().map(|beats| beats.computed),
            "uncertainty_hz": beats.ok().map(|beats| beats.uncertainty),
            "pull_hz": beats.ok().and_then(|beats| beats.pull()), "error": beats.err()}))?;
    }
    for pair in pairs {
        let followed = pair.followed();
        let curve: Option<Vec<_>> = followed.as_ref().map(|followed| {
            anchors(&followed.tremolo)
                .iter()
                .map(|(note, beats)| json!({"note": note, "beats_hz": beats}))
                .collect()
        });
        let notes: Vec<_> = (pair.notes.iter().zip(pair.departures()))
            .map(|((place, beside), (_, off))| {
                json!({"place": place.to_string(), "note": beside.note.stored(), "beats_hz": beside.beats(),
                    "uncertainty_hz": beside.beats_uncertainty(), "off_plan_hz": off})
            })
            .collect();
        json(&json!({"format": 1, "kind": "tremolo", "pass": pass, "block": pair.block, "row": pair.row,
            "companion": pair.companion, "evenness_hz": followed.map(|followed| followed.evenness_hz),
            "curve": curve, "notes": notes}))?;
    }
    Ok(())
}
