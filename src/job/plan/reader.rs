//! Values out of a TOML table, with a fault for each that is not what it should be.

use std::fmt;
use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use crate::job::nearest::nearest;

/// One thing wrong in the plan: where, what, and what would be right.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// The line, counted from 1.
    pub line: usize,
    /// The key it is about; empty where the text is not TOML at all.
    pub key: String,
    /// What is wrong.
    pub wrong: String,
    /// What would be right.
    pub right: String,
}

/// A value with the place in the file it stands at.
pub(super) type Value<'t> = Spanned<DeValue<'t>>;

/// The faults found so far, and the text they were found in.
pub(super) struct Faults<'t> {
    text: &'t str,
    pub(super) list: Vec<Fault>,
}

/// A table of the plan, and the keys it may have.
#[derive(Clone, Copy)]
pub(super) struct Section<'a, 't> {
    pub(super) table: &'a DeTable<'t>,
    /// Where the table stands; what is missing is reported there.
    pub(super) at: usize,
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}", self.line)?;
        if !self.key.is_empty() {
            write!(f, ", `{}`", self.key)?;
        }
        write!(f, ": {}; {}", self.wrong, self.right)
    }
}

impl<'t> Faults<'t> {
    pub(super) fn new(text: &'t str) -> Self {
        Self { text, list: Vec::new() }
    }

    /// The line a byte stands on, counted from 1.
    pub(super) fn line_of(&self, at: usize) -> usize {
        let before = self.text.as_bytes().get(..at.min(self.text.len())).unwrap_or_default();
        1 + before.iter().filter(|&&byte| byte == b'\n').count()
    }

    pub(super) fn add(&mut self, at: usize, key: &str, wrong: impl Into<String>, right: impl Into<String>) {
        let line = self.line_of(at);
        self.list.push(Fault { line, key: key.into(), wrong: wrong.into(), right: right.into() });
    }

    /// The value is of another kind than `wanted`.
    pub(super) fn other_kind(&mut self, key: &str, value: &Value, wanted: &str) {
        let found = value.get_ref().type_str();
        self.add(value.span().start, key, format!("{found} found"), format!("give {wanted}"));
    }

    /// A number, finite.
    pub(super) fn number(&mut self, key: &str, value: &Value, wanted: &str) -> Option<f64> {
        let number = bare_number(value.get_ref());
        if number.is_none() {
            self.other_kind(key, value, wanted);
        }
        number
    }

    /// A number within `range`, both ends included.
    pub(super) fn number_within(
        &mut self,
        key: &str,
        value: &Value,
        range: (f64, f64),
        unit: &str,
    ) -> Option<f64> {
        let (low, high) = range;
        let number = self.number(key, value, &format!("a number from {low} to {high} ({unit})"))?;
        if (low..=high).contains(&number) {
            return Some(number);
        }
        let right = format!("give a number from {low} to {high} ({unit})");
        self.add(value.span().start, key, format!("{number} is out of range"), right);
        None
    }

    /// A text.
    pub(super) fn text<'a>(&mut self, key: &str, value: &'a Value, wanted: &str) -> Option<&'a str> {
        let text = value.get_ref().as_str();
        if text.is_none() {
            self.other_kind(key, value, wanted);
        }
        text
    }

    /// One of a few words.
    pub(super) fn word<T: Copy>(&mut self, key: &str, value: &Value, words: &[(&str, T)]) -> Option<T> {
        let wanted = words.iter().map(|(word, _)| format!("\"{word}\"")).collect::<Vec<_>>().join(" or ");
        let text = self.text(key, value, &wanted)?;
        let found = words.iter().find(|(word, _)| *word == text).map(|(_, meant)| *meant);
        if found.is_none() {
            self.add(
                value.span().start,
                key,
                format!("\"{text}\" is not known here"),
                format!("give {wanted}"),
            );
        }
        found
    }
}

impl<'a, 't> Section<'a, 't> {
    pub(super) fn get(&self, key: &str) -> Option<&'a Value<'t>> {
        self.table.iter().find(|(name, _)| name.get_ref() == key).map(|(_, value)| value)
    }

    /// A fault for each key that is not among `known`, naming the nearest one.
    pub(super) fn check_keys(&self, known: &[&str], faults: &mut Faults) {
        for (name, _) in self.table {
            if known.contains(&name.get_ref().as_ref()) {
                continue;
            }
            let right = format!("did you mean `{}`?", nearest(name.get_ref(), known));
            faults.add(name.span().start, name.get_ref(), "there is no such key here", right);
        }
    }

    /// The tables of an array of tables; `None` when there is nothing of the name.
    pub(super) fn tables(&self, key: &str, faults: &mut Faults) -> Vec<Section<'a, 't>> {
        let Some(value) = self.get(key) else {
            faults.add(self.at, key, "missing", format!("add a [[{key}]] section"));
            return Vec::new();
        };
        let Some(array) = value.get_ref().as_array() else {
            faults.other_kind(key, value, &format!("[[{key}]] with double brackets"));
            return Vec::new();
        };
        let mut sections = Vec::new();
        for item in array.iter() {
            match item.get_ref().as_table() {
                Some(table) => sections.push(Section { table, at: item.span().start }),
                None => faults.other_kind(key, item, &format!("[[{key}]] sections")),
            }
        }
        sections
    }
}

/// Where a value begins in the file.
pub(super) fn start_of(value: &Value) -> usize {
    let Range { start, .. } = value.span();
    start
}

fn bare_number(value: &DeValue) -> Option<f64> {
    let number = match value {
        DeValue::Integer(integer) => i64::from_str_radix(integer.as_str(), integer.radix()).ok()? as f64,
        DeValue::Float(float) => float.as_str().parse::<f64>().ok()?,
        _ => return None,
    };
    number.is_finite().then_some(number)
}

/// The `name` of a section, which must be there and fit.
pub(super) fn section_name(
    section: &Section,
    kind: &str,
    fits: impl Fn(&str) -> bool,
    right: &str,
    faults: &mut Faults,
) -> Option<String> {
    let Some(value) = section.get("name") else {
        faults.add(
            section.at,
            "name",
            format!("this [[{kind}]] has none"),
            format!("add `name = \"…\"`; {right}"),
        );
        return None;
    };
    let name = faults.text("name", value, "a text in quotes")?;
    if !fits(name) {
        faults.add(start_of(value), "name", format!("\"{name}\" cannot name a {kind}"), right);
        return None;
    }
    Some(name.to_owned())
}
