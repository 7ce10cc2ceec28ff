//! The tuning of reeds for the page: sound into the loop, what it means to the events, what is asked there back.

use std::path::PathBuf;
use std::sync::Arc;

use serde_json::{Value, json};

use super::input_state::{Input, InputState};
use super::thread::{Teller, spawn};
use crate::audio::Microphone;
use crate::bench_page::Error;
use crate::bench_page::app_state::AppState;
use crate::bench_page::job_lookup::spots_in;
use crate::bench_page::recording_task::{Own, RecordingCommand, RecordingTask, TuneWish};
use crate::evaluation;
use crate::instrument::ReedPlace;
use crate::job::{Job, JobWriter, PassChange};
use crate::repair::is_bin_name;
use crate::report::figures;
use crate::session::{self, TOLERANCES_CENTS, TuneNow, TuneReed, TuneSaid, TuneSetting, Tuning, tune_words};
use crate::tuning::{Advice, Hand};
use crate::units::{Cents, Measured};

/// Open job and input, and begin.
pub(in crate::bench_page) fn tune(
    app: &Arc<AppState>,
    folder: PathBuf,
    wish: TuneWish,
) -> Result<RecordingTask, Error> {
    let hand = Hand { by: plain(&wish.by)?, tool: plain(&wish.tool)? };
    let tolerance = tolerance(&wish.tolerance)?;
    let mut job = JobWriter::open(&folder)?;
    let reeds = reeds(app, &job, &wish.places, tolerance)?;
    let own = evaluation::goes(&job);
    let goes: Vec<_> = evaluation::goes_elsewhere(&job, &hand).into_iter().chain(own).collect();
    let gains = evaluation::gains(&job);
    // The input first: where none can be opened, no pass is opened either.
    let wanted = wish.input.trim();
    let mut microphone = Microphone::open((!wanted.is_empty()).then_some(wanted))?;
    let keep = match wish.keep.trim() {
        "" => None,
        name => Some(job.open_pass(name, &PassChange::default())?.pass),
    };
    spawn(app, "tuning", move |teller| {
        let input = microphone.input().clone();
        let (clock, clock_words) = session::clock_of_input(&input);
        teller.say(vec![clock_words]);
        let mut state = InputState::new(input.rate_hz, input.channels);
        let setting = TuneSetting { rate_hz: input.rate_hz, channels: input.channels, clock, hand, keep };
        let mut tuning = Tuning::new(&mut job, setting, reeds, goes, gains);
        let mut sound = Vec::new();
        'playing: while !tuning.is_done() {
            sound.clear();
            let incidents = microphone.hear(&mut sound)?;
            teller.say(incidents.iter().map(ToString::to_string).collect());
            state.hear(&sound);
            for said in tuning.hear(&sound)? {
                if matches!(said, TuneSaid::Played(_)) {
                    teller.app.events.changed();
                }
                teller.say(told(&said));
            }
            let orders: Vec<RecordingCommand> = teller.orders.try_iter().collect();
            for order in orders {
                let said = match order {
                    RecordingCommand::Stop => break 'playing,
                    RecordingCommand::Hush(is_on) => {
                        tuning.hush(is_on);
                        continue;
                    }
                    RecordingCommand::Skip => {
                        tuning.skip();
                        continue;
                    }
                    RecordingCommand::Back => {
                        tuning.back();
                        continue;
                    }
                    RecordingCommand::Own(Own::Write(work)) => {
                        work(tuning.job());
                        continue;
                    }
                    RecordingCommand::Own(Own::Undo) => tuning.undo()?,
                    RecordingCommand::Own(Own::Filed(part, strokes)) => {
                        // The last play told of a go, which was another one; or it told of none.
                        if is_told_by_last(&tuning) {
                            tuning.correct(Some(part), strokes)?
                        } else {
                            tuning.filed(part, strokes)?
                        }
                    }
                    // The others are asked of a recording only.
                    _ => continue,
                };
                teller.say(told(&said));
                teller.app.events.changed();
            }
            let is_clipped = teller.is_clipped(sound.iter().any(|sample| sample.abs() >= FULL_SCALE));
            if teller.is_due() {
                let stands = stands(&tuning.look(), teller, is_clipped, state.input());
                teller.app.events.stands(stands);
            }
        }
        Ok(sum_up(&tuning))
    })
}

/// Whether the newest play of the due reed told of a go by itself.
fn is_told_by_last(tuning: &Tuning) -> bool {
    matches!(tuning.due_history(), [.., (_, before), (_, now)] if now > before)
}

/// A sample this large is at the end of the scale.
const FULL_SCALE: f32 = 0.999;

/// A name that goes into the notes of work.
fn plain(name: &str) -> Result<String, Error> {
    let name = name.trim().to_lowercase();
    if name.is_empty() || is_bin_name(&name) {
        return Ok(name);
    }
    Err(Error::Word(format!("`{name}` is no plain name: use up to 20 letters, digits, `_` and `-`")))
}

fn tolerance(text: &str) -> Result<Option<Cents>, Error> {
    let text = text.trim();
    if text.is_empty() {
        return Ok(None);
    }
    let cents = text.replace(',', ".").parse::<f64>().ok().filter(|cents| TOLERANCES_CENTS.contains(cents));
    let cents = cents.and_then(Cents::new).map(Some);
    cents.ok_or_else(|| Error::Word(format!("`{text}` is no tolerance: give 0.2 to 50 cents")))
}

/// The reeds that are named, or all that are off their pitch.
fn reeds(app: &AppState, job: &Job, places: &str, tolerance: Option<Cents>) -> Result<Vec<TuneReed>, Error> {
    let instrument = job.instrument();
    let spots = spots_in(job, places)?;
    let places: Vec<ReedPlace> = if spots.is_empty() {
        let shown = app.shown(None)?;
        let off = shown.told.standing.reeds.iter().filter(|reed| reed.is_off());
        off.map(|reed| reed.place.clone()).collect()
    } else {
        session::reeds_at(instrument, spots).map_err(|valve| {
            Error::Word(format!("`{valve}` is a valve; name reeds, as `A7 press`, or `A7` for both"))
        })?
    };
    if places.is_empty() {
        let why = "no reed is known to be off its pitch: name those to be tuned, as `A7 press`";
        return Err(Error::Word(why.into()));
    }
    Ok(places.iter().filter_map(|place| session::tune_reed(instrument, place, tolerance, None)).collect())
}

fn told(said: &TuneSaid) -> Vec<String> {
    // A knock takes no word away that a play left.
    if matches!(said, TuneSaid::Nothing(None)) {
        return Vec::new();
    }
    let (mut results, words) = tune_words::of(said);
    // What to do stands in the call already.
    if let TuneSaid::Played(play) = said
        && play.advice.is_some()
        && let Some(line) = results.iter_mut().find(|line| line.starts_with(&tune_words::heard(play)))
    {
        *line = tune_words::heard(play);
    }
    results.into_iter().chain(words).collect()
}

fn cents(measured: Measured) -> Value {
    json!({"cents": measured.value.get(), "uncertainty": measured.uncertainty.get()})
}

/// The call, as the page shows it: `raise`, `about 3 strokes at the tip`, and what that rests on.
fn advised(advice: &Advice) -> Value {
    let (way, part) = tune_words::part(advice.part);
    let strokes = match advice.strokes {
        0 => format!("one light stroke at the {part}"),
        1 => format!("about 1 stroke at the {part}"),
        n => format!("about {n} strokes at the {part}"),
    };
    // Short: it is read from the bench.
    let learnt = match advice.effect.goes {
        0 => "no history yet: an order of magnitude by the beam alone".to_owned(),
        1 => "learnt from 1 go".to_owned(),
        n => format!("learnt from {n} goes"),
    };
    let (expected, most) = (advice.expected, advice.at_most);
    let why = figures(&format!("{expected:+.1} cents expected, at most {most:+.1}; {learnt}"));
    json!({"way": way, "part": part, "n": advice.strokes, "strokes": strokes, "why": why})
}

fn stands(now: &TuneNow, teller: &Teller, is_clipped: bool, input: Input) -> Value {
    let waits = now.waits.map(|(_, seconds)| seconds.ceil());
    let reed = now.due.or(now.waits.map(|(reed, _)| reed));
    let due = reed.map(|reed| {
        let history: Vec<Value> = reed
            .history()
            .iter()
            .map(|(off, goes)| json!({"cents": off.value.get(), "uncertainty": off.uncertainty.get(), "goes": goes}))
            .collect();
        let filings: Vec<String> = reed.filings().map(ToString::to_string).collect();
        json!({"place": reed.place.to_string(), "short": super::recorder::short(&reed.place), "note": reed.note.to_string(),
            "block": reed.place.plate.block, "target": reed.target.to_string(), "tolerance": reed.tolerance.get(),
            "last": reed.history().last().map(|(off, _)| cents(*off)), "history": history, "filings": filings})
    });
    let call = match (input, &now.advice, waits) {
        (Input::Silent, ..) => "silent",
        (_, _, Some(_)) => "waits",
        (_, Some(_), _) => "file",
        _ if now.quiet_db.is_none() => "quiet",
        _ if reed.is_some_and(|reed| !reed.history().is_empty()) => "again",
        _ => "play",
    };
    json!({"tuning": true, "due": due, "left": now.left, "call": call, "waits_s": waits,
        "live": now.live.map(|(off, since_s)| json!({"cents": off.value.get(), "uncertainty": off.uncertainty.get(), "since_s": since_s})),
        "advice": now.advice.as_ref().map(advised), "said": teller.said(),
        "level_db": now.level_db, "floor_db": now.quiet_db, "clipped": is_clipped})
}

/// What became of each reed that was played.
fn sum_up(tuning: &Tuning) -> Vec<String> {
    let played = tuning.reeds().iter().filter(|reed| !reed.history().is_empty());
    let mut lines: Vec<String> = played
        .map(|reed| {
            let last = reed.history().last().map_or(0.0, |(off, _)| off.value.get());
            let work: Vec<String> = reed.filings().map(ToString::to_string).collect();
            let work =
                if work.is_empty() { "not filed".to_owned() } else { format!("filed {}", work.join(", ")) };
            format!("{}: {last:+.1} cents at last; {work}", reed.place)
        })
        .collect();
    let head = match lines.len() {
        0 => "tuning has ended; nothing was played".to_owned(),
        1 => "tuning has ended; 1 reed was played".to_owned(),
        n => format!("tuning has ended; {n} reeds were played"),
    };
    lines.insert(0, head);
    lines
}
