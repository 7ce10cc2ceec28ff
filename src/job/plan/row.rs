//! A `[[block.row]]` of the plan: notes, valves, slots, springs, tremolo.

use super::reader::{Faults, Section, Value, section_name, start_of};
use super::schema;
use super::valves::length;
use crate::instrument::{
    Bellows, Face, Material, Note, PerFace, PerStroke, PlanLines, Plate, Reed, Row, Stroke, Tremolo, Valve,
};
use crate::units::{Cents, Millimetres};

/// A rank is set off by less than a semitone or so, cents.
const WIDEST_CENTS: f64 = 150.0;
/// And beats slower than this, per second.
const FASTEST_BEATS_HZ: f64 = 50.0;

pub(super) fn read_row(
    section: &Section,
    bellows: Bellows,
    outer: Stroke,
    faults: &mut Faults,
) -> Option<Row> {
    schema::read(&schema::ROW, section, &mut (), faults);
    let right = "use up to 8 letters: places are written `A7`";
    let fits = |name: &str| name.chars().all(char::is_alphabetic) && (1..=8).contains(&name.chars().count());
    let name = section_name(section, "row", fits, right, faults);
    let tremolo = read_tremolo(section, faults);
    let (notes, lines) = read_notes(section, bellows, faults)?;
    let count = notes.len();
    let sizes = super::sizes::read(section, faults);
    let lengths = read_pairs(section, "valves_mm", ["outer", "inner"], count, faults, length);
    let slots = read_pairs(section, "slots_mm", ["press", "draw"], count, faults, length);
    let materials =
        read_pairs(section, "material", ["outer", "inner"], count, faults, |key, value, faults| {
            faults.word(key, value, &Material::ALL.map(|one| (one.as_str(), one)))
        });
    let springs = read_springs(section, name.as_deref(), count, faults);
    let mut plates = Vec::with_capacity(count);
    for (idx, (press, draw)) in notes.into_iter().enumerate() {
        let slot = |side: usize| pick(&slots, idx, side).filter(|slot| slot.get() > 0.0);
        let reeds = PerStroke {
            press: press.map(|note| Reed { note, slot: slot(0) }),
            draw: draw.map(|note| Reed { note, slot: slot(1) }),
        };
        let valve = |face: Face| {
            let side = if face == Face::Outer { 0 } else { 1 };
            // A valve lies over the slot of the tongue on the other face, which sounds on the other stroke.
            let tested_by = if face == Face::Outer { outer } else { outer.other() };
            let length_mm = pick(&lengths, idx, side);
            if reeds.on(tested_by.other()).is_none() || length_mm == Some(Millimetres::ZERO) {
                return Valve::None;
            }
            Valve::Fitted {
                length: length_mm,
                material: pick(&materials, idx, side).unwrap_or(Material::Leather),
                helper_spring: springs.get(idx).is_some_and(|pair| pair[side]),
            }
        };
        plates
            .push(Plate { reeds, valves: PerFace { outer: valve(Face::Outer), inner: valve(Face::Inner) } });
    }
    Some(Row { name: name?, tremolo: tremolo?, plates, sizes, lines })
}

type Pair<T> = [Option<T>; 2];
/// Of each plate on press and draw; `None` for a stroke without a reed.
type StrokeNotes = Vec<(Option<Note>, Option<Note>)>;

fn pick<T: Copy>(pairs: &[Pair<T>], idx: usize, side: usize) -> Option<T> {
    pairs.get(idx).and_then(|pair| pair[side])
}

/// The notes of each plate for press and draw; `None` for a stroke without a reed.
fn read_notes(section: &Section, bellows: Bellows, faults: &mut Faults) -> Option<(StrokeNotes, PlanLines)> {
    const RIGHT: &str = "a list of notes, `[\"E2\", \"F2\"]`, or `{ press = […], draw = […] }`";
    let Some(value) = section.get("notes") else {
        faults.add(section.at, "notes", "this [[block.row]] has none", format!("add {RIGHT}"));
        return None;
    };
    if value.get_ref().as_array().is_some() {
        let lines = lines_of(value, faults).into_iter().map(|line| [line; 2]);
        let lines = PlanLines(lines.collect());
        return Some((note_list(value, faults)?.into_iter().map(|note| (note, note)).collect(), lines));
    }
    let Some(table) = value.get_ref().as_table() else {
        faults.other_kind("notes", value, RIGHT);
        return None;
    };
    let strokes = Section { table, at: start_of(value) };
    strokes.check_keys(&["press", "draw"], faults);
    let (Some(press), Some(draw)) = (strokes.get("press"), strokes.get("draw")) else {
        faults.add(strokes.at, "notes", "press and draw are not both there", format!("give {RIGHT}"));
        return None;
    };
    let lines = lines_of(press, faults).into_iter().zip(lines_of(draw, faults));
    let lines = PlanLines(lines.map(|(press, draw)| [press, draw]).collect());
    let (press, draw_notes) = (note_list(press, faults)?, note_list(draw, faults)?);
    if press.len() != draw_notes.len() {
        let wrong = format!("{} notes on press and {} on draw", press.len(), draw_notes.len());
        faults.add(strokes.at, "notes", wrong, "give one for each plate; \"-\" where it has no reed");
        return None;
    }
    let pairs: Vec<_> = press.into_iter().zip(draw_notes).collect();
    if bellows == Bellows::Unisonoric {
        for (number, pair) in (1..).zip(&pairs) {
            if let (Some(press), Some(draw)) = pair
                && press != draw
            {
                let wrong =
                    format!("plate {number} gives {} on press and {} on draw", press.stored(), draw.stored());
                faults.add(
                    start_of(draw_value(&strokes, value)),
                    "notes",
                    wrong,
                    "a unisonoric plate gives one note",
                );
            }
        }
    }
    Some((pairs, lines))
}

/// The line each item of a list stands on.
fn lines_of(value: &Value, faults: &Faults) -> Vec<usize> {
    let items = value.get_ref().as_array().into_iter().flat_map(|array| array.iter());
    items.map(|item| faults.line_of(item.span().start)).collect()
}

fn draw_value<'a, 't>(strokes: &Section<'a, 't>, otherwise: &'a Value<'t>) -> &'a Value<'t> {
    strokes.get("draw").unwrap_or(otherwise)
}

fn note_list(value: &Value, faults: &mut Faults) -> Option<Vec<Option<Note>>> {
    const RIGHT: &str = "a list of notes in quotes, `[\"E2\", \"F2\"]`";
    let Some(array) = value.get_ref().as_array() else {
        faults.other_kind("notes", value, RIGHT);
        return None;
    };
    let mut notes = Vec::new();
    for (number, item) in (1..).zip(array.iter()) {
        let text = faults.text("notes", item, RIGHT)?.trim();
        if text.is_empty() || text == "-" {
            notes.push(None);
            continue;
        }
        match text.parse::<Note>() {
            Ok(note) => notes.push(Some(note)),
            Err(_) => {
                let right = "write a letter A to G, `#` or `b` where needed, and the octave: \"F#2\"; \"-\" for no reed";
                faults.add(
                    start_of(item),
                    "notes",
                    format!("\"{text}\" (plate {number}) is not a note"),
                    right,
                );
                notes.push(None);
            }
        }
    }
    if notes.is_empty() {
        faults.add(start_of(value), "notes", "the row has no plates", format!("give {RIGHT}"));
        return None;
    }
    Some(notes)
}

/// One value for the whole row, or one for each plate; each for both sides, or a list of two.
fn read_pairs<T: Copy>(
    section: &Section,
    key: &str,
    sides: [&str; 2],
    count: usize,
    faults: &mut Faults,
    read: impl Fn(&str, &Value, &mut Faults) -> Option<T>,
) -> Vec<Pair<T>> {
    let Some(value) = section.get(key) else { return Vec::new() };
    let Some(array) = value.get_ref().as_array() else {
        let both = read(key, value, faults);
        return vec![[both; 2]; count];
    };
    if array.len() != count {
        let wrong = format!("{} entries for {count} plates", array.len());
        let right = format!("give one for each plate, each a single value or [{}, {}]", sides[0], sides[1]);
        faults.add(start_of(value), key, wrong, right);
        return Vec::new();
    }
    let mut pairs = Vec::with_capacity(count);
    for item in array.iter() {
        pairs.push(match item.get_ref().as_array().map(|pair| pair.iter().collect::<Vec<_>>()) {
            None => [read(key, item, faults); 2],
            Some(pair) => match pair.as_slice() {
                [first, second] => [read(key, first, faults), read(key, second, faults)],
                _ => {
                    let right = format!("give two, [{}, {}], or a single one for both", sides[0], sides[1]);
                    faults.add(start_of(item), key, format!("a list of {}", pair.len()), right);
                    [None; 2]
                }
            },
        });
    }
    pairs
}

/// Helper springs: `true` for every valve of the row, or plates, ranges and faces: `["A1..A6", "A8 outer"]`.
fn read_springs(section: &Section, row: Option<&str>, count: usize, faults: &mut Faults) -> Vec<[bool; 2]> {
    const KEY: &str = "helper_springs";
    const RIGHT: &str = "true, or places of this row, `[\"A1..A6\", \"A8 outer\"]`";
    let mut springs = vec![[false; 2]; count];
    let (Some(value), Some(row)) = (section.get(KEY), row) else { return springs };
    if let Some(all) = value.get_ref().as_bool() {
        return vec![[all; 2]; count];
    }
    let Some(array) = value.get_ref().as_array() else {
        faults.other_kind(KEY, value, RIGHT);
        return springs;
    };
    for item in array.iter() {
        let Some(text) = faults.text(KEY, item, RIGHT) else { continue };
        let Some((range, sides)) = springs_at(text, row, count) else {
            let wrong = format!("\"{text}\" names no plate of row {row}, which has {count}");
            faults.add(start_of(item), KEY, wrong, format!("give {RIGHT}"));
            continue;
        };
        for pair in springs.iter_mut().take(range.1).skip(range.0 - 1) {
            *pair = [pair[0] || sides[0], pair[1] || sides[1]];
        }
    }
    springs
}

/// First and last plate (1 or more, within the row) and the faces.
fn springs_at(text: &str, row: &str, count: usize) -> Option<((usize, usize), [bool; 2])> {
    let lower = text.to_lowercase();
    let words: Vec<&str> = lower.split_whitespace().collect();
    let (plates, sides) = match words.as_slice() {
        [plates] => (*plates, [true, true]),
        [plates, "outer"] => (*plates, [true, false]),
        [plates, "inner"] => (*plates, [false, true]),
        _ => return None,
    };
    let number = |plate: &str| -> Option<usize> {
        let number = plate.strip_prefix(row.to_lowercase().as_str())?.parse().ok()?;
        (1..=count).contains(&number).then_some(number)
    };
    let (first, last) = plates.split_once("..").unwrap_or((plates, plates));
    let (first, last) = (number(first)?, number(last)?);
    Some(((first.min(last), first.max(last)), sides))
}

fn read_tremolo(section: &Section, faults: &mut Faults) -> Option<Tremolo> {
    match (section.get("tremolo_cents"), section.get("tremolo_beats_hz")) {
        (None, None) => Some(Tremolo::Even(Cents::ZERO)),
        (Some(_), Some(beats)) => {
            let right = "give tremolo_cents or tremolo_beats_hz, not both";
            faults.add(start_of(beats), "tremolo_beats_hz", "the tremolo is given twice", right);
            None
        }
        (Some(value), None) => {
            let key = "tremolo_cents";
            if value.get_ref().as_table().is_none() {
                let even = faults.number_within(key, value, (-WIDEST_CENTS, WIDEST_CENTS), "cents")?;
                return Cents::new(even).map(Tremolo::Even);
            }
            let anchors = read_anchors(key, value, (WIDEST_CENTS, "cents"), faults)?;
            let anchors: Option<Vec<_>> =
                anchors.into_iter().map(|(note, cents)| Some((note, Cents::new(cents)?))).collect();
            anchors.map(Tremolo::CentsAt)
        }
        (None, Some(value)) => {
            let key = "tremolo_beats_hz";
            let limit = (FASTEST_BEATS_HZ, "beats per second");
            read_anchors(key, value, limit, faults).map(Tremolo::BeatsAt)
        }
    }
}

/// Values at notes, in the notes' order.
fn read_anchors(
    key: &str,
    value: &Value,
    (limit, unit): (f64, &str),
    faults: &mut Faults,
) -> Option<Vec<(Note, f64)>> {
    let right = format!("anchors, `{{ \"A3\" = 2.4, \"A4\" = 3.2 }}` ({unit})");
    let Some(table) = value.get_ref().as_table() else {
        faults.other_kind(key, value, &right);
        return None;
    };
    let mut anchors: Vec<(Note, f64)> = Vec::new();
    for (name, item) in table {
        let number = faults.number_within(key, item, (-limit, limit), unit)?;
        let Ok(note) = name.get_ref().parse::<Note>() else {
            faults.add(
                name.span().start,
                key,
                format!("\"{}\" is not a note", name.get_ref()),
                format!("give {right}"),
            );
            return None;
        };
        if anchors.iter().any(|(there, _)| *there == note) {
            faults.add(name.span().start, key, format!("{note} is given twice"), "give each anchor once");
            return None;
        }
        anchors.push((note, number));
    }
    if anchors.is_empty() {
        faults.add(start_of(value), key, "no anchor is given", format!("give {right}"));
        return None;
    }
    anchors.sort_by_key(|(note, _)| *note);
    Some(anchors)
}
