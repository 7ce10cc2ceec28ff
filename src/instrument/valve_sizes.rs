//! How wide and how thick the valves of a row may be, for the whole row or from a note on.

use super::Note;
use crate::units::Millimetres;

/// From one size to another, both included.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SizeRange {
    /// The least.
    pub least: Millimetres,
    /// The most.
    pub most: Millimetres,
}

/// Sizes along a row: each from its note on, in the notes' order; `None` for the whole row. Empty where nothing was said.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SizesAlong(pub Vec<(Option<Note>, SizeRange)>);

/// What the valves of a row measure.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ValveSizes {
    /// Across.
    pub width: SizesAlong,
    /// Through.
    pub thickness: SizesAlong,
}

impl SizeRange {
    /// Whether a size lies within, give or take `tolerance` in millimetres.
    pub fn holds(&self, size: Millimetres, tolerance_mm: f64) -> bool {
        // Sizes are kept to the micrometre.
        let grace = tolerance_mm + 0.000_5;
        size.get() >= self.least.get() - grace && size.get() <= self.most.get() + grace
    }

    /// The middle, to the hundredth of a millimetre.
    pub fn middle(&self) -> Millimetres {
        let middle = ((self.least.get() + self.most.get()) * 50.0).round() / 100.0;
        Millimetres::new(middle).unwrap_or(self.least).written(self.least.is_in_inches())
    }

    /// `7 mm`, `6.5 mm to 8 mm`
    pub fn words(&self) -> String {
        if self.least == self.most {
            self.least.to_string()
        } else {
            format!("{} to {}", self.least, self.most)
        }
    }
}

impl SizesAlong {
    /// The size at a note: the last that begins at it or below; below the first the first.
    pub fn at(&self, note: Note) -> Option<SizeRange> {
        let begun = self.0.iter().rev().find(|(from, _)| from.is_none_or(|from| from <= note));
        begun.or(self.0.first()).map(|(_, range)| *range)
    }
}
