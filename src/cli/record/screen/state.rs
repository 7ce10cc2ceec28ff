//! What the screen remembers of a session: the last take, a word, what is being typed.

use std::time::{Duration, Instant};

use super::view::View;
use crate::cli::output::signed;
use crate::session::words;
use crate::session::{SessionEvent, Snapshot};

/// The clip mark stays so long after the last clipped sample.
const CLIP_STAYS: Duration = Duration::from_secs(2);
const KEYS: &str = " a again  s skip  b back  t there  h here  n note  c °C  q stop; none needed";

/// Everything but the sound itself.
#[derive(Debug, Default)]
pub(super) struct State {
    title: String,
    last: String,
    last_cents: String,
    message: String,
    /// The due reed is asked for once more.
    is_again: bool,
    /// The take is held, since its pitch is that of another reed.
    is_held: bool,
    clipped: Option<Instant>,
    /// What is typed, and what it will be.
    pub typing: Option<Typing>,
}

/// Text that is being typed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Typing {
    /// A bench note.
    Note(String),
    /// The room temperature.
    Celsius(String),
}

impl State {
    pub fn new(title: &str) -> Self {
        Self { title: title.to_owned(), message: "be quiet for a moment".into(), ..Self::default() }
    }

    /// Something happened.
    pub fn happened(&mut self, said: &SessionEvent) {
        match said {
            SessionEvent::Began => {
                (self.is_again, self.is_held) = (false, false);
                self.message.clear();
            }
            SessionEvent::Enough => {}
            SessionEvent::Knock => self.message = "that was too short for a note".into(),
            SessionEvent::Taken(taken) => {
                let opposite = words::opposite(&taken.reading.opposite);
                self.last = format!("{}: {}; {opposite}", taken.place, taken.reading.f0);
                let (cents, doubt) = (taken.deviation.get(), taken.reading.uncertainty.get());
                self.last_cents = format!("{}±{doubt:.1}c", signed(cents, 1));
                self.is_again = taken.stays_due;
                let mut all: Vec<String> = words::reasons(taken).cloned().collect();
                all.extend(taken.reading.warnings.iter().map(ToString::to_string));
                all.extend(words::uneven(taken));
                self.message = all.join("; ");
            }
            SessionEvent::NoReading { refusal, .. } => {
                self.is_again = true;
                self.message = format!("no reading: {refusal}; nothing is stored");
            }
            SessionEvent::Other(other) => {
                self.is_held = true;
                self.message = format!(
                    "{} from {due}: {}. Play {due}, or the same pitch once more to keep it",
                    other.deviation,
                    words::whose(other),
                    due = other.due,
                );
            }
            SessionEvent::Spoiled { place, remark, now } => {
                self.is_again = *now;
                let when = if *now { "play it once more" } else { "it comes again at the end" };
                self.message = format!("{place}: {remark}; {when}");
            }
            SessionEvent::Trouble(trouble) => self.message.clone_from(trouble),
        }
    }

    /// A word on the way.
    pub fn word(&mut self, text: &str) {
        text.clone_into(&mut self.message);
    }

    /// The screen at this moment.
    pub fn view(&mut self, now: &Snapshot) -> View {
        if now.is_clipped {
            self.clipped = Some(Instant::now());
        }
        let left = now.due.as_ref().map_or(0, |due| due.left);
        let keys = match &self.typing {
            None => KEYS.into(),
            Some(Typing::Note(text)) => format!(" note: {text}_   Enter writes it, Esc does not"),
            Some(Typing::Celsius(text)) => {
                format!(" room temperature, °C: {text}_   Enter writes it, Esc does not")
            }
        };
        View {
            title: format!("{}: {left} left", self.title),
            place: now.due.as_ref().map_or("done".into(), |due| {
                let plate = &due.place.plate;
                format!("{}{} {}", plate.row, plate.number, due.place.stroke)
            }),
            lies: now.due.as_ref().map_or(String::new(), |due| {
                let plate = &due.place.plate;
                let close = if due.need.too_close {
                    "; stop abruptly, only the tail tells its reeds apart"
                } else {
                    ""
                };
                format!(
                    "{}, {}: block {}, row {}, plate {} of {}{close}",
                    due.note, due.target, plate.block, plate.row, plate.number, due.row_len
                )
            }),
            call: self.call(now),
            level_db: now.level_db,
            floor_db: now.floor_db,
            is_clipped: self.clipped.is_some_and(|since| since.elapsed() < CLIP_STAYS),
            last: self.last.clone(),
            last_cents: self.last_cents.clone(),
            message: self.message.clone(),
            keys,
        }
    }

    fn call(&self, now: &Snapshot) -> String {
        let Some(due) = &now.due else { return String::new() };
        let hold_s = due.need.hold_s;
        match now.steady_s {
            Some(steady_s) if steady_s >= hold_s => "stop".into(),
            Some(steady_s) => format!("{:.1} s", hold_s - steady_s),
            None if now.floor_db.is_none() => "quiet".into(),
            None if self.is_held => "which?".into(),
            None if self.is_again => format!("again {hold_s:.1}s"),
            None => format!("play {hold_s:.1}s"),
        }
    }
}
