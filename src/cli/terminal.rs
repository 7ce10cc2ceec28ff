//! What `record` and `tune` share in front of a terminal: the screen taken over and given back, single keys, typed lines,
//! letters of full size.

use std::io::{self, IsTerminal};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

use ratatui::crossterm::event::{self, Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers};
use ratatui::layout::Rect;
use ratatui::style::{Modifier, Style};
use ratatui::text::Line;
use ratatui::{DefaultTerminal, Frame};
use tui_big_text::{BigText, PixelSize};

use super::failure::Failure;

/// The screen is drawn no more often: enough for a meter, little for a slow line.
const EVERY: Duration = Duration::from_millis(50);

/// A terminal taken over; dropped or panicked over, it is given back as it was.
pub(super) struct Canvas {
    terminal: DefaultTerminal,
    drawn: Option<Instant>,
    is_open: bool,
    /// The system asks the program to end.
    #[cfg(unix)]
    ending: std::sync::Arc<std::sync::atomic::AtomicBool>,
}

impl Canvas {
    /// Take over the terminal. A panic gives it back before it is told.
    pub fn open() -> io::Result<Self> {
        let canvas = Self {
            terminal: ratatui::try_init()?,
            drawn: None,
            is_open: true,
            #[cfg(unix)]
            ending: std::sync::Arc::default(),
        };
        #[cfg(unix)]
        for signal in [signal_hook::consts::SIGTERM, signal_hook::consts::SIGHUP, signal_hook::consts::SIGINT]
        {
            signal_hook::flag::register(signal, canvas.ending.clone())?;
        }
        Ok(canvas)
    }

    /// Give the terminal back.
    pub fn close(&mut self) {
        if std::mem::take(&mut self.is_open) {
            ratatui::restore();
        }
    }

    /// What was pressed since the last call, each through `key`; and `stop` where the system asks the program to end.
    pub fn keys<K>(&mut self, stop: K, mut key: impl FnMut(KeyEvent) -> Option<K>) -> Vec<K> {
        let mut keys = Vec::new();
        // A terminal that is gone types nothing; the signal says so.
        while event::poll(Duration::ZERO).unwrap_or(false) {
            match event::read() {
                Ok(Event::Key(pressed)) if pressed.kind != KeyEventKind::Release => keys.extend(key(pressed)),
                Ok(_) => {}
                Err(_) => break,
            }
            self.drawn = None;
        }
        if self.is_asked_to_end() {
            keys.push(stop);
        }
        keys
    }

    fn is_asked_to_end(&self) -> bool {
        #[cfg(unix)]
        return self.ending.load(std::sync::atomic::Ordering::Relaxed);
        #[cfg(not(unix))]
        false
    }

    /// The next drawing is due at once.
    pub fn changed(&mut self) {
        self.drawn = None;
    }

    /// Whether it is time to draw again.
    pub fn is_due(&self) -> bool {
        self.drawn.is_none_or(|drawn| drawn.elapsed() >= EVERY)
    }

    /// Draw the whole screen.
    pub fn draw(&mut self, picture: impl FnOnce(&mut Frame)) -> Result<(), Failure> {
        self.drawn = Some(Instant::now());
        self.terminal.draw(picture).map(|_| ()).map_err(|error| {
            Failure::could_not(
                format!("the terminal cannot be drawn on: {error}"),
                "start it again with `--lines`",
            )
        })
    }
}

impl Drop for Canvas {
    fn drop(&mut self) {
        self.close();
    }
}

/// What a key does to a text that is being typed.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Typed {
    /// More may come.
    Open,
    /// Enter.
    Done,
    /// Escape.
    Dropped,
}

/// Type a key into a text.
pub(super) fn type_into(text: &mut String, code: KeyCode) -> Typed {
    match code {
        KeyCode::Char(letter) => text.push(letter),
        KeyCode::Backspace => {
            text.pop();
        }
        KeyCode::Esc => return Typed::Dropped,
        KeyCode::Enter => return Typed::Done,
        _ => {}
    }
    Typed::Open
}

/// Whether a key is held with Ctrl, and if so, whether it asks to end.
pub(super) fn with_control(pressed: KeyEvent) -> Option<bool> {
    let is_held = pressed.modifiers.contains(KeyModifiers::CONTROL);
    is_held.then_some(matches!(pressed.code, KeyCode::Char('c' | 'd')))
}

/// A screen where a person sits in front of one, else lines.
pub(super) fn choose<F: ?Sized>(
    is_plain: bool,
    screen: impl FnOnce() -> io::Result<Box<F>>,
    lines: impl FnOnce() -> Box<F>,
) -> Box<F> {
    let is_terminal = io::stdout().is_terminal() && io::stdin().is_terminal();
    if is_plain || !is_terminal {
        return lines();
    }
    // A terminal that cannot be drawn on still takes lines.
    screen().unwrap_or_else(|_| lines())
}

/// Lines typed from now on, each through `key`; a closed stdin types nothing and stops nothing.
pub(super) fn typed_lines<K: Send + 'static>(key: fn(&str) -> Option<K>) -> Receiver<K> {
    let (typed, keys) = channel();
    let waiting = std::thread::Builder::new().name("keys".into()).spawn(move || {
        for line in io::stdin().lines() {
            let Ok(line) = line else { return };
            if let Some(key) = key(&line)
                && typed.send(key).is_err()
            {
                return;
            }
        }
    });
    // Without a thread for them there are no keys, and the work goes on without.
    drop(waiting);
    keys
}

/// Text as large as the area takes.
pub(super) fn large(text: &str, area: Rect, frame: &mut Frame) {
    let letters = text.chars().count() as u16;
    let (wide, narrow) = match area.height {
        8.. => (PixelSize::Full, PixelSize::HalfWidth),
        4.. => (PixelSize::HalfHeight, PixelSize::Quadrant),
        _ => {
            let line = Line::styled(text, Style::new().add_modifier(Modifier::BOLD | Modifier::REVERSED));
            return frame.render_widget(line, area);
        }
    };
    let size = if 8 * letters <= area.width { wide } else { narrow };
    let big = BigText::builder().pixel_size(size).lines(vec![Line::raw(text)]).build();
    frame.render_widget(big, area);
}
