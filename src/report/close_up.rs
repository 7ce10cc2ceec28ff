//! The close-up of a leaking reed: the second tone beside a partial, one panel a pass.

use crate::analysis::{CloseUp, Opposite};
use crate::instrument::{Face, Instrument, ReedPlace};
use crate::units::Cents;

use super::ink::{
    AXIS, BODY, FAINT_TEXT, Format, HEADING, LEAKS, MARGIN, PRESS, RULE, SMALL, TEXT, arrow, heading, wrapped,
};
use super::sheet::{Sheet, Side};
use super::words::{plain, signed};

/// What is drawn of one reed: the same neighbourhood in one pass or two.
#[derive(Debug, Clone, PartialEq)]
pub struct ReedCloseUp {
    /// The reed that sounds.
    pub reed: ReedPlace,
    /// One for each pass, the earlier first.
    pub passes: Vec<PassCloseUp>,
}

/// The neighbourhood of a partial in one pass.
#[derive(Debug, Clone, PartialEq)]
pub struct PassCloseUp {
    /// The pass's name.
    pub pass: String,
    /// Levels around the partial.
    pub close_up: CloseUp,
    /// What the reading says of the opposite reed.
    pub opposite: Opposite,
}

const PANEL_LEFT: f64 = 58.0;
const PANEL_HEIGHT: f64 = 170.0;
/// Highest level drawn, dB re the partial: room for its words.
const CEILING_DB: f64 = 10.0;
/// Lowest level drawn at most, dB re the partial.
const DEEPEST_DB: f64 = -120.0;
/// One point in this many may run below the panel: the notches between the lobes say nothing.
const NOTCHES: usize = 20;

/// The reed's sheet; `None` when no pass holds a curve.
pub(crate) fn sheet(
    title: &str,
    instrument: &Instrument,
    reed: &ReedCloseUp,
    format: Format,
) -> Option<Sheet> {
    let curves: Vec<(&PassCloseUp, Vec<(f64, f64)>)> = reed
        .passes
        .iter()
        .map(|pass| (pass, curve(&pass.close_up)))
        .filter(|(_, curve)| curve.len() > 1)
        .collect();
    let points = || curves.iter().flat_map(|(_, curve)| curve);
    let reach = points().map(|(cents, _)| cents.abs()).fold(0.0, f64::max);
    let mut levels: Vec<f64> = points().map(|(_, level)| *level).collect();
    if curves.is_empty() || reach <= 0.0 {
        return None;
    }
    levels.sort_by(f64::total_cmp);
    let low = levels.get(levels.len() / NOTCHES).copied().unwrap_or(0.0);
    let floor = (20.0 * (low / 20.0).floor()).clamp(DEEPEST_DB, -40.0);
    let name = format!("Second tone of {}{}", reed.reed, note_of(instrument, &reed.reed));
    let mut sheet = Sheet::new(&name, format.width());
    let mut y = heading(&mut sheet, &name, &[title.to_owned(), meaning(instrument, &reed.reed)]) + 8.0;
    let marked = curves.iter().find_map(|(pass, _)| second(&pass.opposite));
    for (pass, curve) in &curves {
        y = panel_heading(&mut sheet, y, pass);
        let frame = Frame { top: y, right: sheet.width - MARGIN, reach, floor };
        panel(&mut sheet, &frame, pass, curve, marked);
        y = frame.bottom() + 40.0;
    }
    sheet.height = y;
    Some(sheet)
}

fn curve(close_up: &CloseUp) -> Vec<(f64, f64)> {
    let pairs = close_up.offset_cents.iter().copied().zip(close_up.level_db.iter().copied());
    pairs.filter(|(cents, level)| cents.is_finite() && level.is_finite()).collect()
}

fn note_of(instrument: &Instrument, reed: &ReedPlace) -> String {
    let plate = instrument.plate(&reed.plate).map(|(_, _, plate)| plate);
    let note = plate.and_then(|plate| *plate.reeds.on(reed.stroke)).map(|reed| reed.note);
    note.map_or(String::new(), |note| format!(" ({note})"))
}

fn meaning(instrument: &Instrument, reed: &ReedPlace) -> String {
    let face = instrument.valve_tested_by(reed).map(|(valve, _)| valve.face);
    let valve = match face {
        Some(Face::Outer) => "the outer valve, in reach with the plate in place",
        Some(Face::Inner) => "the inner valve, for which the plate is lifted",
        None => "the valve of the opposite slot",
    };
    format!("A peak at the pointer is the opposite reed: consistent with air leaking past {valve}.")
}

fn second(opposite: &Opposite) -> Option<Cents> {
    match opposite {
        Opposite::Sounding { offset, .. } => Some(*offset),
        _ => None,
    }
}

fn verdict(opposite: &Opposite) -> String {
    match opposite {
        Opposite::Sounding { level, offset, .. } => format!(
            "opposite reed {} dB re the sounding one, {} cents from it",
            plain(level.get(), 0),
            signed(offset.get(), 1)
        ),
        Opposite::Quiet { limit, .. } => {
            format!("opposite reed not heard, below {} dB", plain(limit.get(), 0))
        }
        Opposite::Unresolved { reason, .. } => format!("not resolved: {reason}"),
        Opposite::NotLooked => "no opposite reed".to_owned(),
    }
}

/// Where a panel lies and what its axes mean: cents from `-reach` to `reach`, dB from `floor` to `CEILING_DB`.
struct Frame {
    top: f64,
    right: f64,
    reach: f64,
    floor: f64,
}

impl Frame {
    fn bottom(&self) -> f64 {
        self.top + PANEL_HEIGHT
    }

    fn x(&self, cents: f64) -> f64 {
        PANEL_LEFT + (self.right - PANEL_LEFT) * 0.5 * (1.0 + (cents / self.reach).clamp(-1.0, 1.0))
    }

    fn y(&self, level: f64) -> f64 {
        let held = level.clamp(self.floor, CEILING_DB);
        self.top + PANEL_HEIGHT * (CEILING_DB - held) / (CEILING_DB - self.floor)
    }
}

/// Which pass and what was heard; returns where the panel may begin.
fn panel_heading(sheet: &mut Sheet, top: f64, pass: &PassCloseUp) -> f64 {
    let name = format!("Pass {}, partial {}: {}", pass.pass, pass.close_up.partial, verdict(&pass.opposite));
    let mut y = top + 10.0;
    for piece in wrapped(&name, HEADING, sheet.width - MARGIN - PANEL_LEFT) {
        sheet.words(&piece, (PANEL_LEFT, y), HEADING, TEXT, Side::Left);
        y += 14.0;
    }
    y - 6.0
}

fn panel(sheet: &mut Sheet, frame: &Frame, pass: &PassCloseUp, curve: &[(f64, f64)], marked: Option<Cents>) {
    axes(sheet, frame);
    if let Some(offset) = marked.map(Cents::get).filter(|offset| offset.abs() <= frame.reach) {
        let x = frame.x(offset);
        sheet.dashes((x, frame.top + 14.0), (x, frame.bottom()), 2.5, LEAKS, 1.0);
        arrow(sheet, (x, frame.top + 8.0), false, 5.0, LEAKS);
        // The words stand on the side away from the partial.
        let (at, side) = if offset < 0.0 { (x - 9.0, Side::Right) } else { (x + 9.0, Side::Left) };
        let what = if second(&pass.opposite).is_some() { "opposite reed" } else { "in the other pass" };
        let text = format!("{what}: {} cents", signed(offset, 1));
        let room = BODY.width(&text) + 4.0;
        let (at, side) = match side {
            Side::Right if at - room < PANEL_LEFT => (x + 9.0, Side::Left),
            Side::Left if at + room > frame.right => (x - 9.0, Side::Right),
            _ => (at, side),
        };
        sheet.words(&text, (at, frame.top + 12.0), BODY, LEAKS, side);
    }
    let drawn: Vec<_> = curve.iter().map(|&(cents, level)| (frame.x(cents), frame.y(level))).collect();
    sheet.line(&drawn, PRESS, 1.25);
    sheet.frame((PANEL_LEFT, frame.top), (frame.right, frame.bottom()), AXIS, 1.0);
}

fn axes(sheet: &mut Sheet, frame: &Frame) {
    let n_levels = (-frame.floor / 20.0).round() as i32;
    for level in (0..=n_levels).map(|k| -20.0 * f64::from(k)) {
        let y = frame.y(level);
        sheet.line(&[(PANEL_LEFT, y), (frame.right, y)], RULE, 0.5);
        sheet.words(&plain(level, 0), (PANEL_LEFT - 6.0, y + SMALL.half_capital()), SMALL, TEXT, Side::Right);
    }
    let step = cents_step(frame.reach);
    let n_steps = (frame.reach / step + 1e-9).floor() as i32;
    for k in -n_steps..=n_steps {
        let cents = f64::from(k) * step;
        let x = frame.x(cents);
        let (ink, weight) = if k == 0 { (AXIS, 0.75) } else { (RULE, 0.5) };
        sheet.line(&[(x, frame.top), (x, frame.bottom() + 3.0)], ink, weight);
        let decimals = if step < 1.0 { 1 } else { 0 };
        sheet.words(&signed(cents, decimals), (x, frame.bottom() + 12.0), SMALL, TEXT, Side::Centre);
    }
    let middle = (0.5 * (PANEL_LEFT + frame.right), frame.bottom() + 24.0);
    sheet.words("from the sounding reed, cents", middle, SMALL, FAINT_TEXT, Side::Centre);
    let side = (MARGIN + 8.0, frame.top + 0.5 * PANEL_HEIGHT);
    sheet.words_up("level re the partial, dB", side, SMALL, FAINT_TEXT, Side::Centre);
}

/// A round step that gives four to ten marks on either side.
fn cents_step(reach: f64) -> f64 {
    let decade = 10f64.powf((reach / 10.0).log10().ceil());
    [0.2, 0.5].into_iter().map(|part| part * decade).find(|step| reach / step <= 8.0).unwrap_or(decade)
}
