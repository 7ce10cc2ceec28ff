//! Colours, lettering and the small shapes that carry a meaning; each meaning has a shape or a word of its own, so that
//! grey print and colour-blind eyes lose nothing.

use crate::instrument::Stroke;

use super::sheet::{Ink, Lettering, Point, Sheet, Side};

pub(crate) const TEXT: Ink = Ink(26, 28, 32);
pub(crate) const FAINT_TEXT: Ink = Ink(88, 92, 99);
pub(crate) const RULE: Ink = Ink(205, 208, 212);
pub(crate) const AXIS: Ink = Ink(110, 114, 120);
pub(crate) const BAND: Ink = Ink(233, 237, 230);
pub(crate) const BAND_EDGE: Ink = Ink(139, 154, 128);
pub(crate) const PAPER: Ink = Ink(255, 255, 255);
/// Dark, so that it stays apart from `DRAW` in grey print.
pub(crate) const PRESS: Ink = Ink(29, 62, 110);
/// Lighter than `PRESS`.
pub(crate) const DRAW: Ink = Ink(196, 104, 28);
/// The darkest field of the map.
pub(crate) const LEAKS: Ink = Ink(140, 32, 38);
pub(crate) const SUSPECT: Ink = Ink(247, 214, 132);
pub(crate) const SUSPECT_EDGE: Ink = Ink(143, 98, 10);
pub(crate) const UNKNOWN: Ink = Ink(236, 237, 239);

pub(crate) const TITLE: Lettering = Lettering::bold(16.0);
pub(crate) const HEADING: Lettering = Lettering::bold(11.0);
pub(crate) const BODY: Lettering = Lettering::plain(10.0);
pub(crate) const SMALL: Lettering = Lettering::plain(8.5);

/// Width of a sheet: at the width of A4 between margins, `SMALL` prints about 2 mm high.
pub(crate) const SHEET_WIDTH: f64 = 760.0;

/// What a chart is drawn for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Format {
    /// A4 and wide screens.
    Wide,
    /// Telephones: fewer plates side by side, so that words keep their size.
    Narrow,
}

impl Format {
    /// Width of the sheet.
    pub(crate) fn width(self) -> f64 {
        match self {
            Format::Wide => SHEET_WIDTH,
            Format::Narrow => 300.0,
        }
    }

    /// One of two, by format.
    pub(crate) fn pick<T>(self, wide: T, narrow: T) -> T {
        match self {
            Format::Wide => wide,
            Format::Narrow => narrow,
        }
    }
}

pub(crate) const MARGIN: f64 = 14.0;

/// The colour that goes with the shape of a stroke.
pub(crate) fn stroke_ink(stroke: Stroke) -> Ink {
    match stroke {
        Stroke::Press => PRESS,
        Stroke::Draw => DRAW,
    }
}

/// A square for press, a disc for draw; hollow for the earlier pass.
pub(crate) fn stroke_mark(sheet: &mut Sheet, (x, y): Point, stroke: Stroke, hollow: bool) {
    let ink = stroke_ink(stroke);
    let layers: &[(f64, Ink)] = if hollow { &[(3.2, ink), (1.9, PAPER)] } else { &[(3.2, ink)] };
    for &(half, ink) in layers {
        match stroke {
            Stroke::Press => sheet.slab((x - half, y - half), (x + half, y + half), ink),
            Stroke::Draw => sheet.disc((x, y), half + 0.3, ink),
        }
    }
}

/// A triangle that points up or down.
pub(crate) fn arrow(sheet: &mut Sheet, (x, y): Point, up: bool, half: f64, ink: Ink) {
    let tip = if up { -half } else { half };
    sheet.area(&[(x, y + tip), (x - half, y - tip), (x + half, y - tip)], ink);
}

/// Two crossed bars.
pub(crate) fn cross(sheet: &mut Sheet, (x, y): Point, half: f64, ink: Ink, weight: f64) {
    sheet.line(&[(x - half, y - half), (x + half, y + half)], ink, weight);
    sheet.line(&[(x - half, y + half), (x + half, y - half)], ink, weight);
}

/// A legend entry: draws its sample into a box of `SAMPLE` pixels around a point, then its words.
pub(crate) type Entry<'a> = (&'a dyn Fn(&mut Sheet, Point), String);

/// Room for a legend's sample, pixels.
const SAMPLE: f64 = 18.0;

/// Lays legend entries from `top` on, wrapped to the sheet; returns the height they take.
pub(crate) fn legend(sheet: &mut Sheet, top: f64, entries: &[Entry]) -> f64 {
    const LINE: f64 = 15.0;
    const GAP: f64 = 16.0;
    let (mut x, mut y) = (MARGIN, top + 0.5 * LINE);
    for (sample, text) in entries {
        let width = SAMPLE + 4.0 + BODY.width(text);
        if x > MARGIN && x + width > sheet.width - MARGIN {
            (x, y) = (MARGIN, y + LINE);
        }
        sample(sheet, (x + 0.5 * SAMPLE, y));
        sheet.words(text, (x + SAMPLE + 4.0, y + BODY.half_capital()), BODY, TEXT, Side::Left);
        x += width + GAP;
    }
    y + 0.5 * LINE - top
}

/// Title and lines below it; returns where the rest may begin.
pub(crate) fn heading(sheet: &mut Sheet, title: &str, lines: &[String]) -> f64 {
    let room = sheet.width - 2.0 * MARGIN;
    let mut y = 26.0;
    for piece in wrapped(title, TITLE, room) {
        sheet.words(&piece, (MARGIN, y), TITLE, TEXT, Side::Left);
        y += 19.0;
    }
    y -= 2.0;
    for line in lines {
        for piece in wrapped(line, BODY, room) {
            sheet.words(&piece, (MARGIN, y), BODY, FAINT_TEXT, Side::Left);
            y += 14.0;
        }
    }
    y - 4.0
}

/// `text` broken at plain spaces into lines no wider than `room`; a single longer word is shortened.
pub(crate) fn wrapped(text: &str, face: Lettering, room: f64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split(' ').filter(|word| !word.is_empty()) {
        match lines.last_mut() {
            Some(line) if face.width(&format!("{line} {word}")) <= room => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(face.fit(word, room)),
        }
    }
    lines
}
