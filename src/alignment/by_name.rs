//! A place out of a file's name: `bass-A7-press.wav`, `Bass_a07 DRAW (2).wav`, `A7press.m4a`, `A7 Zug.wav`.

use std::collections::BTreeSet;

use super::{NotPlaced, listed};
use crate::instrument::{Block, Instrument, PlatePlace, ReedPlace, Stroke};

/// The reed a file's name (without its ending) stands for.
///
/// Case and what stands between the words do not matter, nor what else stands in the name; the block may be left out
/// when there is one. A name that fits two places is refused.
///
/// Source: our own rule.
pub fn place_by_name(name: &str, instrument: &Instrument) -> Result<ReedPlace, NotPlaced> {
    let words = words(name);
    let mut strokes = BTreeSet::new();
    strokes.extend(words.iter().filter_map(|word| Stroke::named(word)));
    let mut plates = BTreeSet::new();
    let named: Vec<&Block> =
        instrument.blocks.iter().filter(|block| find(&words, &block.name).is_some()).collect();
    let searched: Vec<&Block> = match (named.as_slice(), instrument.blocks.as_slice()) {
        ([], [only]) => vec![only],
        _ => named,
    };
    for block in searched {
        let taken = find(&words, &block.name);
        for (idx, pair) in words.windows(2).enumerate() {
            // The words of the block's own name are no plate: `bass2 A7`.
            if taken.is_some_and(|(from, to)| idx < to && from < idx + 2) {
                continue;
            }
            let [row_word, number_word] = pair else { continue };
            let row = block.rows.iter().find(|row| row.name.to_lowercase() == *row_word);
            let number = number_word.parse::<u32>().ok();
            if let (Some(row), Some(number)) = (row, number)
                && (1..=row.plates.len()).contains(&(number as usize))
            {
                plates.insert(PlatePlace { block: block.name.clone(), row: row.name.clone(), number });
            }
        }
    }
    let plate = match (plates.len(), plates.pop_first()) {
        (1, Some(plate)) => plate,
        (_, None) => return Err(NotPlaced::NoPlate),
        (_, Some(first)) => {
            let all = std::iter::once(first).chain(plates);
            return Err(NotPlaced::Several { places: listed(all.map(|plate| plate.to_string())) });
        }
    };
    let stroke = match (strokes.len(), strokes.pop_first()) {
        (1, Some(stroke)) => stroke,
        (_, None) => return Err(NotPlaced::NoStroke { plate: plate.to_string() }),
        _ => {
            let both = Stroke::BOTH.into_iter().map(|stroke| format!("{plate} {stroke}"));
            return Err(NotPlaced::Several { places: listed(both) });
        }
    };
    let place = ReedPlace { plate, stroke };
    match instrument.target(&place) {
        Some(_) => Ok(place),
        None => Err(NotPlaced::NoReed { place: place.to_string() }),
    }
}

/// The name in words of letters alone or digits alone, in lower case.
fn words(name: &str) -> Vec<String> {
    let mut words: Vec<String> = Vec::new();
    let mut before = None;
    for letter in name.chars() {
        let kind = if letter.is_ascii_digit() {
            Some('0')
        } else if letter.is_alphanumeric() {
            Some('a')
        } else {
            None
        };
        if kind.is_some() {
            match words.last_mut() {
                Some(word) if kind == before => word.extend(letter.to_lowercase()),
                _ => words.push(letter.to_lowercase().collect()),
            }
        }
        before = kind;
    }
    words
}

/// Where the words of `block` stand in `name`, from and to.
fn find(name: &[String], block: &str) -> Option<(usize, usize)> {
    let block = words(block);
    let from = name.windows(block.len().max(1)).position(|window| window == block.as_slice())?;
    Some((from, from + block.len()))
}

#[cfg(test)]
mod tests {
    use super::words;

    #[test]
    fn names_fall_into_words() {
        assert_eq!(words("Bass_a07 DRAW (2)"), ["bass", "a", "07", "draw", "2"]);
        assert_eq!(words("A7press"), ["a", "7", "press"]);
        assert!(words("--").is_empty());
    }
}
