//! The known word nearest to a mistyped one, for messages.

/// The one of `known` that takes the fewest steps to make of `typed`; empty when nothing is known.
pub(super) fn nearest<'a>(typed: &str, known: &[&'a str]) -> &'a str {
    /// A key of a hostile file may be as long as the file.
    const LONGEST: usize = 64;
    let typed: String = typed.to_lowercase().chars().take(LONGEST).collect();
    known.iter().min_by_key(|word| strsim::levenshtein(word, &typed)).copied().unwrap_or("")
}

#[cfg(test)]
mod tests {
    use super::nearest;

    #[test]
    fn a_slip_finds_its_key() {
        assert_eq!(nearest("refrence_hz", &["format", "reference_hz", "title"]), "reference_hz");
        assert_eq!(nearest(&"x".repeat(1000), &[]), "");
    }
}
