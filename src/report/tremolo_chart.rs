//! The tremolo chart: how a rank beats with its companion along the notes, against the curve it should follow.

use crate::instrument::{Block, Note, Stroke, Tremolo};
use crate::tuning::{EVEN_BEATS_HZ, RankPair, beats_of, rank_pairs};

use super::ink::{
    AXIS, BAND, BAND_EDGE, BODY, Entry, FAINT_TEXT, Format, MARGIN, RULE, SMALL, TEXT, arrow, heading,
    legend, stroke_ink, stroke_mark,
};
use super::sheet::{Sheet, Side};
use super::subject::Subject;
use super::words::{plate_label, signed};

const PANEL_LEFT: f64 = 58.0;
const PANEL_HEIGHT: f64 = 230.0;
/// Worst notes that are named.
const NAMED: usize = 4;
/// The scale goes so far beyond the curve at least, beats per second.
const LEAST_ROOM_HZ: f64 = 0.6;
/// A note so far beyond what most reach is drawn at the edge.
const STRETCH: f64 = 2.5;

/// One sheet for each rank that is set off, with the row's name.
pub(crate) fn sheets<'a>(subject: &Subject, block: &'a Block, format: Format) -> Vec<(&'a str, Sheet)> {
    let of = |findings| rank_pairs(subject.instrument, findings);
    let earlier: Vec<RankPair> = subject.earlier.iter().flat_map(|earlier| of(earlier.findings)).collect();
    of(subject.findings)
        .iter()
        .filter(|pair| pair.block == block.name)
        .filter_map(|pair| {
            let row = block.rows.iter().find(|row| row.name == pair.row)?;
            let before =
                earlier.iter().find(|before| (&before.block, &before.row) == (&pair.block, &pair.row));
            Some((row.name.as_str(), sheet(subject, pair, before, format)))
        })
        .collect()
}

/// Notes from left to right, beats from below to above.
struct Frame {
    left: f64,
    right: f64,
    top: f64,
    notes: (i16, i16),
    beats: (f64, f64),
}

impl Frame {
    fn bottom(&self) -> f64 {
        self.top + PANEL_HEIGHT
    }

    fn x(&self, note: i16) -> f64 {
        let n = f64::from(self.notes.1 - self.notes.0 + 1);
        self.left + (self.right - self.left) * (f64::from(note - self.notes.0) + 0.5) / n
    }

    fn y(&self, beats: f64) -> f64 {
        let held = beats.clamp(self.beats.0, self.beats.1);
        self.bottom() - PANEL_HEIGHT * (held - self.beats.0) / (self.beats.1 - self.beats.0)
    }

    fn holds(&self, beats: f64) -> bool {
        (self.beats.0..=self.beats.1).contains(&beats)
    }
}

fn sheet(subject: &Subject, pair: &RankPair, before: Option<&RankPair>, format: Format) -> Sheet {
    let title = format!("Tremolo, block {}: row {} beside {}", pair.block, pair.row, pair.companion);
    let mut sheet = Sheet::new(&title, format.width());
    let mut y = heading(&mut sheet, &title, &summary(subject, pair, before));
    let Some(mut frame) = frame(&sheet, subject, pair, before) else {
        sheet.height = y;
        return sheet;
    };
    let all = before.into_iter().chain([pair]).flat_map(|pair| &pair.notes);
    let is_beyond = all.into_iter().any(|(_, beside)| !frame.holds(beside.beats()));
    y += key(&mut sheet, y + 4.0, subject, before.is_some(), is_beyond) + 16.0;
    frame.top = y;
    let curve = |note: i16, tremolo: &Tremolo| {
        let note = Note::from_number(note)?;
        Some(beats_of(tremolo, note, subject.instrument.tuning.target(note)))
    };
    panel(&mut sheet, &frame, pair, &|note| curve(note, &pair.plan));
    if let Some(followed) = pair.followed() {
        let points: Vec<(f64, f64)> = (frame.notes.0..=frame.notes.1)
            .filter_map(|note| Some((frame.x(note), frame.y(curve(note, &followed.tremolo)?))))
            .collect();
        for pair in points.windows(2) {
            sheet.dashes(pair[0], pair[1], 2.5, TEXT, 0.75);
        }
    }
    for (pair, is_earlier) in before.map(|before| (before, true)).into_iter().chain([(pair, false)]) {
        marks(&mut sheet, &frame, pair, is_earlier);
    }
    sheet.frame((frame.left, frame.top), (frame.right, frame.bottom()), AXIS, 1.0);
    sheet.height = frame.bottom() + 44.0;
    sheet
}

fn summary(subject: &Subject, pair: &RankPair, before: Option<&RankPair>) -> Vec<String> {
    let evenness = |pair: &RankPair| pair.followed().map(|followed| followed.evenness_hz);
    let mut lines = vec![subject.title.to_owned()];
    let mut line = format!("Pass {}: {} notes, beats per second.", subject.findings.pass, pair.notes.len());
    if let Some(now) = evenness(pair) {
        line += &format!(" Scatter about the curve it follows {now:.2}");
        if let Some(then) = before.and_then(evenness) {
            line += &format!(", {then:.2} before");
        }
        line += ".";
    }
    let worst: Vec<String> = (pair.worst().into_iter().take(NAMED))
        .map(|(place, beats)| format!("{} {} {}", plate_label(&place.plate), place.stroke, signed(beats, 1)))
        .collect();
    line += &match worst.is_empty() {
        true => " No note is surely off the plan\u{2019}s curve.".to_owned(),
        false => format!(" Furthest from the plan\u{2019}s curve: {}.", worst.join(", ")),
    };
    lines.push(line);
    lines
}

fn key(sheet: &mut Sheet, top: f64, subject: &Subject, has_earlier: bool, is_beyond: bool) -> f64 {
    let named = |stroke: &str, pass: &str| format!("{stroke}, {}", BODY.fit(pass, 200.0));
    let mut entries: Vec<Entry> = Vec::new();
    let now = &subject.findings.pass;
    entries.push((&|sheet, at| stroke_mark(sheet, at, Stroke::Press, false), named("press", now)));
    entries.push((&|sheet, at| stroke_mark(sheet, at, Stroke::Draw, false), named("draw", now)));
    if let Some(earlier) = subject.earlier.as_ref().filter(|_| has_earlier) {
        let then = &earlier.findings.pass;
        entries.push((&|sheet, at| stroke_mark(sheet, at, Stroke::Press, true), named("press", then)));
        entries.push((&|sheet, at| stroke_mark(sheet, at, Stroke::Draw, true), named("draw", then)));
    }
    entries.push((
        &|sheet, (x, y)| {
            sheet.slab((x - 9.0, y - 5.0), (x + 9.0, y + 5.0), BAND);
            sheet.line(&[(x - 9.0, y), (x + 9.0, y)], AXIS, 1.5);
        },
        format!("the plan\u{2019}s curve, \u{b1}{EVEN_BEATS_HZ} beats"),
    ));
    entries.push((
        &|sheet, (x, y)| sheet.dashes((x - 9.0, y), (x + 9.0, y), 2.5, TEXT, 0.75),
        "the curve it follows now".to_owned(),
    ));
    if is_beyond {
        entries.push((&|sheet, at| arrow(sheet, at, true, 3.5, TEXT), "beyond the scale".to_owned()));
    }
    legend(sheet, top, &entries)
}

fn frame(sheet: &Sheet, subject: &Subject, pair: &RankPair, before: Option<&RankPair>) -> Option<Frame> {
    let low = pair.notes.first()?.1.note.number();
    let high = pair.notes.last()?.1.note.number();
    let asked = |note: Note| beats_of(&pair.plan, note, subject.instrument.tuning.target(note));
    let mut reaches: Vec<f64> = before
        .into_iter()
        .chain([pair])
        .flat_map(|pair| &pair.notes)
        .map(|(_, beside)| (beside.beats() - asked(beside.note)).abs() + beside.beats_uncertainty())
        .collect();
    reaches.sort_by(f64::total_cmp);
    let common = reaches.get(3 * reaches.len() / 4).copied()?.max(LEAST_ROOM_HZ);
    let room = reaches.iter().copied().filter(|reach| *reach <= STRETCH * common).fold(common, f64::max);
    let curve: Vec<f64> = (low..=high).filter_map(Note::from_number).map(asked).collect();
    let least = curve.iter().copied().fold(f64::INFINITY, f64::min) - room;
    let most = curve.iter().copied().fold(f64::NEG_INFINITY, f64::max) + room;
    let right = sheet.width - MARGIN;
    Some(Frame { left: PANEL_LEFT, right, top: 0.0, notes: (low, high), beats: (least, most) })
}

/// Grid, band, curve, and the notes' names below.
fn panel(sheet: &mut Sheet, frame: &Frame, pair: &RankPair, curve: &dyn Fn(i16) -> Option<f64>) {
    let at = |off: f64| -> Vec<(f64, f64)> {
        (frame.notes.0..=frame.notes.1)
            .filter_map(|note| Some((frame.x(note), frame.y(curve(note)? + off))))
            .collect()
    };
    let mut band = at(EVEN_BEATS_HZ);
    band.extend(at(-EVEN_BEATS_HZ).into_iter().rev());
    sheet.area(&band, BAND);
    let span = frame.beats.1 - frame.beats.0;
    let step = [0.2, 0.5, 1.0, 2.0, 5.0, 10.0].into_iter().find(|step| span / step <= 8.0).unwrap_or(20.0);
    let decimals = usize::from(step < 1.0);
    for k in (frame.beats.0 / step).ceil() as i32..=(frame.beats.1 / step).floor() as i32 {
        let beats = f64::from(k) * step;
        let y = frame.y(beats);
        sheet.line(&[(frame.left, y), (frame.right, y)], RULE, 0.5);
        let at = (frame.left - 6.0, y + SMALL.half_capital());
        sheet.words(&signed(beats, decimals), at, SMALL, TEXT, Side::Right);
    }
    for off in [EVEN_BEATS_HZ, -EVEN_BEATS_HZ] {
        sheet.line(&at(off), BAND_EDGE, 0.75);
    }
    sheet.line(&at(0.0), AXIS, 1.5);
    let middle = frame.top + 0.5 * PANEL_HEIGHT;
    sheet.words_up("beats per second", (MARGIN + 8.0, middle), SMALL, FAINT_TEXT, Side::Centre);
    let mut written = f64::NEG_INFINITY;
    let mut told = None;
    for (place, beside) in &pair.notes {
        let x = frame.x(beside.note.number());
        let note = beside.note.to_string();
        if told == Some(beside.note) || x - written < SMALL.width("A#4") + 4.0 {
            continue;
        }
        (told, written) = (Some(beside.note), x);
        sheet.line(&[(x, frame.bottom()), (x, frame.bottom() + 3.0)], AXIS, 0.75);
        sheet.words(&note, (x, frame.bottom() + 14.0), SMALL, TEXT, Side::Centre);
        sheet.words(&plate_label(&place.plate), (x, frame.bottom() + 26.0), SMALL, FAINT_TEXT, Side::Centre);
    }
}

/// Press a little to the left, draw to the right; the doubt as a bar.
fn marks(sheet: &mut Sheet, frame: &Frame, pair: &RankPair, is_earlier: bool) {
    let slot = frame.x(frame.notes.0 + 1) - frame.x(frame.notes.0);
    for (place, beside) in &pair.notes {
        if !(frame.notes.0..=frame.notes.1).contains(&beside.note.number()) {
            continue;
        }
        let side = if place.stroke == Stroke::Press { -0.2 } else { 0.2 };
        let x = frame.x(beside.note.number()) + side * slot.min(30.0);
        let (beats, doubt) = (beside.beats(), beside.beats_uncertainty());
        let ink = stroke_ink(place.stroke);
        if frame.holds(beats) {
            sheet.line(&[(x, frame.y(beats - doubt)), (x, frame.y(beats + doubt))], ink, 1.0);
            stroke_mark(sheet, (x, frame.y(beats)), place.stroke, is_earlier);
            continue;
        }
        let is_above = beats > frame.beats.1;
        let inward = if is_above { 1.0 } else { -1.0 };
        let edge = frame.y(beats);
        arrow(sheet, (x, edge + 5.0 * inward), is_above, 3.2, ink);
        stroke_mark(sheet, (x, edge + 13.0 * inward), place.stroke, is_earlier);
    }
}
