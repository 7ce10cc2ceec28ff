//! The loop on a screen, for terminals of any kind: large letters, a band for the tolerance, single keys.

use std::io;
use std::time::{Duration, Instant};

use ratatui::DefaultTerminal;
use ratatui::crossterm::event::{self, Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers};

use super::front::Front;
use super::keys::{self, Key};
use super::view::{self, View};
use super::words;
use crate::cli::failure::Failure;
use crate::cli::output;
use crate::session::{TuneNow, TuneSaid};

/// The screen is drawn no more often: enough for a needle, little for a slow line.
const EVERY: Duration = Duration::from_millis(50);
const KEYS: &str = " t tip N  r root N  digits: strokes  u undo  s skip  b back  n note  q stop";

/// The screen; dropped or panicked over, it gives the terminal back as it was.
pub(super) struct Screen {
    terminal: DefaultTerminal,
    title: String,
    message: String,
    /// What is typed: `tip 3`, `root 2`, `5`, `note …`.
    typing: Option<String>,
    drawn: Option<Instant>,
    /// What is printed when the screen is gone.
    told: Vec<String>,
    is_open: bool,
    /// The system asks the program to end.
    #[cfg(unix)]
    ending: std::sync::Arc<std::sync::atomic::AtomicBool>,
}

impl Screen {
    /// Take over the terminal. A panic gives it back before it is told.
    pub fn open(title: &str) -> io::Result<Self> {
        let screen = Self {
            terminal: ratatui::try_init()?,
            title: title.to_owned(),
            message: "be quiet for a moment".into(),
            typing: None,
            drawn: None,
            told: Vec::new(),
            is_open: true,
            #[cfg(unix)]
            ending: std::sync::Arc::default(),
        };
        #[cfg(unix)]
        for signal in [signal_hook::consts::SIGTERM, signal_hook::consts::SIGHUP, signal_hook::consts::SIGINT]
        {
            signal_hook::flag::register(signal, screen.ending.clone())?;
        }
        Ok(screen)
    }

    fn give_back(&mut self) {
        if std::mem::take(&mut self.is_open) {
            ratatui::restore();
        }
    }

    fn is_asked_to_end(&self) -> bool {
        #[cfg(unix)]
        return self.ending.load(std::sync::atomic::Ordering::Relaxed);
        #[cfg(not(unix))]
        false
    }
}

impl Drop for Screen {
    fn drop(&mut self) {
        self.give_back();
    }
}

impl Front for Screen {
    fn keys(&mut self) -> Vec<Key> {
        let mut keys = Vec::new();
        // A terminal that is gone types nothing; the signal says so.
        while event::poll(Duration::ZERO).unwrap_or(false) {
            match event::read() {
                Ok(Event::Key(pressed)) if pressed.kind != KeyEventKind::Release => {
                    keys.extend(key(pressed, &mut self.typing));
                }
                Ok(_) => {}
                Err(_) => break,
            }
            self.drawn = None;
        }
        if self.is_asked_to_end() {
            keys.push(Key::Stop);
        }
        keys
    }

    fn look(&mut self, now: &TuneNow) -> Result<(), Failure> {
        if self.drawn.is_some_and(|drawn| drawn.elapsed() < EVERY) {
            return Ok(());
        }
        self.drawn = Some(Instant::now());
        let keys = self.typing.as_ref().map_or(KEYS.to_owned(), |text| format!(" {text}_   Enter, or Esc"));
        let shown = View::of(now, &self.title, &self.message, &keys);
        self.terminal.draw(|frame| view::draw(&shown, frame)).map(|_| ()).map_err(|error| {
            Failure::could_not(
                format!("the terminal cannot be drawn on: {error}"),
                "start it again with `--lines`",
            )
        })
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
        self.drawn = None;
        Ok(())
    }

    fn word(&mut self, text: &str) {
        text.clone_into(&mut self.message);
        self.drawn = None;
    }

    fn close(&mut self) -> Result<(), Failure> {
        self.give_back();
        self.told.drain(..).try_for_each(|text| output::line(&text))
    }
}

/// What a pressed key stands for; while something is typed, it is a letter of it.
fn key(pressed: KeyEvent, typing: &mut Option<String>) -> Option<Key> {
    if pressed.modifiers.contains(KeyModifiers::CONTROL) {
        return matches!(pressed.code, KeyCode::Char('c' | 'd')).then_some(Key::Stop);
    }
    if let Some(text) = typing {
        match pressed.code {
            KeyCode::Char(letter) => text.push(letter),
            KeyCode::Backspace => {
                text.pop();
            }
            KeyCode::Esc => *typing = None,
            KeyCode::Enter => return typing.take().and_then(|text| keys::key(&text)),
            _ => {}
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
