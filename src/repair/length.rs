//! Lengths as people write them at the bench: `38`, `38 mm`, `3.8 cm`, `1.5 in`, `1 1/2 in`.

use crate::units::Millimetres;

/// No valve is shorter, mm (common practice, no source).
const SHORTEST_MM: f64 = 5.0;
/// Nor longer, mm; the same as the plan takes.
const LONGEST_MM: f64 = 200.0;
/// A number without a unit below this was read off a ruler in centimetres.
const BARE_FROM: f64 = 10.0;
/// More of one kind than this is a slip of the pen.
pub const MOST_COUNT: u32 = 9999;

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
    /// A fraction without a unit: an inch rule was read.
    #[error("`{text}` has no unit; fractions are read in inches")]
    BareFraction {
        /// As typed.
        text: String,
        /// The same read as inches, mm.
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
    /// Not the thickness of a valve.
    #[error("`{text}` is no thickness of a valve")]
    NotAThickness {
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
                "write a number and `mm`, `cm` or `in`: `38`, `38 mm`, `3.8 cm`, `1.5 in`, `1 1/2 in`".into()
            }
            Self::BareFraction { likely, text } => format!("write `{text} in` if {likely} mm is meant"),
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
            Self::NotAThickness { .. } => "give millimetres from 0.05 to 5: `0.5`, `0.45 mm`".into(),
            Self::NotACount { .. } => {
                format!("write the length, `=` and how many, 0 to {MOST_COUNT}: `38mm=12`")
            }
        }
    }
}

/// Read the length of a valve; a bare number is millimetres, a comma may stand for the point, and a fraction may follow
/// the whole or stand alone: `1 1/2 in`, `1-1/2"`, `1½ in`.
///
/// A bare number below 10 is refused: it was read in centimetres, and is named as such. So is a bare fraction: it was
/// read in inches.
///
/// # Example
/// ```
/// use platenote::repair::parse_length;
/// assert_eq!(parse_length("3.8 cm").unwrap().get(), 38.0);
/// assert_eq!(parse_length("1 1/2 in").unwrap().get(), 38.1);
/// assert!(parse_length("3.8").unwrap_err().next().contains("38 mm"));
/// ```
pub fn parse_length(text: &str) -> Result<Millimetres, LengthError> {
    let text = text.trim();
    let wrong = || LengthError::NotALength { text: text.to_owned() };
    let is_of_unit = |letter: char| letter.is_ascii_alphabetic() || matches!(letter, '"' | '″' | '”');
    let (number, unit) = text.split_at(text.find(is_of_unit).unwrap_or(text.len()));
    let (number, is_fraction) = number_of(number.trim()).ok_or_else(wrong)?;
    let unit = unit.trim().to_lowercase();
    let mm_each = match unit.as_str() {
        "" | "mm" => 1.0,
        "cm" => 10.0,
        "in" | "in." | "inch" | "inches" | "\"" | "″" | "”" => Millimetres::INCH_MM,
        _ => return Err(wrong()),
    };
    if unit.is_empty() && is_fraction {
        return Err(LengthError::BareFraction { text: text.to_owned(), likely: rounded(number * 25.4) });
    }
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
    Millimetres::new(mm).map(|length| length.written(mm_each == Millimetres::INCH_MM)).ok_or_else(wrong)
}

/// `38`, `3.8`, `3,8`, `1 1/2`, `1-1/2`, `1½`, `3/4`; and whether a fraction is in it.
fn number_of(text: &str) -> Option<(f64, bool)> {
    const SIGNS: [(char, &str); 7] =
        [('½', "1/2"), ('¼', "1/4"), ('¾', "3/4"), ('⅛', "1/8"), ('⅜', "3/8"), ('⅝', "5/8"), ('⅞', "7/8")];
    let mut plain = text.replace('⁄', "/");
    for (sign, digits) in SIGNS {
        plain = plain.replace(sign, &format!(" {digits}"));
    }
    let plain = plain.trim();
    let Some((before, below)) = plain.split_once('/') else { return Some((decimal(plain)?, false)) };
    let (whole, above) = match before.trim_end().rsplit_once([' ', '-']) {
        Some((whole, above)) => {
            (whole_number(whole.strip_suffix(" -").unwrap_or(whole))?, whole_number(above)?)
        }
        None => (0.0, whole_number(before.trim_end())?),
    };
    let below = whole_number(below.trim_start())?;
    // A fraction that is no part of one is a slip of the pen.
    (0.0 < above && above < below).then(|| (whole + above / below, true))
}

/// At most three digits.
fn whole_number(text: &str) -> Option<f64> {
    let is_plain = (1..=3).contains(&text.len()) && text.bytes().all(|byte| byte.is_ascii_digit());
    if is_plain { text.parse().ok() } else { None }
}

/// Digits with one point or comma among them at most.
fn decimal(text: &str) -> Option<f64> {
    let plain = text.replace(',', ".");
    let is_number = plain.bytes().all(|byte| byte.is_ascii_digit() || byte == b'.')
        && plain.bytes().any(|byte| byte.is_ascii_digit())
        && plain.bytes().filter(|&byte| byte == b'.').count() <= 1
        && plain.len() <= 12;
    if is_number { plain.parse().ok() } else { None }
}

/// Read the thickness of a valve: 0.05 to 5 mm, where a bare number is always millimetres.
pub fn parse_thickness(text: &str) -> Result<Millimetres, LengthError> {
    bare_mm(text, 0.05..=5.0).ok_or_else(|| LengthError::NotAThickness { text: text.to_owned() })
}

/// Read the width of a valve: 2 to 40 mm, where a bare number is always millimetres.
pub fn parse_width(text: &str) -> Result<Millimetres, LengthError> {
    bare_mm(text, 2.0..=40.0).ok_or_else(|| LengthError::NotAWidth { text: text.to_owned() })
}

/// A number of millimetres, or of inches where that is said.
fn bare_mm(text: &str, range: std::ops::RangeInclusive<f64>) -> Option<Millimetres> {
    let plain = text.trim().to_lowercase();
    let in_inches = ["inches", "inch", "in", "\"", "″", "”"].iter().find_map(|unit| plain.strip_suffix(unit));
    let number = in_inches.unwrap_or_else(|| plain.strip_suffix("mm").unwrap_or(&plain)).trim();
    let (number, _) = number_of(number)?;
    let mm = if in_inches.is_some() { rounded(number * Millimetres::INCH_MM) } else { number };
    let length = Millimetres::new(mm).filter(|length| range.contains(&length.get()))?;
    Some(length.written(in_inches.is_some()))
}

/// Read `38mm=12`: a length and how many of it there are.
pub fn parse_count(text: &str) -> Result<(Millimetres, u32), LengthError> {
    let wrong = || LengthError::NotACount { text: text.trim().to_owned() };
    let (length, count) = text.rsplit_once('=').ok_or_else(wrong)?;
    let length = parse_length(length)?;
    let count = count.trim();
    let is_plain = !count.is_empty() && count.bytes().all(|byte| byte.is_ascii_digit());
    let count =
        count.parse::<u32>().ok().filter(|count| is_plain && *count <= MOST_COUNT).ok_or_else(wrong)?;
    Ok((length, count))
}

fn is_length(mm: f64) -> bool {
    (SHORTEST_MM..=LONGEST_MM).contains(&mm)
}

/// To the micrometre, so that 3.8 cm and 38 mm are the same length.
fn rounded(mm: f64) -> f64 {
    (mm * 1000.0).round() / 1000.0
}
