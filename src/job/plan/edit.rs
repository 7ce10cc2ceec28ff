//! A plan written into the text it came from: remarks, order and everything that did not change stay as they were typed.

use std::path::Path;

use toml_edit::{Array, ArrayOfTables, DocumentMut, Item, Table, Value};

use super::Plan;

/// Keys whose lists name ranges: their items do not stand for one plate each.
const RANGES: [&str; 1] = ["helper_springs"];

impl Plan {
    /// This plan as an edit of `text`: only what differs is written anew, and remarks and order stay. Where that cannot be
    /// done, as [`Plan::to_toml`].
    pub fn written_into(&self, text: &str) -> String {
        written_into(self, text)
    }
}

/// `plan` as an edit of `text`; as a text of its own where the edit would not read back the same.
fn written_into(plan: &Plan, text: &str) -> String {
    edited(plan, text).unwrap_or_else(|| plan.to_toml())
}

fn edited(plan: &Plan, text: &str) -> Option<String> {
    let file = Path::new("plan.toml");
    let before = Plan::parse(text, file).ok()?;
    if before == *plan {
        return Some(text.to_owned());
    }
    let mut document: DocumentMut = text.strip_prefix('\u{feff}').unwrap_or(text).parse().ok()?;
    // The same writer for both, so that what is written alike is alike.
    let was: DocumentMut = before.to_toml().parse().ok()?;
    let now: DocumentMut = plan.to_toml().parse().ok()?;
    edit_table(document.as_table_mut(), &was, &now)?;
    let mut position = 0;
    number(document.as_table_mut(), &mut position);
    let edited = document.to_string();
    (Plan::parse(&edited, file).ok()? == *plan).then_some(edited)
}

/// Change what differs between `was` and `now`.
fn edit_table(table: &mut Table, was: &Table, now: &Table) -> Option<()> {
    for (key, _) in was.iter().filter(|(key, _)| !now.contains_key(key)) {
        table.remove(key);
    }
    for (key, new) in now {
        let old = was.get(key);
        if old.is_some_and(|old| is_same(old, new)) {
            continue;
        }
        // A tremolo has one key or the other.
        match (table.get_mut(key), old, new) {
            (Some(Item::ArrayOfTables(there)), Some(Item::ArrayOfTables(old)), Item::ArrayOfTables(new)) => {
                edit_sections(there, old, new)?;
            }
            (Some(Item::Table(there)), Some(Item::Table(old)), Item::Table(new)) => {
                edit_table(there, old, new)?
            }
            (Some(Item::Value(there)), Some(Item::Value(old)), Item::Value(new)) => {
                edit_value(key, there, old, new)
            }
            (Some(Item::Value(there)), None, Item::Value(new)) => replace(there, new),
            (None, _, new) => {
                table.insert(key, plain(new));
            }
            _ => return None,
        }
    }
    Some(())
}

/// Sections keep their text by their name; one of a new name takes that of the section in its place, if that is gone.
fn edit_sections(there: &mut ArrayOfTables, was: &ArrayOfTables, now: &ArrayOfTables) -> Option<()> {
    let name = |table: &Table| table.get("name").and_then(Item::as_str).unwrap_or_default().to_owned();
    let is_in =
        |wanted: &str, sections: &ArrayOfTables| sections.iter().any(|section| name(section) == wanted);
    if there.len() != was.len() {
        return None;
    }
    let mut edited = ArrayOfTables::new();
    for (place, new) in now.iter().enumerate() {
        let by_name = was.iter().position(|old| name(old) == name(new));
        let in_place = was.get(place).filter(|old| !is_in(&name(old), now)).map(|_| place);
        let mut section = Table::new();
        let mut nothing = Table::new();
        nothing.set_implicit(false);
        match by_name.or(in_place) {
            Some(at) => {
                section = there.get(at)?.clone();
                edit_table(&mut section, was.get(at)?, new)?;
            }
            None => edit_table(&mut section, &nothing, new)?,
        }
        edited.push(section);
    }
    *there = edited;
    Some(())
}

fn edit_value(key: &str, there: &mut Value, was: &Value, now: &Value) {
    match (there, was, now) {
        (Value::Array(there), Value::Array(was), Value::Array(now))
            if there.len() == was.len() && !RANGES.contains(&key) =>
        {
            edit_list(there, was, now);
        }
        (there, _, now) => replace(there, now),
    }
}

/// Items that stay keep their text; those that differ are written in their place, put in or taken out.
fn edit_list(there: &mut Array, was: &Array, now: &Array) {
    let alike = |left: Option<&Value>, right: Option<&Value>| match (left, right) {
        (Some(left), Some(right)) => bare(left) == bare(right),
        _ => false,
    };
    let shorter = was.len().min(now.len());
    let first = (0..shorter).take_while(|&at| alike(was.get(at), now.get(at))).count();
    let last = (1..=shorter - first)
        .take_while(|back| alike(was.get(was.len() - back), now.get(now.len() - back)))
        .count();
    let (old_end, new_end) = (was.len() - last, now.len() - last);
    for at in first..old_end.min(new_end) {
        if let (false, Some(item), Some(new)) =
            (alike(was.get(at), now.get(at)), there.get_mut(at), now.get(at))
        {
            replace(item, new);
        }
    }
    for _ in new_end..old_end {
        take_out(there, new_end);
    }
    for at in old_end..new_end {
        if let Some(new) = now.get(at) {
            put_in(there, at, new);
        }
    }
}

/// A remark behind an item stands before the next one in the library's eyes: what stood before the item that goes is of
/// the one before it, and stays.
fn take_out(list: &mut Array, at: usize) {
    let before = prefix(&list.remove(at));
    match list.get_mut(at) {
        Some(next) => next.decor_mut().set_prefix(before),
        None => list.set_trailing(before),
    }
}

/// As its neighbours stand: on the same line or on one of its own.
fn put_in(list: &mut Array, at: usize, new: &Value) {
    let mut item = new.clone();
    item.decor_mut().clear();
    let blank = |text: &str| {
        text.rfind('\n').map_or(" ".to_owned(), |line| text.get(line..).unwrap_or(" ").to_owned())
    };
    let before = match list.get_mut(at) {
        Some(next) => {
            let before = prefix(next);
            next.decor_mut().set_prefix(blank(&before));
            before
        }
        None => {
            let neighbour = at.checked_sub(1).and_then(|at| list.get(at)).map_or(String::new(), prefix);
            let trailing = list.trailing().as_str().unwrap_or_default().to_owned();
            list.set_trailing(if trailing.contains('\n') { "\n" } else { "" });
            trailing.trim_end().to_owned() + &blank(&neighbour)
        }
    };
    item.decor_mut().set_prefix(before);
    list.insert_formatted(at, item);
}

fn prefix(value: &Value) -> String {
    value.decor().prefix().and_then(|before| before.as_str()).unwrap_or_default().to_owned()
}

/// Another value with the blanks and remarks of the one that was there.
fn replace(there: &mut Value, now: &Value) {
    let decor = there.decor().clone();
    *there = now.clone();
    *there.decor_mut() = decor;
}

/// A new key, without the remarks of the writer.
fn plain(new: &Item) -> Item {
    let mut new = new.clone();
    if let Item::Value(value) = &mut new {
        value.decor_mut().clear();
    }
    new
}

fn is_same(left: &Item, right: &Item) -> bool {
    left.to_string().trim() == right.to_string().trim()
}

fn bare(value: &Value) -> String {
    let mut value = value.clone();
    value.decor_mut().clear();
    value.to_string()
}

/// Sections are printed by their numbers.
fn number(table: &mut Table, position: &mut isize) {
    for (_, item) in table.iter_mut() {
        match item {
            Item::Table(section) => {
                *position += 1;
                section.set_position(Some(*position));
                number(section, position);
            }
            Item::ArrayOfTables(sections) => {
                for section in sections.iter_mut() {
                    *position += 1;
                    section.set_position(Some(*position));
                    number(section, position);
                }
            }
            _ => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::instrument::{Material, Note, PerFace, PerStroke, Plate, Reed, Valve};
    use crate::units::{Cents, Millimetres};

    const BY_HAND: &str = r##"# Mrs Holm's, fetched in May
format=1
bellows = "unisonoric" # as the label says
title = "Two rows"

# the big block
[[block]]
tolerance_cents = 2  # the owner is strict
name = "bass"

# long reeds
[[block.row]]
name = "A"
notes = [
    "E2",   # cracked
    "F2",
    "F#2",  # the quiet one
]
valves_mm = [58, [57, 56.5], "5.5 cm"] # by the ruler

[[block.row]] # short reeds
name = "B"
notes = ["E4", "F4"]
"##;

    fn plan(text: &str) -> Plan {
        Plan::parse(text, Path::new("plan.toml")).unwrap()
    }

    fn edited(change: impl FnOnce(&mut Plan)) -> (Plan, String) {
        let mut wanted = plan(BY_HAND);
        change(&mut wanted);
        let text = wanted.written_into(BY_HAND);
        assert_eq!(plan(&text), wanted, "{text}");
        (wanted, text)
    }

    fn lost(text: &str) -> Vec<&'static str> {
        BY_HAND.lines().filter(|line| !text.lines().any(|there| there == *line)).collect()
    }

    #[test]
    fn what_does_not_change_stays_as_it_was_typed() {
        assert_eq!(edited(|_| ()).1, BY_HAND);
        let (_, text) = edited(|plan| {
            plan.title = "Three \"rows\"".into();
            plan.instrument.blocks[0].tolerance = Cents::new(1.0).unwrap();
        });
        assert_eq!(
            lost(&text),
            ["title = \"Two rows\"", "tolerance_cents = 2  # the owner is strict"],
            "{text}"
        );
        assert!(text.contains("tolerance_cents = 1.0  # the owner is strict"), "{text}");
    }

    #[test]
    fn one_plate_of_a_list_is_changed_taken_out_and_put_in() {
        let (_, text) = edited(|plan| {
            let valves = &mut plan.instrument.blocks[0].rows[0].plates[0].valves;
            let Valve::Fitted { length, .. } = &mut valves.outer else { panic!("a valve") };
            *length = Millimetres::new(59.0);
        });
        assert_eq!(lost(&text), ["valves_mm = [58, [57, 56.5], \"5.5 cm\"] # by the ruler"], "{text}");
        assert!(text.contains("valves_mm = [[59.0, 58.0], [57, 56.5], \"5.5 cm\"] # by the ruler"), "{text}");
        let (_, text) = edited(|plan| {
            plan.instrument.blocks[0].rows[0].plates.remove(1);
        });
        assert!(text.contains("# cracked") && text.contains("\"F#2\",  # the quiet one"), "{text}");
        let (_, text) = edited(|plan| {
            let note: Note = "G2".parse().unwrap();
            let reed = Some(Reed { note, slot: None });
            let valve = Valve::Fitted { length: None, material: Material::Plastic, helper_spring: true };
            let new = Plate {
                reeds: PerStroke { press: reed, draw: reed },
                valves: PerFace { outer: valve, inner: valve },
            };
            plan.instrument.blocks[0].rows[0].plates.push(new);
        });
        assert!(text.contains("# cracked") && text.contains("# by the ruler"), "{text}");
    }

    #[test]
    fn rows_and_blocks_are_renamed_taken_out_and_put_in() {
        let (_, text) = edited(|plan| plan.instrument.blocks[0].rows[0].name = "C".into());
        assert_eq!(lost(&text), ["name = \"A\""], "{text}");
        let (_, text) = edited(|plan| {
            plan.instrument.blocks[0].rows.remove(0);
        });
        assert!(text.contains("# short reeds") && !text.contains("# cracked"), "{text}");
        let (_, text) = edited(|plan| {
            let mut block = plan.instrument.blocks[0].clone();
            block.name = "treble".into();
            plan.instrument.blocks.insert(0, block);
        });
        assert_eq!(lost(&text), [""; 0], "{text}");
        assert!(text.contains("name = \"treble\""), "{text}");
    }
}
