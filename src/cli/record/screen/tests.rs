//! The screen drawn into memory, at the size of a small terminal.

use ratatui::Terminal;
use ratatui::backend::TestBackend;
use ratatui::crossterm::event::{KeyCode, KeyEvent, KeyModifiers};
use ratatui::style::{Color, Modifier};

use super::super::keys::Key;
use super::state::{State, Typing};
use super::{key, view};
use crate::instrument::{PlatePlace, ReedPlace, Stroke};
use crate::session::{Due, Need, OtherReed, SessionEvent, Snapshot};
use crate::units::{Cents, Hz};

fn place() -> ReedPlace {
    ReedPlace {
        plate: PlatePlace { block: "bass".into(), row: "A".into(), number: 12 },
        stroke: Stroke::Press,
    }
}

fn now() -> Snapshot {
    let due = Due {
        place: place(),
        row_len: 24,
        note: "F#2".parse().unwrap(),
        target: Hz::new(92.5).unwrap(),
        need: Need { hold_s: 1.8, too_close: false },
        left: 23,
    };
    Snapshot { due: Some(due), level_db: -30.0, floor_db: Some(-62.0), is_clipped: false, steady_s: None }
}

/// What is on the screen, a line each, and the terminal itself.
fn drawn(state: &mut State, now: &Snapshot, (width, height): (u16, u16)) -> (Vec<String>, TestBackend) {
    let mut terminal = Terminal::new(TestBackend::new(width, height)).unwrap();
    let shown = state.view(now);
    terminal.draw(|frame| view::draw(&shown, frame)).unwrap();
    let buffer = terminal.backend().buffer().clone();
    let row = |y| (0..width).map(|x| buffer[(x, y)].symbol()).collect::<String>().trim_end().to_owned();
    ((0..height).map(row).collect(), terminal.backend().clone())
}

#[test]
fn at_80_by_24_the_due_reed_is_drawn_in_letters_eight_rows_high() {
    let mut state = State::new("Bass block, pass `before`");
    state.word("a word on the sound");
    let (rows, _) = drawn(&mut state, &now(), (80, 24));
    assert_eq!(rows[0], "Bass block, pass `before`: 23 left");
    // `A12 press` takes nine letters of eight cells.
    let ink: Vec<usize> = rows[1..9].iter().map(|row| row.matches('█').count()).collect();
    assert!(ink[..7].iter().all(|ink| *ink >= 8), "{rows:#?}");
    let widest = rows[1..9].iter().map(|row| row.chars().count()).max().unwrap();
    assert!((64..=72).contains(&widest), "{widest}");
    assert_eq!(rows[9], "F#2, 92.50 Hz: block bass, row A, plate 12 of 24");
    assert!(rows[10..14].iter().all(|row| row.chars().any(|c| "█▀▄".contains(c))), "{rows:#?}");
    assert_eq!(rows[21], "a word on the sound");
    assert!(rows[23].contains("a again") && rows[23].ends_with("q stop; none needed"), "{}", rows[23]);
}

#[test]
fn the_meter_shows_level_noise_floor_and_clipping() {
    let mut state = State::new("");
    let (rows, _) = drawn(&mut state, &now(), (80, 24));
    // 71 cells from -80 to 0 dBFS: -30 is cell 44, the noise at -62 is cell 16.
    let meter: Vec<char> = rows[14].chars().collect();
    assert_eq!(meter[1..=44].iter().filter(|c| **c == '█').count(), 43, "{}", rows[14]);
    assert_eq!((meter[17], meter[45], meter[72]), ('|', '·', ']'), "{}", rows[14]);
    assert!(!rows[14].contains("CLIP"));
    assert!(rows[15].starts_with("-80") && rows[15].contains("| noise"), "{}", rows[15]);
    let (rows, _) = drawn(&mut state, &Snapshot { is_clipped: true, ..now() }, (80, 24));
    assert!(rows[14].contains("CLIP"), "{}", rows[14]);
    // It stays for a moment, so that it is seen from the bellows.
    let (rows, _) = drawn(&mut state, &now(), (80, 24));
    assert!(rows[14].contains("CLIP"), "{}", rows[14]);
}

#[test]
fn what_to_do_now_follows_the_note() {
    let mut state = State::new("");
    let call =
        |state: &mut State, steady_s, floor_db| state.view(&Snapshot { steady_s, floor_db, ..now() }).call;
    assert_eq!(call(&mut state, None, None), "quiet");
    assert_eq!(call(&mut state, None, Some(-60.0)), "play 1.8s");
    assert_eq!(call(&mut state, Some(0.6), Some(-60.0)), "1.2 s");
    assert_eq!(call(&mut state, Some(1.9), Some(-60.0)), "stop");
    let other = OtherReed {
        due: place(),
        pitch: Hz::new(98.0).unwrap(),
        deviation: Cents::new(100.0).unwrap(),
        belongs_to: Some(ReedPlace { stroke: Stroke::Draw, ..place() }),
        is_stroke_open: false,
    };
    state.happened(&SessionEvent::Other(other));
    assert_eq!(call(&mut state, None, Some(-60.0)), "which?");
    let message = state.view(&now()).message;
    assert!(message.contains("the pitch of bass A12 draw") && message.chars().count() <= 160, "{message}");
    assert_eq!(state.view(&Snapshot { due: None, ..now() }).place, "done");
}

#[test]
fn nothing_rests_on_colour_and_every_size_is_drawn() {
    let mut state = State::new("Bass block");
    for size in [(80, 24), (120, 40), (40, 16), (20, 5), (1, 1)] {
        let (_, terminal) = drawn(&mut state, &Snapshot { is_clipped: true, ..now() }, size);
        for cell in &terminal.buffer().content {
            assert_eq!((cell.fg, cell.bg), (Color::Reset, Color::Reset), "{size:?}");
        }
    }
    let (_, terminal) = drawn(&mut state, &Snapshot { is_clipped: true, ..now() }, (80, 24));
    let is_reversed = |cell: &&ratatui::buffer::Cell| cell.modifier.contains(Modifier::REVERSED);
    let marked: String = terminal.buffer().content[14 * 80..15 * 80]
        .iter()
        .filter(is_reversed)
        .map(|cell| cell.symbol())
        .collect();
    assert_eq!(marked, " CLIP ");
}

#[test]
fn one_press_is_enough_and_a_note_is_typed_in_full() {
    let mut typing = None;
    let mut press = |code| key(KeyEvent::new(code, KeyModifiers::NONE), &mut typing);
    let letter = KeyCode::Char;
    let wanted =
        [('a', Key::Again), ('S', Key::Skip), ('b', Key::Back), ('t', Key::There(None)), ('q', Key::Stop)];
    for (pressed, wanted) in wanted {
        assert_eq!(press(letter(pressed)), Some(wanted));
    }
    assert_eq!(press(letter('x')), None);
    // While a note is typed, its letters are no keys.
    for pressed in "nsax".chars() {
        assert_eq!(press(letter(pressed)), None);
    }
    assert_eq!(press(KeyCode::Backspace), None);
    assert_eq!(press(KeyCode::Enter), Some(Key::Note("sa".into())));
    for pressed in "c19,5".chars() {
        assert_eq!(press(letter(pressed)), None);
    }
    assert_eq!(press(KeyCode::Enter), Some(Key::Temperature(19.5)));
    press(letter('n'));
    assert_eq!(press(KeyCode::Esc), None);
    assert_eq!(press(letter('a')), Some(Key::Again));
    let mut typing = Some(Typing::Note("half".into()));
    let ctrl_c = KeyEvent::new(letter('c'), KeyModifiers::CONTROL);
    assert_eq!(key(ctrl_c, &mut typing), Some(Key::Stop));
}
