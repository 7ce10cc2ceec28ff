//! A long recording as a picture: the level over time, each cut with its place and pitch.

use super::ink::{
    AXIS, BAND, BAND_EDGE, BODY, FAINT_TEXT, LEAKS, MARGIN, PRESS, RULE, SHEET_WIDTH, SMALL, SUSPECT,
    SUSPECT_EDGE, TEXT, UNKNOWN, heading, legend,
};
use super::sheet::{Point, Sheet, Side};
use super::words::plain;
use super::{Chart, ReportError, finished, sheet};
use crate::units::Hz;

/// A long recording to be drawn.
#[derive(Debug, Clone, Copy)]
pub struct LongRecording<'a> {
    /// Name of the file.
    pub name: &'a str,
    /// The pass it belongs to.
    pub pass: &'a str,
    /// Words below the title: order, offset, counts.
    pub lines: &'a [String],
    /// Levels over time, dBFS.
    pub levels: &'a [f32],
    /// Their spacing, s.
    pub step_s: f64,
    /// The notes, in the order of time.
    pub cuts: &'a [DrawnCut],
}

/// A note as it is drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct DrawnCut {
    /// Where it begins, s.
    pub start_s: f64,
    /// Where it stops, s.
    pub stop_s: f64,
    /// Its place in short, `A7 press`; empty where it has none.
    pub place: String,
    /// Its pitch.
    pub pitch: Option<Hz>,
    /// How sure its place is.
    pub how: Certainty,
    /// What is to be said of it.
    pub remark: String,
}

/// How sure a place is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Certainty {
    /// Sure.
    Sure,
    /// Doubtful.
    Doubtful,
    /// It has no place.
    None,
}

const LEFT: f64 = 46.0;
const RIGHT: f64 = SHEET_WIDTH - MARGIN;
/// Height of a strip: lettering above, the level below.
const LETTERS: f64 = 136.0;
const LEVELS: f64 = 56.0;
const STRIP: f64 = LETTERS + LEVELS + 34.0;
/// Few enough that a sheet's pixels, the largest thing held, stay below 30 MB.
const STRIPS_PER_SHEET: usize = 3;
/// Room for one note's lettering, pixels, and the time a strip may show, s.
const PER_NOTE: f64 = 15.0;
const SHORTEST_S: f64 = 20.0;
const LONGEST_S: f64 = 180.0;
/// The lowest level drawn, dBFS, and the highest.
const FLOOR_DBFS: f64 = -80.0;
const CEILING_DBFS: f64 = 0.0;

/// The pictures of a long recording, a few minutes each. The same recording gives the same bytes.
pub fn long_recording_charts(recording: &LongRecording) -> Result<Vec<Chart>, ReportError> {
    sheet::fonts_ready()?;
    let length_s = recording.levels.len() as f64 * recording.step_s;
    let strip_s = strip_length(recording, length_s);
    let n_strips = ((length_s / strip_s).ceil() as usize).max(1);
    let n_sheets = n_strips.div_ceil(STRIPS_PER_SHEET);
    // One after the other: a sheet's pixels take more memory than anything else here.
    (0..n_sheets)
        .map(|idx| {
            let strips = idx * STRIPS_PER_SHEET..((idx + 1) * STRIPS_PER_SHEET).min(n_strips);
            let part = if n_sheets > 1 { format!(", part {} of {n_sheets}", idx + 1) } else { String::new() };
            let mut sheet = Sheet::new(&format!("Notes of {}{part}", recording.name), SHEET_WIDTH);
            let title = sheet.title.clone();
            let mut y = heading(&mut sheet, &title, recording.lines) + 8.0;
            y += key(&mut sheet, y) + 6.0;
            for strip in strips {
                let from_s = strip as f64 * strip_s;
                draw_strip(&mut sheet, y, recording, (from_s, from_s + strip_s));
                y += STRIP;
            }
            sheet.height = y + 4.0;
            let number = if n_sheets > 1 { format!("-{}", idx + 1) } else { String::new() };
            finished(format!("sweep-{}{number}", recording.pass), &sheet)
        })
        .collect()
}

/// So long that the lettering of the densest stretch has room.
fn strip_length(recording: &LongRecording, length_s: f64) -> f64 {
    let width = RIGHT - LEFT;
    let mut gaps: Vec<f64> = recording
        .cuts
        .windows(2)
        .filter_map(|pair| match pair {
            [a, b] => Some(b.start_s - a.start_s),
            _ => None,
        })
        .collect();
    gaps.sort_by(f64::total_cmp);
    let close = gaps.get(gaps.len() / 10).copied().unwrap_or(length_s);
    let strip_s = (close * width / PER_NOTE).clamp(SHORTEST_S, LONGEST_S).min(length_s.max(1.0));
    // Whole tens of seconds begin a strip.
    if length_s > 10.0 { (10.0 * (strip_s / 10.0).ceil()).max(10.0) } else { strip_s }
}

fn key(sheet: &mut Sheet, top: f64) -> f64 {
    let field = |how: Certainty| {
        move |sheet: &mut Sheet, (x, y): Point| {
            band(sheet, (x - 8.0, y - 5.0), (x + 8.0, y + 5.0), how);
        }
    };
    let (sure, doubtful, none) = (field(Certainty::Sure), field(Certainty::Doubtful), field(Certainty::None));
    legend(
        sheet,
        top,
        &[
            (&sure, "placed".to_owned()),
            (&doubtful, "doubtful: check it".to_owned()),
            (&none, "no place".to_owned()),
            (
                &|sheet: &mut Sheet, (x, y): Point| {
                    sheet.line(&[(x - 8.0, y + 3.0), (x, y - 4.0), (x + 8.0, y + 3.0)], PRESS, 1.0)
                },
                "level".to_owned(),
            ),
        ],
    )
}

/// A field whose outline tells what its shade does: plain, double, dashed.
fn band(sheet: &mut Sheet, from: Point, to: Point, how: Certainty) {
    let (fill, edge) = match how {
        Certainty::Sure => (BAND, BAND_EDGE),
        Certainty::Doubtful => (SUSPECT, SUSPECT_EDGE),
        Certainty::None => (UNKNOWN, LEAKS),
    };
    sheet.slab(from, to, fill);
    match how {
        Certainty::Sure => sheet.frame(from, to, edge, 0.75),
        Certainty::Doubtful => {
            sheet.frame(from, to, edge, 1.75);
        }
        Certainty::None => {
            for (a, b) in
                [(from, (to.0, from.1)), ((to.0, from.1), to), (to, (from.0, to.1)), ((from.0, to.1), from)]
            {
                sheet.dashes(a, b, 2.5, edge, 1.25);
            }
        }
    }
}

fn draw_strip(sheet: &mut Sheet, top: f64, recording: &LongRecording, (from_s, to_s): (f64, f64)) {
    let (high, low) = (top + LETTERS, top + LETTERS + LEVELS);
    let x = |s: f64| LEFT + (RIGHT - LEFT) * (s - from_s) / (to_s - from_s);
    let y = |dbfs: f64| {
        high + LEVELS * (CEILING_DBFS - dbfs.clamp(FLOOR_DBFS, CEILING_DBFS)) / (CEILING_DBFS - FLOOR_DBFS)
    };
    let shown: Vec<&DrawnCut> =
        recording.cuts.iter().filter(|cut| cut.stop_s > from_s && cut.start_s < to_s).collect();
    for cut in &shown {
        band(sheet, (x(cut.start_s.max(from_s)), high), (x(cut.stop_s.min(to_s)), low), cut.how);
    }
    for dbfs in [0.0, -40.0, -80.0] {
        sheet.line(&[(LEFT, y(dbfs)), (RIGHT, y(dbfs))], RULE, 0.5);
        sheet.words(
            &plain(dbfs, 0),
            (LEFT - 5.0, y(dbfs) + SMALL.half_capital()),
            SMALL,
            FAINT_TEXT,
            Side::Right,
        );
    }
    let first = (from_s / recording.step_s) as usize;
    let count = ((to_s - from_s) / recording.step_s) as usize;
    let curve: Vec<Point> = recording
        .levels
        .iter()
        .enumerate()
        .skip(first)
        .take(count)
        .map(|(idx, level)| (x((idx as f64 + 0.5) * recording.step_s), y(f64::from(*level))))
        .collect();
    if curve.len() > 1 {
        sheet.line(&curve, PRESS, 0.9);
    }
    sheet.words_up("dBFS", (MARGIN + 4.0, 0.5 * (high + low)), SMALL, FAINT_TEXT, Side::Centre);
    sheet.line(&[(LEFT, low), (RIGHT, low)], AXIS, 1.0);
    let step =
        [2.0, 5.0, 10.0, 20.0, 30.0].into_iter().find(|step| (to_s - from_s) / step <= 12.0).unwrap_or(60.0);
    let mut at_s = (from_s / step).ceil() * step;
    while at_s <= to_s + 1e-9 {
        sheet.line(&[(x(at_s), low), (x(at_s), low + 4.0)], AXIS, 0.75);
        let side = if to_s - at_s < 0.02 * (to_s - from_s) { Side::Right } else { Side::Centre };
        sheet.words(&clock(at_s), (x(at_s), low + 14.0), SMALL, FAINT_TEXT, side);
        at_s += step;
    }
    let mut free = f64::NEG_INFINITY;
    for cut in shown.iter().filter(|cut| cut.start_s >= from_s) {
        // Lettering that finds no room moves a little to the right, with a line to its note.
        let middle = x((0.5 * (cut.start_s + cut.stop_s)).min(to_s));
        let at = middle.max(free + 11.0).min(RIGHT - 3.0);
        free = at;
        sheet.line(&[(at, high - 10.0), (middle, high)], RULE, 0.75);
        let pitch = cut.pitch.map_or(String::new(), |pitch| format!("{:.1} Hz", pitch.get()));
        let (place, ink) = match cut.how {
            Certainty::Sure => (cut.place.clone(), TEXT),
            Certainty::Doubtful => (format!("{} ?", cut.place), TEXT),
            Certainty::None => ("no place".to_owned(), LEAKS),
        };
        let text = BODY.fit(&format!("{place}  {pitch}"), LETTERS - 14.0);
        sheet.words_up(&text, (at + BODY.half_capital(), high - 12.0), BODY, ink, Side::Left);
    }
}

/// `2:05`: minutes and seconds.
fn clock(seconds: f64) -> String {
    let whole = seconds.round() as u64;
    format!("{}:{:02}", whole / 60, whole % 60)
}
