//! How notes are written: chosen once by the person, shown everywhere; files keep one way, that of `A4`.

use std::sync::atomic::{AtomicUsize, Ordering};

/// A way to write notes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoteNames {
    /// `A4`, `F#2`, `Bb3`: as stored.
    Scientific,
    /// `H` for the note below C, `B` for the one below that: `H2`, `B2`, `Fis2`.
    German,
    /// Capital and small letters with strokes: `E,`, `E`, `e`, `c'`, `a'`.
    Helmholtz,
    /// The same with H and B.
    GermanHelmholtz,
    /// `La4`, `Fa#2`, `Si3`; the octaves are counted as in `A4`.
    Solfege,
}

const NAMES: [&str; 12] = ["C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"];
const GERMAN: [&str; 12] = ["C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "B", "H"];
const SYLLABLES: [&str; 12] = ["Do", "Do#", "Re", "Re#", "Mi", "Fa", "Fa#", "Sol", "Sol#", "La", "La#", "Si"];

/// The way chosen for this run of the program, by its place in [`NoteNames::ALL`].
static CHOSEN: AtomicUsize = AtomicUsize::new(0);

impl NoteNames {
    /// Every way, that of the files first.
    pub const ALL: [NoteNames; 5] = [
        NoteNames::Scientific,
        NoteNames::German,
        NoteNames::Helmholtz,
        NoteNames::GermanHelmholtz,
        NoteNames::Solfege,
    ];

    /// The word for it.
    pub fn as_str(self) -> &'static str {
        match self {
            NoteNames::Scientific => "scientific",
            NoteNames::German => "german",
            NoteNames::Helmholtz => "helmholtz",
            NoteNames::GermanHelmholtz => "german_helmholtz",
            NoteNames::Solfege => "solfege",
        }
    }

    /// What `word` stands for; `solfège` too.
    pub fn named(word: &str) -> Option<Self> {
        let word = word.trim().to_lowercase().replace('è', "e").replace('-', "_");
        Self::ALL.into_iter().find(|names| names.as_str() == word)
    }

    /// Write notes so from now on, in this run of the program.
    pub fn choose(self) {
        let at = Self::ALL.into_iter().position(|names| names == self).unwrap_or(0);
        CHOSEN.store(at, Ordering::Relaxed);
    }

    /// The way that was chosen; scientific where none was.
    pub fn chosen() -> Self {
        Self::ALL.get(CHOSEN.load(Ordering::Relaxed)).copied().unwrap_or(NoteNames::Scientific)
    }

    /// The note of this number, 69 for A4, written so.
    pub fn write(self, number: i16) -> String {
        let octave = i32::from(number.div_euclid(12)) - 1;
        let class = usize::from(number.rem_euclid(12).unsigned_abs());
        let name = |names: [&'static str; 12]| names.get(class).copied().unwrap_or("C");
        match self {
            NoteNames::Scientific => format!("{}{octave}", name(NAMES)),
            NoteNames::German => format!("{}{octave}", name(GERMAN)),
            NoteNames::Solfege => format!("{}{octave}", name(SYLLABLES)),
            NoteNames::Helmholtz => with_strokes(name(NAMES), octave),
            NoteNames::GermanHelmholtz => with_strokes(name(GERMAN), octave),
        }
    }

    /// The number of a note that is written so; flats and sharps as signs, in German as `is`, `es` and `s` too.
    pub fn read(self, text: &str) -> Option<i16> {
        let text = text.trim();
        match self {
            NoteNames::Scientific => {
                let (name, octave) = split_octave(text)?;
                number(english(name)?, octave)
            }
            NoteNames::German => {
                let (name, octave) = split_octave(text)?;
                number(german(name)?, octave)
            }
            NoteNames::Solfege => {
                let (name, octave) = split_octave(text)?;
                number(syllable(name)?, octave)
            }
            NoteNames::Helmholtz | NoteNames::GermanHelmholtz => {
                let (name, octave) = split_strokes(text)?;
                let class = if self == NoteNames::Helmholtz { english(name)? } else { german(name)? };
                number(class, octave)
            }
        }
    }
}

/// Pitch class before octaves are wrapped: `Cb` is -1.
type Class = i32;

fn number(class: Class, octave: i32) -> Option<i16> {
    let within = (-1..=10).contains(&octave);
    i16::try_from((octave + 1) * 12 + class).ok().filter(|_| within)
}

/// `C,` is the octave below the great one, `C` the great, `c` the small, `c'` the one of 261.63 Hz
/// (H. v. Helmholtz, Die Lehre von den Tonempfindungen, 1863; from memory).
fn with_strokes(name: &str, octave: i32) -> String {
    const GREAT: i32 = 2;
    let times = |sign: &str, n: i32| sign.repeat(usize::try_from(n).unwrap_or(0));
    match octave {
        octave if octave <= GREAT => format!("{name}{}", times(",", GREAT - octave)),
        octave => format!("{}{}", name.to_lowercase(), times("'", octave - GREAT - 1)),
    }
}

fn split_strokes(text: &str) -> Option<(&str, i32)> {
    const STROKES: [char; 5] = [',', '\'', '’', '′', '\u{2032}'];
    let name = text.trim_end_matches(STROKES);
    let strokes = i32::try_from(text.get(name.len()..)?.chars().count()).ok()?;
    let is_down = text.ends_with(',');
    let octave = match (name.chars().next()?.is_uppercase(), is_down) {
        (true, true) => 2 - strokes,
        (true, false) if strokes == 0 => 2,
        (false, false) => 3 + strokes,
        _ => return None,
    };
    let is_mixed = is_down && text.get(name.len()..)?.chars().any(|stroke| stroke != ',');
    (!is_mixed).then_some((name, octave))
}

fn split_octave(text: &str) -> Option<(&str, i32)> {
    let at = text.find(|letter: char| letter.is_ascii_digit() || letter == '-')?;
    let (name, octave) = text.split_at(at);
    Some((name.trim(), octave.parse().ok()?))
}

fn english(name: &str) -> Option<Class> {
    let mut letters = name.chars();
    let base = match letters.next()?.to_ascii_uppercase() {
        'H' => return None,
        letter => natural(letter)?,
    };
    Some(base + sign(letters.as_str())?)
}

fn german(name: &str) -> Option<Class> {
    let lower = name.to_lowercase();
    match lower.as_str() {
        "b" | "hb" | "h♭" | "hes" => return Some(10),
        "es" => return Some(3),
        "as" => return Some(8),
        _ => {}
    }
    let mut letters = lower.chars();
    let base = match letters.next()? {
        'h' => 11,
        // B is the flat already.
        'b' => return None,
        letter => natural(letter.to_ascii_uppercase())?,
    };
    match letters.as_str() {
        "is" => Some(base + 1),
        "es" => Some(base - 1),
        signs => Some(base + sign(signs)?),
    }
}

fn syllable(name: &str) -> Option<Class> {
    let lower = name.to_lowercase().replace('é', "e").replace("ut", "do");
    let bases = [("sol", 7), ("do", 0), ("re", 2), ("mi", 4), ("fa", 5), ("la", 9), ("si", 11)];
    let (rest, base) = bases.into_iter().find_map(|(word, base)| Some((lower.strip_prefix(word)?, base)))?;
    match rest.trim() {
        "diesis" | "dièse" | "diese" => Some(base + 1),
        "bemolle" | "bémol" | "bemol" => Some(base - 1),
        signs => Some(base + sign(signs)?),
    }
}

fn natural(letter: char) -> Option<Class> {
    NAMES
        .iter()
        .position(|name| name.len() == 1 && name.starts_with(letter))
        .and_then(|at| i32::try_from(at).ok())
}

fn sign(text: &str) -> Option<Class> {
    match text {
        "" => Some(0),
        "#" | "♯" => Some(1),
        "b" | "♭" => Some(-1),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_note_is_read_back_as_it_is_written() {
        for names in NoteNames::ALL {
            for number in 0..=131 {
                assert_eq!(
                    names.read(&names.write(number)),
                    Some(number),
                    "{names:?} {}",
                    names.write(number)
                );
            }
            assert_eq!(NoteNames::named(names.as_str()), Some(names));
        }
        assert_eq!(NoteNames::named("Solfège"), Some(NoteNames::Solfege));
    }

    /// The same four notes as textbooks write them: A of 440 Hz, the B below middle C, B flat below that, F sharp of 92.5 Hz.
    #[test]
    fn the_notes_of_four_traditions() {
        let written = |names: NoteNames| [69, 59, 58, 42].map(|number| names.write(number));
        assert_eq!(written(NoteNames::Scientific), ["A4", "B3", "A#3", "F#2"]);
        assert_eq!(written(NoteNames::German), ["A4", "H3", "B3", "F#2"]);
        assert_eq!(written(NoteNames::Helmholtz), ["a'", "b", "a#", "F#"]);
        assert_eq!(written(NoteNames::GermanHelmholtz), ["a'", "h", "b", "F#"]);
        assert_eq!(written(NoteNames::Solfege), ["La4", "Si3", "La#3", "Fa#2"]);
        let read = |names: NoteNames, text: &str| names.read(text);
        for (text, number) in [("Fis2", 42), ("Es3", 51), ("B3", 58), ("H3", 59), ("As2", 44), ("ces4", 59)] {
            assert_eq!(read(NoteNames::German, text), Some(number), "{text}");
        }
        for (text, number) in [("Sib3", 58), ("ré4", 62), ("Sol#2", 44), ("fa dièse 2", 42), ("Ut4", 60)] {
            assert_eq!(read(NoteNames::Solfege, text), Some(number), "{text}");
        }
        for (text, number) in [("E,", 28), ("c''", 72), ("bb", 58), ("C", 36)] {
            assert_eq!(read(NoteNames::Helmholtz, text), Some(number), "{text}");
        }
        for (names, text) in [
            (NoteNames::German, "Bb3"),
            (NoteNames::Helmholtz, "h"),
            (NoteNames::Helmholtz, "C'"),
            (NoteNames::Helmholtz, "c,"),
            (NoteNames::Solfege, "A4"),
            (NoteNames::Scientific, "H3"),
        ] {
            assert_eq!(read(names, text), None, "{names:?} {text}");
        }
    }
}
