//! Numbers and names as they are lettered on a chart.

use crate::instrument::PlatePlace;

/// A signed number with a true minus; what rounds to zero has no sign.
pub(crate) fn signed(value: f64, decimals: usize) -> String {
    let digits = format!("{:.decimals$}", value.abs());
    let is_zero = digits.chars().all(|c| c == '0' || c == '.');
    match (is_zero, value < 0.0) {
        (true, _) => digits,
        (false, true) => format!("\u{2212}{digits}"),
        (false, false) => format!("+{digits}"),
    }
}

/// A number that shows a sign only below zero, with a true minus.
pub(crate) fn plain(value: f64, decimals: usize) -> String {
    let text = signed(value, decimals);
    text.strip_prefix('+').map_or(text.clone(), str::to_owned)
}

/// `A7`: the plate within its block.
pub(crate) fn plate_label(place: &PlatePlace) -> String {
    format!("{}{}", place.row, place.number)
}

/// `3 leak`, and nothing for none.
pub(crate) fn count(number: usize, what: &str) -> Option<String> {
    (number > 0).then(|| format!("{number} {what}"))
}

/// Parts that are there, joined by commas; `otherwise` when there are none.
pub(crate) fn list(parts: impl IntoIterator<Item = Option<String>>, otherwise: &str) -> String {
    let there: Vec<String> = parts.into_iter().flatten().collect();
    if there.is_empty() { otherwise.to_owned() } else { there.join(", ") }
}

/// The text with a true minus before each number below zero: at its start, or after a space or a bracket.
pub fn figures(text: &str) -> String {
    let mut shown = String::with_capacity(text.len());
    let mut before = ' ';
    let mut letters = text.chars().peekable();
    while let Some(letter) = letters.next() {
        let is_sign = letter == '-'
            && matches!(before, ' ' | '(' | '±')
            && letters.peek().is_some_and(char::is_ascii_digit);
        shown.push(if is_sign { '−' } else { letter });
        before = letter;
    }
    shown
}

#[cfg(test)]
mod tests {
    use super::{figures, *};

    #[test]
    fn zero_has_no_sign_and_minus_is_the_true_one() {
        assert_eq!(signed(-0.04, 1), "0.0");
        assert_eq!(signed(-3.44, 1), "\u{2212}3.4");
        assert_eq!(signed(80.0, 0), "+80");
        assert_eq!(plain(-20.0, 0), "\u{2212}20");
        assert_eq!(plain(20.0, 0), "20");
    }

    #[test]
    fn a_number_below_zero_gets_a_minus_and_a_hyphen_stays() {
        assert_eq!(figures("-3.4 cents (a leak from -40 dB up)"), "−3.4 cents (a leak from −40 dB up)");
        assert_eq!(figures("2026-11-25, take-1, plate -, A1-draw"), "2026-11-25, take-1, plate -, A1-draw");
    }
}
