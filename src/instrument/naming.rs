//! Places as people write them, looked up in the instrument: `bass A7 press`, `A7 outer`, `A1-A12`, `treble M5 T8`, `row A`.

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
    #[error("`{part}` is not a place{}", if part == text { String::new() } else { format!(", in `{text}`") })]
    Malformed {
        /// As typed.
        text: String,
        /// The part of it that was not understood.
        part: String,
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
    /// Every place `text` names, each once: `A7`, a range `A1-A12`, `A1..A12` or `A1-12` (downwards too), several of them
    /// (`treble M5 T8`, `A1, A3`), `row A`, a block by its name, or `all`.
    ///
    /// Case does not matter; the block may be left out when there is one, and counts on until another is named; a stroke
    /// or a face counts for the plate, range, row or block before it.
    ///
    /// # Example
    /// ```
    /// # use platenote::instrument::*;
    /// # let plate = Plate {
    /// #     reeds: PerStroke { press: None, draw: None },
    /// #     valves: PerFace { outer: Valve::None, inner: Valve::None },
    /// # };
    /// # let row = Row { name: "A".into(), tremolo: Tremolo::Even(platenote::units::Cents::ZERO), plates: vec![plate; 3], sizes: Default::default(), lines: Default::default() };
    /// # let instrument = Instrument {
    /// #     bellows: Bellows::Unisonoric,
    /// #     tuning: Tuning {
    /// #         reference: platenote::units::Hz::new(440.0).unwrap(),
    /// #         temperament: Temperament::EQUAL, stretch: platenote::units::Cents::ZERO,
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
        let lower = text.to_lowercase().replace([',', ';'], " ");
        let mut left: Vec<&str> = lower.split_whitespace().rev().collect();
        let mut block: Option<&Block> = None;
        let mut spots: Vec<Spot> = Vec::new();
        if left.is_empty() {
            return Err(malformed(text, text));
        }
        while !left.is_empty() {
            let plates = self.next_plates(&mut left, &mut block, text)?;
            let side = left.last().and_then(|word| side_named(word));
            if side.is_some() {
                left.pop();
            }
            for plate in plates {
                let spot = match side {
                    None => Spot::Plate(plate),
                    Some(Side::Stroke(stroke)) => Spot::Reed(ReedPlace { plate, stroke }),
                    Some(Side::Face(face)) => Spot::Valve(ValvePlace { plate, face }),
                };
                if !spots.contains(&spot) {
                    spots.push(spot);
                }
            }
        }
        Ok(spots)
    }

    /// The plates the next words mean, taken off the end of `left`; `block` is the one named last.
    fn next_plates<'a>(
        &'a self,
        left: &mut Vec<&str>,
        block: &mut Option<&'a Block>,
        text: &str,
    ) -> Result<Vec<PlatePlace>, PlaceError> {
        let is_plates = |word: Option<&&str>| word.is_some_and(|word| range(word).is_some());
        let is_more =
            |word: Option<&&str>| is_plates(word) || word.is_some_and(|word| ["all", "row"].contains(word));
        let mut word = left.pop().unwrap_or_default();
        let known = self.blocks.iter().find(|block| block.name.to_lowercase() == word);
        // A block that is called as one of its plates is meant where plates follow.
        if let Some(known) = known.filter(|_| is_more(left.last()) || range(word).is_none()) {
            *block = Some(known);
            if !is_more(left.last()) {
                return Ok(plates_of(known).collect());
            }
            word = left.pop().unwrap_or_default();
        }
        if word == "all" {
            return Ok(match block {
                Some(block) => plates_of(block).collect(),
                None => self.blocks.iter().flat_map(plates_of).collect(),
            });
        }
        if word == "row" {
            let name = left.pop().ok_or_else(|| malformed(text, "row"))?;
            let block = self.block_or_only(*block, text)?;
            return Ok(plates_of_row(block, block.row_named(name)?).collect());
        }
        let Some((row_name, first, last)) = range(word) else {
            // A word before plates is the name of a block.
            let no_block =
                if is_plates(left.last()) { self.block_named(Some(word), text).err() } else { None };
            return Err(no_block.unwrap_or_else(|| malformed(text, word)));
        };
        let block = self.block_or_only(*block, text)?;
        let row = block.row_named(row_name)?;
        for number in [first, last] {
            row.check_number(number, block)?;
        }
        let place = |number| PlatePlace { block: block.name.clone(), row: row.name.clone(), number };
        Ok(match first <= last {
            true => (first..=last).map(place).collect(),
            false => (last..=first).rev().map(place).collect(),
        })
    }

    fn block_or_only<'a>(&'a self, block: Option<&'a Block>, text: &str) -> Result<&'a Block, PlaceError> {
        block.map_or_else(|| self.block_named(None, text), Ok)
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

    /// The block of that name, in any case.
    pub fn block_called(&self, name: &str) -> Result<&Block, PlaceError> {
        self.block_named(Some(&name.to_lowercase()), name)
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

/// `part` is told as it was typed, not as it was read.
fn malformed(text: &str, part: &str) -> PlaceError {
    let mut words = text.split(|letter: char| letter.is_whitespace() || [',', ';'].contains(&letter));
    let typed = words.find(|word| word.to_lowercase() == part).unwrap_or(part);
    PlaceError::Malformed { text: text.trim().to_owned(), part: typed.trim().to_owned() }
}

fn plates_of(block: &Block) -> impl Iterator<Item = PlatePlace> {
    block.rows.iter().flat_map(move |row| plates_of_row(block, row))
}

fn plates_of_row(block: &Block, row: &Row) -> impl Iterator<Item = PlatePlace> {
    let count = u32::try_from(row.plates.len()).unwrap_or(u32::MAX);
    let (block, row) = (block.name.clone(), row.name.clone());
    (1..=count).map(move |number| PlatePlace { block: block.clone(), row: row.clone(), number })
}

/// `a7`, `a1..a12`, `a1-a12`, `a1-12`: the row, the first and the last; `None` where it is none of these.
fn range(word: &str) -> Option<(&str, u32, u32)> {
    // A dash of any length.
    let parts = word.split_once("..").or_else(|| word.split_once(['-', '–', '—']));
    let Some((first, last)) = parts else {
        let (row, number) = row_and_number(word)?;
        return Some((row, number, number));
    };
    let (row, first) = row_and_number(first)?;
    if let Ok(last) = last.parse::<u32>() {
        return Some((row, first, last));
    }
    let (last_row, last) = row_and_number(last)?;
    (row == last_row).then_some((row, first, last))
}

#[derive(Clone, Copy)]
enum Side {
    Stroke(Stroke),
    Face(Face),
}

fn side_named(word: &str) -> Option<Side> {
    Some(match word {
        "outer" => Side::Face(Face::Outer),
        "inner" => Side::Face(Face::Inner),
        _ => Side::Stroke(Stroke::named(word)?),
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
