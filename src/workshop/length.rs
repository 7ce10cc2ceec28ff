//! Lengths as people write them at the bench: `38`, `38 mm`, `3.8 cm`, `1.5 in`.

use crate::units::Millimetres;

/// No valve is shorter, mm (common practice, no source).
const SHORTEST_MM: f64 = 5.0;
/// Nor longer, mm; the same as the plan takes.
const LONGEST_MM: f64 = 200.0;
/// A number without a unit below this was read off a ruler in centimetres.
const BARE_FROM: f64 = 10.0;
/// More of one kind than this is a slip of the pen.
const MOST: u32 = 9999;

/// Why a text is no length of a valve.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum LengthError {
    /// Not a number with a known unit.
    #[error("`{text}` is not a length")]
    NotALength {
        /// As typed.
        text: String,
    },
    /// A number without a unit that nobody means in millimetres.
    #[error(
        "`{text}` has no unit, and a valve of {text} mm is too short to be meant; rulers are read in centimetres"
    )]
    Bare {
        /// As typed.
        text: String,
        /// The same read as centimetres.
        likely: f64,
    },
    /// No valve has that length.
    #[error("`{text}` is {mm} mm, and valves are {SHORTEST_MM} to {LONGEST_MM} mm long")]
    OutOfRange {
        /// As typed.
        text: String,
        /// What it comes to.
        mm: f64,
        /// The same number in the unit that was likely meant.
        likely: Option<f64>,
    },
    /// Not the width of a valve.
    #[error("`{text}` is no width of a valve")]
    NotAWidth {
        /// As typed.
        text: String,
    },
    /// Not `38mm=12`.
    #[error("`{text}` is not a length and a count")]
    NotACount {
        /// As typed.
        text: String,
    },
}

impl LengthError {
    /// What to do about it.
    pub fn next(&self) -> String {
        match self {
            Self::NotALength { .. } => {
                "write a number and `mm`, `cm` or `in`: `38`, `38 mm`, `3.8 cm`, `1.5 in`".into()
            }
            Self::Bare { likely, text } if is_length(*likely) => {
                format!("write `{likely} mm` or `{text} cm` if {likely} mm is meant")
            }
            Self::Bare { .. } | Self::OutOfRange { likely: None, .. } => {
                "measure again, and write the unit: `38 mm`, `3.8 cm`, `1.5 in`".into()
            }
            Self::OutOfRange { likely: Some(likely), .. } => {
                format!("write `{likely} mm` if that is meant")
            }
            Self::NotAWidth { .. } => "give millimetres from 2 to 40: `7`, `6.5 mm`".into(),
            Self::NotACount { .. } => {
                format!("write the length, `=` and how many, 0 to {MOST}: `38mm=12`")
            }
        }
    }
}

/// Read the length of a valve; a bare number is millimetres, a comma may stand for the point.
///
/// A bare number below 10 is refused: it was read in centimetres, and is named as such.
///
/// # Example
/// ```
/// use platenote::workshop::parse_length;
/// assert_eq!(parse_length("3.8 cm").unwrap().get(), 38.0);
/// assert_eq!(parse_length("1.5 in").unwrap().get(), 38.1);
/// assert!(parse_length("3.8").unwrap_err().next().contains("38 mm"));
/// ```
pub fn parse_length(text: &str) -> Result<Millimetres, LengthError> {
    let text = text.trim();
    let wrong = || LengthError::NotALength { text: text.to_owned() };
    let digits_end = text
        .find(|letter: char| !letter.is_ascii_digit() && !matches!(letter, '.' | ','))
        .unwrap_or(text.len());
    let (digits, unit) = text.split_at(digits_end);
    let plain = digits.replace(',', ".");
    let is_number = plain.bytes().any(|byte| byte.is_ascii_digit())
        && plain.bytes().filter(|&byte| byte == b'.').count() <= 1
        && plain.len() <= 12;
    let number: f64 = if is_number { plain.parse().map_err(|_| wrong())? } else { return Err(wrong()) };
    let unit = unit.trim().to_lowercase();
    let mm_each = match unit.as_str() {
        "" | "mm" => 1.0,
        "cm" => 10.0,
        // Exact by definition since 1959 (ISO 31-1, from memory).
        "in" | "inch" | "inches" | "\"" | "″" => 25.4,
        _ => return Err(wrong()),
    };
    if unit.is_empty() && number < BARE_FROM {
        return Err(LengthError::Bare { text: text.to_owned(), likely: rounded(number * 10.0) });
    }
    let mm = rounded(number * mm_each);
    if !is_length(mm) {
        // Ten times off is the unit of the ruler, one way or the other.
        let likely = [rounded(number * 10.0), number, rounded(number / 10.0)];
        let likely = likely.into_iter().find(|&other| other != mm && is_length(other));
        return Err(LengthError::OutOfRange { text: text.to_owned(), mm, likely });
    }
    Millimetres::new(mm).ok_or_else(wrong)
}

/// Read the width of a valve: 2 to 40 mm, where a bare number is always millimetres.
pub fn parse_width(text: &str) -> Result<Millimetres, LengthError> {
    let plain = text.trim().to_lowercase().replace(',', ".");
    let number = plain.strip_suffix("mm").unwrap_or(&plain).trim();
    let is_number = number.len() <= 12 && number.bytes().all(|byte| byte.is_ascii_digit() || byte == b'.');
    let width = number.parse::<f64>().ok().filter(|width| is_number && (2.0..=40.0).contains(width));
    width.and_then(Millimetres::new).ok_or_else(|| LengthError::NotAWidth { text: text.to_owned() })
}

/// Read `38mm=12`: a length and how many of it there are.
pub fn parse_count(text: &str) -> Result<(Millimetres, u32), LengthError> {
    let wrong = || LengthError::NotACount { text: text.trim().to_owned() };
    let (length, count) = text.rsplit_once('=').ok_or_else(wrong)?;
    let length = parse_length(length)?;
    let count = count.trim();
    let is_plain = !count.is_empty() && count.bytes().all(|byte| byte.is_ascii_digit());
    let count = count.parse::<u32>().ok().filter(|count| is_plain && *count <= MOST).ok_or_else(wrong)?;
    Ok((length, count))
}

fn is_length(mm: f64) -> bool {
    (SHORTEST_MM..=LONGEST_MM).contains(&mm)
}

/// To the micrometre, so that 3.8 cm and 38 mm are the same length.
fn rounded(mm: f64) -> f64 {
    (mm * 1000.0).round() / 1000.0
}
