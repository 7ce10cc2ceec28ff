//! The plan as text that people go on editing.

use super::model::{FORMAT, Plan};
use super::numbers::PlateNumbers;
use super::schema;
use super::toml_text::{list, quoted};
use super::valves::length_to_toml;
use crate::instrument::{Block, Face, Material, Note, PerFace, PlatePlace, Row, Stroke, Tremolo, Valve};
use crate::units::Millimetres;

impl Plan {
    /// The plan as `plan.toml` text; reading it back gives the same plan.
    pub fn to_toml(&self) -> String {
        to_toml(self)
    }

    /// The plan's text with another title, comments and all; as it was where it has no title line.
    pub fn with_title(text: &str, title: &str) -> String {
        let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
        if let Some(line) = lines.iter_mut().find(|line| line.starts_with("title = ")) {
            *line = format!("title = {}", quoted(title));
        }
        lines.join("\n") + "\n"
    }
}

fn to_toml(plan: &Plan) -> String {
    let remark = |key: &str| match key {
        "reference_hz" => "   # A4",
        "stretch_cents" => "   # an octave, away from A4",
        _ => "",
    };
    let keys = schema::written(&schema::PLAN, plan, Some(&Plan::empty()), remark);
    let mut text = format!("format = {FORMAT}\n{keys}");
    text += &super::valves::to_toml(&plan.valve_rule);
    for block in &plan.instrument.blocks {
        text += &format!("\n[[block]]\nname = {}\n", quoted(&block.name));
        text += &schema::written(&schema::BLOCK, block, None, |_| "");
        for row in &block.rows {
            write_row(&mut text, row, block, &plan.numbers);
        }
    }
    text
}

fn write_row(text: &mut String, row: &Row, block: &Block, numbers: &PlateNumbers) {
    *text += &format!("\n[[block.row]]\nname = {}\n", quoted(&row.name));
    let notes =
        |stroke: Stroke| row.plates.iter().map(move |plate| plate.reeds.on(stroke).map(|reed| reed.note));
    if notes(Stroke::Press).eq(notes(Stroke::Draw)) {
        *text += &list("notes", notes(Stroke::Press).map(note));
    } else {
        let line = |stroke| notes(stroke).map(note).collect::<Vec<_>>().join(", ");
        *text +=
            &format!("notes = {{ press = [{}], draw = [{}] }}\n", line(Stroke::Press), line(Stroke::Draw));
    }
    let number = |at: usize| {
        let number = u32::try_from(at + 1).unwrap_or(u32::MAX);
        let place = PlatePlace { block: block.name.clone(), row: row.name.clone(), number };
        numbers.get(&place).copied().unwrap_or(0)
    };
    if (0..row.plates.len()).any(|at| number(at) != 0) {
        *text += &list("plates", (0..row.plates.len()).map(|at| number(at).to_string()));
    }
    let valves: Vec<PerFace<Valve>> = row.plates.iter().map(|plate| plate.valves).collect();
    // A face without a slot has no valve whatever the list says, so it does not make a length worth writing.
    let has_slot = |idx: usize, face: Face| {
        let covered = block.stroke_that_tests(face).other();
        row.plates.get(idx).is_some_and(|plate| plate.reeds.on(covered).is_some())
    };
    let each = |wanted: &dyn Fn(usize, Face) -> bool| {
        (0..valves.len())
            .any(|idx| Face::BOTH.into_iter().any(|face| has_slot(idx, face) && wanted(idx, face)))
    };
    let on = |idx: usize, face: Face| valves.get(idx).map_or(Valve::None, |pair| *pair.on(face));
    if each(&|idx, face| matches!(on(idx, face), Valve::None | Valve::Fitted { length: Some(_), .. })) {
        *text += &list("valves_mm", valves.iter().map(|pair| both(length(pair.outer), length(pair.inner))));
    }
    let slot = |idx: usize, stroke| {
        let reed = row.plates.get(idx).and_then(|plate| *plate.reeds.on(stroke));
        reed.and_then(|reed| reed.slot)
    };
    let strokes = Stroke::BOTH;
    if (0..row.plates.len()).any(|idx| strokes.into_iter().any(|stroke| slot(idx, stroke).is_some())) {
        let number = |idx, stroke| length_to_toml(slot(idx, stroke).unwrap_or(Millimetres::ZERO));
        let pairs =
            (0..row.plates.len()).map(|idx| both(number(idx, Stroke::Press), number(idx, Stroke::Draw)));
        *text += &list("slots_mm", pairs);
    }
    if each(&|idx, face| matches!(on(idx, face), Valve::Fitted { material: Material::Plastic, .. })) {
        *text +=
            &list("material", valves.iter().map(|pair| both(material(pair.outer), material(pair.inner))));
    }
    let springs = springs(row);
    if !springs.is_empty() {
        *text += &list("helper_springs", springs.into_iter());
    }
    *text += &super::sizes::to_toml("valve_width_mm", &row.sizes.width);
    *text += &super::sizes::to_toml("valve_thickness_mm", &row.sizes.thickness);
    *text += &tremolo(&row.tremolo);
}

fn note(note: Option<Note>) -> String {
    note.map_or("\"-\"".into(), |note| format!("\"{}\"", note.stored()))
}

fn length(valve: Valve) -> String {
    match valve {
        Valve::None => "0".into(),
        Valve::Fitted { length: None, .. } => "\"?\"".into(),
        Valve::Fitted { length: Some(length), .. } => length_to_toml(length),
    }
}

fn material(valve: Valve) -> String {
    let material = match valve {
        Valve::Fitted { material, .. } => material,
        Valve::None => Material::Leather,
    };
    format!("\"{material}\"")
}

fn both(outer: String, inner: String) -> String {
    if outer == inner { outer } else { format!("[{outer}, {inner}]") }
}

fn springs(row: &Row) -> Vec<String> {
    let has = |valve: Valve| matches!(valve, Valve::Fitted { helper_spring: true, .. });
    (1..)
        .zip(&row.plates)
        .filter_map(|(number, plate)| {
            let side = match (has(plate.valves.outer), has(plate.valves.inner)) {
                (true, true) => "",
                (true, false) => " outer",
                (false, true) => " inner",
                (false, false) => return None,
            };
            Some(format!("\"{}{number}{side}\"", row.name))
        })
        .collect()
}

fn tremolo(tremolo: &Tremolo) -> String {
    let anchors = |points: Vec<(Note, f64)>| {
        let pairs: Vec<String> =
            points.iter().map(|(note, value)| format!("\"{}\" = {value:?}", note.stored())).collect();
        format!("{{ {} }}\n", pairs.join(", "))
    };
    match tremolo {
        Tremolo::Even(cents) if cents.get() == 0.0 => String::new(),
        Tremolo::Even(cents) => format!("tremolo_cents = {:?}\n", cents.get()),
        Tremolo::CentsAt(points) => {
            let points = points.iter().map(|(note, cents)| (*note, cents.get())).collect();
            format!("tremolo_cents = {}", anchors(points))
        }
        Tremolo::BeatsAt(points) => format!("tremolo_beats_hz = {}", anchors(points.clone())),
    }
}
