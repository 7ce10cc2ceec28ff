//! The loop on a screen, for terminals of any kind: large letters, a band for the tolerance, single keys.

use std::io;

use ratatui::crossterm::event::{KeyCode, KeyEvent};

use super::front::Front;
use super::keys::{self, Key};
use super::view::{self, View};
use super::words;
use crate::cli::failure::Failure;
use crate::cli::output;
use crate::cli::terminal::{Canvas, Typed, type_into, with_control};
use crate::session::{TuneNow, TuneSaid};

const KEYS: &str = " t tip N  r root N  digits: strokes  u undo  s skip  b back  n note  q stop";

/// The loop drawn on the whole terminal.
pub(super) struct Screen {
    canvas: Canvas,
    title: String,
    message: String,
    /// What is typed: `tip 3`, `root 2`, `5`, `note …`.
    typing: Option<String>,
    /// What is printed when the screen is gone.
    told: Vec<String>,
}

impl Screen {
    /// Take over the terminal.
    pub fn open(title: &str) -> io::Result<Self> {
        let message = "be quiet for a moment".into();
        Ok(Self { canvas: Canvas::open()?, title: title.to_owned(), message, typing: None, told: Vec::new() })
    }
}

impl Front for Screen {
    fn keys(&mut self) -> Vec<Key> {
        self.canvas.keys(Key::Stop, |pressed| key(pressed, &mut self.typing))
    }

    fn look(&mut self, now: &TuneNow) -> Result<(), Failure> {
        if !self.canvas.is_due() {
            return Ok(());
        }
        let keys = self.typing.as_ref().map_or(KEYS.to_owned(), |text| format!(" {text}_   Enter, or Esc"));
        let shown = View::of(now, &self.title, &self.message, &keys);
        self.canvas.draw(|frame| view::draw(&shown, frame))
    }

    fn happened(&mut self, said: &TuneSaid) -> Result<(), Failure> {
        let (results, said_words) = words::of(said);
        match said {
            TuneSaid::Began => self.message.clear(),
            TuneSaid::Played(play) => {
                let go = play.go.as_ref().map_or(String::new(), |(mark, filing, _)| {
                    format!("mark {mark}: filed {filing} (u takes it back). ")
                });
                self.message = format!("{go}{}", words::meaning(play));
            }
            _ => self.message = said_words.join("; "),
        }
        self.told.extend(results);
        self.canvas.changed();
        Ok(())
    }

    fn word(&mut self, text: &str) {
        text.clone_into(&mut self.message);
        self.canvas.changed();
    }

    fn close(&mut self) -> Result<(), Failure> {
        self.canvas.close();
        self.told.drain(..).try_for_each(|text| output::line(&text))
    }
}

/// What a pressed key stands for; while something is typed, it is a letter of it.
fn key(pressed: KeyEvent, typing: &mut Option<String>) -> Option<Key> {
    if let Some(is_stop) = with_control(pressed) {
        return is_stop.then_some(Key::Stop);
    }
    if let Some(text) = typing {
        match type_into(text, pressed.code) {
            Typed::Open => {}
            Typed::Done => return typing.take().and_then(|text| keys::key(&text)),
            Typed::Dropped => *typing = None,
        }
        return None;
    }
    let KeyCode::Char(letter) = pressed.code else { return None };
    let begin = match letter.to_ascii_lowercase() {
        'u' => return Some(Key::Undo),
        's' => return Some(Key::Skip),
        'b' => return Some(Key::Back),
        'q' => return Some(Key::Stop),
        't' => "tip ".to_owned(),
        'r' => "root ".to_owned(),
        'n' => "note ".to_owned(),
        digit if digit.is_ascii_digit() => digit.to_string(),
        _ => return None,
    };
    *typing = Some(begin);
    None
}

#[cfg(test)]
mod tests {
    use ratatui::crossterm::event::KeyModifiers;

    use super::*;
    use crate::repair::Part;

    #[test]
    fn single_keys_and_typed_counts() {
        let mut typing = None;
        let mut press = |code| key(KeyEvent::new(code, KeyModifiers::NONE), &mut typing);
        assert_eq!(press(KeyCode::Char('u')), Some(Key::Undo));
        assert_eq!(press(KeyCode::Char('x')), None);
        for letter in "t12".chars() {
            assert_eq!(press(KeyCode::Char(letter)), None);
        }
        assert_eq!(press(KeyCode::Backspace), None);
        assert_eq!(press(KeyCode::Enter), Some(Key::Filed(Part::Tip, 1)));
        assert_eq!(press(KeyCode::Char('5')), None);
        assert_eq!(press(KeyCode::Enter), Some(Key::Strokes(5)));
        assert_eq!(press(KeyCode::Char('r')), None);
        assert_eq!(press(KeyCode::Esc), None);
        assert_eq!(press(KeyCode::Char('q')), Some(Key::Stop));
    }
}
