//! Places as people write them, looked up in the instrument: `bass A7 press`, `A7 outer`, `A1..A12`.

use std::fmt;

use super::{Block, Face, Instrument, PlatePlace, ReedPlace, Row, Stroke, ValvePlace};

/// A place that was looked up: a whole plate, one of its reeds, or one of its valves.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Spot {
    /// `bass A7`.
    Plate(PlatePlace),
    /// `bass A7 press`.
    Reed(ReedPlace),
    /// `bass A7 outer`.
    Valve(ValvePlace),
}

impl fmt::Display for Spot {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Plate(plate) => plate.fmt(f),
            Self::Reed(reed) => reed.fmt(f),
            Self::Valve(valve) => valve.fmt(f),
        }
    }
}

/// Why a text names no place of this instrument.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PlaceError {
    /// Not the form of a place.
    #[error("`{text}` is not a place")]
    Malformed {
        /// As typed.
        text: String,
    },
    /// No block of that name.
    #[error("there is no block `{block}`; the plan has {known}")]
    NoSuchBlock {
        /// As typed.
        block: String,
        /// The plan's blocks.
        known: String,
    },
    /// Several blocks, and the text names none.
    #[error("`{text}` does not say which block; the plan has {known}")]
    BlockNeeded {
        /// As typed.
        text: String,
        /// The plan's blocks.
        known: String,
    },
    /// No row of that name.
    #[error("block `{block}` has no row `{row}`; it has {known}")]
    NoSuchRow {
        /// The block.
        block: String,
        /// As typed.
        row: String,
        /// The block's rows.
        known: String,
    },
    /// The row is not that long.
    #[error("row `{row}` of block `{block}` has the plates 1 to {count}, not {number}")]
    NoSuchPlate {
        /// The block.
        block: String,
        /// The row.
        row: String,
        /// As typed.
        number: u32,
        /// How many plates the row has.
        count: usize,
    },
    /// The plate carries no reed for that stroke.
    #[error("plate `{plate}` has no reed on {stroke}")]
    NoReed {
        /// The plate.
        plate: PlatePlace,
        /// The stroke.
        stroke: Stroke,
    },
    /// A place, but not of the kind that is wanted here.
    #[error("`{text}` is a place, but {wanted} is wanted here")]
    OtherKind {
        /// As typed.
        text: String,
        /// What is wanted.
        wanted: &'static str,
    },
}

impl PlaceError {
    /// What to do about it.
    pub fn next(&self) -> String {
        match self {
            Self::NoReed { .. } => "give the other stroke, or add the reed to plan.toml".into(),
            Self::OtherKind { wanted, .. } => format!("write {wanted}"),
            Self::NoSuchRow { .. } | Self::NoSuchPlate { .. } => {
                "give a plate the plan has, or add it to plan.toml".into()
            }
            _ => "write block, row with plate number, and stroke or face: `bass A7 press`, `bass A7 outer`; \
                  the block may be left out when there is one"
                .into(),
        }
    }
}

impl Instrument {
    /// Every place `text` names: one, or as many as a range of plates (`A1..A12`, also downwards) has.
    ///
    /// Case does not matter; the block may be left out when there is one; a stroke or a face may follow.
    ///
    /// # Example
    /// ```
    /// # use platenote::instrument::*;
    /// # let plate = Plate {
    /// #     reeds: PerStroke { press: None, draw: None },
    /// #     valves: PerFace { outer: Valve::None, inner: Valve::None },
    /// # };
    /// # let row = Row { name: "A".into(), tremolo: Tremolo::Even(platenote::units::Cents::ZERO), plates: vec![plate; 3] };
    /// # let instrument = Instrument {
    /// #     bellows: Bellows::Unisonoric,
    /// #     tuning: Tuning {
    /// #         reference: platenote::units::Hz::new(440.0).unwrap(),
    /// #         temperament: Temperament::EQUAL, stretch: crate::units::Cents::ZERO,
    /// #     },
    /// #     blocks: vec![Block {
    /// #         name: "bass".into(),
    /// #         outer_tongue_sounds_on: Stroke::Press,
    /// #         leak_limit: platenote::units::Decibels::new(-40.0).unwrap(),
    /// #         tolerance: platenote::units::Cents::ZERO,
    /// #         rows: vec![row],
    /// #     }],
    /// # };
    /// assert_eq!(instrument.spots("a1..a3 outer").unwrap().len(), 3);
    /// assert_eq!(instrument.plate_place("A2").unwrap().to_string(), "bass A2");
    /// ```
    pub fn spots(&self, text: &str) -> Result<Vec<Spot>, PlaceError> {
        let malformed = || PlaceError::Malformed { text: text.trim().to_owned() };
        let lower = text.to_lowercase();
        let mut words: Vec<&str> = lower.split_whitespace().collect();
        let side = words.last().and_then(|word| side_named(word));
        if side.is_some() {
            words.pop();
        }
        let (block_name, plates) = match words.as_slice() {
            [plates] => (None, *plates),
            [block, plates] => (Some(*block), *plates),
            _ => return Err(malformed()),
        };
        let (first, last) = plates.split_once("..").unwrap_or((plates, plates));
        let (row_name, first) = row_and_number(first).ok_or_else(malformed)?;
        let (last_row, last) = row_and_number(last).ok_or_else(malformed)?;
        if row_name != last_row {
            return Err(malformed());
        }
        let block = self.block_named(block_name, text)?;
        let row = block.row_named(row_name)?;
        for number in [first, last] {
            row.check_number(number, block)?;
        }
        let numbers: Vec<u32> =
            if first <= last { (first..=last).collect() } else { (last..=first).rev().collect() };
        let place_of = |number| PlatePlace { block: block.name.clone(), row: row.name.clone(), number };
        Ok(numbers
            .into_iter()
            .map(place_of)
            .map(|plate| match side {
                None => Spot::Plate(plate),
                Some(Side::Stroke(stroke)) => Spot::Reed(ReedPlace { plate, stroke }),
                Some(Side::Face(face)) => Spot::Valve(ValvePlace { plate, face }),
            })
            .collect())
    }

    /// The plates `text` names: `A7` or `bass A1..A12`.
    pub fn plate_range(&self, text: &str) -> Result<Vec<PlatePlace>, PlaceError> {
        self.spots(text)?
            .into_iter()
            .map(|spot| match spot {
                Spot::Plate(plate) => Ok(plate),
                _ => Err(other_kind(text, "a plate without stroke or face: `A7`")),
            })
            .collect()
    }

    /// The one plate `text` names: `bass A7`.
    pub fn plate_place(&self, text: &str) -> Result<PlatePlace, PlaceError> {
        match self.spots(text)?.as_slice() {
            [Spot::Plate(plate)] => Ok(plate.clone()),
            _ => Err(other_kind(text, "one plate: `A7`")),
        }
    }

    /// The one reed `text` names, which the plan must have: `bass A7 press`.
    pub fn reed_place(&self, text: &str) -> Result<ReedPlace, PlaceError> {
        let spots = self.spots(text)?;
        let [Spot::Reed(place)] = spots.as_slice() else {
            return Err(other_kind(text, "one reed, a plate and its stroke: `A7 press`"));
        };
        match self.plate(&place.plate) {
            Some((_, _, plate)) if plate.reeds.on(place.stroke).is_some() => Ok(place.clone()),
            _ => Err(PlaceError::NoReed { plate: place.plate.clone(), stroke: place.stroke }),
        }
    }

    /// The one valve `text` names: `bass A7 outer`. Whether one is due there, the plate says.
    pub fn valve_place(&self, text: &str) -> Result<ValvePlace, PlaceError> {
        match self.spots(text)?.as_slice() {
            [Spot::Valve(valve)] => Ok(valve.clone()),
            _ => Err(other_kind(text, "one valve, a plate and its face: `A7 outer`")),
        }
    }

    fn block_named(&self, name: Option<&str>, text: &str) -> Result<&Block, PlaceError> {
        let known = || listed(self.blocks.iter().map(|block| block.name.as_str()));
        match (name, self.blocks.as_slice()) {
            (None, [only]) => Ok(only),
            (None, _) => Err(PlaceError::BlockNeeded { text: text.trim().to_owned(), known: known() }),
            (Some(name), blocks) => blocks
                .iter()
                .find(|block| block.name.to_lowercase() == name)
                .ok_or_else(|| PlaceError::NoSuchBlock { block: name.to_owned(), known: known() }),
        }
    }
}

impl Block {
    fn row_named(&self, name: &str) -> Result<&Row, PlaceError> {
        self.rows.iter().find(|row| row.name.to_lowercase() == name).ok_or_else(|| PlaceError::NoSuchRow {
            block: self.name.clone(),
            row: name.to_uppercase(),
            known: listed(self.rows.iter().map(|row| row.name.as_str())),
        })
    }
}

impl Row {
    fn check_number(&self, number: u32, block: &Block) -> Result<(), PlaceError> {
        if (1..=self.plates.len()).contains(&(number as usize)) {
            return Ok(());
        }
        Err(PlaceError::NoSuchPlate {
            block: block.name.clone(),
            row: self.name.clone(),
            number,
            count: self.plates.len(),
        })
    }
}

enum Side {
    Stroke(Stroke),
    Face(Face),
}

fn side_named(word: &str) -> Option<Side> {
    Some(match word {
        "press" => Side::Stroke(Stroke::Press),
        "draw" => Side::Stroke(Stroke::Draw),
        "outer" => Side::Face(Face::Outer),
        "inner" => Side::Face(Face::Inner),
        _ => return None,
    })
}

fn row_and_number(text: &str) -> Option<(&str, u32)> {
    let digits_at = text.find(|letter: char| letter.is_ascii_digit())?;
    let (row, digits) = text.split_at(digits_at);
    if row.is_empty() || !digits.bytes().all(|digit| digit.is_ascii_digit()) {
        return None;
    }
    Some((row, digits.parse().ok()?))
}

fn listed<'a>(names: impl Iterator<Item = &'a str>) -> String {
    let names: Vec<String> = names.map(|name| format!("`{name}`")).collect();
    if names.is_empty() { "none".into() } else { names.join(", ") }
}

fn other_kind(text: &str, wanted: &'static str) -> PlaceError {
    PlaceError::OtherKind { text: text.trim().to_owned(), wanted }
}
