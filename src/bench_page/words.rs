//! Figures as a page prints them.

/// The text with a true minus before each number below zero: at its start, or after a space or a bracket.
pub(super) fn figures(text: &str) -> String {
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
    use super::figures;

    #[test]
    fn a_number_below_zero_gets_a_minus_and_a_hyphen_stays() {
        assert_eq!(figures("-3.4 cents (a leak from -40 dB up)"), "−3.4 cents (a leak from −40 dB up)");
        assert_eq!(figures("2026-11-25, take-1, plate -, A1-draw"), "2026-11-25, take-1, plate -, A1-draw");
    }
}
