//! Block, row, plate, reed and valve, and the rule that ties a stroke to the valve it tests.

use std::fmt;

use super::{Face, Note, PlanLines, PlatePlace, ReedPlace, Stroke, Tremolo, Tuning, ValvePlace, ValveSizes};
use crate::units::{Cents, Decibels, Hz, Millimetres};

/// Whether a plate gives one note on both strokes or two.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Bellows {
    /// The same note on press and draw.
    Unisonoric,
    /// Two notes.
    Bisonoric,
}

impl Bellows {
    /// Both kinds.
    pub const ALL: [Bellows; 2] = [Bellows::Unisonoric, Bellows::Bisonoric];

    /// The word for it, in files as on pages.
    pub const fn as_str(self) -> &'static str {
        match self {
            Bellows::Unisonoric => "unisonoric",
            Bellows::Bisonoric => "bisonoric",
        }
    }

    /// What `word` stands for.
    pub fn named(word: &str) -> Option<Bellows> {
        Bellows::ALL.into_iter().find(|one| one.as_str() == word)
    }
}

impl fmt::Display for Bellows {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.as_str())
    }
}

/// Everything on the bench: its tuning and its blocks.
#[derive(Debug, Clone, PartialEq)]
pub struct Instrument {
    /// One note or two per plate.
    pub bellows: Bellows,
    /// Reference pitch and temperament.
    pub tuning: Tuning,
    /// The blocks, as the plan lists them.
    pub blocks: Vec<Block>,
}

/// A wooden reed block.
#[derive(Debug, Clone, PartialEq)]
pub struct Block {
    /// Its name, without spaces.
    pub name: String,
    /// The stroke on which the outer tongues sound; press in common mounting.
    pub outer_tongue_sounds_on: Stroke,
    /// An opposite reed at or above this level, re the sounding reed, means a leak.
    pub leak_limit: Decibels,
    /// Deviation up to which a reed is left alone.
    pub tolerance: Cents,
    /// The rows, as the plan lists them.
    pub rows: Vec<Row>,
}

/// A row of plates.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Its name: a letter or a few.
    pub name: String,
    /// How far the rank is set off its target.
    pub tremolo: Tremolo,
    /// The plates; the first has number 1.
    pub plates: Vec<Plate>,
    /// How wide and thick its valves may be.
    pub sizes: ValveSizes,
    /// Where its notes stand in the plan.
    pub lines: PlanLines,
}

/// A plate with its reeds and valves.
#[derive(Debug, Clone, PartialEq)]
pub struct Plate {
    /// The reed that sounds on each stroke; `None` where the plate carries none.
    pub reeds: PerStroke<Option<Reed>>,
    /// The valve glued on each face.
    pub valves: PerFace<Valve>,
}

/// A tongue.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reed {
    /// The note it should give.
    pub note: Note,
    /// Length of its slot where it was measured.
    pub slot: Option<Millimetres>,
}

/// What a valve is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Material {
    /// Leather.
    Leather,
    /// Plastic film.
    Plastic,
}

impl Material {
    /// Both, leather first.
    pub const ALL: [Material; 2] = [Material::Leather, Material::Plastic];

    /// The word for it, in files as on pages.
    pub const fn as_str(self) -> &'static str {
        match self {
            Material::Leather => "leather",
            Material::Plastic => "plastic",
        }
    }

    /// What `word` stands for.
    pub fn named(word: &str) -> Option<Material> {
        Material::ALL.into_iter().find(|one| one.as_str() == word)
    }
}

impl fmt::Display for Material {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.as_str())
    }
}

/// What lies over a slot on the face opposite its reed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Valve {
    /// No valve is fitted here and none is due: never flagged.
    None,
    /// A valve is fitted or due.
    Fitted {
        /// Its length where it is known.
        length: Option<Millimetres>,
        /// What it is made of.
        material: Material,
        /// Whether a helper spring holds it down.
        helper_spring: bool,
    },
}

/// One thing for each stroke.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PerStroke<T> {
    /// For the closing bellows.
    pub press: T,
    /// For the opening bellows.
    pub draw: T,
}

/// One thing for each face.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PerFace<T> {
    /// On the outer face.
    pub outer: T,
    /// On the inner face.
    pub inner: T,
}

impl<T> PerStroke<T> {
    /// The one for `stroke`.
    pub fn on(&self, stroke: Stroke) -> &T {
        match stroke {
            Stroke::Press => &self.press,
            Stroke::Draw => &self.draw,
        }
    }
}

impl<T> PerFace<T> {
    /// The one on `face`.
    pub fn on(&self, face: Face) -> &T {
        match face {
            Face::Outer => &self.outer,
            Face::Inner => &self.inner,
        }
    }
}

impl Block {
    /// A block in common mounting, with the usual leak limit of -40 dB and tolerance of 2 cents.
    pub fn new(name: String, rows: Vec<Row>) -> Self {
        Self {
            name,
            outer_tongue_sounds_on: Stroke::Press,
            leak_limit: Decibels::COMMON_LEAK_LIMIT,
            tolerance: Cents::COMMON_TOLERANCE,
            rows,
        }
    }

    /// The face whose valve must stay shut while the reed of `stroke` sounds.
    ///
    /// In common mounting press tests the outer valve and draw the inner one (derivation in `docs/method.md`).
    pub fn face_tested_by(&self, stroke: Stroke) -> Face {
        if stroke == self.outer_tongue_sounds_on { Face::Outer } else { Face::Inner }
    }

    /// The stroke that tests the valve on `face`.
    pub fn stroke_that_tests(&self, face: Face) -> Stroke {
        match face {
            Face::Outer => self.outer_tongue_sounds_on,
            Face::Inner => self.outer_tongue_sounds_on.other(),
        }
    }
}

impl Instrument {
    /// Every plate with its place and its row, in the plan's order.
    pub fn plates(&self) -> impl Iterator<Item = (PlatePlace, &Block, &Row, &Plate)> {
        self.blocks.iter().flat_map(|block| {
            block.rows.iter().flat_map(move |row| {
                (1..).zip(&row.plates).map(move |(number, plate)| {
                    (
                        PlatePlace { block: block.name.clone(), row: row.name.clone(), number },
                        block,
                        row,
                        plate,
                    )
                })
            })
        })
    }

    /// The plate at `place`, with its block and row.
    pub fn plate(&self, place: &PlatePlace) -> Option<(&Block, &Row, &Plate)> {
        let block = self.blocks.iter().find(|block| block.name == place.block)?;
        let row = block.rows.iter().find(|row| row.name == place.row)?;
        let plate = row.plates.get((place.number as usize).checked_sub(1)?)?;
        Some((block, row, plate))
    }

    /// Every reed in the plan's order, press before draw.
    pub fn reeds(&self) -> impl Iterator<Item = (ReedPlace, Reed)> {
        self.plates().flat_map(|(place, _, _, plate)| {
            Stroke::BOTH.into_iter().filter_map(move |stroke| {
                let reed = (*plate.reeds.on(stroke))?;
                Some((ReedPlace { plate: place.clone(), stroke }, reed))
            })
        })
    }

    /// The pitch the reed at `place` should have, tremolo included; `None` where the plan has no reed.
    pub fn target(&self, place: &ReedPlace) -> Option<Hz> {
        let (_, row, plate) = self.plate(&place.plate)?;
        let note = (*plate.reeds.on(place.stroke))?.note;
        let straight = self.tuning.target(note);
        Some(straight.raised_by(row.tremolo.offset(note, straight)))
    }

    /// The valve that must stay shut while the reed at `place` sounds.
    pub fn valve_tested_by(&self, place: &ReedPlace) -> Option<(ValvePlace, Valve)> {
        let (block, _, plate) = self.plate(&place.plate)?;
        let face = block.face_tested_by(place.stroke);
        Some((ValvePlace { plate: place.plate.clone(), face }, *plate.valves.on(face)))
    }
}
