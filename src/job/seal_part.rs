//! What the diary says of a play of a sealing test: open or sealed, and how it was blown.

use serde::{Deserialize, Serialize};

/// Whether the path behind the suspect valve was closed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SealState {
    /// As it is.
    Open,
    /// Closed from outside.
    Sealed,
}

/// How a play was blown.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum BlownKind {
    /// Evenly.
    Held,
    /// Soft, loud, soft.
    Swell,
}

/// A play's part in a sealing test.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SealPart {
    /// Open or sealed.
    pub state: SealState,
    /// As it was said; `None` to be told from the sound.
    pub kind: Option<BlownKind>,
}

impl SealState {
    /// The word for it.
    pub fn name(self) -> &'static str {
        match self {
            SealState::Open => "open",
            SealState::Sealed => "sealed",
        }
    }
}

impl SealPart {
    /// From the cells of a list: `open`, `sealed` or empty, and `held`, `swell` or empty. `Err` names the odd cell.
    pub fn parse(sealed: &str, kind: &str) -> Result<Option<Self>, String> {
        let state = match sealed.to_lowercase().as_str() {
            "" => None,
            "open" => Some(SealState::Open),
            "sealed" => Some(SealState::Sealed),
            other => return Err(format!("`{other}` is neither `open` nor `sealed`")),
        };
        let kind = match kind.to_lowercase().as_str() {
            "" => None,
            "held" => Some(BlownKind::Held),
            "swell" => Some(BlownKind::Swell),
            other => return Err(format!("`{other}` is neither `held` nor `swell`")),
        };
        match (state, kind) {
            (None, Some(_)) => Err("a `kind` belongs to a play that is `open` or `sealed`".into()),
            (state, kind) => Ok(state.map(|state| Self { state, kind })),
        }
    }
}
