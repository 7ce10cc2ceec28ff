//! The loop as it is drawn: letters to be read from the bench, a scale with the tolerance band, no colour, any size.

use ratatui::Frame;
use ratatui::layout::{Constraint, Layout};
use ratatui::style::{Modifier, Style};
use ratatui::text::Line;
use ratatui::widgets::{Paragraph, Wrap};

use super::words;
use crate::cli::output::signed;
use crate::cli::terminal::large;
use crate::session::TuneNow;

/// The scale shows so many tolerances on either side.
const SCALE_TOLERANCES: f64 = 6.0;
/// Plays of this sitting that are shown.
const SHOWN_PLAYS: usize = 9;

/// Everything that is on the screen.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct View {
    pub title: String,
    /// The due reed and what to do: `A7 press`.
    pub place: String,
    pub target: String,
    /// The deviation, largest of all: `-9.1c`.
    pub cents: String,
    /// Raise or lower, and where.
    pub call: String,
    /// Deviation, its doubt and the tolerance, for the scale; nothing while nothing is known.
    pub needle: Option<(f64, f64)>,
    pub tolerance: f64,
    pub history: String,
    pub message: String,
    pub keys: String,
}

impl View {
    pub fn of(now: &TuneNow, title: &str, message: &str, keys: &str) -> Self {
        let waits = now.waits.map(|(reed, seconds)| {
            (reed, format!("{} settles: play it again in {seconds:.0} s, or now", reed.place))
        });
        let Some(reed) = now.due.or(waits.as_ref().map(|(reed, _)| *reed)) else {
            return Self { title: title.to_owned(), place: "done".into(), ..Self::default() };
        };
        let last = reed.history().last().map(|(off, _)| *off);
        let shown = now.live.map(|(off, _)| off).or(last);
        let plate = &reed.place.plate;
        let call = match (&waits, &now.advice) {
            (Some((_, wait)), _) => wait.clone(),
            (None, Some(advice)) => words::advice(advice),
            (None, None) if last.is_some() => "play it again".into(),
            (None, None) if now.quiet_db.is_none() => "be quiet for a moment".into(),
            (None, None) => "play it, then stop".into(),
        };
        let history: Vec<String> = reed
            .history()
            .iter()
            .rev()
            .take(SHOWN_PLAYS)
            .rev()
            .map(|(off, goes)| format!("{}{}", signed(off.value.get(), 1), "'".repeat((*goes).min(9))))
            .collect();
        Self {
            title: format!("{title}: {} left", now.left),
            place: format!("{}{} {}", plate.row, plate.number, reed.place.stroke),
            target: format!(
                "{}, target {}, within {:.1} cents; block {}",
                reed.note,
                reed.target,
                reed.tolerance.get(),
                plate.block
            ),
            cents: shown.map_or("--".into(), |off| {
                format!("{}±{:.1}c", signed(off.value.get(), 1), off.uncertainty.get())
            }),
            call,
            needle: shown.map(|off| (off.value.get(), off.uncertainty.get())),
            tolerance: reed.tolerance.get(),
            history: if history.is_empty() {
                String::new()
            } else {
                format!("this sitting (one ' for each go): {}", history.join("  "))
            },
            message: message.to_owned(),
            keys: keys.to_owned(),
        }
    }
}

/// Draw it; what does not fit is made smaller, and left out last.
pub(super) fn draw(view: &View, frame: &mut Frame) {
    let area = frame.area();
    let (place, cents) = match area.height {
        24.. => (4, 8),
        16.. => (4, 4),
        _ => (1, 1),
    };
    let rows = [1, place, 1, cents, 1, 1, 2, 1, 2, 1].map(Constraint::Length);
    let [title, place, target, cents, scale, marks, call, history, message, keys] =
        Layout::vertical(rows).areas(area);
    let bold = Style::new().add_modifier(Modifier::BOLD);
    frame.render_widget(Line::styled(view.title.as_str(), bold), title);
    large(&view.place, place, frame);
    frame.render_widget(Line::styled(view.target.as_str(), bold), target);
    large(&view.cents, cents, frame);
    let (above, below) = scale_lines(view, scale.width);
    frame.render_widget(Line::raw(above), scale);
    frame.render_widget(Line::raw(below), marks);
    frame.render_widget(Paragraph::new(view.call.as_str()).style(bold).wrap(Wrap { trim: true }), call);
    frame.render_widget(Line::raw(view.history.as_str()), history);
    frame.render_widget(Paragraph::new(view.message.as_str()).wrap(Wrap { trim: true }), message);
    frame.render_widget(Line::styled(view.keys.as_str(), Modifier::REVERSED), keys);
}

/// The scale: `[===]` is the tolerance, `#` the interval, `<` and `>` what lies beyond; and its figures.
fn scale_lines(view: &View, width: u16) -> (String, String) {
    let cells = usize::from(width).saturating_sub(1);
    if cells < 20 || view.tolerance <= 0.0 {
        return (String::new(), String::new());
    }
    let reach = SCALE_TOLERANCES * view.tolerance;
    let cell = |cents: f64| {
        let part = ((cents + reach) / (2.0 * reach)).clamp(0.0, 1.0);
        ((part * (cells - 1) as f64).round() as usize).min(cells - 1)
    };
    let mut above = vec!['.'; cells];
    let (low, high) = (cell(-view.tolerance), cell(view.tolerance));
    above[low..=high].fill('=');
    (above[low], above[high]) = ('[', ']');
    above[cell(0.0)] = '|';
    if let Some((cents, doubt)) = view.needle {
        match cents {
            cents if cents < -reach => above[0] = '<',
            cents if cents > reach => above[cells - 1] = '>',
            cents => above[cell(cents - doubt)..=cell(cents + doubt)].fill('#'),
        }
    }
    let mut below = vec![' '; cells];
    for cents in [-reach, -view.tolerance, 0.0, view.tolerance, reach] {
        let text = signed(cents, 0);
        let n = text.chars().count();
        let from = cell(cents).saturating_sub(n / 2).min(cells.saturating_sub(n));
        for (place, letter) in below[from..].iter_mut().zip(text.chars()) {
            *place = letter;
        }
    }
    (above.into_iter().collect(), below.into_iter().collect::<String>().trim_end().to_owned())
}

#[cfg(test)]
mod tests {
    use ratatui::Terminal;
    use ratatui::backend::TestBackend;
    use ratatui::style::Color;

    use super::*;

    fn view(cents: f64) -> View {
        View {
            title: "Tenor, tuning: 3 left".into(),
            place: "A7 press".into(),
            target: "A4, target 442.00 Hz, within 2.0 cents; block tenor".into(),
            cents: format!("{cents:+.1}±0.2c"),
            call: "raise: about 3 strokes at the tip, then play".into(),
            needle: Some((cents, 0.2)),
            tolerance: 2.0,
            history: "this sitting (one ' for each go): -9.1  -4.0'".into(),
            message: "mark 3: filed tip 2 strokes".into(),
            keys: " u undo".into(),
        }
    }

    fn rows(view: &View, (width, height): (u16, u16)) -> Vec<String> {
        let mut terminal = Terminal::new(TestBackend::new(width, height)).unwrap();
        terminal.draw(|frame| draw(view, frame)).unwrap();
        let buffer = terminal.backend().buffer().clone();
        for cell in &buffer.content {
            assert_eq!((cell.fg, cell.bg), (Color::Reset, Color::Reset));
        }
        (0..height)
            .map(|y| (0..width).map(|x| buffer[(x, y)].symbol()).collect::<String>().trim_end().to_owned())
            .collect()
    }

    #[test]
    fn the_interval_lies_in_the_band_or_beside_it() {
        let at = |cents| rows(&view(cents), (80, 24));
        let inside = at(0.5);
        assert!(inside.iter().any(|row| row.contains('[') && row.contains("#")), "{inside:#?}");
        let scale = |rows: &[String]| {
            rows.iter().find(|row| row.starts_with('.') || row.starts_with('<')).unwrap().clone()
        };
        let (flat, sharp) = (scale(&at(-6.0)), scale(&at(6.0)));
        assert!(flat.find('#').unwrap() < flat.find('[').unwrap(), "{flat}");
        assert!(sharp.find('#').unwrap() > sharp.find(']').unwrap(), "{sharp}");
        assert!(scale(&at(-40.0)).starts_with('<'));
        // The deviation is the largest thing on it.
        let ink =
            inside.iter().filter(|row| row.chars().filter(|c| "█▀▄▐▌".contains(*c)).count() > 6).count();
        assert!(ink >= 9, "{inside:#?}");
        assert!(inside.iter().any(|row| row.contains("about 3 strokes at the tip")));
    }

    #[test]
    fn every_size_is_drawn() {
        for size in [(120, 40), (80, 24), (40, 16), (20, 5), (1, 1)] {
            rows(&view(-9.1), size);
        }
    }
}
