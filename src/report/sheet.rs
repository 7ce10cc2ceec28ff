//! A sheet of paper: marks in the order they are laid down, and lettering that knows its width.

use plotters::style::{FontFamily, FontStyle, IntoTextStyle, TextStyle, register_font};
use std::sync::OnceLock;

use super::ReportError;
use crate::instrument::PlatePlace;

/// A place on the sheet, from the upper left corner, in the sheet's own pixels.
pub(crate) type Point = (f64, f64);

/// A colour: red, green, blue.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Ink(pub u8, pub u8, pub u8);

/// One thing drawn.
#[derive(Debug, Clone)]
pub(crate) enum Mark {
    /// An open line.
    Line { points: Vec<Point>, ink: Ink, weight: f64 },
    /// A filled shape.
    Area { points: Vec<Point>, ink: Ink },
    /// A filled disc.
    Disc { centre: Point, radius: f64, ink: Ink },
    /// Lettering; `at` lies on the baseline.
    Words(Words),
}

/// Lettering on the sheet.
#[derive(Debug, Clone)]
pub(crate) struct Words {
    pub text: String,
    pub at: Point,
    pub face: Lettering,
    pub ink: Ink,
    pub side: Side,
    /// Reads upwards instead of rightwards.
    pub turned: bool,
}

/// Size and weight of lettering.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Lettering {
    /// The em, in the sheet's pixels.
    pub em: f64,
    pub bold: bool,
}

/// Which part of the lettering lies at its point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Side {
    Left,
    Centre,
    Right,
}

/// A part of the sheet that stands for a plate.
#[derive(Debug, Clone)]
pub(crate) struct Link {
    pub from: Point,
    pub to: Point,
    pub plate: PlatePlace,
}

/// Marks on white paper.
pub(crate) struct Sheet {
    pub title: String,
    pub width: f64,
    pub height: f64,
    pub marks: Vec<Mark>,
    /// Where a page may lead on from; nothing of it is drawn.
    pub links: Vec<Link>,
}

/// The family as a viewer of the SVG looks for it; the PNG is drawn with the embedded font under the same name.
pub(crate) const FAMILY: &str = "DejaVu Sans, Verdana, sans-serif";

/// Height of a capital letter in this font, em.
const CAPITAL_EM: f64 = 0.729;

/// The drawing library sizes the embedded font by ascent and descent: 1901 + 483 of 2048 units (DejaVu Sans 2.37).
pub(crate) const FONT_HEIGHT_EM: f64 = 2384.0 / 2048.0;

impl Lettering {
    pub(crate) const fn plain(em: f64) -> Self {
        Self { em, bold: false }
    }

    pub(crate) const fn bold(em: f64) -> Self {
        Self { em, bold: true }
    }

    /// Width of `text`, pixels.
    pub(crate) fn width(self, text: &str) -> f64 {
        const FINE: f64 = 1000.0; // The library counts whole pixels, so measure large.
        let style = library_style(FINE * FONT_HEIGHT_EM, self.bold);
        let (width, _) = style.font.box_size(&clean(text)).unwrap_or((700 * text.chars().count() as u32, 0));
        f64::from(width) * self.em / FINE
    }

    /// From the middle of a capital letter down to the baseline.
    pub(crate) fn half_capital(self) -> f64 {
        0.5 * CAPITAL_EM * self.em
    }

    /// `text`, shortened with an ellipsis until it is no wider than `width`.
    pub(crate) fn fit(self, text: &str, width: f64) -> String {
        self.fit_before(text, "", width)
    }

    /// `text` and `tail`, where only `text` is shortened until both are no wider than `width`.
    pub(crate) fn fit_before(self, text: &str, tail: &str, width: f64) -> String {
        let mut kept: Vec<char> = text.chars().collect();
        let mut whole = format!("{text}{tail}");
        while self.width(&whole) > width && kept.pop().is_some() {
            whole = format!("{}\u{2026}{tail}", kept.iter().collect::<String>());
        }
        whole
    }
}

impl Sheet {
    pub(crate) fn new(title: &str, width: f64) -> Self {
        Self { title: clean(title), width, height: 0.0, marks: Vec::new(), links: Vec::new() }
    }

    pub(crate) fn line(&mut self, points: &[Point], ink: Ink, weight: f64) {
        self.marks.push(Mark::Line { points: points.to_vec(), ink, weight });
    }

    /// A straight line of dashes, each as long as the gap after it.
    pub(crate) fn dashes(&mut self, from: Point, to: Point, dash: f64, ink: Ink, weight: f64) {
        let (dx, dy) = (to.0 - from.0, to.1 - from.1);
        let length = dx.hypot(dy);
        let n_dashes = (length / (2.0 * dash)).ceil() as usize;
        let at = |way: f64| (from.0 + dx * way / length, from.1 + dy * way / length);
        for start in (0..n_dashes).map(|k| 2.0 * dash * k as f64) {
            self.line(&[at(start), at((start + dash).min(length))], ink, weight);
        }
    }

    pub(crate) fn area(&mut self, points: &[Point], ink: Ink) {
        self.marks.push(Mark::Area { points: points.to_vec(), ink });
    }

    pub(crate) fn disc(&mut self, centre: Point, radius: f64, ink: Ink) {
        self.marks.push(Mark::Disc { centre, radius, ink });
    }

    /// A filled rectangle between two corners.
    pub(crate) fn slab(&mut self, from: Point, to: Point, ink: Ink) {
        self.area(&[from, (to.0, from.1), to, (from.0, to.1)], ink);
    }

    /// The outline of a rectangle.
    pub(crate) fn frame(&mut self, from: Point, to: Point, ink: Ink, weight: f64) {
        self.line(&[from, (to.0, from.1), to, (from.0, to.1), from], ink, weight);
    }

    /// The rectangle between two corners stands for a plate.
    pub(crate) fn link(&mut self, from: Point, to: Point, plate: &PlatePlace) {
        self.links.push(Link { from, to, plate: plate.clone() });
    }

    /// Letters on a baseline.
    pub(crate) fn words(&mut self, text: &str, at: Point, face: Lettering, ink: Ink, side: Side) {
        self.letter(text, at, face, ink, side, false);
    }

    /// Letters that read upwards.
    pub(crate) fn words_up(&mut self, text: &str, at: Point, face: Lettering, ink: Ink, side: Side) {
        self.letter(text, at, face, ink, side, true);
    }

    fn letter(&mut self, text: &str, at: Point, face: Lettering, ink: Ink, side: Side, turned: bool) {
        let text = clean(text);
        if !text.trim().is_empty() {
            self.marks.push(Mark::Words(Words { text, at, face, ink, side, turned }));
        }
    }
}

/// Make the embedded font known to the drawing library, once.
pub(crate) fn fonts_ready() -> Result<(), ReportError> {
    static READY: OnceLock<bool> = OnceLock::new();
    let is_ready = *READY.get_or_init(|| {
        register_font(FAMILY, FontStyle::Normal, dejavu::sans::regular()).is_ok()
            && register_font(FAMILY, FontStyle::Bold, dejavu::sans::bold()).is_ok()
    });
    if is_ready { Ok(()) } else { Err(ReportError::Font) }
}

/// The library's text style; `size` as the library counts it.
pub(crate) fn library_style(size: f64, bold: bool) -> TextStyle<'static> {
    let weight = if bold { FontStyle::Bold } else { FontStyle::Normal };
    (FontFamily::Name(FAMILY), size, weight).into_text_style(&(1, 1))
}

/// Characters that no XML document may hold become the replacement character; line breaks become spaces.
fn clean(text: &str) -> String {
    let allowed = |c: char| match c {
        '\n' | '\r' | '\t' => ' ',
        c if c.is_control() || matches!(c, '\u{fffe}' | '\u{ffff}') => '\u{fffd}',
        c => c,
    };
    text.chars().map(allowed).collect()
}
