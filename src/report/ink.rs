//! Colours, lettering and the small shapes that carry a meaning; each meaning has a shape or a word of its own, so that
//! grey print and colour-blind eyes lose nothing.

use crate::instrument::Stroke;

use super::sheet::{Ink, Lettering, Point, Sheet, Side};

pub(crate) const TEXT: Ink = Ink(26, 28, 32);
pub(crate) const FAINT_TEXT: Ink = Ink(88, 92, 99);
pub(crate) const RULE: Ink = Ink(205, 208, 212);
pub(crate) const AXIS: Ink = Ink(110, 114, 120);
pub(crate) const BAND: Ink = Ink(233, 237, 230);
pub(crate) const BAND_EDGE: Ink = Ink(95, 115, 80);
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

/// Each ink by night, on a dark page: what is told apart by day stays so.
const NIGHT: [(Ink, Ink); 12] = [
    (PAPER, NIGHT_PAPER),
    (TEXT, Ink(236, 238, 240)),
    (FAINT_TEXT, Ink(182, 187, 194)),
    (RULE, Ink(74, 80, 88)),
    (AXIS, Ink(154, 160, 168)),
    (BAND, Ink(43, 52, 41)),
    (BAND_EDGE, Ink(143, 161, 131)),
    (PRESS, Ink(156, 192, 245)),
    (DRAW, Ink(232, 146, 74)),
    // Lighter than what lies around it, as it is darker by day; its words are the paper's.
    (LEAKS, Ink(255, 143, 136)),
    (SUSPECT, Ink(90, 68, 18)),
    (UNKNOWN, Ink(51, 56, 63)),
];
const NIGHT_PAPER: Ink = Ink(31, 34, 38);
/// Drawn as an edge and as a mark, and so in neither list alone.
const NIGHT_SUSPECT_EDGE: Ink = Ink(231, 191, 92);

/// The style that shows the drawings of a page by night.
pub fn night_style() -> String {
    let rules: String = NIGHT
        .iter()
        .chain([&(SUSPECT_EDGE, NIGHT_SUSPECT_EDGE)])
        .map(|(day, night)| {
            let (day, night) = (day.name(), night.name());
            format!(
                "  .drawing svg [fill=\"{day}\"] {{ fill: {night}; }}\n  .drawing svg [stroke=\"{day}\"] {{ stroke: {night}; }}\n"
            )
        })
        .collect();
    format!("@media screen and (prefers-color-scheme: dark) {{\n{rules}}}\n")
}

impl Ink {
    /// `#8C2026`, as the drawings name it.
    fn name(self) -> String {
        format!("#{:02X}{:02X}{:02X}", self.0, self.1, self.2)
    }
}

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
    /// A live page as wide as a desk's screen: half the plates side by side, so that the smallest word has 14 pixels.
    Screen,
    /// The report on telephones, a live page on tablets: fewer plates side by side, so that words keep their size.
    Narrow,
    /// A live page on telephones.
    Phone,
}

impl Format {
    /// Width of the sheet.
    pub(crate) fn width(self) -> f64 {
        match self {
            Format::Wide => SHEET_WIDTH,
            Format::Screen => 436.0,
            Format::Narrow => 300.0,
            Format::Phone => 164.0,
        }
    }

    /// One of two, by format.
    pub(crate) fn pick<T>(self, wide: T, narrow: T) -> T {
        match self {
            Format::Wide | Format::Screen => wide,
            Format::Narrow | Format::Phone => narrow,
        }
    }

    /// Things side by side, by those of the two formats of a page that is printed or sent.
    pub(crate) fn across(self, wide: usize, narrow: usize) -> usize {
        match self {
            Format::Wide => wide,
            Format::Screen => wide / 2,
            Format::Narrow => narrow,
            Format::Phone => narrow / 2,
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
    let room = sheet.width - 2.0 * MARGIN - SAMPLE - 4.0;
    let (mut x, mut y) = (MARGIN, top + 0.5 * LINE);
    for (sample, text) in entries {
        let width = SAMPLE + 4.0 + BODY.width(text);
        if x > MARGIN && x + width > sheet.width - MARGIN {
            (x, y) = (MARGIN, y + LINE);
        }
        sample(sheet, (x + 0.5 * SAMPLE, y));
        for (line, piece) in wrapped(text, BODY, room).into_iter().enumerate() {
            if line > 0 {
                y += LINE;
            }
            sheet.words(&piece, (x + SAMPLE + 4.0, y + BODY.half_capital()), BODY, TEXT, Side::Left);
        }
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

#[cfg(test)]
mod tests {
    use super::*;

    /// Relative luminance and contrast ratio: W3C, Web Content Accessibility Guidelines 2.2, definitions.
    fn luminance(Ink(red, green, blue): Ink) -> f64 {
        let linear = |value: u8| {
            let value = f64::from(value) / 255.0;
            if value <= 0.040_45 { value / 12.92 } else { ((value + 0.055) / 1.055).powf(2.4) }
        };
        0.2126 * linear(red) + 0.7152 * linear(green) + 0.0722 * linear(blue)
    }

    fn contrast(one: Ink, other: Ink) -> f64 {
        let (one, other) = (luminance(one), luminance(other));
        (one.max(other) + 0.05) / (one.min(other) + 0.05)
    }

    fn by_night(ink: Ink) -> Ink {
        let all = NIGHT.iter().chain([&(SUSPECT_EDGE, NIGHT_SUSPECT_EDGE)]);
        all.clone().find(|(day, _)| *day == ink).unwrap_or_else(|| panic!("{ink:?} has no night")).1
    }

    #[test]
    fn contrast_is_that_of_the_guidelines() {
        // The extremes, and a grey often given as the lightest that will do for text on white.
        assert!((contrast(Ink(0, 0, 0), PAPER) - 21.0).abs() < 1e-9);
        assert!((contrast(Ink(118, 118, 118), PAPER) - 4.54).abs() < 0.01);
    }

    /// Success criteria 1.4.3 (text, 4.5 to 1) and 1.4.11 (what a mark is known by, 3 to 1) of the same guidelines. A band
    /// is known by its edges; the rules behind a chart only guide the eye.
    #[test]
    fn marks_and_words_stand_out_by_day_and_by_night() {
        let marks = [
            (LEAKS, PAPER),
            (SUSPECT_EDGE, PAPER),
            (BAND_EDGE, PAPER),
            (BAND_EDGE, BAND),
            (AXIS, PAPER),
            (AXIS, UNKNOWN),
            (PRESS, PAPER),
            (PRESS, BAND),
            (DRAW, PAPER),
            (DRAW, BAND),
            (TEXT, PAPER),
        ];
        let words = [
            (TEXT, PAPER),
            (TEXT, SUSPECT),
            (TEXT, UNKNOWN),
            (TEXT, BAND),
            (FAINT_TEXT, PAPER),
            (PAPER, LEAKS),
        ];
        for (least, pairs) in [(3.0, marks.as_slice()), (4.5, words.as_slice())] {
            for &(ink, ground) in pairs {
                let (day, night) = (contrast(ink, ground), contrast(by_night(ink), by_night(ground)));
                assert!(day >= least, "{ink:?} on {ground:?} by day: {day:.2}");
                assert!(night >= least, "{ink:?} on {ground:?} by night: {night:.2}");
            }
        }
    }
}
