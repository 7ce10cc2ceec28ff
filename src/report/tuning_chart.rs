//! The tuning chart: each rank's deviations along the block, with their doubt, before and after.

use crate::instrument::{Block, PlatePlace, ReedPlace, Stroke};
use crate::judgement::{ReedPitch, Tune};

use super::ink::{
    AXIS, BAND, BAND_EDGE, BODY, Entry, FAINT_TEXT, Format, HEADING, MARGIN, RULE, SMALL, TEXT, arrow, cross,
    heading, legend, stroke_ink, stroke_mark,
};
use super::sheet::{Ink, Lettering, Sheet, Side};
use super::strips::{Portion, Strip, block_title, portions};
use super::subject::{Subject, notes};
use super::words::{count, list, plain, plate_label, signed};

/// Plates side by side at most: four columns a plate (two strokes, two passes) stay apart.
const WIDEST: usize = 20;
const WIDEST_NARROW: usize = 6;
/// Strips on one sheet at most: an A4 page.
const PER_SHEET: usize = 4;
const PER_SHEET_NARROW: usize = 14;

const PANEL_LEFT: f64 = 58.0;
const PANEL_HEIGHT: f64 = 150.0;
const WIDEST_SLOT: f64 = 120.0;
const EDGE_FIGURE: Lettering = Lettering::plain(7.5);
/// Longest turned plate label, pixels.
const TURNED_LABEL: f64 = 64.0;

/// The scale holds this part of the marks and whatever lies within `STRETCH` times as far out; what lies farther is drawn
/// at its edge with a figure, so that one reed far off does not press the others flat.
const ON_SCALE: f64 = 0.75;
const STRETCH: f64 = 2.5;

/// One sheet for each portion of the block, with the row's name where there are several.
pub(crate) fn sheets<'a>(
    subject: &Subject,
    block: &'a Block,
    format: Format,
) -> Vec<(Option<&'a str>, Sheet)> {
    let scale = Scale::for_block(subject, block);
    let widest = format.across(WIDEST, WIDEST_NARROW);
    let drawn = portions(block, widest, format.pick(PER_SHEET, PER_SHEET_NARROW));
    drawn.into_iter().map(|portion| (portion.row, sheet(subject, block, &portion, scale, format))).collect()
}

/// Half the height of a panel in cents, and the distance of its grid lines.
#[derive(Clone, Copy)]
struct Scale {
    limit: f64,
    step: f64,
}

impl Scale {
    fn for_block(subject: &Subject, block: &Block) -> Self {
        const LIMITS: [(f64, f64); 10] = [
            (4.0, 2.0),
            (6.0, 2.0),
            (10.0, 5.0),
            (15.0, 5.0),
            (20.0, 10.0),
            (30.0, 10.0),
            (50.0, 25.0),
            (100.0, 50.0),
            (200.0, 100.0),
            (600.0, 200.0),
        ];
        let mut reaches: Vec<f64> = subject
            .drawn_reeds()
            .into_iter()
            .flatten()
            .filter(|reed| reed.place.plate.block == block.name)
            .filter_map(|reed| reed.pitch.as_ref().ok())
            .map(|pitch| pitch.deviation.value.get().abs() + pitch.deviation.uncertainty.get().abs())
            .collect();
        reaches.sort_by(f64::total_cmp);
        let place = (ON_SCALE * reaches.len().saturating_sub(1) as f64).ceil() as usize;
        let common = reaches.get(place).copied().unwrap_or(0.0).max(1.5 * block.tolerance.get());
        let wanted =
            reaches.iter().copied().filter(|reach| *reach <= STRETCH * common).fold(common, f64::max);
        let fitting = LIMITS.into_iter().find(|(limit, _)| *limit >= wanted);
        let (limit, step) = fitting.unwrap_or(LIMITS[LIMITS.len() - 1]);
        Self { limit, step }
    }

    fn holds(self, cents: f64) -> bool {
        cents.abs() <= self.limit
    }
}

fn sheet(subject: &Subject, block: &Block, portion: &Portion, scale: Scale, format: Format) -> Sheet {
    let title = block_title("Tuning", block, portion);
    let mut sheet = Sheet::new(&title, format.width());
    let mut y = heading(&mut sheet, &title, &summary(subject, block, portion));
    y += key(&mut sheet, y + 4.0, subject, block) + 14.0;
    for strip in &portion.strips {
        y = panel(&mut sheet, y, subject, block, strip, scale) + 16.0;
    }
    sheet.height = y;
    sheet
}

/// What the reader should know before looking, with figures.
fn summary(subject: &Subject, block: &Block, portion: &Portion) -> Vec<String> {
    let shows = |place: &PlatePlace| {
        place.block == block.name && portion.strips.iter().any(|strip| strip.row.name == place.row)
    };
    let reeds: Vec<_> = subject.reeds().iter().filter(|reed| shows(&reed.place.plate)).collect();
    let tuned = |tune: Tune| {
        reeds.iter().filter(|reed| reed.pitch.as_ref().is_ok_and(|pitch| pitch.tune == Some(tune))).count()
    };
    let n_measured = reeds.iter().filter(|reed| reed.pitch.is_ok()).count();
    let work =
        list([count(tuned(Tune::Raise), "to raise"), count(tuned(Tune::Lower), "to lower")], "none to move");
    // Where the pass has all of them itself, it is the pass that is told.
    let own = |place: &ReedPlace| subject.findings.reeds.iter().find(|reed| reed.place == *place);
    let others =
        reeds.iter().filter(|reed| own(&reed.place).is_none_or(|own| own.pitch != reed.pitch)).count();
    let told_by = match others {
        0 => format!("Pass {}", subject.findings.pass),
        n => {
            format!("By the newest good take of each reed, {n} of them not of pass {}", subject.findings.pass)
        }
    };
    vec![
        subject.title.to_owned(),
        format!(
            "{told_by}: {n_measured} of {} reeds measured, {work}. Deviation from the target in cents, A4\u{a0}=\u{a0}{:.1}\u{a0}Hz.",
            reeds.len(),
            subject.instrument.tuning.reference.get(),
        ),
    ]
}

fn key(sheet: &mut Sheet, top: f64, subject: &Subject, block: &Block) -> f64 {
    let mut entries: Vec<Entry> = Vec::new();
    let now = &subject.findings.pass;
    entries.push((&|sheet, at| stroke_mark(sheet, at, Stroke::Press, false), named("press", now)));
    entries.push((&|sheet, at| stroke_mark(sheet, at, Stroke::Draw, false), named("draw", now)));
    if let Some(earlier) = &subject.earlier {
        let then = &earlier.findings.pass;
        entries.push((&|sheet, at| stroke_mark(sheet, at, Stroke::Press, true), named("press", then)));
        entries.push((&|sheet, at| stroke_mark(sheet, at, Stroke::Draw, true), named("draw", then)));
    }
    entries.push((
        &|sheet, (x, y)| bar(sheet, x, (y - 6.0, y + 6.0), TEXT),
        "95 % interval, unless the mark hides it".to_owned(),
    ));
    entries.push((
        &|sheet, (x, y)| {
            sheet.slab((x - 9.0, y - 5.0), (x + 9.0, y + 5.0), BAND);
            for edge in [y - 5.0, y + 5.0] {
                sheet.dashes((x - 9.0, edge), (x + 9.0, edge), 3.0, BAND_EDGE, 0.75);
            }
        },
        format!("tolerance, \u{b1}{} cents", plain(block.tolerance.get(), 1)),
    ));
    entries.push((
        &|sheet, at| arrow(sheet, at, true, 3.5, TEXT),
        "beyond the scale, with its figure".to_owned(),
    ));
    entries.push((&|sheet, at| cross(sheet, at, 2.8, TEXT, 1.0), "not measured".to_owned()));
    legend(sheet, top, &entries)
}

/// `press, before`, the pass's name held short.
fn named(stroke: &str, pass: &str) -> String {
    format!("{stroke}, {}", BODY.fit(pass, 200.0))
}

/// One strip: heading, frame, grid, marks, and the plates' names below; returns where it ends.
fn panel(sheet: &mut Sheet, top: f64, subject: &Subject, block: &Block, strip: &Strip, scale: Scale) -> f64 {
    let room = sheet.width - PANEL_LEFT - MARGIN;
    let slot = (room / strip.plates.len() as f64).min(WIDEST_SLOT);
    let right = PANEL_LEFT + slot * strip.plates.len() as f64;
    sheet.words(&HEADING.fit(&strip.heading(), room), (PANEL_LEFT, top + 10.0), HEADING, TEXT, Side::Left);
    let frame = Frame { left: PANEL_LEFT, right, top: top + 18.0, scale };
    grid(sheet, &frame, block.tolerance.get(), slot, strip.plates.len());
    for (k, plate) in strip.plates.clone().enumerate() {
        let place =
            PlatePlace { block: block.name.clone(), row: strip.row.name.clone(), number: plate as u32 + 1 };
        reeds_of(sheet, &frame, subject, &place, frame.left + (k as f64 + 0.5) * slot, slot);
    }
    sheet.frame((frame.left, frame.top), (right, frame.bottom()), AXIS, 1.0);
    plate_names(sheet, &frame, block, strip, slot)
}

/// Where a panel lies and what its height means.
struct Frame {
    left: f64,
    right: f64,
    top: f64,
    scale: Scale,
}

impl Frame {
    fn bottom(&self) -> f64 {
        self.top + PANEL_HEIGHT
    }

    fn y(&self, cents: f64) -> f64 {
        let held = cents.clamp(-self.scale.limit, self.scale.limit);
        self.top + 0.5 * PANEL_HEIGHT * (1.0 - held / self.scale.limit)
    }
}

fn grid(sheet: &mut Sheet, frame: &Frame, tolerance: f64, slot: f64, n_plates: usize) {
    let band = (frame.y(tolerance), frame.y(-tolerance));
    sheet.slab((frame.left, band.0), (frame.right, band.1), BAND);
    for k in 1..n_plates {
        let x = frame.left + k as f64 * slot;
        sheet.line(&[(x, frame.top), (x, frame.bottom())], RULE, 0.5);
    }
    let n_steps = (frame.scale.limit / frame.scale.step).floor() as i32;
    for k in -n_steps..=n_steps {
        let cents = f64::from(k) * frame.scale.step;
        let y = frame.y(cents);
        let (ink, weight) = if k == 0 { (AXIS, 1.0) } else { (RULE, 0.5) };
        sheet.line(&[(frame.left, y), (frame.right, y)], ink, weight);
        sheet.line(&[(frame.left - 3.0, y), (frame.left, y)], AXIS, 0.75);
        let at = (frame.left - 6.0, y + SMALL.half_capital());
        sheet.words(&signed(cents, 0), at, SMALL, TEXT, Side::Right);
    }
    for edge in [band.0, band.1] {
        sheet.dashes((frame.left, edge), (frame.right, edge), 4.0, BAND_EDGE, 0.75);
    }
    let middle = frame.top + 0.5 * PANEL_HEIGHT;
    sheet.words_up("deviation, cents", (MARGIN + 8.0, middle), SMALL, FAINT_TEXT, Side::Centre);
}

/// The marks of one plate around `x`: press left of draw, the earlier pass left of the later one.
fn reeds_of(sheet: &mut Sheet, frame: &Frame, subject: &Subject, place: &PlatePlace, x: f64, slot: f64) {
    let passes = subject.drawn_reeds();
    let n_columns = 2 * passes.len();
    let pitch = (slot / (n_columns as f64 + 0.6)).min(13.0);
    let mut column = -0.5 * (n_columns as f64 - 1.0);
    for stroke in Stroke::BOTH {
        let place = ReedPlace { plate: place.clone(), stroke };
        let mut previous = None;
        for (k, reeds) in passes.iter().enumerate() {
            let at_x = x + column * pitch;
            column += 1.0;
            let is_earlier = k + 1 < passes.len();
            let Some(reed) = reeds.iter().find(|reed| reed.place == place) else { continue };
            match &reed.pitch {
                Ok(pitch) => {
                    let here = (at_x, pitch.deviation.value.get());
                    if let Some((from_x, from)) = previous
                        && frame.scale.holds(from)
                        && frame.scale.holds(here.1)
                    {
                        sheet.line(
                            &[(from_x, frame.y(from)), (at_x, frame.y(here.1))],
                            stroke_ink(stroke),
                            0.5,
                        );
                    }
                    reed_mark(sheet, frame, at_x, pitch, stroke, is_earlier);
                    if let Some((from_x, from)) = previous
                        && frame.scale.holds(from)
                    {
                        stroke_mark(sheet, (from_x, frame.y(from)), stroke, true); // Above the line that leaves it.
                    }
                    previous = Some(here);
                }
                Err(_) => cross(sheet, (at_x, frame.bottom() - 7.0), 2.8, stroke_ink(stroke), 1.0),
            }
        }
    }
}

fn reed_mark(sheet: &mut Sheet, frame: &Frame, x: f64, pitch: &ReedPitch, stroke: Stroke, hollow: bool) {
    let (cents, doubt) = (pitch.deviation.value.get(), pitch.deviation.uncertainty.get());
    if frame.scale.holds(cents) {
        bar(sheet, x, (frame.y(cents + doubt), frame.y(cents - doubt)), stroke_ink(stroke));
        stroke_mark(sheet, (x, frame.y(cents)), stroke, hollow);
        return;
    }
    let is_sharp = cents > 0.0;
    let inward = if is_sharp { 1.0 } else { -1.0 };
    let edge = frame.y(cents);
    arrow(sheet, (x, edge + 5.0 * inward), is_sharp, 3.2, stroke_ink(stroke));
    stroke_mark(sheet, (x, edge + 13.0 * inward), stroke, hollow);
    let side = if is_sharp { Side::Right } else { Side::Left };
    let at = (x + EDGE_FIGURE.half_capital(), edge + 19.0 * inward);
    sheet.words_up(&signed(cents, 0), at, EDGE_FIGURE, TEXT, side);
}

/// An upright bar with short caps.
fn bar(sheet: &mut Sheet, x: f64, (high, low): (f64, f64), ink: Ink) {
    sheet.line(&[(x, high), (x, low)], ink, 1.0);
    for end in [high, low] {
        sheet.line(&[(x - 2.0, end), (x + 2.0, end)], ink, 1.0);
    }
}

/// Below the panel: each plate's label once, then its note or its two notes; returns where they end.
fn plate_names(sheet: &mut Sheet, frame: &Frame, block: &Block, strip: &Strip, slot: f64) -> f64 {
    let label = |plate: usize| {
        plate_label(&PlatePlace {
            block: block.name.clone(),
            row: strip.row.name.clone(),
            number: plate as u32 + 1,
        })
    };
    let is_turned = strip.plates.clone().any(|plate| BODY.width(&label(plate)) > slot - 3.0);
    let mut y = frame.bottom();
    let caption = |sheet: &mut Sheet, text: &str, baseline: f64| {
        sheet.words(text, (PANEL_LEFT - 6.0, baseline), SMALL, FAINT_TEXT, Side::Right);
    };
    caption(sheet, "plate", y + 13.0);
    for (k, plate) in strip.plates.clone().enumerate() {
        let x = frame.left + (k as f64 + 0.5) * slot;
        if is_turned {
            let text = BODY.fit_before(&strip.row.name, &(plate + 1).to_string(), TURNED_LABEL);
            sheet.words_up(&text, (x + BODY.half_capital(), y + 6.0), BODY, TEXT, Side::Right);
        } else {
            sheet.words(&label(plate), (x, y + 13.0), BODY, TEXT, Side::Centre);
        }
    }
    y += if is_turned { TURNED_LABEL + 8.0 } else { 15.0 };
    caption(sheet, "note", y + 9.0);
    let mut deepest = y;
    for (k, plate) in strip.plates.clone().enumerate() {
        let x = frame.left + (k as f64 + 0.5) * slot;
        let notes = strip.row.plates.get(plate).map(notes).unwrap_or_default();
        for (line, note) in notes.iter().enumerate() {
            let baseline = y + 9.0 + 11.0 * line as f64;
            sheet.words(note, (x, baseline), SMALL, FAINT_TEXT, Side::Centre);
            deepest = deepest.max(baseline + 3.0);
        }
    }
    deepest
}
