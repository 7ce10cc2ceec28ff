//! The known word nearest to a mistyped one, for messages.

/// The one of `known` that takes the fewest steps to make of `typed`; empty when nothing is known.
pub(super) fn nearest<'a>(typed: &str, known: &[&'a str]) -> &'a str {
    known.iter().min_by_key(|word| steps_between(word, &typed.to_lowercase())).copied().unwrap_or("")
}

/// How many letters must be put in, taken out or changed to make `left` of `right` (Levenshtein distance).
fn steps_between(left: &str, right: &str) -> usize {
    let right: Vec<char> = right.chars().take(64).collect();
    let mut row: Vec<usize> = (0..=right.len()).collect();
    for (line, letter) in left.chars().enumerate() {
        let mut next = vec![line + 1];
        for (column, other) in right.iter().enumerate() {
            let changed = row[column] + usize::from(letter != *other);
            next.push(changed.min(row[column + 1] + 1).min(next[column] + 1));
        }
        row = next;
    }
    row.last().copied().unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::{nearest, steps_between};

    /// The textbook pair: `kitten` to `sitting` takes three steps (common practice, no source).
    #[test]
    fn steps_are_those_of_the_textbook() {
        assert_eq!(steps_between("kitten", "sitting"), 3);
        assert_eq!(steps_between("", "notes"), 5);
        assert_eq!(steps_between("Ümlaut", "Umlaut"), 1);
    }

    #[test]
    fn a_slip_finds_its_key() {
        assert_eq!(nearest("refrence_hz", &["format", "reference_hz", "title"]), "reference_hz");
    }
}
