//! The loop of a session: sound from the microphone in, what happened to whoever stands in front, and what is asked there
//! back into the session.

use std::time::{Duration, Instant};

use super::{Command, Session, SessionError, SessionEvent, Snapshot};
use crate::audio::{Incident, Microphone, MicrophoneError};

/// After the last take the sound is followed for so long: lost sound shows late.
const AFTERWARDS: Duration = Duration::from_millis(1_300);

/// What stands between a session and the one who plays: a terminal, a page.
pub trait Front {
    /// What ends the session when something fails.
    type Error: From<SessionError> + From<MicrophoneError>;
    /// What it asks beside what every front does.
    type Own;

    /// Something happened.
    fn happened(&mut self, session: &Session, said: &SessionEvent) -> Result<(), Self::Error>;
    /// A word on the way.
    fn word(&mut self, text: &str);
    /// The sound that was just heard, after everything that came of it was told.
    fn sounded(&mut self, _session: &Session, _sound: &[f32]) {}
    /// What was asked since the last call.
    fn asked(&mut self) -> Vec<Command<Self::Own>>;
    /// Do what only this front knows of.
    fn obey(&mut self, session: &mut Session, own: Self::Own) -> Result<(), Self::Error>;
    /// What was asked is done.
    fn obeyed(&mut self) {}
    /// How things stand; called many times a second.
    fn look(&mut self, session: &Session, now: &Snapshot) -> Result<(), Self::Error>;
    /// The microphone gave out; everything so far is stored.
    fn lost(&mut self) -> Result<(), Self::Error> {
        Ok(())
    }
}

/// Play until no reed is due, somebody stops, or something fails.
pub fn play<F: Front>(
    session: &mut Session,
    microphone: &mut Microphone,
    front: &mut F,
) -> Result<(), F::Error> {
    let (mut sound, mut done): (Vec<f32>, Option<Instant>) = (Vec::new(), None);
    loop {
        sound.clear();
        match microphone.hear(&mut sound) {
            Ok(incidents) => {
                let troubles = incidents.iter().map(Incident::to_string).collect();
                let said = session.hear(&sound, troubles)?;
                tell(session, front, &said)?;
            }
            Err(error) => {
                let said = session.finish(Some(&error.to_string()))?;
                tell(session, front, &said)?;
                front.lost()?;
                return Err(error.into());
            }
        }
        front.sounded(session, &sound);
        for asked in front.asked() {
            if matches!(asked, Command::Stop) {
                session.finish(None)?;
                return Ok(());
            }
            obey(session, front, asked)?;
        }
        let now = session.look();
        front.look(session, &now)?;
        match (now.due, done) {
            (Some(_), _) => done = None,
            (None, None) => done = Some(Instant::now()),
            (None, Some(since)) if since.elapsed() > AFTERWARDS => return Ok(()),
            _ => {}
        }
    }
}

fn tell<F: Front>(session: &Session, front: &mut F, said: &[SessionEvent]) -> Result<(), F::Error> {
    said.iter().try_for_each(|one| front.happened(session, one))
}

fn obey<F: Front>(session: &mut Session, front: &mut F, asked: Command<F::Own>) -> Result<(), F::Error> {
    let kept = match asked {
        Command::There(None) if session.is_stroke_open() => {
            front.word("both strokes of that plate have this pitch: say press or draw");
            None
        }
        Command::There(stroke) => Some(session.there(stroke)?),
        Command::Here => Some(session.here()?),
        Command::Again => {
            session.again();
            None
        }
        Command::Skip => {
            session.skip();
            None
        }
        Command::Back => {
            session.back();
            None
        }
        Command::LearnRoom => {
            session.learn_room();
            None
        }
        Command::Hush(is_on) => {
            // No word of the player's: what waits for an answer goes on waiting.
            session.hush(is_on);
            return Ok(());
        }
        Command::Own(own) => {
            front.obey(session, own)?;
            None
        }
        Command::Stop => None,
    };
    match kept {
        Some(Some(said)) => front.happened(session, &said)?,
        Some(None) => front.word("no note of another pitch waits to be kept there"),
        None => {}
    }
    front.obeyed();
    Ok(())
}
