//! The task's thread: sound into the session, what it says to the events.

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

use serde_json::{Value, json};

use super::input_state::{Input, InputState};
use crate::analysis::{Clock, Expectation};
use crate::audio::Microphone;
use crate::bench_page::Error;
use crate::bench_page::app_state::AppState;
use crate::bench_page::recording_task::{Own, RecordingCommand, RecordingTask, Wish};
use crate::bench_page::shown_pass::address;
use crate::instrument::{ReedPlace, Valve};
use crate::job::{ClockFacts, JobWriter, PassChange};
use crate::report::figures;
use crate::session::Due;
use crate::session::words::{opposite, reasons, uneven, whose};
use crate::session::{
    self, Agenda, Live, LiveState, OtherReed, Sequence, Session, SessionEvent, Setting, Snapshot, Taken,
    clock_of_input, reeds_in, still_due,
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
    let places = wish.places.trim().to_owned();
    let reeds = if places.is_empty() {
        still_due(&job, &facts.pass, &reeds_in(job.instrument(), &Sequence::Plates)?)
    } else {
        reeds_in(job.instrument(), &Sequence::Listed(places))?
    };
    if reeds.is_empty() {
        return Err(Error::NothingDue(facts.pass));
    }
    // Takes of a reed whose valve was changed since its take here go into a pass of their own.
    let now = jiff::Timestamp::now();
    let takes: Vec<_> = reeds.iter().map(|reed| (reed.clone(), now)).collect();
    let facts = match job.later_pass(&facts.pass, &takes) {
        Some(later) => {
            app.events.say(json!({"kind": "word", "text": later.words()}));
            job.open_pass(
                &later.name,
                &PassChange { temperature_c, place: Some(facts.place), ..PassChange::default() },
            )?
        }
        None => facts,
    };
    let (orders, ordered) = channel();
    let app = app.clone();
    let run = move || {
        let told = app.clone();
        let ended = Bench::play(app, job, microphone, facts.pass, wish.window, reeds, ordered);
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
    Ok(RecordingTask { orders, holds_job: true, thread })
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
    held: Option<OtherReed>,
    /// Why the last take is to be played again.
    why_again: String,
    /// How many reeds there were to play.
    all: usize,
    has_last: bool,
    window: String,
    state: InputState,
    clipped: Option<Instant>,
    told: Instant,
}

impl session::Front for Bench {
    type Error = Error;
    type Own = Own;

    fn happened(&mut self, session: &Session, said: &SessionEvent) -> Result<(), Error> {
        self.tell(session, said);
        Ok(())
    }

    fn word(&mut self, text: &str) {
        self.app.events.say(json!({"kind": "word", "text": text}));
    }

    /// The live reading of what sounds now.
    fn sounded(&mut self, session: &Session, sound: &[f32]) {
        self.state.hear(sound);
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
        let room = self.state.is_room_to_learn().then_some(RecordingCommand::LearnRoom);
        self.orders.try_iter().chain(room).collect()
    }

    fn obey(&mut self, session: &mut Session, own: Own) -> Result<(), Error> {
        // Nothing is filed while takes are recorded.
        if let Own::Write(work) = own {
            work(session.job());
        }
        Ok(())
    }

    fn obeyed(&mut self) {
        (self.is_again, self.held) = (false, None);
    }

    fn look(&mut self, session: &Session, now: &Snapshot) -> Result<(), Error> {
        self.stand(session, now);
        Ok(())
    }
}

impl Bench {
    fn play(
        app: Arc<AppState>,
        mut job: JobWriter,
        mut microphone: Microphone,
        pass: String,
        window: String,
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
        let (all, state) = (reeds.len(), InputState::new(input.rate_hz, input.channels));
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
            held: None,
            why_again: String::new(),
            all,
            has_last: false,
            window,
            state,
            clipped: None,
            told: Instant::now(),
        };
        session::play(&mut session, &mut microphone, &mut bench)
    }

    fn tell(&mut self, session: &Session, said: &SessionEvent) {
        let saying = match said {
            SessionEvent::Began => {
                (self.is_again, self.held) = (false, None);
                return;
            }
            SessionEvent::Enough => return,
            SessionEvent::Knock => json!({"kind": "word", "text": "that was too short for a note"}),
            SessionEvent::Taken(taken) => {
                (self.is_again, self.has_last) = (taken.stays_due, true);
                self.why_again = figures(&taken.again.join("; "));
                self.judge(taken);
                take(taken, &self.pass, session)
            }
            SessionEvent::NoReading { place, refusal, remarks } => {
                self.is_again = true;
                self.why_again = figures(&format!("no reading: {refusal}"));
                json!({"kind": "word", "place": place.to_string(), "text":
                        figures(&format!("{place}: no reading, {refusal}; nothing is stored. Play it once more")), "more": remarks})
            }
            SessionEvent::Other(other) => {
                self.held = Some(other.clone());
                json!({"kind": "other", "place": other.due.to_string(),
                        "belongs_to": other.belongs_to.as_ref().map(ToString::to_string),
                        "text": figures(&format!("{} is due, and {} was heard, {} from it: {}; nothing is stored yet",
                            other.due, other.pitch, other.deviation, whose(other)))})
            }
            SessionEvent::Spoiled { place, remark, now } => {
                self.is_again = *now;
                self.why_again.clone_from(remark);
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

    fn stand(&mut self, session: &Session, now: &Snapshot) {
        if now.is_clipped {
            self.clipped = Some(Instant::now());
        }
        self.state.follow(now.steady_s, self.live_now.is_some());
        if self.told.elapsed() < EVERY {
            return;
        }
        self.told = Instant::now();
        let round = |x: f64| (10.0 * x).round() / 10.0;
        let instrument = session.instrument();
        let due = now.due.as_ref().map(|due| {
            let (call, seconds, reason) = self.call(now, due);
            let plate = &due.place.plate;
            let tolerance = instrument.plate(plate).map_or(0.0, |(block, ..)| block.tolerance.get());
            json!({"place": due.place.to_string(), "plate": address(plate),
                "short": short(&due.place), "tolerance": tolerance, "blocks": instrument.blocks.len(),
                "note": due.note.to_string(), "target": due.target.to_string(), "row_len": due.row_len,
                "number": plate.number, "row": plate.row, "block": plate.block,
                "left": due.left, "call": call, "seconds": round(seconds), "reason": figures(&reason)})
        });
        let held = self.held.as_ref().map(|held| {
            let place = held.belongs_to.as_ref();
            let plate = place.map(|place| format!("{}{}", place.plate.row, place.plate.number));
            json!({"belongs_to": place.filter(|_| !held.is_stroke_open).map(short),
                "press": plate.filter(|_| held.is_stroke_open)})
        });
        let is_clipped = self.clipped.is_some_and(|since| since.elapsed() < CLIP_STAYS);
        self.app.events.stands(
            json!({"pass": self.pass, "input": self.input, "due": due, "window": self.window,
            "level_db": round(now.level_db), "floor_db": now.floor_db.map(round), "clipped": is_clipped,
            "sounds": now.steady_s.is_some(), "live": self.live_now, "trace": self.trace, "held": held,
            "all": self.all, "last": self.has_last, "has_back": session.has_back()}),
        );
    }

    /// What to do now, for how long, and why.
    fn call(&self, now: &Snapshot, due: &Due) -> (&'static str, f64, String) {
        let hold_s = due.need.hold_s;
        let dead = self.state.dead_channels().map_or(String::new(), |dead| format!("; {dead}"));
        let usual = if due.need.too_close {
            "its two reeds are too close to wait for: stop abruptly, the tail tells them apart"
        } else if hold_s > LONG_HOLD_S {
            "its two reeds are close, so it takes longer to tell them apart"
        } else {
            "softly and evenly, then stop abruptly"
        };
        match (self.state.input(), now.steady_s) {
            (Input::Silent, _) => {
                ("silent", 0.0, "the input is muted, turned down, or its plug is out".into())
            }
            (Input::Loud, _) => {
                ("loud", 0.0, "something sounds that has no pitch; be quiet for a moment".into())
            }
            (_, Some(steady_s)) if steady_s >= hold_s => {
                ("stop", 0.0, "abruptly: the tail tells of the other reed".into())
            }
            (_, Some(steady_s)) => ("hold", hold_s - steady_s, format!("{usual}{dead}")),
            _ if now.floor_db.is_none() => ("quiet", 0.0, "the noise of the room is being learnt".into()),
            _ => match &self.held {
                Some(held) => ("which", 0.0, which(held)),
                None if self.is_again => ("again", hold_s, self.why_again.clone()),
                None => ("play", hold_s, format!("{usual}{dead}")),
            },
        }
    }
}

/// A hold beyond this has a reason that is told, s: the usual one is between 1.5 and 1.8 s.
const LONG_HOLD_S: f64 = 2.0;

/// What was heard in the place of the due reed.
fn which(held: &OtherReed) -> String {
    format!("{} was heard, {} from {}: {}", held.pitch, held.deviation, short(&held.due), whose(held))
}

/// `A7 press`: the block is told beside it.
pub(super) fn short(place: &ReedPlace) -> String {
    format!("{}{} {}", place.plate.row, place.plate.number, place.stroke)
}

/// A take as the page shows it.
fn take(taken: &Taken, pass: &str, session: &Session) -> Value {
    let reading = &taken.reading;
    let mut more: Vec<String> = reading.warnings.iter().map(ToString::to_string).collect();
    more.extend(reasons(taken).cloned());
    more.extend(uneven(taken));
    more.iter_mut().for_each(|words| *words = figures(words));
    let instrument = session.instrument();
    let tolerance = instrument.plate(&taken.place.plate).map_or(0.0, |(block, ..)| block.tolerance.get());
    let has_valve = instrument.valve_tested_by(&taken.place).is_some_and(|(_, valve)| valve != Valve::None);
    json!({"kind": "take", "short": short(&taken.place), "tolerance": tolerance, "has_valve": has_valve, "place": taken.place.to_string(), "take": taken.n, "pass": pass, "file": taken.file,
        "note": taken.note.map(|note| note.to_string()), "f0": reading.f0.to_string(),
        "cents": figures(&format!("{:+.1}", taken.deviation.get())), "uncertainty": format!("{:.1}", reading.uncertainty.get()),
        "opposite": figures(&opposite(&reading.opposite)), "more": more, "stays_due": taken.stays_due})
}
