//! The block map: the plates where they lie, each with its note, what its valves say, and where its reeds should go.

use crate::instrument::{Block, Face, Plate, PlatePlace, ReedPlace, Stroke, ValvePlace};
use crate::judgement::{Tune, ValveChange, ValveFinding, Verdict};

use super::ink::{
    AXIS, BODY, Entry, FAINT_TEXT, Format, HEADING, LEAKS, MARGIN, PAPER, RULE, SUSPECT, SUSPECT_EDGE, TEXT,
    UNKNOWN, arrow, cross, heading, legend, stroke_mark, wrapped,
};
use super::sheet::{Ink, Lettering, Point, Sheet, Side};
use super::strips::{Portion, block_title, portions};
use super::subject::{Subject, notes};
use super::words::{count, list, plate_label, signed};

/// For its word and its shape.
/// Valves whose place in the order to look stands on the map: a third of a block of 24 plates.
const NAMED_FIRST: u32 = 16;
const NOT_JUDGED: Verdict = Verdict::NotJudged { cause: None, needs: None };
/// Plates side by side at most: each is wide enough for its words.
const WIDEST: usize = 12;
const WIDEST_NARROW: usize = 4;
/// Strips on one sheet at most: an A4 page.
const PER_SHEET: usize = 6;
const PER_SHEET_NARROW: usize = 18;

/// A page is as long as it wants; only paper ends.
fn per_sheet(format: Format) -> usize {
    match format {
        Format::Wide => PER_SHEET,
        Format::Narrow => PER_SHEET_NARROW,
        Format::Screen | Format::Phone => usize::MAX,
    }
}

/// Between two cards.
const CARD_GAP: f64 = 3.0;
const LABEL: Lettering = Lettering::bold(10.0);
const WORD: Lettering = Lettering::plain(8.5);
const LOUD_WORD: Lettering = Lettering::bold(9.0);
const TINY: Lettering = Lettering::plain(7.5);

/// One sheet for each portion of the block, with the row's name where there are several.
pub(crate) fn sheets<'a>(
    subject: &Subject,
    block: &'a Block,
    format: Format,
) -> Vec<(Option<&'a str>, Sheet)> {
    let widest = format.across(WIDEST, WIDEST_NARROW);
    let drawn = portions(block, widest, per_sheet(format));
    drawn.into_iter().map(|portion| (portion.row, sheet(subject, block, &portion, format))).collect()
}

fn sheet(subject: &Subject, block: &Block, portion: &Portion, format: Format) -> Sheet {
    let title = block_title("Valves", block, portion);
    let mut sheet = Sheet::new(&title, format.width());
    let mut y = heading(&mut sheet, &title, &summary(subject, block, portion));
    y += key(&mut sheet, y + 4.0) + 14.0;
    let shape = CardShape::for_portion(subject, block, portion, format);
    for strip in &portion.strips {
        let name = HEADING.fit(&strip.heading(), sheet.width - 2.0 * MARGIN);
        sheet.words(&name, (MARGIN, y + 10.0), HEADING, TEXT, Side::Left);
        y += 17.0;
        for (k, index) in strip.plates.clone().enumerate() {
            let Some(plate) = strip.row.plates.get(index) else { continue };
            let place = PlatePlace {
                block: block.name.clone(),
                row: strip.row.name.clone(),
                number: index as u32 + 1,
            };
            let corner = (MARGIN + k as f64 * shape.pitch, y);
            card(&mut sheet, corner, &shape, subject, plate, &place);
        }
        y += shape.height() + 14.0;
    }
    sheet.height = y;
    sheet
}

fn summary(subject: &Subject, block: &Block, portion: &Portion) -> Vec<String> {
    let shows = |place: &ValvePlace| {
        place.plate.block == block.name
            && portion.strips.iter().any(|strip| strip.row.name == place.plate.row)
    };
    let of_verdict = |wanted: fn(&Verdict) -> bool| {
        subject.valves().iter().filter(|valve| shows(&valve.place) && wanted(&valve.verdict)).count()
    };
    let verdicts = list(
        [
            count(of_verdict(|v| matches!(v, Verdict::Leaks)), "consistent with a leak"),
            count(of_verdict(|v| matches!(v, Verdict::Suspect)), "suspect"),
            count(of_verdict(|v| matches!(v, Verdict::NoSign)), "without a sign"),
            count(of_verdict(|v| matches!(v, Verdict::Tight)), "tight by a sealing test"),
            count(of_verdict(|v| matches!(v, Verdict::NotJudged { .. })), NOT_JUDGED.as_str()),
            count(of_verdict(|v| matches!(v, Verdict::NoValve)), "slots without a valve"),
        ],
        "nothing judged",
    );
    let told_by = match subject.valves_now {
        Some(_) => "By all passes and notes".to_owned(),
        None => format!("Pass {}", subject.findings.pass),
    };
    let mut lines = vec![subject.title.to_owned(), format!("{told_by}: {verdicts}.")];
    if let Some(comparison) = subject.earlier.as_ref().and_then(|earlier| earlier.comparison) {
        let of_change = |wanted: ValveChange| {
            comparison.valves.iter().filter(|valve| shows(&valve.place) && valve.change == wanted).count()
        };
        let changes = list(
            [
                count(of_change(ValveChange::Cured), "cured"),
                count(of_change(ValveChange::StillLeaks), "still leaking"),
                count(of_change(ValveChange::NewlyLeaks), "newly leaking"),
                count(of_change(ValveChange::CannotTell), "cannot be told"),
            ],
            "no change",
        );
        lines.push(format!("Against pass {}: {changes}.", comparison.earlier));
    }
    for swap in
        subject.findings.swaps.iter().filter(|swap| swap.places.iter().any(|at| at.block == block.name))
    {
        let places: Vec<String> = swap.places.iter().map(plate_label).collect();
        lines.push(format!(
            "By their pitch, these plates may lie in each other's place: {}.",
            places.join(" and ")
        ));
    }
    lines
}

fn key(sheet: &mut Sheet, top: f64) -> f64 {
    let field = |verdict: Verdict| {
        move |sheet: &mut Sheet, (x, y): Point| {
            verdict_field(sheet, (x - 9.0, y - 6.0), (x + 9.0, y + 6.0), &verdict);
            verdict_mark(sheet, (x, y), &verdict);
        }
    };
    let leaks = field(Verdict::Leaks);
    let suspect = field(Verdict::Suspect);
    let no_sign = field(Verdict::NoSign);
    let tight = field(Verdict::Tight);
    let not_judged = field(NOT_JUDGED);
    let entries: [Entry; 10] = [
        (&leaks, "leaks: signs consistent with a leak".to_owned()),
        (&suspect, "suspect: listen again, softer".to_owned()),
        (&no_sign, "no sign found".to_owned()),
        (&tight, "tight by a sealing test".to_owned()),
        (&not_judged, NOT_JUDGED.as_str().to_owned()),
        (&|sheet, at| stroke_mark(sheet, at, Stroke::Press, false), "press reed, cents".to_owned()),
        (&|sheet, at| stroke_mark(sheet, at, Stroke::Draw, false), "draw reed, cents".to_owned()),
        (&|sheet, at| arrow(sheet, at, true, 3.5, TEXT), "raise the pitch".to_owned()),
        (&|sheet, at| arrow(sheet, at, false, 3.5, TEXT), "lower the pitch".to_owned()),
        (&|sheet, (x, y)| sheet.line(&[(x - 5.0, y), (x + 5.0, y)], TEXT, 1.0), "not measured".to_owned()),
    ];
    let height = legend(sheet, top, &entries);
    let note = "Plate 1 lies at the left. The outer valve is reached with the plate in place; for the inner one the plate is lifted. A number beside outer or inner is the valve's place in the order to look.";
    let mut deep = height;
    for piece in wrapped(note, BODY, sheet.width - 2.0 * MARGIN) {
        sheet.words(&piece, (MARGIN, top + deep + 11.0), BODY, FAINT_TEXT, Side::Left);
        deep += 14.0;
    }
    deep + 2.0
}

/// Heights that every card of a sheet shares, so that the rows stay level.
struct CardShape {
    /// From the left edge of a card to that of the next.
    pitch: f64,
    /// Label and note do not fit side by side, or there are two notes.
    notes_below: bool,
    has_swaps: bool,
    has_changes: bool,
}

impl CardShape {
    fn for_portion(subject: &Subject, block: &Block, portion: &Portion, format: Format) -> Self {
        let pitch = (format.width() - 2.0 * MARGIN) / format.across(WIDEST, WIDEST_NARROW) as f64;
        let card = pitch - CARD_GAP;
        let crowded = |row: &str, index: usize, plate: &Plate| {
            let notes = notes(plate);
            let label = LABEL.width(&format!("{row}{}", index + 1));
            notes.len() > 1 || label + notes.first().map_or(0.0, |note| WORD.width(note)) > card - 10.0
        };
        let is_crowded = portion.strips.iter().any(|strip| {
            let mut plates = strip.row.plates.iter().enumerate();
            plates.any(|(index, plate)| crowded(&strip.row.name, index, plate))
        });
        Self {
            pitch,
            notes_below: is_crowded,
            has_swaps: subject
                .findings
                .swaps
                .iter()
                .flat_map(|swap| &swap.places)
                .any(|at| at.block == block.name),
            has_changes: subject.earlier.as_ref().is_some_and(|earlier| earlier.comparison.is_some()),
        }
    }

    fn card(&self) -> f64 {
        self.pitch - CARD_GAP
    }

    fn head(&self) -> f64 {
        16.0 + if self.notes_below { 11.0 } else { 0.0 } + if self.has_swaps { 11.0 } else { 0.0 }
    }

    fn field(&self) -> f64 {
        if self.has_changes { 35.0 } else { 26.0 }
    }

    fn height(&self) -> f64 {
        self.head() + 2.0 * self.field() + 27.0
    }
}

fn card(
    sheet: &mut Sheet,
    (x, y): Point,
    shape: &CardShape,
    subject: &Subject,
    plate: &Plate,
    place: &PlatePlace,
) {
    head(sheet, (x, y), shape, subject, plate, place);
    let mut top = y + shape.head();
    for face in Face::BOTH {
        let place = ValvePlace { plate: place.clone(), face };
        valve(sheet, (x, top), shape, subject, &place);
        top += shape.field();
    }
    for stroke in Stroke::BOTH {
        reed(sheet, (x, top + 7.5), shape, subject, &ReedPlace { plate: place.clone(), stroke });
        top += 12.0;
    }
    let far = (x + shape.card(), y + shape.height());
    sheet.frame((x, y), far, AXIS, 1.0);
    sheet.link((x, y), far, place);
}

fn head(
    sheet: &mut Sheet,
    (x, y): Point,
    shape: &CardShape,
    subject: &Subject,
    plate: &Plate,
    place: &PlatePlace,
) {
    let label = LABEL.fit_before(&place.row, &place.number.to_string(), shape.card() - 8.0);
    sheet.words(&label, (x + 4.0, y + 12.0), LABEL, TEXT, Side::Left);
    let notes = notes(plate).join(" / ");
    let mut line = y + 12.0;
    if shape.notes_below {
        line += 11.0;
        sheet.words(&WORD.fit(&notes, shape.card() - 8.0), (x + 4.0, line), WORD, FAINT_TEXT, Side::Left);
    } else {
        sheet.words(&notes, (x + shape.card() - 4.0, line), WORD, FAINT_TEXT, Side::Right);
    }
    if let Some(swap) = subject.findings.swaps.iter().find(|swap| swap.places.contains(place)) {
        let text = match swap.places.iter().find(|other| *other != place) {
            Some(other) if swap.places.len() == 2 => {
                TINY.fit(&format!("swap {}?", plate_label(other)), shape.card() - 8.0)
            }
            _ => "own place?".to_owned(), // A ring of plates: which one goes where is for the bench to find.
        };
        sheet.words(&text, (x + 4.0, line + 11.0), TINY, TEXT, Side::Left);
    }
}

fn valve(sheet: &mut Sheet, (x, y): Point, shape: &CardShape, subject: &Subject, place: &ValvePlace) {
    let finding = subject.valves().iter().find(|valve| valve.place == *place);
    let verdict = finding.map_or(Verdict::NoValve, |valve| valve.verdict);
    verdict_field(sheet, (x, y), (x + shape.card(), y + shape.field()), &verdict);
    verdict_mark(sheet, (x + shape.card() - 9.0, y + 8.0), &verdict);
    let ink = word_ink(&verdict);
    let must_lift =
        finding.is_some_and(ValveFinding::lift_plate) && matches!(verdict, Verdict::Leaks | Verdict::Suspect);
    let mut caption = if must_lift { "inner, lift".to_owned() } else { place.face.to_string() };
    let rank = finding.and_then(|valve| valve.leak?.rank).filter(|rank| *rank <= NAMED_FIRST);
    if let Some(rank) = rank {
        caption += &format!(" · {rank}");
    }
    sheet.words(&TINY.fit(&caption, shape.card() - 20.0), (x + 4.0, y + 10.5), TINY, ink, Side::Left);
    let (word, face) = verdict_word(&verdict);
    sheet.words(word, (x + 4.0, y + 21.5), face, ink, Side::Left);
    let comparison = subject.earlier.as_ref().and_then(|earlier| earlier.comparison);
    let change = comparison.and_then(|known| known.valves.iter().find(|valve| valve.place == *place));
    if let Some(text) = change.and_then(|valve| change_word(valve.change)) {
        sheet.words(text, (x + 4.0, y + 31.0), TINY, ink, Side::Left);
    }
}

/// A stroke's shape, its deviation, and an arrow where the reed should be moved.
fn reed(sheet: &mut Sheet, (x, y): Point, shape: &CardShape, subject: &Subject, place: &ReedPlace) {
    let Some(reed) = subject.reeds().iter().find(|reed| reed.place == *place) else { return };
    stroke_mark(sheet, (x + 8.0, y), place.stroke, false);
    let Ok(pitch) = &reed.pitch else {
        sheet.line(&[(x + 20.0, y), (x + 30.0, y)], TEXT, 1.0);
        return;
    };
    let cents = pitch.deviation.value.get();
    let figure = signed(cents, if cents.abs() < 100.0 { 1 } else { 0 });
    sheet.words(&figure, (x + shape.card() - 15.0, y + WORD.half_capital()), WORD, TEXT, Side::Right);
    match pitch.tune {
        Some(Tune::Raise) => arrow(sheet, (x + shape.card() - 8.0, y), true, 3.5, TEXT),
        Some(Tune::Lower) => arrow(sheet, (x + shape.card() - 8.0, y), false, 3.5, TEXT),
        Some(Tune::Leave) | None => {}
    }
}

/// The ground of a verdict: dark, tinted with a heavy edge, white, or grey with a broken edge.
fn verdict_field(sheet: &mut Sheet, from: Point, to: Point, verdict: &Verdict) {
    match verdict {
        Verdict::Leaks => sheet.slab(from, to, LEAKS),
        Verdict::Suspect => {
            const EDGE: f64 = 2.0;
            sheet.slab(from, to, SUSPECT_EDGE);
            sheet.slab((from.0 + EDGE, from.1 + EDGE), (to.0 - EDGE, to.1 - EDGE), SUSPECT);
        }
        Verdict::NoSign | Verdict::Tight => sheet.frame(from, to, RULE, 0.75),
        Verdict::NotJudged { .. } => {
            sheet.slab(from, to, UNKNOWN);
            for y in [from.1, to.1] {
                sheet.dashes((from.0, y), (to.0, y), 3.0, AXIS, 0.75);
            }
        }
        Verdict::NoValve => sheet.frame(from, to, RULE, 0.5),
    }
}

/// The sign of a verdict: cross, half-filled disc, ring, bar, nothing.
fn verdict_mark(sheet: &mut Sheet, (x, y): Point, verdict: &Verdict) {
    match verdict {
        Verdict::Leaks => cross(sheet, (x, y), 3.2, PAPER, 2.0),
        Verdict::Suspect => {
            sheet.disc((x, y), 4.0, TEXT);
            sheet.disc((x, y), 3.0, SUSPECT);
            let half: Vec<Point> = (0..=12)
                .map(|k| std::f64::consts::PI * f64::from(k) / 12.0)
                .map(|turn| (x - 3.2 * turn.sin(), y - 3.2 * turn.cos()))
                .collect();
            sheet.area(&half, TEXT);
        }
        Verdict::NoSign => {
            sheet.disc((x, y), 3.6, TEXT);
            sheet.disc((x, y), 2.6, PAPER);
        }
        Verdict::Tight => sheet.disc((x, y), 3.6, TEXT),
        Verdict::NotJudged { .. } => sheet.line(&[(x - 3.5, y), (x + 3.5, y)], TEXT, 1.5),
        Verdict::NoValve => {}
    }
}

fn verdict_word(verdict: &Verdict) -> (&'static str, Lettering) {
    let lettering = if matches!(verdict, Verdict::Leaks | Verdict::Suspect) { LOUD_WORD } else { WORD };
    (verdict.as_str(), lettering)
}

fn word_ink(verdict: &Verdict) -> Ink {
    match verdict {
        Verdict::Leaks => PAPER,
        Verdict::Suspect | Verdict::NoSign | Verdict::Tight | Verdict::NotJudged { .. } => TEXT,
        Verdict::NoValve => FAINT_TEXT,
    }
}

/// Only what the restorer's work has changed, or has not.
fn change_word(change: ValveChange) -> Option<&'static str> {
    (change != ValveChange::StillNoSign).then(|| change.as_str())
}
