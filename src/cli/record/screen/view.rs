//! The screen as it is drawn: letters large enough to be read from two metres, no colour, 80 by 24 and any other size.

use ratatui::Frame;
use ratatui::layout::{Constraint, Layout};
use ratatui::style::{Modifier, Style};
use ratatui::text::{Line, Span};
use ratatui::widgets::{Paragraph, Wrap};

use crate::cli::terminal::large;

/// The meter's left end, dBFS; its right end is full scale.
const METER_FROM_DBFS: f64 = -80.0;

/// Everything that is on the screen.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct View {
    /// Job, pass, and how much is left.
    pub title: String,
    /// The due reed, largest of all.
    pub place: String,
    /// Its note, and where it lies.
    pub lies: String,
    /// What to do now: `play 1.8s`, `0.7 s`, `stop`.
    pub call: String,
    /// Level now, dBFS.
    pub level_db: f64,
    /// Noise of the room, dBFS.
    pub floor_db: Option<f64>,
    /// Whether it was clipped lately.
    pub is_clipped: bool,
    /// The last take, in a line.
    pub last: String,
    /// Its deviation, large.
    pub last_cents: String,
    /// A word on what happened.
    pub message: String,
    /// The keys, or what is being typed.
    pub keys: String,
}

/// Draw it; what does not fit is made smaller, and left out last.
pub(super) fn draw(view: &View, frame: &mut Frame) {
    let area = frame.area();
    let (place, call, last) = match area.height {
        24.. => (8, 4, 4),
        20.. => (8, 4, 1),
        16.. => (4, 4, 1),
        _ => (1, 1, 1),
    };
    let rows = [1, place, 1, call, 1, 1, 1, last, 2, 1].map(Constraint::Length);
    let [title, place, lies, call, meter, scale, last, last_cents, message, keys] =
        Layout::vertical(rows).areas(area);
    let bold = Style::new().add_modifier(Modifier::BOLD);
    frame.render_widget(Line::styled(view.title.as_str(), bold), title);
    large(&view.place, place, frame);
    frame.render_widget(Line::styled(view.lies.as_str(), bold), lies);
    large(&view.call, call, frame);
    frame.render_widget(meter_line(view, meter.width), meter);
    frame.render_widget(Line::raw(scale_line(view.floor_db, scale.width)), scale);
    frame.render_widget(Line::raw(view.last.as_str()), last);
    large(&view.last_cents, last_cents, frame);
    frame.render_widget(Paragraph::new(view.message.as_str()).style(bold).wrap(Wrap { trim: true }), message);
    frame.render_widget(Line::styled(view.keys.as_str(), Modifier::REVERSED), keys);
}

/// Where a level lies on a meter of so many cells.
fn cell(level_db: f64, cells: u16) -> u16 {
    let part = ((level_db - METER_FROM_DBFS) / -METER_FROM_DBFS).clamp(0.0, 1.0);
    (part * f64::from(cells)).round() as u16
}

fn meter_line(view: &View, width: u16) -> Line<'static> {
    // ` CLIP ` stands at the right end; without it the word keeps its place empty.
    let cells = width.saturating_sub(9);
    let filled = cell(view.level_db, cells);
    let floor = view.floor_db.map(|floor| cell(floor, cells));
    let bar: String = (0..cells)
        .map(|at| match at < filled {
            // The mark of the noise floor is seen inside the bar and outside of it.
            _ if floor == Some(at) => '|',
            true => '█',
            false => '·',
        })
        .collect();
    let clip = if view.is_clipped {
        Span::styled(" CLIP ", Style::new().add_modifier(Modifier::REVERSED | Modifier::BOLD))
    } else {
        Span::raw("      ")
    };
    Line::from(vec![Span::raw("["), Span::raw(bar), Span::raw("] "), clip])
}

/// The scale under the meter, with the noise floor in words.
fn scale_line(floor_db: Option<f64>, width: u16) -> String {
    let cells = usize::from(width.saturating_sub(9));
    let mut scale: Vec<char> = vec![' '; cells + 9];
    for level in [-80, -60, -40, -20, 0] {
        let at = usize::from(cell(f64::from(level), cells as u16));
        for (n, letter) in level.to_string().chars().enumerate() {
            if let Some(place) = scale.get_mut(at + n) {
                *place = letter;
            }
        }
    }
    let words = floor_db.map_or("dBFS".to_owned(), |_| "dBFS; | noise".into());
    // Between two figures, where there is room for it.
    let at = usize::from(cell(-58.0, cells as u16)) + 2;
    if cells >= 60 {
        for (n, letter) in words.chars().enumerate() {
            if let Some(place) = scale.get_mut(at + n) {
                *place = letter;
            }
        }
    }
    scale.into_iter().collect::<String>().trim_end().to_owned()
}
