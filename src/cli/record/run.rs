//! A session played in front of a terminal: what it says to the one who plays, and what is typed.

use super::front::Front;
use super::keys::Key;
use super::lines::Lines;
use super::screen::Screen;
use super::{Arguments, which};
use jiff::Timestamp;

use crate::audio::Microphone;
use crate::cli::failure::{Ended, Failure};
use crate::cli::output;
use crate::cli::terminal::choose;
use crate::instrument::Spot;
use crate::job::{JobWriter, PassChange};
use crate::repair::Work;
use crate::session::{self, Agenda, Command, Session, SessionEvent, Setting, Snapshot};

pub(crate) fn run(arguments: Arguments) -> Result<Ended, Failure> {
    if arguments.whole {
        return super::whole::run(arguments);
    }
    let change = arguments.pass.checked()?;
    let mut job = JobWriter::open(&arguments.folder)?;
    output::say_oddities(&job);
    arguments.pass.ask_if_near(&job)?;
    // The input first: where none can be opened, no pass is opened either.
    let mut microphone = Microphone::open(arguments.device.as_deref())?;
    let input = microphone.input().clone();
    let facts = job.open_pass(&arguments.pass.name, &change)?;
    let reeds = which::reeds(&arguments, &job, &facts.pass)?;
    let now = Timestamp::now();
    let takes: Vec<_> = reeds.iter().map(|reed| (reed.clone(), now)).collect();
    let facts = arguments.pass.open_for(&mut job, &change, &takes)?;
    if reeds.is_empty() {
        output::say(&format!("nothing is due in pass `{}`", facts.pass));
        output::say("next:  `--from PLACE` plays reeds once more, `--only doubtful` those that are in doubt");
        return Ok(Ended::Done);
    }
    output::say(&format!(
        "listening to `{}`, {} Hz, {} channels; be quiet for a moment",
        input.name, input.rate_hz, input.channels
    ));
    let (clock, clock_words) = session::clock_of_input(&input);
    output::say(&clock_words);
    let title = match job.title() {
        "" => format!("pass `{}`", facts.pass),
        title => format!("{title}, pass `{}`", facts.pass),
    };
    let mut front = choose(
        arguments.lines || arguments.json,
        || -> std::io::Result<Box<dyn Front>> { Ok(Box::new(Screen::open(&title)?)) },
        || Box::new(Lines::new(arguments.json)),
    );
    if facts.temperature_c.is_none() {
        front.word("room temperature? type `temperature 19.5`, or leave it out");
    }
    let setting =
        Setting { pass: facts.pass.clone(), rate_hz: input.rate_hz, channels: input.channels, clock };
    let mut session = Session::new(&mut job, setting, Agenda::new(reeds));
    let mut bench = Bench { pass: facts.pass.clone(), front };
    let played = session::play(&mut session, &mut microphone, &mut bench);
    // Whatever happened, the terminal first.
    bench.front.close()?;
    played?;
    sum_up(&session);
    output::say(&format!(
        "next:  `platenote findings {} --pass {}`",
        output::quoted(&arguments.folder),
        facts.pass
    ));
    Ok(Ended::Done)
}

/// A terminal in front of a session, with what is typed there.
struct Bench {
    pass: String,
    front: Box<dyn Front>,
}

impl session::Front for Bench {
    type Error = Failure;
    type Own = Key;

    fn happened(&mut self, _: &Session, said: &SessionEvent) -> Result<(), Failure> {
        self.front.happened(said)
    }

    fn word(&mut self, text: &str) {
        self.front.word(text);
    }

    fn asked(&mut self) -> Vec<Command<Key>> {
        let asked = self.front.keys().into_iter().map(|key| match key {
            Key::Again => Command::Again,
            Key::Skip => Command::Skip,
            Key::Back => Command::Back,
            Key::There(stroke) => Command::There(stroke),
            Key::Here => Command::Here,
            Key::Stop => Command::Stop,
            own => Command::Own(own),
        });
        asked.collect()
    }

    fn obey(&mut self, session: &mut Session, key: Key) -> Result<(), Failure> {
        match key {
            Key::Note(text) => {
                let spots: Vec<Spot> =
                    session.due().map(|due| Spot::Reed(due.place.clone())).into_iter().collect();
                let n = session.job().mark(&spots, &Work::Note(text))?;
                self.front.word(&format!("note {n} is written"));
            }
            Key::Temperature(celsius) => {
                let change = PassChange { temperature_c: Some(celsius), ..PassChange::default() };
                session.job().open_pass(&self.pass, &change)?;
                self.front.word(&format!("{celsius} °C is written for pass `{}`", self.pass));
            }
            Key::Unknown(text) => self.front.word(&format!(
                "`{text}` is none of: again, skip, back, there, here, note TEXT, temperature 19.5, stop"
            )),
            // Every front asks these.
            Key::Again | Key::Skip | Key::Back | Key::There(_) | Key::Here | Key::Stop => {}
        }
        Ok(())
    }

    fn look(&mut self, _: &Session, now: &Snapshot) -> Result<(), Failure> {
        self.front.look(now)
    }

    fn lost(&mut self) -> Result<(), Failure> {
        self.front.close()?;
        output::say("all takes so far are stored; started again, it goes on where it was");
        Ok(())
    }
}

fn sum_up(session: &Session) {
    let skipped: Vec<String> = session.skipped().map(|reed| format!("`{reed}`")).collect();
    if !skipped.is_empty() {
        output::say(&format!("skipped: {}", skipped.join(", ")));
    }
    match session.due() {
        Some(due) => {
            output::say(&format!("{} reeds are left; started again, it goes on where it was", due.left))
        }
        None => output::say("no reed is left"),
    }
}
