//! `workshop.toml`: name, address and terms for the owner's sheet, kept once for all jobs in the person's configuration
//! folder.

use std::path::PathBuf;

use serde::Deserialize;

use super::{Error, clocks, disk};

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
                    let wanted = "it holds `name`, `address` (a list of lines) and `terms`";
                    (Self::default(), Some(format!("`{}` is left out: {why}; {wanted}", file.display())))
                }
            },
            Err(error) => (Self::default(), Some(error)),
        }
    }
}
