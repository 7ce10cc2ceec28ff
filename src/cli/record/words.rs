//! A session in words and in JSON.

use serde::Serialize;
use serde_json::json;

use crate::analysis::{NotMeasured, Opposite, Tail};
use crate::cli::failure::Failure;
use crate::cli::output;
use crate::record::FileLine;
use crate::recording::{Due, OtherReed, Said, Taken};

/// Say which reed is due, where it lies and how long to play it.
pub(super) fn say_due(due: &Due) {
    let plate = &due.place.plate;
    output::say(&format!(
        "due: {}, {}, {} (row {}, plate {} of {}; {} left): play it evenly for {:.1} s, then stop abruptly",
        due.place, due.note, due.target, plate.row, plate.number, due.row_len, due.left, due.need.hold_s
    ));
    if due.need.too_close {
        output::say(
            "     its two reeds are too close to be told apart while they sound: the abrupt stop tells",
        );
    }
}

/// Tell what happened.
pub(super) fn tell(said: &Said, json: bool) -> Result<(), Failure> {
    match said {
        Said::Began => output::say("recording"),
        Said::Knock => output::say("that was too short for a note"),
        Said::Enough => output::say("enough: stop abruptly"),
        Said::Taken(taken) if json => output::json(&TakeLine::new(taken))?,
        Said::Taken(taken) => tell_take(taken)?,
        Said::NoReading { place, refusal, remarks } => {
            if json {
                output::json(&json!({"format": 1, "kind": "no_reading", "place": place.to_string(),
                    "reason": refusal.to_string(), "remarks": remarks}))?;
            } else {
                output::line(&format!("{place}: no reading, {refusal}; nothing is stored"))?;
                remarks.iter().try_for_each(|remark| output::line(&format!("  {remark}")))?;
            }
            output::say("play it once more");
        }
        Said::Other(other) => tell_other(other, json)?,
        Said::Spoiled { place, remark, now } => {
            if json {
                output::json(&json!({"format": 1, "kind": "spoiled", "place": place.to_string(),
                    "remark": remark}))?;
            } else {
                output::line(&format!("{place}: {remark}"))?;
            }
            let when = if *now { "play it once more" } else { "it comes again at the end" };
            output::say(&format!("{place} is spoiled; {when}"));
        }
        Said::Trouble(trouble) => output::say(&format!("warning: {trouble}")),
    }
    Ok(())
}

fn tell_take(taken: &Taken) -> Result<(), Failure> {
    let reading = &taken.reading;
    output::line(&format!(
        "{}: {}, {} ± {:.1}; {} (take {})",
        taken.place,
        reading.f0,
        taken.deviation,
        reading.uncertainty.get(),
        opposite(&reading.opposite),
        taken.n
    ))?;
    for warning in &reading.warnings {
        output::line(&format!("  warning: {warning}"))?;
    }
    match &reading.tail {
        Tail::Heard { level, .. } => {
            output::line(&format!("  tail: the opposite reed rings along at {level}"))?;
        }
        Tail::NotMeasured(reason @ (NotMeasured::SlowStop | NotMeasured::TailCut)) => {
            output::say(&format!("  the tail tells nothing: {reason}"));
        }
        _ => {}
    }
    if let Some(louder) = taken.louder {
        let which = if louder.get() > 0.0 { "louder" } else { "softer" };
        output::say(&format!(
            "  {:.0} dB {which} than the plate's other stroke: play softly and evenly, leaks show best so",
            louder.get().abs()
        ));
    }
    let mut told = taken.again.iter().filter(|reason| {
        // Warnings have been told as such.
        !reading.warnings.iter().any(|warning| warning.to_string() == **reason)
    });
    told.try_for_each(|reason| output::line(&format!("  {reason}")))?;
    if taken.stays_due {
        output::say("play it once more; the take is kept");
    } else if !taken.again.is_empty() {
        output::say("the take is kept as it is");
    }
    Ok(())
}

fn tell_other(other: &OtherReed, json: bool) -> Result<(), Failure> {
    if json {
        output::json(&json!({"format": 1, "kind": "other_reed", "due": other.due.to_string(),
            "f0_hz": other.pitch.get(), "cents": other.deviation.get(),
            "belongs_to": other.belongs_to.as_ref().map(ToString::to_string)}))?;
    } else {
        let whose = match &other.belongs_to {
            Some(place) => format!("the pitch of {place}"),
            None => "no reed's pitch alone".into(),
        };
        output::line(&format!(
            "{} is due, and {} was heard, {} from it: {whose}; nothing is stored yet",
            other.due, other.pitch, other.deviation
        ))?;
    }
    let there =
        other.belongs_to.as_ref().map_or(String::new(), |place| format!("; `there` if it was {place}"));
    output::say(&format!("play {}; the same pitch once more, or `here`, keeps it{there}", other.due));
    Ok(())
}

fn opposite(opposite: &Opposite) -> String {
    match opposite {
        Opposite::Sounding { level, offset, .. } => {
            format!("opposite reed sounds along at {level}, {offset}")
        }
        Opposite::Quiet { limit, .. } => format!("opposite reed not heard, below {limit}"),
        Opposite::Unresolved { reason, .. } => format!("opposite reed: {reason}"),
        Opposite::NotLooked => "no opposite reed".into(),
    }
}

#[derive(Serialize)]
struct TakeLine {
    kind: &'static str,
    place: String,
    take: u32,
    again: Vec<String>,
    stays_due: bool,
    #[serde(flatten)]
    line: FileLine,
}

impl TakeLine {
    fn new(taken: &Taken) -> Self {
        Self {
            kind: "take",
            place: taken.place.to_string(),
            take: taken.n,
            again: taken.again.clone(),
            stays_due: taken.stays_due,
            line: FileLine::read(&taken.file, &taken.reading, taken.note.map(|note| (note, taken.deviation))),
        }
    }
}
