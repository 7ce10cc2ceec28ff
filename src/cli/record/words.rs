//! A session in words and in JSON.

use serde::Serialize;
use serde_json::json;

use crate::analysis::{NotMeasured, Tail};
use crate::cli::failure::Failure;
use crate::cli::output;
use crate::job::FileLine;
use crate::session::words::{opposite, reasons, uneven, whose};
use crate::session::{Due, OtherReed, SessionEvent, Taken};

/// A noise floor above this is worth a word, dBFS: a soft note lies some 20 dB above.
const LOUD_ROOM_DBFS: f64 = -50.0;

/// What is to be told: a result, or a word about one.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum PrintedLine {
    /// For stdout: text, or a JSON object.
    Result(String),
    /// For stderr.
    Word(String),
}

impl PrintedLine {
    /// Print it where it belongs.
    pub fn print(&self) -> Result<(), Failure> {
        match self {
            PrintedLine::Result(text) => output::line(text)?,
            PrintedLine::Word(text) => output::say(text),
        }
        Ok(())
    }
}

/// Which reed is due, where it lies and how long to play it.
pub(super) fn due(due: &Due) -> Vec<PrintedLine> {
    let plate = &due.place.plate;
    let mut told = vec![PrintedLine::Word(format!(
        "due: {}, {}, {} (row {}, plate {} of {}; {} left): play it evenly for {:.1} s, then stop abruptly",
        due.place, due.note, due.target, plate.row, plate.number, due.row_len, due.left, due.need.hold_s
    ))];
    if due.need.too_close {
        told.push(PrintedLine::Word(
            "     its two reeds are too close to be told apart while they sound: the abrupt stop tells"
                .into(),
        ));
    }
    told
}

/// The noise of the room.
pub(super) fn noise_floor(floor_db: f64) -> String {
    let word = if floor_db > LOUD_ROOM_DBFS { "; that is loud, weak leaks will not be heard" } else { "" };
    format!("noise floor {floor_db:.0} dBFS{word}")
}

/// What happened, in words or in JSON.
pub(super) fn of(said: &SessionEvent, json: bool) -> Result<Vec<PrintedLine>, Failure> {
    let word = |text: &str| vec![PrintedLine::Word(text.to_owned())];
    Ok(match said {
        SessionEvent::Began => word("recording"),
        SessionEvent::Knock => word("that was too short for a note"),
        SessionEvent::Enough => word("enough: stop abruptly"),
        SessionEvent::Taken(taken) if json => {
            vec![PrintedLine::Result(output::json_text(&TakeLine::new(taken))?)]
        }
        SessionEvent::Taken(taken) => take(taken),
        SessionEvent::NoReading { place, refusal, remarks } => {
            let mut told = if json {
                vec![PrintedLine::Result(output::json_text(&json!({"format": 1, "kind": "no_reading",
                    "place": place.to_string(), "reason": refusal.to_string(), "remarks": remarks}))?)]
            } else {
                let text = format!("{place}: no reading, {refusal}; nothing is stored");
                std::iter::once(PrintedLine::Result(text))
                    .chain(remarks.iter().map(|remark| PrintedLine::Result(format!("  {remark}"))))
                    .collect()
            };
            told.push(PrintedLine::Word("play it once more".into()));
            told
        }
        SessionEvent::Other(other) => other_reed(other, json)?,
        SessionEvent::Spoiled { place, remark, now } => {
            let result = if json {
                output::json_text(&json!({"format": 1, "kind": "spoiled", "place": place.to_string(),
                    "remark": remark}))?
            } else {
                format!("{place}: {remark}")
            };
            let when = if *now { "play it once more" } else { "it comes again at the end" };
            vec![PrintedLine::Result(result), PrintedLine::Word(format!("{place} is spoiled; {when}"))]
        }
        SessionEvent::Trouble(trouble) => vec![PrintedLine::Word(format!("warning: {trouble}"))],
    })
}

fn take(taken: &Taken) -> Vec<PrintedLine> {
    let reading = &taken.reading;
    let mut told = vec![PrintedLine::Result(format!(
        "{}: {}, {} ± {:.1}; {} (take {})",
        taken.place,
        reading.f0,
        taken.deviation,
        reading.uncertainty.get(),
        opposite(&reading.opposite),
        taken.n
    ))];
    told.extend(reading.warnings.iter().map(|warning| PrintedLine::Result(format!("  warning: {warning}"))));
    match &reading.tail {
        Tail::Heard { level, .. } => {
            told.push(PrintedLine::Result(format!("  tail: the opposite reed rings along at {level}")));
        }
        Tail::NotMeasured(reason @ (NotMeasured::SlowStop | NotMeasured::TailCut)) => {
            told.push(PrintedLine::Word(format!("  the tail tells nothing: {reason}")));
        }
        _ => {}
    }
    told.extend(uneven(taken).map(|text| PrintedLine::Word(format!("  {text}"))));
    let reasons = reasons(taken).map(|reason| PrintedLine::Result(format!("  {reason}")));
    told.extend(reasons);
    if taken.stays_due {
        told.push(PrintedLine::Word("play it once more; the take is kept".into()));
    } else if !taken.again.is_empty() {
        told.push(PrintedLine::Word("the take is kept as it is".into()));
    }
    told
}

fn other_reed(other: &OtherReed, json: bool) -> Result<Vec<PrintedLine>, Failure> {
    let result = if json {
        output::json_text(&json!({"format": 1, "kind": "other_reed", "due": other.due.to_string(),
            "f0_hz": other.pitch.get(), "cents": other.deviation.get(),
            "belongs_to": other.belongs_to.as_ref().map(ToString::to_string)}))?
    } else {
        format!(
            "{} is due, and {} was heard, {} from it: {}; nothing is stored yet",
            other.due,
            other.pitch,
            other.deviation,
            whose(other)
        )
    };
    let there = other.belongs_to.as_ref().map_or(String::new(), |place| match other.is_stroke_open {
        true => format!("; `there press` or `there draw` if it was {}", place.plate),
        false => format!("; `there` if it was {place}"),
    });
    let next = format!("play {}; the same pitch once more, or `here`, keeps it{there}", other.due);
    Ok(vec![PrintedLine::Result(result), PrintedLine::Word(next)])
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
