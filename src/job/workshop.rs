//! `workshop.toml`: name, address and terms for the owner's sheet, kept once for all jobs in the person's configuration
//! folder.

use std::path::PathBuf;

use serde::de::Error as _;
use serde::{Deserialize, Deserializer};

use super::{Error, clocks, disk};
use crate::instrument::NoteNames;

/// Who hands the instrument over.
#[derive(Debug, Clone, Default, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Workshop {
    /// The workshop's name.
    pub name: Option<String>,
    /// Its address, a line each.
    #[serde(default)]
    pub address: Vec<String>,
    /// Terms, in the workshop's words.
    pub terms: Option<String>,
    /// How notes are written wherever they are shown and typed.
    #[serde(default, deserialize_with = "note_names")]
    pub note_names: Option<NoteNames>,
}

fn note_names<'de, D: Deserializer<'de>>(field: D) -> Result<Option<NoteNames>, D::Error> {
    let word = String::deserialize(field)?;
    let known = NoteNames::ALL.map(|names| format!("`{}`", names.as_str())).join(", ");
    let names = NoteNames::named(&word);
    names.map(Some).ok_or_else(|| D::Error::custom(format!("`note_names` is one of {known}, not `{word}`")))
}

impl Workshop {
    /// Where it is kept; `None` where the system has no configuration folder.
    pub fn file() -> Option<PathBuf> {
        clocks::folder().map(|folder| folder.join("workshop.toml"))
    }

    /// What is kept; nothing where there is no file, and a word where it cannot be used.
    pub fn of_person() -> (Self, Option<String>) {
        let Some(file) = Self::file() else { return (Self::default(), None) };
        match disk::read_plain(&file).map_err(|error: Error| error.to_string()) {
            Ok(None) => (Self::default(), None),
            Ok(Some(bytes)) => match toml::from_str(&String::from_utf8_lossy(&bytes)) {
                Ok(workshop) => (workshop, None),
                Err(error) => {
                    let why = error.message().to_owned();
                    let wanted = "it holds `name`, `address` (a list of lines), `terms` and `note_names`";
                    (Self::default(), Some(format!("`{}` is left out: {why}; {wanted}", file.display())))
                }
            },
            Err(error) => (Self::default(), Some(error)),
        }
    }
}
