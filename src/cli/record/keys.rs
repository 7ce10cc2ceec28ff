//! What is typed while the takes are recorded.

use crate::instrument::Stroke;

/// Something that was typed.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Key {
    Again,
    Skip,
    Back,
    There(Option<Stroke>),
    Here,
    Note(String),
    Temperature(f64),
    Stop,
    /// Nothing of these.
    Unknown(String),
}

/// The key a line stands for; an empty line stands for none.
pub(super) fn key(line: &str) -> Option<Key> {
    let line = line.trim();
    let (word, rest) =
        line.split_once(char::is_whitespace).map_or((line, ""), |(word, rest)| (word, rest.trim()));
    let word = word.to_lowercase();
    if word.is_empty() {
        return None;
    }
    let unknown = || Some(Key::Unknown(line.to_owned()));
    // `there` and `temperature` begin alike, as do `skip` and `stop`: the shorter forms are those of the frequent ones.
    let is = |name: &str, least: usize| word.len() >= least && name.starts_with(word.as_str());
    if rest.is_empty() {
        for (name, least, key) in [
            ("again", 1, Key::Again),
            ("skip", 1, Key::Skip),
            ("back", 1, Key::Back),
            ("there", 1, Key::There(None)),
            ("here", 1, Key::Here),
            ("stop", 2, Key::Stop),
            ("quit", 1, Key::Stop),
        ] {
            if is(name, least) {
                return Some(key);
            }
        }
        return unknown();
    }
    if is("there", 1) {
        return match rest.to_lowercase().as_str() {
            "press" | "p" => Some(Key::There(Some(Stroke::Press))),
            "draw" | "d" => Some(Key::There(Some(Stroke::Draw))),
            _ => unknown(),
        };
    }
    if is("note", 1) {
        return Some(Key::Note(rest.to_owned()));
    }
    if is("temperature", 2) {
        let number = rest.trim_end_matches(['C', '°', ' ']).replace(',', ".").parse::<f64>();
        return match number {
            Ok(celsius) if (-20.0..=50.0).contains(&celsius) => Some(Key::Temperature(celsius)),
            _ => unknown(),
        };
    }
    unknown()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn first_letters_will_do() {
        assert_eq!(key(" a "), Some(Key::Again));
        assert_eq!(key("s"), Some(Key::Skip));
        assert_eq!(key("st"), Some(Key::Stop));
        assert_eq!(key("STOP"), Some(Key::Stop));
        assert_eq!(key("note wax is brittle"), Some(Key::Note("wax is brittle".into())));
        assert_eq!(key("temperature 19,5 °C"), Some(Key::Temperature(19.5)));
        assert_eq!(key(""), None);
        for odd in ["xyzzy", "note", "temperature 200", "temperature warm", "again now"] {
            assert_eq!(key(odd), Some(Key::Unknown(odd.into())));
        }
    }
}
