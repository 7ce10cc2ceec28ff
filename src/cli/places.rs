//! Places at the head of a line of words: `A7 outer`, `bass A1-A12`, `A1, A3 B2 inner`, `row A`, `all`.

use super::failure::Failure;
use crate::instrument::{Instrument, Spot, Stroke};

/// The places that `words` begins with, each once, and the words after them.
pub(crate) fn split(instrument: &Instrument, words: &[String]) -> Result<(Vec<Spot>, Vec<String>), Failure> {
    // A sentence in quotes is one argument; what work it is, its words say.
    let mut left: &[String] = words;
    let mut spots: Vec<Spot> = Vec::new();
    let mut block: Option<&str> = None;
    while let Some((text, rest)) = next_place(instrument, left, &mut block)? {
        for spot in instrument.spots(&text)? {
            if !spots.contains(&spot) {
                spots.push(spot);
            }
        }
        left = rest;
    }
    Ok((spots, left.to_vec()))
}

type Found<'a> = Option<(String, &'a [String])>;

/// The next place as text, and the words after it; `None` where work begins.
fn next_place<'a>(
    instrument: &Instrument,
    words: &'a [String],
    block: &mut Option<&'a str>,
) -> Result<Found<'a>, Failure> {
    let is_block =
        |word: &str| instrument.blocks.iter().any(|block| block.name.to_lowercase() == word.to_lowercase());
    let bare = |word: &'a String| word.trim_end_matches(',');
    let mut left = words;
    if let [word, rest @ ..] = left
        && is_block(bare(word))
        && !STARTS.contains(&word.to_lowercase().as_str())
        && !(rest.is_empty() && is_plates(word))
    {
        *block = Some(bare(word));
        left = rest;
    }
    let is_block_named = left.len() < words.len();
    let (plates, rest) = match left {
        [word, rest @ ..] if is_plates(word) => (bare(word).to_owned(), rest),
        [word, rest @ ..] if bare(word).eq_ignore_ascii_case("all") => ("all".to_owned(), rest),
        [word, name, rest @ ..] if word.eq_ignore_ascii_case("row") => (format!("row {}", bare(name)), rest),
        _ if is_block_named => ("all".to_owned(), left),
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
    let is_side =
        |word: &String| ["outer", "inner"].contains(&word.as_str()) || Stroke::named(word).is_some();
    let side = side.filter(is_side);
    let rest = if side.is_some() { rest.get(1..).unwrap_or_default() } else { rest };
    let text: Vec<String> = plates
        .split(',')
        .filter(|plate| !plate.is_empty())
        .map(|plate| {
            let words = [*block, Some(plate), side.as_deref()];
            words.into_iter().flatten().collect::<Vec<_>>().join(" ")
        })
        .collect();
    Ok(Some((text.join(", "), rest)))
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
    let is_number = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    let is_range = |text: &str| match text.split_once("..").or_else(|| text.split_once(['-', '–', '—'])) {
        Some((first, last)) => is_plate(first) && (is_plate(last) || is_number(last)),
        None => is_plate(text),
    };
    let mut parts = word.split(',').filter(|part| !part.is_empty()).peekable();
    parts.peek().is_some() && parts.all(is_range)
}
