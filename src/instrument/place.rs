//! Where a reed or a valve lies and how it is written: `bass A7 press`, `bass A7 outer`.

use std::fmt;

/// The direction of the bellows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Stroke {
    /// The bellows close.
    Press,
    /// The bellows open.
    Draw,
}

/// A side of a plate.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Face {
    /// In bellows air, visible, reachable with the plate in place.
    Outer,
    /// Towards the cell; the plate must be lifted.
    Inner,
}

impl Stroke {
    /// Both, press first.
    pub const BOTH: [Stroke; 2] = [Stroke::Press, Stroke::Draw];

    /// The word for it, in files as on pages.
    pub const fn as_str(self) -> &'static str {
        match self {
            Stroke::Press => "press",
            Stroke::Draw => "draw",
        }
    }

    /// The direction by its word: English, German, Italian or French (common practice, no source), in any case.
    pub fn named(word: &str) -> Option<Stroke> {
        Some(match word.to_lowercase().as_str() {
            "press" | "druck" | "chiudendo" | "chiusura" | "chiude" | "poussé" | "pousse" | "pousser" => {
                Stroke::Press
            }
            "draw" | "zug" | "aprendo" | "apertura" | "apre" | "tiré" | "tire" | "tirer" => Stroke::Draw,
            _ => return None,
        })
    }

    /// The other direction.
    pub fn other(self) -> Stroke {
        match self {
            Stroke::Press => Stroke::Draw,
            Stroke::Draw => Stroke::Press,
        }
    }
}

impl Face {
    /// Both, outer first.
    pub const BOTH: [Face; 2] = [Face::Outer, Face::Inner];

    /// The word for it, in files as on pages.
    pub const fn as_str(self) -> &'static str {
        match self {
            Face::Outer => "outer",
            Face::Inner => "inner",
        }
    }

    /// The other side.
    pub fn other(self) -> Face {
        match self {
            Face::Outer => Face::Inner,
            Face::Inner => Face::Outer,
        }
    }
}

impl fmt::Display for Stroke {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.as_str())
    }
}

impl fmt::Display for Face {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.as_str())
    }
}

/// A plate of a block: `bass A7`.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct PlatePlace {
    /// The block's name.
    pub block: String,
    /// The row's name.
    pub row: String,
    /// The plate's number along the row, from 1.
    pub number: u32,
}

/// A reed: the plate and the stroke on which it sounds.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ReedPlace {
    /// The plate it is on.
    pub plate: PlatePlace,
    /// The stroke on which it sounds.
    pub stroke: Stroke,
}

/// A valve: the plate and the face it is glued on.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ValvePlace {
    /// The plate it is on.
    pub plate: PlatePlace,
    /// The face it is glued on.
    pub face: Face,
}

impl fmt::Display for PlatePlace {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&format!("{} {}{}", self.block, self.row, self.number))
    }
}

impl fmt::Display for ReedPlace {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&format!("{} {}", self.plate, self.stroke))
    }
}

impl fmt::Display for ValvePlace {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&format!("{} {}", self.plate, self.face))
    }
}
