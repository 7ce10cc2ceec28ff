//! What is said while a valve is tested.

use serde_json::json;

use crate::cli::failure::Failure;
use crate::cli::output;
use crate::cli::sealing_words::{self, CAUTIONS, SealingLine};
use crate::instrument::ReedPlace;
#[cfg(feature = "mic")]
use crate::job::SealState;
use crate::session::SealSaid;

/// Say what is due and how to close it.
#[cfg(feature = "mic")]
pub(super) fn say_due(reed: &ReedPlace, state: SealState, play: usize) {
    output::say(&format!("play {}: {reed}, {}", play + 1, sealing_words::how(state)));
}

/// Say beforehand what will be closed, and the cautions.
#[cfg_attr(not(feature = "mic"), allow(dead_code))] // What a guided test says; that needs a microphone.
pub(super) fn say_how(reed: &ReedPlace) {
    output::say(sealing_words::what_to_close(reed.stroke));
    for line in sealing_words::drawing(reed.stroke) {
        output::say(line);
    }
    for caution in CAUTIONS {
        output::say(&format!("caution: {caution}"));
    }
}

pub(super) fn tell(said: &SealSaid, pass: &str, as_json: bool) -> Result<(), Failure> {
    match said {
        SealSaid::Began => output::say("it sounds"),
        SealSaid::Trouble(trouble) => output::say(&format!("warning: {trouble}")),
        SealSaid::Nothing(refusal) => {
            output::say(&format!("the play gives nothing, {refusal}; it is not kept, play it once more"));
        }
        SealSaid::Kept { state, file, level_db, kind, finding } => {
            let blown = match kind {
                crate::analysis::PlayKind::Held => "held",
                crate::analysis::PlayKind::Swell => "swell",
            };
            if as_json {
                output::json(&json!({"format": 1, "kind": "seal_play", "sealed": state.name(),
                    "blown": blown, "level_dbfs": level_db, "take": file}))?;
            } else {
                output::line(&format!("{}: {blown}, {level_db:.1} dBFS ({file})", state.name()))?;
            }
            match finding {
                Some(finding) if as_json => output::json(&SealingLine::new(pass, finding))?,
                Some(finding) => {
                    for line in sealing_words::lines(finding) {
                        output::line(&line)?;
                    }
                }
                None => {}
            }
        }
    }
    Ok(())
}
