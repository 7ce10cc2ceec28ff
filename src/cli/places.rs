//! Places at the head of a line of words: `A7 outer`, `bass A1..A12`, `A1, A3 B2 inner`.

use super::failure::Failure;
use crate::instrument::{Instrument, Spot};

/// The places that `words` begins with, each once, and the words after them.
pub(crate) fn split(instrument: &Instrument, words: &[String]) -> Result<(Vec<Spot>, Vec<String>), Failure> {
    // `A1,A3` is two words, and a comma after a place says nothing else.
    let mut left: &[String] = words;
    let mut spots: Vec<Spot> = Vec::new();
    while let Some((text, rest)) = first_place(instrument, left)? {
        for text in text {
            for spot in instrument.spots(&text)? {
                if !spots.contains(&spot) {
                    spots.push(spot);
                }
            }
        }
        left = rest;
    }
    Ok((spots, left.to_vec()))
}

type Found<'a> = Option<(Vec<String>, &'a [String])>;

/// The first place as text (several where commas join them), and the words after it; `None` where none is next.
fn first_place<'a>(instrument: &Instrument, words: &'a [String]) -> Result<Found<'a>, Failure> {
    let is_block =
        |word: &str| instrument.blocks.iter().any(|block| block.name.to_lowercase() == word.to_lowercase());
    let (block, plates, rest) = match words {
        [block, plates, rest @ ..] if is_block(block) && is_plates(plates) => (Some(block), plates, rest),
        [plates, rest @ ..] if is_plates(plates) => (None, plates, rest),
        // A slip in the block's name, and not work that could not be read.
        [word, plates, ..] if is_plates(plates) && !STARTS.contains(&word.to_lowercase().as_str()) => {
            return Err(instrument.spots(&format!("{word} {plates}")).err().map_or_else(
                || Failure::bad_usage(format!("`{word}` is not a place"), "write block and plate: `bass A7`"),
                Failure::from,
            ));
        }
        _ => return Ok(None),
    };
    let side = rest.first().map(|word| word.trim_end_matches(',').to_lowercase());
    let side = side.filter(|word| ["outer", "inner", "press", "draw"].contains(&word.as_str()));
    let rest = if side.is_some() { rest.get(1..).unwrap_or_default() } else { rest };
    let texts = plates.split(',').filter(|plate| !plate.is_empty()).map(|plate| {
        let words: Vec<&str> =
            [block.map(String::as_str), Some(plate), side.as_deref()].into_iter().flatten().collect();
        words.join(" ")
    });
    Ok(Some((texts.collect(), rest)))
}

/// Words that work begins with, so that `note A7 …` is no place.
const STARTS: [&str; 13] = [
    "lifted", "put", "waxed", "cleaned", "rust", "valve", "spring", "filed", "soldered", "tuned", "pause",
    "note", "photo",
];

/// `A7`, `A1..A12`, and several of them joined by commas.
fn is_plates(word: &str) -> bool {
    let is_plate = |text: &str| {
        let digits = text.trim_start_matches(char::is_alphabetic);
        digits.len() < text.len() && !digits.is_empty() && digits.bytes().all(|byte| byte.is_ascii_digit())
    };
    let is_range = |text: &str| match text.split_once("..") {
        Some((first, last)) => is_plate(first) && is_plate(last),
        None => is_plate(text),
    };
    let mut parts = word.split(',').filter(|part| !part.is_empty()).peekable();
    parts.peek().is_some() && parts.all(is_range)
}
