//! Places told as ranges, as they may be typed: `bass A1-A12 press` for twelve reeds in a row.

/// A place taken apart: what stands before its number, the number, what stands behind it.
type Parts<'a> = (&'a str, u32, &'a str);

/// The places in one text, those that follow each other in a row joined: `bass A1-A12 press, bass B3 draw`. What is no place
/// stands as it is.
///
/// # Example
/// ```
/// use platenote::instrument::place_ranges;
/// let places = ["bass A1 press", "bass A2 press", "bass A3 press", "bass B7"].map(str::to_owned);
/// assert_eq!(place_ranges(&places), "bass A1-A3 press, bass B7");
/// ```
pub fn place_ranges(places: &[String]) -> String {
    let mut runs: Vec<(&str, Option<(Parts, u32)>)> = Vec::new();
    // Both strokes of a row of plates are two runs that lie in each other.
    for place in places {
        let Some((stem, number, side)) = parts(place) else {
            runs.push((place, None));
            continue;
        };
        let is_next = |run: &&mut (&str, Option<(Parts, u32)>)| match run.1 {
            Some(((there, _, its), last)) => there == stem && its == side && last + 1 == number,
            None => false,
        };
        match runs.iter_mut().rev().find(is_next) {
            Some((_, Some((_, last)))) => *last = number,
            _ => runs.push((place, Some(((stem, number, side), number)))),
        }
    }
    let words = runs.into_iter().map(|(place, run)| match run {
        Some(((stem, first, side), last)) if last > first => {
            // The block is named once: `bass A1-A12`.
            let row = stem.rsplit(' ').next().unwrap_or(stem);
            format!("{stem}{first}-{row}{last}{side}")
        }
        _ => place.to_owned(),
    });
    words.collect::<Vec<_>>().join(", ")
}

fn parts(place: &str) -> Option<Parts<'_>> {
    const SIDES: [&str; 4] = [" press", " draw", " outer", " inner"];
    let side = SIDES.into_iter().find_map(|side| place.strip_suffix(side).map(|_| side)).unwrap_or("");
    let plate = place.get(..place.len() - side.len())?;
    let stem = plate.trim_end_matches(|letter: char| letter.is_ascii_digit());
    let number = plate.get(stem.len()..)?.parse().ok()?;
    stem.ends_with(char::is_alphabetic).then_some((stem, number, place.get(plate.len()..)?))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(places: &[&str]) -> String {
        place_ranges(&places.iter().map(|place| (*place).to_owned()).collect::<Vec<_>>())
    }

    #[test]
    fn what_follows_in_a_row_is_a_range_and_nothing_else() {
        assert_eq!(told(&[]), "");
        assert_eq!(told(&["bass A7 press"]), "bass A7 press");
        assert_eq!(told(&["A1", "A2", "A4", "B5"]), "A1-A2, A4, B5");
        // Another stroke, row or block begins another range.
        let both = ["low A1 press", "low A1 draw", "low A2 press", "low A2 draw", "high A3 press"];
        assert_eq!(told(&both), "low A1-A2 press, low A1-A2 draw, high A3 press");
        // Backwards is not joined, since ranges are told upwards.
        assert_eq!(told(&["A2", "A1"]), "A2, A1");
        assert_eq!(told(&["recordings/before-1.wav", "A9", "A10"]), "recordings/before-1.wav, A9-A10");
    }
}
