//! The loop: sound from the microphone into the session, its words out, and what is typed in between.

use std::time::{Duration, Instant};

use super::keys::{self, Key};
use super::{Arguments, which, words};
use crate::audio::{Incident, Microphone};
use crate::cli::failure::{Ended, Failure};
use crate::cli::{clock, output};
use crate::instrument::{ReedPlace, Spot};
use crate::record::{JobWriter, PassChange};
use crate::recording::{self, Agenda, Said, Session, Setting};
use crate::workshop::Work;

/// After the last take the sound is followed for so long: lost sound shows late.
const AFTERWARDS: Duration = Duration::from_millis(1_300);
/// How often a note that sounds is told how much more it needs.
const COUNT_DOWN: Duration = Duration::from_secs(1);
/// A noise floor above this is worth a word, dBFS: a soft note lies some 20 dB above.
const LOUD_ROOM_DBFS: f64 = -50.0;

impl From<recording::Error> for Failure {
    fn from(error: recording::Error) -> Self {
        Failure::could_not(error.to_string(), error.next())
    }
}

pub(crate) fn run(arguments: Arguments) -> Result<Ended, Failure> {
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
    let (clock, clock_words) = clock::of_input(&input);
    output::say(&clock_words);
    if facts.temperature_c.is_none() {
        output::say("room temperature? type `temperature 19.5`, or leave it out");
    }
    let setting =
        Setting { pass: facts.pass.clone(), rate_hz: input.rate_hz, channels: input.channels, clock };
    let session = Session::new(&mut job, setting, Agenda::new(reeds));
    let ended =
        Bench { session, pass: facts.pass.clone(), json: arguments.json, due: None }.play(&mut microphone)?;
    output::say(&format!("next:  `platenote findings {} --pass {}`", arguments.folder.display(), facts.pass));
    Ok(ended)
}

/// A session with the one who plays in front of it.
struct Bench<'a> {
    session: Session<'a>,
    pass: String,
    json: bool,
    /// The reed that was announced last.
    due: Option<ReedPlace>,
}

impl Bench<'_> {
    fn play(mut self, microphone: &mut Microphone) -> Result<Ended, Failure> {
        let keys = keys::listen();
        let (mut sound, mut counted, mut done): (Vec<f32>, _, Option<Instant>) =
            (Vec::new(), Instant::now(), None);
        let (mut is_floor_told, mut is_clip_told) = (false, false);
        self.announce();
        loop {
            sound.clear();
            match microphone.hear(&mut sound) {
                Ok(incidents) => {
                    let troubles = incidents.iter().map(Incident::to_string).collect();
                    let said = self.session.hear(&sound, troubles)?;
                    is_clip_told &= !said.contains(&Said::Began);
                    self.tell(&said)?;
                }
                Err(error) => {
                    let said = self.session.finish(Some(&error.to_string()))?;
                    self.tell(&said)?;
                    output::say("all takes so far are stored; started again, it goes on where it was");
                    return Err(error.into());
                }
            }
            while let Ok(key) = keys.try_recv() {
                if key == Key::Stop {
                    self.session.finish(None)?;
                    self.sum_up();
                    return Ok(Ended::Done);
                }
                self.obey(key)?;
            }
            if let Some(floor) = self.session.ear().floor_db().filter(|_| !is_floor_told) {
                is_floor_told = true;
                let word =
                    if floor > LOUD_ROOM_DBFS { "; that is loud, weak leaks will not be heard" } else { "" };
                output::say(&format!("noise floor {floor:.0} dBFS{word}"));
                self.due = None;
                self.announce();
            }
            if self.session.ear().was_clipped() && !is_clip_told {
                is_clip_told = true;
                output::say("clipped: play softer, or turn the input down");
            }
            if counted.elapsed() > COUNT_DOWN {
                counted = Instant::now();
                self.count_down();
            }
            match (self.session.due(), done) {
                (Some(_), _) => done = None,
                (None, None) => done = Some(Instant::now()),
                (None, Some(since)) if since.elapsed() > AFTERWARDS => break,
                _ => {}
            }
        }
        self.sum_up();
        Ok(Ended::Done)
    }

    fn tell(&mut self, said: &[Said]) -> Result<(), Failure> {
        for one in said {
            words::tell(one, self.json)?;
        }
        let is_still_due = |one: &Said| matches!(one, Said::Taken(taken) if taken.stays_due);
        if said.iter().any(is_still_due) {
            self.due = None;
        }
        self.announce();
        Ok(())
    }

    /// Say which reed is due when it is another one than was said last.
    fn announce(&mut self) {
        let due = self.session.due();
        if let Some(due) = due.filter(|due| self.due.as_ref() != Some(&due.place)) {
            words::say_due(due);
        }
        self.due = due.map(|due| due.place.clone());
    }

    fn count_down(&mut self) {
        let Some(hold_s) = self.session.due().map(|due| due.need.hold_s) else { return };
        if let Some(steady_s) = self.session.ear().steady_s().filter(|steady_s| *steady_s < hold_s) {
            output::say(&format!("  {:.1} s more", hold_s - steady_s));
        }
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
                    None => output::say("no note of another pitch waits to be kept there"),
                }
            }
            Key::Note(text) => {
                let spots: Vec<Spot> =
                    self.session.due().map(|due| Spot::Reed(due.place.clone())).into_iter().collect();
                let n = self.session.job().mark(&spots, &Work::Note(text))?;
                output::say(&format!("note {n} is written"));
            }
            Key::Temperature(celsius) => {
                let change = PassChange { temperature_c: Some(celsius), ..PassChange::default() };
                self.session.job().open_pass(&self.pass, &change)?;
                output::say(&format!("{celsius} °C is written for pass `{}`", self.pass));
            }
            Key::Unknown(text) => output::say(&format!(
                "`{text}` is none of: again, skip, back, there, here, note TEXT, temperature 19.5, stop"
            )),
            Key::Stop => {}
        }
        self.announce();
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
