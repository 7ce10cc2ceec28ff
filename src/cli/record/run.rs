//! The loop: sound from the microphone into the session, what it says to the one who plays, and what is typed.

use std::time::{Duration, Instant};

use super::front::{self, Front};
use super::keys::Key;
use super::{Arguments, which};
use crate::audio::{Incident, Microphone};
use crate::cli::failure::{Ended, Failure};
use crate::cli::output;
use crate::instrument::Spot;
use crate::record::{JobWriter, PassChange};
use crate::recording::{self, Agenda, Said, Session, Setting};
use crate::workshop::Work;

/// After the last take the sound is followed for so long: lost sound shows late.
const AFTERWARDS: Duration = Duration::from_millis(1_300);

impl From<recording::Error> for Failure {
    fn from(error: recording::Error) -> Self {
        Failure::could_not(error.to_string(), error.next())
    }
}

pub(crate) fn run(arguments: Arguments) -> Result<Ended, Failure> {
    if arguments.whole {
        return super::whole::run(arguments);
    }
    let change = arguments.pass.checked()?;
    let mut job = JobWriter::open(&arguments.folder)?;
    output::say_oddities(&job);
    // The input first: where none can be opened, no pass is opened either.
    let mut microphone = Microphone::open(arguments.device.as_deref())?;
    let input = microphone.input().clone();
    let facts = job.open_pass(&arguments.pass.name, &change)?;
    let reeds = which::reeds(&arguments, &job, &facts.pass)?;
    if reeds.is_empty() {
        output::say(&format!("nothing is due in pass `{}`", facts.pass));
        output::say("next:  `--from PLACE` plays reeds once more, `--only doubtful` those that are in doubt");
        return Ok(Ended::Done);
    }
    output::say(&format!(
        "listening to `{}`, {} Hz, {} channels; be quiet for a moment",
        input.name, input.rate_hz, input.channels
    ));
    let (clock, clock_words) = recording::clock_of_input(&input);
    output::say(&clock_words);
    let title = match job.title() {
        "" => format!("pass `{}`", facts.pass),
        title => format!("{title}, pass `{}`", facts.pass),
    };
    let mut front = front::choose(arguments.lines, arguments.json, &title);
    if facts.temperature_c.is_none() {
        front.word("room temperature? type `temperature 19.5`, or leave it out");
    }
    let setting =
        Setting { pass: facts.pass.clone(), rate_hz: input.rate_hz, channels: input.channels, clock };
    let session = Session::new(&mut job, setting, Agenda::new(reeds));
    let mut bench = Bench { session, pass: facts.pass.clone(), front };
    let played = bench.play(&mut microphone);
    // Whatever happened, the terminal first.
    bench.front.close()?;
    played?;
    bench.sum_up();
    output::say(&format!("next:  `platenote findings {} --pass {}`", arguments.folder.display(), facts.pass));
    Ok(Ended::Done)
}

/// A session with the one who plays in front of it.
struct Bench<'a> {
    session: Session<'a>,
    pass: String,
    front: Box<dyn Front>,
}

impl Bench<'_> {
    fn play(&mut self, microphone: &mut Microphone) -> Result<(), Failure> {
        let (mut sound, mut done): (Vec<f32>, Option<Instant>) = (Vec::new(), None);
        loop {
            sound.clear();
            match microphone.hear(&mut sound) {
                Ok(incidents) => {
                    let troubles = incidents.iter().map(Incident::to_string).collect();
                    let said = self.session.hear(&sound, troubles)?;
                    self.tell(&said)?;
                }
                Err(error) => {
                    let said = self.session.finish(Some(&error.to_string()))?;
                    self.tell(&said)?;
                    self.front.close()?;
                    output::say("all takes so far are stored; started again, it goes on where it was");
                    return Err(error.into());
                }
            }
            for key in self.front.keys() {
                if key == Key::Stop {
                    self.session.finish(None)?;
                    return Ok(());
                }
                self.obey(key)?;
            }
            let now = self.session.look();
            self.front.look(&now)?;
            match (now.due, done) {
                (Some(_), _) => done = None,
                (None, None) => done = Some(Instant::now()),
                (None, Some(since)) if since.elapsed() > AFTERWARDS => return Ok(()),
                _ => {}
            }
        }
    }

    fn tell(&mut self, said: &[Said]) -> Result<(), Failure> {
        said.iter().try_for_each(|one| self.front.happened(one))
    }

    fn obey(&mut self, key: Key) -> Result<(), Failure> {
        match key {
            Key::Again => self.session.again(),
            Key::Skip => self.session.skip(),
            Key::Back => self.session.back(),
            Key::There | Key::Here => {
                let kept = if key == Key::There { self.session.there()? } else { self.session.here()? };
                match kept {
                    Some(said) => self.tell(&[said])?,
                    None => self.front.word("no note of another pitch waits to be kept there"),
                }
            }
            Key::Note(text) => {
                let spots: Vec<Spot> =
                    self.session.due().map(|due| Spot::Reed(due.place.clone())).into_iter().collect();
                let n = self.session.job().mark(&spots, &Work::Note(text))?;
                self.front.word(&format!("note {n} is written"));
            }
            Key::Temperature(celsius) => {
                let change = PassChange { temperature_c: Some(celsius), ..PassChange::default() };
                self.session.job().open_pass(&self.pass, &change)?;
                self.front.word(&format!("{celsius} °C is written for pass `{}`", self.pass));
            }
            Key::Unknown(text) => self.front.word(&format!(
                "`{text}` is none of: again, skip, back, there, here, note TEXT, temperature 19.5, stop"
            )),
            Key::Stop => {}
        }
        Ok(())
    }

    fn sum_up(&self) {
        let skipped: Vec<String> = self.session.skipped().map(|reed| format!("`{reed}`")).collect();
        if !skipped.is_empty() {
            output::say(&format!("skipped: {}", skipped.join(", ")));
        }
        match self.session.due() {
            Some(due) => {
                output::say(&format!("{} reeds are left; started again, it goes on where it was", due.left))
            }
            None => output::say("no reed is left"),
        }
    }
}
