//! A session on a screen, for terminals of any kind: large letters, a meter, single keys.

mod state;
#[cfg(test)]
mod tests;
mod view;

use std::io;

use ratatui::crossterm::event::{KeyCode, KeyEvent};

use super::front::Front;
use super::keys::{self, Key};
use super::words::{self, PrintedLine};
use crate::cli::failure::Failure;
use crate::cli::terminal::{Canvas, Typed, type_into, with_control};
use crate::instrument::Stroke;
use crate::session::{SessionEvent, Snapshot};
use state::{State, Typing};

/// The session drawn on the whole terminal.
pub(super) struct Screen {
    canvas: Canvas,
    state: State,
    /// What is printed when the screen is gone.
    told: Vec<PrintedLine>,
}

impl Screen {
    /// Take over the terminal.
    pub fn open(title: &str) -> io::Result<Self> {
        Ok(Self { canvas: Canvas::open()?, state: State::new(title), told: Vec::new() })
    }
}

impl Front for Screen {
    fn keys(&mut self) -> Vec<Key> {
        self.canvas.keys(Key::Stop, |pressed| key(pressed, &mut self.state.typing))
    }

    fn look(&mut self, now: &Snapshot) -> Result<(), Failure> {
        if !self.canvas.is_due() && !now.is_clipped {
            return Ok(());
        }
        let shown = self.state.view(now);
        self.canvas.draw(|frame| view::draw(&shown, frame))
    }

    fn happened(&mut self, said: &SessionEvent) -> Result<(), Failure> {
        self.state.happened(said);
        let is_result = |told: &PrintedLine| matches!(told, PrintedLine::Result(_));
        self.told.extend(words::of(said, false)?.into_iter().filter(is_result));
        self.canvas.changed();
        Ok(())
    }

    fn word(&mut self, text: &str) {
        self.state.word(text);
        self.canvas.changed();
    }

    fn close(&mut self) -> Result<(), Failure> {
        self.canvas.close();
        self.told.drain(..).try_for_each(|told| told.print())
    }
}

/// What a pressed key stands for; while something is typed, it is a letter of it.
fn key(pressed: KeyEvent, typing: &mut Option<Typing>) -> Option<Key> {
    if let Some(is_stop) = with_control(pressed) {
        return is_stop.then_some(Key::Stop);
    }
    if let Some(Typing::Note(text) | Typing::Celsius(text)) = typing {
        match type_into(text, pressed.code) {
            Typed::Open => {}
            Typed::Done => return typing.take().and_then(typed),
            Typed::Dropped => *typing = None,
        }
        return None;
    }
    let KeyCode::Char(letter) = pressed.code else { return None };
    match letter.to_ascii_lowercase() {
        'a' => Some(Key::Again),
        's' => Some(Key::Skip),
        'b' => Some(Key::Back),
        't' => Some(Key::There(None)),
        // Asked for where both strokes of a plate have the pitch.
        'p' => Some(Key::There(Some(Stroke::Press))),
        'd' => Some(Key::There(Some(Stroke::Draw))),
        'h' => Some(Key::Here),
        'q' => Some(Key::Stop),
        'n' => {
            *typing = Some(Typing::Note(String::new()));
            None
        }
        'c' => {
            *typing = Some(Typing::Celsius(String::new()));
            None
        }
        _ => None,
    }
}

/// The key a typed text stands for; none where nothing was typed.
fn typed(typing: Typing) -> Option<Key> {
    match typing {
        Typing::Note(text) if text.trim().is_empty() => None,
        Typing::Note(text) => Some(Key::Note(text.trim().to_owned())),
        Typing::Celsius(text) if text.trim().is_empty() => None,
        Typing::Celsius(text) => keys::key(&format!("temperature {text}")),
    }
}
