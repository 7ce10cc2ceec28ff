//! The task's thread: sound into the session, what it says to the events.

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

use serde_json::{Value, json};

use super::{RecordingCommand, RecordingTask, Wish, Writing};
use crate::analysis::{Clock, Expectation};
use crate::audio::Microphone;
use crate::bench_page::Error;
use crate::bench_page::app_state::AppState;
use crate::instrument::ReedPlace;
use crate::job::{ClockFacts, JobWriter, PassChange};
use crate::report::figures;
use crate::session::words::{opposite, reasons, uneven, whose};
use crate::session::{
    self, Agenda, Live, LiveState, Sequence, Session, SessionEvent, Setting, Snapshot, Taken, clock_of_input,
    reeds_in, still_due,
};

/// The page is told how things stand so often: enough for a meter.
const EVERY: Duration = Duration::from_millis(80);
/// The clip mark stays so long.
const CLIP_STAYS: Duration = Duration::from_secs(2);
/// The trace goes back over so many readings, about 10 s.
const TRACE: usize = 40;

/// Open job, input and pass, and begin.
pub(in crate::bench_page) fn begin(
    app: &Arc<AppState>,
    folder: PathBuf,
    wish: Wish,
) -> Result<RecordingTask, Error> {
    let temperature_c = temperature(&wish.temperature)?;
    let mut job = JobWriter::open(&folder)?;
    // The input first: where none can be opened, no pass is opened either.
    let wanted = wish.input.trim();
    let microphone = Microphone::open((!wanted.is_empty()).then_some(wanted))?;
    if let Some(near) = job.pass_near(wish.pass.trim()).filter(|_| !wish.yes) {
        let name = wish.pass.trim();
        return Err(Error::Ask(format!(
            "There is a pass `{near}`, and `{name}` is one letter from it. Is `{name}` a new pass?"
        )));
    }
    let facts = job.open_pass(wish.pass.trim(), &PassChange { temperature_c, ..PassChange::default() })?;
    let places = wish.places.trim();
    let reeds = if places.is_empty() {
        still_due(&job, &facts.pass, &reeds_in(job.instrument(), &Sequence::Plates)?)
    } else {
        reeds_in(job.instrument(), &Sequence::Listed(places.to_owned()))?
    };
    if reeds.is_empty() {
        return Err(Error::NothingDue(facts.pass));
    }
    let (orders, ordered) = channel();
    let app = app.clone();
    let run = move || {
        let told = app.clone();
        let ended = Bench::play(app, job, microphone, facts.pass, reeds, ordered);
        match ended {
            Ok(()) => told
                .events
                .say(json!({"kind": "end", "text": "the recording has ended; all takes are stored"})),
            Err(error) => told.events.say(json!({"kind": "trouble", "text":
                format!("{error}; all takes so far are stored"), "next": error.next()})),
        }
        told.events.stands(Value::Null);
        told.events.changed();
    };
    let thread = std::thread::Builder::new().name("recording".into()).spawn(run).map_err(Error::Server)?;
    Ok(RecordingTask { orders, thread })
}

fn temperature(text: &str) -> Result<Option<f64>, Error> {
    let text = text.trim();
    if text.is_empty() {
        return Ok(None);
    }
    let number =
        text.replace(',', ".").parse::<f64>().ok().filter(|celsius| (-40.0..=60.0).contains(celsius));
    number.map(Some).ok_or_else(|| Error::Temperature(text.to_owned()))
}

/// The events behind a session.
struct Bench {
    app: Arc<AppState>,
    orders: Receiver<RecordingCommand>,
    pass: String,
    live: Live,
    live_now: Option<Value>,
    trace: Vec<f64>,
    input: String,
    is_again: bool,
    is_held: bool,
    clipped: Option<Instant>,
    told: Instant,
}

impl session::Front for Bench {
    type Error = Error;
    type Own = Writing;

    fn happened(&mut self, _: &Session, said: &SessionEvent) -> Result<(), Error> {
        self.tell(said);
        Ok(())
    }

    fn word(&mut self, text: &str) {
        self.app.events.say(json!({"kind": "word", "text": text}));
    }

    /// The live reading of what sounds now.
    fn sounded(&mut self, session: &Session, sound: &[f32]) {
        let Some(now) = self.live.hear(sound) else { return };
        let LiveState::Note(reading, since_s) = now else {
            self.live_now = None;
            return;
        };
        let Some(due) = session.due() else { return };
        let cents = reading.f0.cents_above(due.target).get();
        // The way of the last note stays to be looked at until the next one sounds.
        if self.live_now.is_none() {
            self.trace.clear();
        }
        if self.trace.len() == TRACE {
            self.trace.remove(0);
        }
        self.trace.push(cents);
        self.live_now = Some(json!({"f0": reading.f0.to_string(), "cents": cents,
            "uncertainty": reading.uncertainty.get(), "since_s": since_s}));
    }

    fn asked(&mut self) -> Vec<RecordingCommand> {
        self.orders.try_iter().collect()
    }

    fn obey(&mut self, session: &mut Session, work: Writing) -> Result<(), Error> {
        work(session.job());
        Ok(())
    }

    fn obeyed(&mut self) {
        (self.is_again, self.is_held) = (false, false);
    }

    fn look(&mut self, _: &Session, now: &Snapshot) -> Result<(), Error> {
        self.stand(now);
        Ok(())
    }
}

impl Bench {
    fn play(
        app: Arc<AppState>,
        mut job: JobWriter,
        mut microphone: Microphone,
        pass: String,
        reeds: Vec<ReedPlace>,
        orders: Receiver<RecordingCommand>,
    ) -> Result<(), Error> {
        let input = microphone.input().clone();
        let (clock, clock_words) = clock_of_input(&input);
        app.events.say(json!({"kind": "begin", "pass": pass, "text":
            format!("pass {pass}: listening to {}, {} Hz, {} channels", input.name, input.rate_hz, input.channels)}));
        app.events.say(json!({"kind": "word", "text": clock_words}));
        let expectation = Expectation {
            clock: clock.as_ref().map_or(Clock::default(), ClockFacts::clock),
            ..Expectation::default()
        };
        let setting = Setting { pass: pass.clone(), rate_hz: input.rate_hz, channels: input.channels, clock };
        let mut session = Session::new(&mut job, setting, Agenda::new(reeds));
        let mut bench = Bench {
            live: Live::new(input.rate_hz, input.channels, expectation),
            app,
            orders,
            pass,
            live_now: None,
            trace: Vec::new(),
            input: input.name,
            is_again: false,
            is_held: false,
            clipped: None,
            told: Instant::now(),
        };
        session::play(&mut session, &mut microphone, &mut bench)
    }

    fn tell(&mut self, said: &SessionEvent) {
        let saying = match said {
            SessionEvent::Began => {
                (self.is_again, self.is_held) = (false, false);
                return;
            }
            SessionEvent::Enough => return,
            SessionEvent::Knock => json!({"kind": "word", "text": "that was too short for a note"}),
            SessionEvent::Taken(taken) => {
                self.is_again = taken.stays_due;
                self.judge(taken);
                take(taken, &self.pass)
            }
            SessionEvent::NoReading { place, refusal, remarks } => {
                self.is_again = true;
                json!({"kind": "word", "place": place.to_string(), "text":
                        figures(&format!("{place}: no reading, {refusal}; nothing is stored. Play it once more")), "more": remarks})
            }
            SessionEvent::Other(other) => {
                self.is_held = true;
                json!({"kind": "other", "place": other.due.to_string(),
                        "belongs_to": other.belongs_to.as_ref().map(ToString::to_string),
                        "text": figures(&format!("{} is due, and {} was heard, {} from it: {}; nothing is stored yet",
                            other.due, other.pitch, other.deviation, whose(other)))})
            }
            SessionEvent::Spoiled { place, remark, now } => {
                self.is_again = *now;
                let when = if *now { "play it once more" } else { "it comes again at the end" };
                json!({"kind": "word", "place": place.to_string(), "text": format!("{place}: {remark}; {when}")})
            }
            SessionEvent::Trouble(trouble) => json!({"kind": "word", "text": trouble}),
        };
        self.app.events.say(saying);
    }

    /// Judge the pass with the new take in it, beside the recording, and tell the verdict.
    fn judge(&self, taken: &Taken) {
        let (app, pass, place, n) = (self.app.clone(), self.pass.clone(), taken.place.clone(), taken.n);
        let run = move || {
            let judged = app.shown(Some(&pass)).and_then(|shown| Ok((app.job()?, shown)));
            if let Ok((job, shown)) = judged
                && let Some(valve) = shown.valve_of(&job, &place)
            {
                app.events.say(json!({"kind": "verdict", "place": place.to_string(), "take": n,
                    "short": short(&place), "valve": valve.place.to_string(), "verdict": valve.verdict.as_str(),
                    "reason": figures(&valve.reason), "next": figures(&valve.next)}));
            }
            app.events.changed();
        };
        // Without a thread the verdict is told when the page is next looked at.
        drop(std::thread::Builder::new().name("judge".into()).spawn(run));
    }

    fn stand(&mut self, now: &Snapshot) {
        if now.is_clipped {
            self.clipped = Some(Instant::now());
        }
        if self.told.elapsed() < EVERY {
            return;
        }
        self.told = Instant::now();
        let round = |x: f64| (10.0 * x).round() / 10.0;
        let due = now.due.as_ref().map(|due| {
            let (call, seconds) = self.call(now, due.need.hold_s);
            json!({"place": due.place.to_string(), "plate": super::super::shown_pass::address(&due.place.plate),
                "short": short(&due.place),
                "note": due.note.to_string(), "target": due.target.to_string(), "row_len": due.row_len,
                "number": due.place.plate.number, "row": due.place.plate.row, "block": due.place.plate.block,
                "left": due.left, "too_close": due.need.too_close, "call": call, "seconds": round(seconds)})
        });
        let is_clipped = self.clipped.is_some_and(|since| since.elapsed() < CLIP_STAYS);
        self.app.events.stands(json!({"pass": self.pass, "input": self.input, "due": due,
            "level_db": round(now.level_db), "floor_db": now.floor_db.map(round), "clipped": is_clipped,
            "sounds": now.steady_s.is_some(), "live": self.live_now, "trace": self.trace}));
    }

    /// What to do now, and for how long.
    fn call(&self, now: &Snapshot, hold_s: f64) -> (&'static str, f64) {
        match now.steady_s {
            Some(steady_s) if steady_s >= hold_s => ("stop", 0.0),
            Some(steady_s) => ("hold", hold_s - steady_s),
            None if now.floor_db.is_none() => ("quiet", 0.0),
            None if self.is_held => ("which", 0.0),
            None if self.is_again => ("again", hold_s),
            None => ("play", hold_s),
        }
    }
}

/// `A7 press`: the block is told beside it.
fn short(place: &ReedPlace) -> String {
    format!("{}{} {}", place.plate.row, place.plate.number, place.stroke)
}

/// A take as the page shows it.
fn take(taken: &Taken, pass: &str) -> Value {
    let reading = &taken.reading;
    let mut more: Vec<String> = reading.warnings.iter().map(ToString::to_string).collect();
    more.extend(reasons(taken).cloned());
    more.extend(uneven(taken));
    more.iter_mut().for_each(|words| *words = figures(words));
    json!({"kind": "take", "place": taken.place.to_string(), "take": taken.n, "pass": pass, "file": taken.file,
        "note": taken.note.map(|note| note.to_string()), "f0": reading.f0.to_string(),
        "cents": figures(&format!("{:+.1}", taken.deviation.get())), "uncertainty": format!("{:.1}", reading.uncertainty.get()),
        "opposite": figures(&opposite(&reading.opposite)), "more": more, "stays_due": taken.stays_due})
}
