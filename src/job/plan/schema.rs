//! Every key of `plan.toml` in one table: what it may hold, how it is read and written, and its line in
//! `docs/job-format.md`. A new key of the plan, of a block or of `[valves]` is a line here, with its place in the type.
//!
//! Keys of a row join into plates, so `row.rs` and `write.rs` read and write them; their names and words stand here.

use super::model::Plan;
use super::reader::{Faults, Section, Value};
use super::temperament::{read_temperament, temperament_to_toml};
use super::toml_text::quoted;
use crate::instrument::{Bellows, Block, Stroke};
use crate::repair::ValveRule;
use crate::units::{Cents, Decibels, Hz, Millimetres};

/// A key of a section that stands for a `T`.
pub(super) struct Key<T: 'static> {
    pub name: &'static str,
    /// Unit of its number, as the documentation shows it.
    pub unit: &'static str,
    /// What holds where it is not given; `needed` where it must be.
    pub default: &'static str,
    /// What it is, for the documentation; the range of a number follows it.
    pub says: &'static str,
    pub holds: Holds<T>,
}

/// What a key holds.
pub(super) enum Holds<T: 'static> {
    /// A number within a range, both ends included. A value that is the usual one may be left out of a written plan.
    Number { range: (f64, f64), leaves_out_usual: bool, get: fn(&T) -> Option<f64>, set: fn(&mut T, f64) },
    /// One of a few words; `set` takes its place among them.
    Word { words: fn() -> Vec<&'static str>, get: fn(&T) -> &'static str, set: fn(&mut T, usize) },
    /// Something else, with a reader and a writer of its own.
    Own { read: fn(&Value, &mut T, &mut Faults), write: fn(&T) -> String },
    /// Read and written together with other keys, in code.
    Joined,
    /// A section of its own, `[name]`.
    Section,
    /// Any number of sections, `[[name]]`.
    Sections,
}

/// Of the whole plan.
pub(super) const PLAN: [Key<Plan>; 8] = [
    Key { name: "format", unit: "", default: "needed", says: "1", holds: Holds::Joined },
    Key {
        name: "title",
        unit: "",
        default: "empty",
        says: "what the job is called on page and table",
        holds: Holds::Own {
            read: |value, plan, faults| {
                let title = faults.text("title", value, "a text in quotes");
                plan.title = title.unwrap_or_default().to_owned();
            },
            write: |plan| format!("title = {}\n", quoted(&plan.title)),
        },
    },
    Key {
        name: "bellows",
        unit: "",
        default: "needed",
        says: "`\"unisonoric\"`: one note a plate; `\"bisonoric\"`: one for press, one for draw",
        holds: Holds::Word {
            words: || Bellows::ALL.map(Bellows::as_str).to_vec(),
            get: |plan| plan.instrument.bellows.as_str(),
            set: |plan, at| plan.instrument.bellows = Bellows::ALL[at],
        },
    },
    Key {
        name: "reference_hz",
        unit: "Hz",
        default: "440",
        says: "pitch of A4",
        holds: Holds::Number {
            // ISO 16 says 440; the range is what instruments in need of repair stand at.
            range: (400.0, 470.0),
            leaves_out_usual: false,
            get: |plan| Some(plan.instrument.tuning.reference.get()),
            set: |plan, hz| plan.instrument.tuning.reference = Hz::new(hz).unwrap_or(Hz::STANDARD_A4),
        },
    },
    Key {
        name: "temperament",
        unit: "cents",
        default: "`\"equal\"`",
        says: "`\"equal\"`, or 12 offsets against it, C first, each from -100 to 100; A's own is taken off all, so A4 \
               keeps the reference",
        holds: Holds::Own {
            read: |value, plan, faults| {
                if let Some(table) = read_temperament(value, faults) {
                    plan.instrument.tuning.temperament = table;
                }
            },
            write: |plan| temperament_to_toml(plan.instrument.tuning.temperament),
        },
    },
    Key {
        name: "stretch_cents",
        unit: "cents an octave",
        default: "0",
        says: "notes are spread by this much away from A4",
        holds: Holds::Number {
            // More than a few cents an octave is no stretch but another scale.
            range: (-20.0, 20.0),
            leaves_out_usual: true,
            get: |plan| Some(plan.instrument.tuning.stretch.get()),
            set: |plan, cents| plan.instrument.tuning.stretch = Cents::new(cents).unwrap_or(Cents::ZERO),
        },
    },
    Key {
        name: "valves",
        unit: "mm",
        default: "see below",
        says: "the numbers valves are cut by",
        holds: Holds::Section,
    },
    Key { name: "block", unit: "", default: "one or more", says: "a reed block", holds: Holds::Sections },
];

/// Of a `[[block]]`.
pub(super) const BLOCK: [Key<Block>; 5] = [
    Key {
        name: "name",
        unit: "",
        default: "needed",
        says: "up to 40 letters, digits, `_`, `-`, the first a letter or digit; blocks differ in more than case",
        holds: Holds::Joined,
    },
    Key {
        name: "outer_tongue_sounds_on",
        unit: "",
        default: "`\"press\"`",
        says: "`\"draw\"` where the plates lie the other way round",
        holds: Holds::Word {
            words: || Stroke::BOTH.map(Stroke::as_str).to_vec(),
            get: |block| block.outer_tongue_sounds_on.as_str(),
            set: |block, at| block.outer_tongue_sounds_on = Stroke::BOTH[at],
        },
    },
    Key {
        name: "leak_limit_db",
        unit: "dB",
        default: "-40",
        says: "opposite reed at or above this, re the sounding reed: leaks",
        holds: Holds::Number {
            range: (-90.0, 0.0),
            leaves_out_usual: false,
            get: |block| Some(block.leak_limit.get()),
            set: |block, db| block.leak_limit = Decibels::new(db).unwrap_or(Decibels::COMMON_LEAK_LIMIT),
        },
    },
    Key {
        name: "tolerance_cents",
        unit: "cents",
        default: "2",
        says: "a reed this near its target is left alone",
        holds: Holds::Number {
            range: (0.0, 100.0),
            leaves_out_usual: false,
            get: |block| Some(block.tolerance.get()),
            set: |block, cents| block.tolerance = Cents::new(cents).unwrap_or(Cents::COMMON_TOLERANCE),
        },
    },
    Key { name: "row", unit: "", default: "one or more", says: "a row of plates", holds: Holds::Sections },
];

/// Of a `[[block.row]]`.
pub(super) const ROW: [Key<()>; 11] = [
    joined("name", "", "needed", "up to 8 letters; plates are written `A1`, `A2`, … along the row"),
    joined(
        "notes",
        "",
        "needed",
        "one for each plate, both strokes: `[\"E2\", \"F2\"]`; or `{ press = […], draw = […] }`. `\"-\"` or `\"\"` where \
         there is no reed, so a plate may carry one reed or none",
    ),
    joined(
        "plates",
        "",
        "none",
        "the number each plate is known by in this job, one for each note; 0 for a plate that is new. Move it with its note \
         in the editor, and takes and notes go along",
    ),
    joined(
        "valves_mm",
        "mm",
        "not known",
        "length of each valve, see below; 0 where none is fitted and none is due, such a slot is never flagged; `\"?\"` \
         where it is not known",
    ),
    joined(
        "valve_width_mm",
        "mm",
        "not said",
        "how wide its valves are: a size, `7`; a range, `[6.5, 8]`; or either from a note on, `{ \"E2\" = 9, \"C4\" = [6, 7] \
         }`. An old valve serves a slot only within it, give or take the reading tolerance; one that was not measured then \
         serves none. A new valve is as wide as the middle",
    ),
    joined("valve_thickness_mm", "mm", "not said", "how thick, in the same way; give or take 0.1 mm"),
    joined(
        "slots_mm",
        "mm",
        "not measured",
        "length of the slot of the reed that sounds on `[press, draw]`; 0 where not measured",
    ),
    joined("material", "", "`\"leather\"`", "`\"leather\"` or `\"plastic\"`, of `[outer, inner]`"),
    joined(
        "helper_springs",
        "",
        "none",
        "`true` for every valve of the row, or places: `[\"A1..A6\", \"A8 outer\"]`",
    ),
    joined(
        "tremolo_cents",
        "cents",
        "0",
        "how far the row is set off its target, -150 to 150; or anchors, `{ \"F#3\" = 12.3, \"F4\" = 15.6 }`, linear \
         between them over the semitones and held beyond the ends",
    ),
    joined(
        "tremolo_beats_hz",
        "1/s",
        "",
        "instead of `tremolo_cents`: beats per second at anchors, `{ \"A3\" = 2.4, \"A4\" = 3.2 }`; negative is flat, -50 \
         to 50",
    ),
];

/// Of `[valves]`: each default is common practice, no source.
pub(super) const VALVES: [Key<ValveRule>; 7] = [
    millimetres(
        "overlap_mm",
        "2",
        "how far a valve reaches beyond the tip of its slot; 1 to 3 is usual",
        (0.0, 10.0),
        |rule| Some(rule.overlap.get()),
        |rule, mm| rule.overlap = length(mm),
    ),
    millimetres(
        "glue_mm",
        "4",
        "length glued down at the rivet end; 3 to 5 is usual",
        (0.0, 20.0),
        |rule| Some(rule.glue.get()),
        |rule, mm| rule.glue = length(mm),
    ),
    millimetres(
        "long_glue_mm",
        "6",
        "the same for long slots",
        (0.0, 20.0),
        |rule| Some(rule.long_glue.get()),
        |rule, mm| rule.long_glue = length(mm),
    ),
    millimetres(
        "long_slot_mm",
        "40",
        "slots from this length on are long",
        (0.0, 200.0),
        |rule| Some(rule.long_slot.get()),
        |rule, mm| rule.long_slot = length(mm),
    ),
    millimetres(
        "width_mm",
        "not said",
        "width of a new valve, the slot and 1 to 2 mm; narrower ones of the tray are then not used. Not said: any width \
         goes, and a new one is as wide as those of the tray, else 7",
        (2.0, 40.0),
        |rule| rule.width.map(Millimetres::get),
        |rule, mm| rule.width = Some(length(mm)),
    ),
    millimetres(
        "kerf_mm",
        "0.5",
        "leather lost by each cut",
        (0.0, 5.0),
        |rule| Some(rule.kerf.get()),
        |rule, mm| rule.kerf = length(mm),
    ),
    millimetres(
        "reading_tolerance_mm",
        "0.5",
        "two lengths this close were read as the same",
        (0.0, 3.0),
        |rule| Some(rule.reading_tolerance.get()),
        |rule, mm| rule.reading_tolerance = length(mm),
    ),
];

const fn joined<T>(
    name: &'static str,
    unit: &'static str,
    default: &'static str,
    says: &'static str,
) -> Key<T> {
    Key { name, unit, default, says, holds: Holds::Joined }
}

const fn millimetres(
    name: &'static str,
    default: &'static str,
    says: &'static str,
    range: (f64, f64),
    get: fn(&ValveRule) -> Option<f64>,
    set: fn(&mut ValveRule, f64),
) -> Key<ValveRule> {
    Key { name, unit: "mm", default, says, holds: Holds::Number { range, leaves_out_usual: true, get, set } }
}

/// A number that was looked at already.
fn length(mm: f64) -> Millimetres {
    Millimetres::new(mm).unwrap_or(Millimetres::ZERO)
}

impl Plan {
    /// What each key of the plan, a block and a row is, for whoever fills in a form: `block.tolerance_cents` and its words.
    pub fn key_help() -> Vec<(String, String)> {
        fn of<T>(section: &str, keys: &[Key<T>]) -> Vec<(String, String)> {
            let help = |key: &Key<T>| {
                let range = match key.holds {
                    Holds::Number { range: (low, high), .. } => format!("; {low} to {high} {}", key.unit),
                    _ => String::new(),
                };
                (format!("{section}.{}", key.name), format!("{}{range}", key.says).replace('`', ""))
            };
            keys.iter().map(help).collect()
        }
        [of("plan", &PLAN), of("block", &BLOCK), of("row", &ROW)].concat()
    }
}

/// Read the keys of a section into `thing`, which keeps what holds where a key is not given; a fault for each that is
/// unknown, missing or wrong. Sections and joined keys are left to the caller.
pub(super) fn read<T>(keys: &[Key<T>], section: &Section, thing: &mut T, faults: &mut Faults) {
    let names: Vec<&str> = keys.iter().map(|key| key.name).collect();
    section.check_keys(&names, faults);
    for key in keys {
        match (&key.holds, section.get(key.name)) {
            (Holds::Number { range, set, .. }, Some(value)) => {
                let unit = if key.unit == "dB" { "dB re the sounding reed" } else { key.unit };
                if let Some(number) = faults.number_within(key.name, value, *range, unit) {
                    set(thing, number);
                }
            }
            (Holds::Word { words, set, .. }, Some(value)) => {
                let words: Vec<(&str, usize)> = words().into_iter().zip(0..).collect();
                if let Some(at) = faults.word(key.name, value, &words) {
                    set(thing, at);
                }
            }
            (Holds::Word { words, .. }, None) if key.default == "needed" => {
                let lines: Vec<String> =
                    words().iter().map(|word| format!("`{} = \"{word}\"`", key.name)).collect();
                faults.add(section.at, key.name, "missing", format!("add {}", lines.join(" or ")));
            }
            (Holds::Own { read, .. }, Some(value)) => read(value, thing, faults),
            _ => {}
        }
    }
}

/// The keys as lines of a plan.
///
/// - `usual`: what holds where nothing is said.
/// - `remark`: a word behind a key's line, for people.
pub(super) fn written<T>(
    keys: &[Key<T>],
    thing: &T,
    usual: Option<&T>,
    remark: impl Fn(&str) -> &'static str,
) -> String {
    let line = |key: &Key<T>| match &key.holds {
        Holds::Number { leaves_out_usual, get, .. } => {
            let number = get(thing)?;
            let is_usual = usual.is_some_and(|usual| get(usual) == Some(number));
            let remark = remark(key.name);
            (!(*leaves_out_usual && is_usual)).then(|| format!("{} = {number:?}{remark}\n", key.name))
        }
        Holds::Word { get, .. } => Some(format!("{} = \"{}\"\n", key.name, get(thing))),
        Holds::Own { write, .. } => Some(write(thing)),
        Holds::Joined | Holds::Section | Holds::Sections => None,
    };
    keys.iter().filter_map(line).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const DOCS: &str = include_str!("../../../docs/job-format.md");

    /// The lines of the documentation's tables, as the keys give them.
    fn lines<T>(keys: &[Key<T>], has_units: bool) -> Vec<String> {
        let line = |key: &Key<T>| {
            let name = match key.holds {
                Holds::Section => format!("[{}]", key.name),
                Holds::Sections if key.name == "row" => "[[block.row]]".into(),
                Holds::Sections => format!("[[{}]]", key.name),
                _ => key.name.to_owned(),
            };
            let cell = |text: &str| if text.is_empty() { " ".to_owned() } else { format!(" {text} ") };
            match key.holds {
                Holds::Number { range: (low, high), .. } if has_units => {
                    format!(
                        "| `{name}` |{}|{}| {}; {low} to {high} |",
                        cell(key.unit),
                        cell(key.default),
                        key.says
                    )
                }
                Holds::Number { range: (low, high), .. } => {
                    format!("| `{name}` | {} | {low} to {high} | {} |", key.default, key.says)
                }
                _ => format!("| `{name}` |{}|{}| {} |", cell(key.unit), cell(key.default), key.says),
            }
        };
        keys.iter().map(line).collect()
    }

    #[test]
    fn the_documentation_has_every_key_as_it_is_read() {
        let wanted =
            [lines(&PLAN, true), lines(&VALVES, false), lines(&BLOCK, true), lines(&ROW, true)].concat();
        let missing: Vec<&String> =
            wanted.iter().filter(|line| !DOCS.lines().any(|there| there == *line)).collect();
        assert!(missing.is_empty(), "docs/job-format.md lacks these lines:\n{missing:#?}");
    }

    #[test]
    fn what_is_documented_as_default_holds() {
        fn check<T>(keys: &[Key<T>], usual: &T) {
            for key in keys {
                if let (Holds::Number { get, range, .. }, Ok(said)) = (&key.holds, key.default.parse::<f64>())
                {
                    assert_eq!(get(usual), Some(said), "{}", key.name);
                    assert!((range.0..=range.1).contains(&said), "{}", key.name);
                }
            }
        }
        check(&PLAN, &Plan::empty());
        check(&BLOCK, &Plan::empty_block());
        check(&VALVES, &ValveRule::default());
    }
}
