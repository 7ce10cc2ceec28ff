//! A note of the keyboard by its name and number.

use std::fmt;
use std::str::FromStr;

use super::NoteNames;

/// A note of the twelve-tone scale; the number is that of the MIDI standard, 69 for A4.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Note(i16);

impl Note {
    /// The note with this number, 0 (C-1) to 135 (D#10).
    pub fn from_number(number: i16) -> Option<Self> {
        (0..=135).contains(&number).then_some(Self(number))
    }

    /// The number, 69 for A4.
    pub fn number(self) -> i16 {
        self.0
    }

    /// The pitch class, 0 for C.
    pub fn pitch_class(self) -> usize {
        self.0.rem_euclid(12) as usize
    }
}

impl Note {
    /// As files, JSON and the diary have it, whatever way people chose: `F#2`.
    pub fn stored(self) -> String {
        NoteNames::Scientific.write(self.0)
    }

    /// Read a note as it is typed: in the way that was chosen.
    pub fn typed(text: &str) -> Result<Self, String> {
        let names = NoteNames::chosen();
        if names == NoteNames::Scientific {
            return text.parse();
        }
        names.read(text).and_then(Self::from_number).ok_or_else(|| {
            let (way, like) = (names.as_str(), names.write(42));
            format!("`{text}` is not a note; notes are written in the {way} way, `{like}`")
        })
    }
}

impl fmt::Display for Note {
    /// In the way that was chosen.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&NoteNames::chosen().write(self.0))
    }
}

impl FromStr for Note {
    type Err = String;

    /// Reads `A4`, `F#2`, `Bb3`, with `♯` and `♭` also; C4 is the note of 261.63 Hz.
    fn from_str(text: &str) -> Result<Self, String> {
        let wrong = || {
            format!(
                "`{text}` is not a note; write a letter A to G, `#` or `b` where needed, and the octave: `F#2`"
            )
        };
        let text_trimmed = text.trim();
        let mut letters = text_trimmed.chars();
        let letter = letters.next().ok_or_else(wrong)?;
        let base = match letter.to_ascii_uppercase() {
            'C' => 0,
            'D' => 2,
            'E' => 4,
            'F' => 5,
            'G' => 7,
            'A' => 9,
            'B' => 11,
            _ => return Err(wrong()),
        };
        let rest = letters.as_str();
        let (shift, octave) = match rest.chars().next() {
            Some('#' | '♯') => (1, &rest[rest.chars().next().map_or(0, char::len_utf8)..]),
            Some('b' | '♭') => (-1, &rest[rest.chars().next().map_or(0, char::len_utf8)..]),
            _ => (0, rest),
        };
        let octave: i16 = octave.parse().map_err(|_| wrong())?;
        if !(-1..=10).contains(&octave) {
            return Err(wrong());
        }
        Self::from_number((octave + 1) * 12 + base + shift).ok_or_else(wrong)
    }
}
