//! What is typed while a reed is tuned.

use crate::repair::Part;

/// Something that was typed.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Key {
    Filed(Part, u32),
    Strokes(u32),
    Undo,
    Skip,
    Back,
    Note(String),
    Stop,
    /// Nothing of these.
    Unknown(String),
}

/// More strokes in one go are a slip of the keys.
const MOST_STROKES: u32 = 500;

/// The key a line stands for; an empty line stands for none.
pub(super) fn key(line: &str) -> Option<Key> {
    let line = line.trim();
    let words: Vec<String> = line.split_whitespace().map(str::to_lowercase).collect();
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    let count = |text: &str| text.parse::<u32>().ok().filter(|count| *count <= MOST_STROKES);
    let unknown = || Key::Unknown(line.to_owned());
    Some(match words.as_slice() {
        [] => return None,
        ["undo" | "u"] => Key::Undo,
        ["skip" | "s"] => Key::Skip,
        ["back" | "b"] => Key::Back,
        ["stop" | "quit" | "q"] => Key::Stop,
        ["tip" | "t", strokes] => count(strokes).map_or_else(unknown, |n| Key::Filed(Part::Tip, n)),
        ["root" | "r", strokes] => count(strokes).map_or_else(unknown, |n| Key::Filed(Part::Root, n)),
        ["note" | "n", _, ..] => Key::Note(
            line.split_once(char::is_whitespace).map_or(String::new(), |(_, text)| text.trim().into()),
        ),
        [strokes] => count(strokes).map_or_else(unknown, Key::Strokes),
        _ => unknown(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn goes_and_counts_are_read_and_slips_are_none() {
        assert_eq!(key(" tip 3 "), Some(Key::Filed(Part::Tip, 3)));
        assert_eq!(key("R 0"), Some(Key::Filed(Part::Root, 0)));
        assert_eq!(key("5"), Some(Key::Strokes(5)));
        assert_eq!(key("note Rivet is loose"), Some(Key::Note("Rivet is loose".into())));
        assert_eq!(key(""), None);
        for odd in ["tip", "tip many", "5000", "xyzzy", "tip 3 4"] {
            assert_eq!(key(odd), Some(Key::Unknown(odd.into())));
        }
    }
}
