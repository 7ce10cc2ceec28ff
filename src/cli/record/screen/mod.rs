//! A session on a screen, for terminals of any kind: large letters, a meter, single keys.

mod state;
#[cfg(test)]
mod tests;
mod view;

use std::io;
use std::time::{Duration, Instant};

use ratatui::DefaultTerminal;
use ratatui::crossterm::event::{self, Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers};

pub(in crate::cli) use view::large;

use super::front::Front;
use super::keys::{self, Key};
use super::words::{self, Told};
use crate::cli::failure::Failure;
use crate::instrument::Stroke;
use crate::session::{SessionEvent, Snapshot};
use state::{State, Typing};

/// The screen is drawn no more often: enough for a meter, little for a slow line.
const EVERY: Duration = Duration::from_millis(50);

/// The screen; dropped or panicked over, it gives the terminal back as it was.
pub(super) struct Screen {
    terminal: DefaultTerminal,
    state: State,
    drawn: Option<Instant>,
    /// What is printed when the screen is gone.
    told: Vec<Told>,
    is_open: bool,
    /// The system asks the program to end.
    #[cfg(unix)]
    ending: std::sync::Arc<std::sync::atomic::AtomicBool>,
}

impl Screen {
    /// Take over the terminal. A panic gives it back before it is told.
    pub fn open(title: &str) -> io::Result<Self> {
        let terminal = ratatui::try_init()?;
        let screen = Self {
            terminal,
            state: State::new(title),
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
                    keys.extend(key(pressed, &mut self.state.typing));
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

    fn look(&mut self, now: &Snapshot) -> Result<(), Failure> {
        if self.drawn.is_some_and(|drawn| drawn.elapsed() < EVERY) && !now.is_clipped {
            return Ok(());
        }
        self.drawn = Some(Instant::now());
        let shown = self.state.view(now);
        let drawn = self.terminal.draw(|frame| view::draw(&shown, frame)).map(|_| ());
        drawn.map_err(|error| {
            Failure::could_not(
                format!("the terminal cannot be drawn on: {error}"),
                "start it again with `--lines`",
            )
        })
    }

    fn happened(&mut self, said: &SessionEvent) -> Result<(), Failure> {
        self.state.happened(said);
        let is_result = |told: &Told| matches!(told, Told::Result(_));
        self.told.extend(words::of(said, false)?.into_iter().filter(is_result));
        self.drawn = None;
        Ok(())
    }

    fn word(&mut self, text: &str) {
        self.state.word(text);
        self.drawn = None;
    }

    fn close(&mut self) -> Result<(), Failure> {
        self.give_back();
        self.told.drain(..).try_for_each(|told| told.print())
    }
}

/// What a pressed key stands for; while something is typed, it is a letter of it.
fn key(pressed: KeyEvent, typing: &mut Option<Typing>) -> Option<Key> {
    if pressed.modifiers.contains(KeyModifiers::CONTROL) {
        return matches!(pressed.code, KeyCode::Char('c' | 'd')).then_some(Key::Stop);
    }
    if let Some(Typing::Note(text) | Typing::Celsius(text)) = typing {
        match pressed.code {
            KeyCode::Char(letter) => text.push(letter),
            KeyCode::Backspace => {
                text.pop();
            }
            KeyCode::Esc => *typing = None,
            KeyCode::Enter => return typing.take().and_then(typed),
            _ => {}
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
