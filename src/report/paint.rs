//! From the sheet to SVG and PNG: the same marks, twice through the drawing library.

use plotters::coord::Shift;
use plotters::prelude::{
    BitMapBackend, Circle, DrawingArea, DrawingBackend, IntoDrawingArea, PathElement, Polygon, RGBColor,
    SVGBackend, ShapeStyle, Text,
};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{Color, FontTransform};

use super::ReportError;
use super::sheet::{FONT_HEIGHT_EM, Ink, Mark, Sheet, Side, Words, fonts_ready, library_style};
use crate::instrument::PlatePlace;

/// The library draws on whole pixels, so both pictures are drawn this many times larger.
const FINE: u32 = 4;
/// PNG pixels for one of the sheet's.
const PNG_SCALE: u32 = 2;
/// Fine pixels that make one PNG pixel, along and across.
const BLEND: usize = (FINE / PNG_SCALE) as usize;

/// How a backend letters: how it counts a size, and how far below its anchor it puts the baseline.
struct Hand {
    size_per_em: f64,
    drop_em: f64,
}

/// The SVG backend writes `font-size = size / 1.24` and `dy = 0.76em` for an anchor at the top.
const SVG_HAND: Hand = Hand { size_per_em: 1.24, drop_em: 0.76 };
/// The bitmap backend counts the font's whole height and puts the baseline half of it below a top anchor.
const PNG_HAND: Hand = Hand { size_per_em: FONT_HEIGHT_EM, drop_em: 0.5 * FONT_HEIGHT_EM };

/// The sheet as an SVG document.
pub(crate) fn svg(sheet: &Sheet) -> Result<String, ReportError> {
    fonts_ready()?;
    let (width, height) = fine_size(sheet);
    let mut document = String::new();
    {
        let area = SVGBackend::with_string(&mut document, (width, height)).into_drawing_area();
        paint(sheet, &area, &SVG_HAND)?;
        area.present().map_err(|cause| trouble(sheet, &cause))?;
    }
    // The view box stays fine, the picture gets its own size back, and readers that cannot see it get its title.
    let head = format!("width=\"{width}\" height=\"{height}\"");
    let size = format!("width=\"{}\" height=\"{}\" role=\"img\"", width / FINE, height / FINE);
    let document = document.replacen(&head, &size, 1);
    Ok(document.replacen(">\n", &format!(">\n<title>{}</title>\n", escape(&sheet.title)), 1))
}

/// The sheet to stand within a page: it takes the width it is given, and what stands for a plate leads to the address
/// and bears the words that `lead` gives for it.
pub(crate) fn page_svg(
    sheet: &Sheet,
    lead: &dyn Fn(&PlatePlace) -> (String, String),
) -> Result<String, ReportError> {
    let document = svg(sheet)?;
    let (width, height) = fine_size(sheet);
    let size = format!("width=\"{}\" height=\"{}\" role=\"img\"", width / FINE, height / FINE);
    let role = if sheet.links.is_empty() { "img" } else { "group" };
    let named = format!("role=\"{role}\" aria-label=\"{}\"", escape(&sheet.title).replace('"', "&quot;"));
    let mut page = document.replacen(&size, &named, 1);
    let links: String = sheet
        .links
        .iter()
        .map(|link| {
            let (address, words) = lead(&link.plate);
            let (x, y) = (fine(link.from.0), fine(link.from.1));
            let (width, height) = (fine(link.to.0) - x, fine(link.to.1) - y);
            format!(
                "<a href=\"{}\" aria-label=\"{words}\"><title>{words}</title><rect x=\"{x}\" y=\"{y}\" \
                 width=\"{width}\" height=\"{height}\" fill-opacity=\"0\"/></a>\n",
                escape(&address),
                words = escape(&words).replace('"', "&quot;"),
            )
        })
        .collect();
    if let Some(end) = page.rfind("</svg>") {
        page.insert_str(end, &links);
    }
    Ok(page)
}

/// The sheet as a PNG file, twice its size in pixels.
pub(crate) fn png(sheet: &Sheet) -> Result<Vec<u8>, ReportError> {
    fonts_ready()?;
    let (width, height) = fine_size(sheet);
    let mut fine = vec![255u8; width as usize * height as usize * 3];
    {
        let area = BitMapBackend::with_buffer(&mut fine, (width, height)).into_drawing_area();
        paint(sheet, &area, &PNG_HAND)?;
        area.present().map_err(|cause| trouble(sheet, &cause))?;
    }
    let pixels = blend(&fine, width as usize * 3);
    let mut file = Vec::new();
    let mut encoder = png::Encoder::new(&mut file, width / BLEND as u32, height / BLEND as u32);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Eight);
    // Flat drawings pack best as they are, without a filter.
    encoder.set_filter(png::FilterType::NoFilter);
    encoder.set_compression(png::Compression::Best);
    let mut writer = encoder.write_header().map_err(|cause| trouble(sheet, &cause))?;
    writer.write_image_data(&pixels).map_err(|cause| trouble(sheet, &cause))?;
    writer.finish().map_err(|cause| trouble(sheet, &cause))?;
    Ok(file)
}

/// Whole sheet pixels times the fineness, so that every PNG pixel is blended from whole fine ones.
fn fine_size(sheet: &Sheet) -> (u32, u32) {
    let whole = |length: f64| (length.ceil().clamp(1.0, 20_000.0)) as u32 * FINE;
    (whole(sheet.width), whole(sheet.height))
}

/// Mean of each square of fine pixels; `stride` is the length of a fine line in bytes.
fn blend(fine: &[u8], stride: usize) -> Vec<u8> {
    let mut blended = Vec::with_capacity(fine.len() / (BLEND * BLEND));
    let mut sums = vec![0u32; stride / BLEND];
    for lines in fine.chunks_exact(stride * BLEND) {
        sums.fill(0);
        for line in lines.chunks_exact(stride) {
            for (sum, square) in sums.chunks_exact_mut(3).zip(line.chunks_exact(3 * BLEND)) {
                for pixel in square.chunks_exact(3) {
                    for (total, value) in sum.iter_mut().zip(pixel) {
                        *total += u32::from(*value);
                    }
                }
            }
        }
        blended.extend(sums.iter().map(|sum| (sum / (BLEND * BLEND) as u32) as u8));
    }
    blended
}

fn paint<B: DrawingBackend>(
    sheet: &Sheet,
    area: &DrawingArea<B, Shift>,
    hand: &Hand,
) -> Result<(), ReportError> {
    area.fill(&RGBColor(255, 255, 255)).map_err(|cause| trouble(sheet, &cause))?;
    for mark in &sheet.marks {
        let drawn = match mark {
            Mark::Line { points, ink, weight } => {
                let style = ShapeStyle {
                    color: colour(*ink).to_rgba(),
                    filled: false,
                    stroke_width: fine(*weight).max(1) as u32,
                };
                area.draw(&PathElement::new(fine_points(points), style))
            }
            Mark::Area { points, ink } => {
                area.draw(&Polygon::new(fine_points(points), colour(*ink).filled()))
            }
            Mark::Disc { centre, radius, ink } => area.draw(&Circle::new(
                (fine(centre.0), fine(centre.1)),
                fine(*radius),
                colour(*ink).filled(),
            )),
            Mark::Words(words) => area.draw(&lettered(words, hand)),
        };
        drawn.map_err(|cause| trouble(sheet, &cause))?;
    }
    Ok(())
}

fn lettered<'a>(words: &'a Words, hand: &Hand) -> Text<'static, (i32, i32), &'a str> {
    let across = match words.side {
        Side::Left => HPos::Left,
        Side::Centre => HPos::Center,
        Side::Right => HPos::Right,
    };
    let drop = hand.drop_em * words.face.em;
    let mut style = library_style(f64::from(FINE) * hand.size_per_em * words.face.em, words.face.bold)
        .pos(Pos::new(across, VPos::Top));
    style.color = colour(words.ink).to_backend_color();
    let mut anchor = (words.at.0, words.at.1 - drop);
    if words.turned {
        style = style.transform(FontTransform::Rotate270);
        anchor = (words.at.0 - drop, words.at.1);
    }
    Text::new(words.text.as_str(), (fine(anchor.0), fine(anchor.1)), style)
}

fn fine(length: f64) -> i32 {
    (length * f64::from(FINE)).round() as i32
}

fn fine_points(points: &[(f64, f64)]) -> Vec<(i32, i32)> {
    points.iter().map(|&(x, y)| (fine(x), fine(y))).collect()
}

fn colour(Ink(red, green, blue): Ink) -> RGBColor {
    RGBColor(red, green, blue)
}

fn escape(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}

fn trouble(sheet: &Sheet, cause: &dyn std::fmt::Display) -> ReportError {
    ReportError::Drawing { chart: sheet.title.clone(), cause: cause.to_string() }
}
