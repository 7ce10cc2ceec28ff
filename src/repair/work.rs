//! What can be done at a place, as it is typed: `cleaned`, `valve fitted 38mm bin 1`, `rust light`.

use std::fmt;

use super::length::{LengthError, parse_length};
use super::tray::Condition;
use crate::units::Millimetres;

/// A piece of work, or something seen.
#[derive(Debug, Clone, PartialEq)]
pub enum Work {
    /// The plate was lifted off the block.
    Lifted,
    /// The plate was put back without wax (screws, a leather seat).
    PutBack,
    /// The plate was waxed to the block.
    Waxed,
    /// Cleaned; with a solvent where told.
    Cleaned {
        /// Whether a solvent was used.
        solvent: bool,
    },
    /// How much rust there is.
    Rust(Rust),
    /// The old valve was lifted off.
    ValveOff {
        /// Its length where it was measured.
        length: Option<Millimetres>,
        /// Its condition.
        condition: Condition,
        /// The bin it was put into.
        bin: Option<String>,
    },
    /// A valve was fitted.
    ValveFitted {
        /// Its length where it was told.
        length: Option<Millimetres>,
        /// Where it came from.
        source: Source,
    },
    /// The old valve stays on.
    ValveKept,
    /// A helper spring was fitted.
    SpringFitted,
    /// The tongue was filed.
    Filed(Filing),
    /// Something was soldered.
    Soldered,
    /// The reed was tuned.
    Tuned,
    /// A pause: everything dry, the room aired, nothing hot.
    Pause,
    /// A word about it.
    Note(String),
    /// A photo, by its file in the job.
    Photo(String),
    /// Something a later program noted, in its words.
    Other(String),
}

/// How rusty a tongue is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Rust {
    /// None.
    None,
    /// A film that wipes off.
    Light,
    /// Pits.
    Heavy,
}

/// A go with the file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Filing {
    /// At which end of the tongue.
    pub part: Part,
    /// How many strokes, where they were counted; 0 is one light stroke.
    pub strokes: Option<u32>,
    /// With what, where it was told.
    pub tool: Option<String>,
    /// By whom, where it was told.
    pub by: Option<String>,
}

impl Filing {
    /// Filed there, and nothing else told.
    pub fn at(part: Part) -> Self {
        Self { part, strokes: None, tool: None, by: None }
    }
}

/// Work in words, goes of one hand at one end of a tongue summed up: `filed tip 6 strokes with file by anna, in 3 goes`.
pub fn summed_work(work: &[Work]) -> Vec<String> {
    let mut summed: Vec<(Work, u32)> = Vec::new();
    for one in work {
        let is_same = |there: &Work| match (there, one) {
            (Work::Filed(left), Work::Filed(right)) => {
                Filing { strokes: None, ..left.clone() } == Filing { strokes: None, ..right.clone() }
                    && left.strokes.is_some() == right.strokes.is_some()
            }
            (left, right) => left == right && !matches!(right, Work::Note(_)),
        };
        match summed.iter_mut().find(|(there, _)| is_same(there)) {
            Some((there, count)) => {
                *count += 1;
                if let (Work::Filed(there), Work::Filed(one)) = (there, one) {
                    there.strokes = there.strokes.zip(one.strokes).map(|(before, more)| before + more);
                }
            }
            None => summed.push((one.clone(), 1)),
        }
    }
    let words = |(work, count): (Work, u32)| match (&work, count) {
        (_, 1) => work.to_string(),
        (Work::Filed(_), goes) => format!("{work}, in {goes} goes"),
        (_, times) => format!("{work}, {times} times"),
    };
    summed.into_iter().map(words).collect()
}

/// Where on the tongue metal was taken off.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Part {
    /// At the tip: raises the pitch.
    Tip,
    /// At the root: lowers it.
    Root,
}

/// Where a fitted valve came from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Source {
    /// From the tray, from that bin where it is told.
    Tray {
        /// The bin.
        bin: Option<String>,
    },
    /// Newly cut.
    New,
}

/// Why words are no work.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum WorkError {
    /// Nothing was said.
    #[error("nothing is said of what was done")]
    Nothing,
    /// Not known.
    #[error("`{words}` is no work that can be marked")]
    Unknown {
        /// As typed.
        words: String,
    },
    /// A length could not be read.
    #[error("{0}")]
    Length(#[from] LengthError),
    /// Nothing says where.
    #[error("nothing says where `{work}` was done")]
    NoPlace {
        /// The work.
        work: String,
    },
    /// Nothing says on which face.
    #[error("`{work}` at {plate} does not say on which face")]
    NoFace {
        /// The work.
        work: String,
        /// The plate.
        plate: String,
    },
    /// A tool's or a person's name is not plain.
    #[error("`{name}` is no plain name for a tool or a person")]
    Name {
        /// As typed.
        name: String,
    },
    /// A bin's name is not plain.
    #[error("`{bin}` cannot name a bin")]
    Bin {
        /// As typed.
        bin: String,
    },
}

impl WorkError {
    /// What to do about it.
    pub fn next(&self) -> String {
        match self {
            Self::Nothing | Self::Unknown { .. } => format!("write one of: {KNOWN}"),
            Self::Length(error) => error.next(),
            Self::NoPlace { .. } => "write the place before it: `A7 outer`, `A1..A12`".into(),
            Self::NoFace { plate, .. } => format!("write `{plate} outer` or `{plate} inner`"),
            Self::Bin { .. } | Self::Name { .. } => "use up to 20 letters, digits, `_` and `-`".into(),
        }
    }
}

impl WorkError {
    fn name(name: &str) -> Self {
        Self::Name { name: name.to_owned() }
    }
}

/// Everything that can be marked, for messages.
const KNOWN: &str = "lifted, put back, waxed, cleaned, cleaned solvent, rust none|light|heavy, \
    valve off [LENGTH] [CONDITION] [bin N], valve fitted [LENGTH] [bin N|new], valve kept, spring fitted, \
    filed tip|root [N strokes] [with TOOL] [by NAME], soldered, tuned, pause, note TEXT, photo FILE";

impl Work {
    /// Read words as typed; letters of any case.
    ///
    /// # Example
    /// ```
    /// use platenote::repair::{Source, Work};
    /// let work = Work::parse(&["valve", "fitted", "38mm", "bin", "2"]).unwrap();
    /// assert_eq!(work.to_string(), "valve fitted 38 mm bin 2");
    /// ```
    pub fn parse<W: AsRef<str>>(words: &[W]) -> Result<Self, WorkError> {
        let words: Vec<&str> = words.iter().map(AsRef::as_ref).flat_map(str::split_whitespace).collect();
        let lower: Vec<String> = words.iter().map(|word| word.to_lowercase()).collect();
        let lower: Vec<&str> = lower.iter().map(String::as_str).collect();
        let unknown = || WorkError::Unknown { words: words.join(" ") };
        Ok(match lower.as_slice() {
            [] => return Err(WorkError::Nothing),
            ["lifted"] => Work::Lifted,
            ["put", "back"] => Work::PutBack,
            ["waxed"] => Work::Waxed,
            ["cleaned"] => Work::Cleaned { solvent: false },
            ["cleaned", "solvent"] | ["cleaned", "with", "solvent"] => Work::Cleaned { solvent: true },
            ["rust", "none"] => Work::Rust(Rust::None),
            ["rust", "light"] => Work::Rust(Rust::Light),
            ["rust", "heavy"] => Work::Rust(Rust::Heavy),
            ["valve", "kept"] => Work::ValveKept,
            ["valve", "off", rest @ ..] | ["valve", "lifted", "off", rest @ ..] => valve_off(rest, &unknown)?,
            ["valve", "fitted", rest @ ..] => valve_fitted(rest, &unknown)?,
            ["spring", "fitted"] => Work::SpringFitted,
            ["filed", "tip", rest @ ..] => Work::Filed(filing(Part::Tip, rest, &unknown)?),
            ["filed", "root", rest @ ..] => Work::Filed(filing(Part::Root, rest, &unknown)?),
            ["soldered"] => Work::Soldered,
            ["tuned"] => Work::Tuned,
            ["pause"] => Work::Pause,
            ["note", _, ..] => Work::Note(words.get(1..).unwrap_or_default().join(" ")),
            _ => return Err(unknown()),
        })
    }

    /// Whether something was hot.
    pub fn is_hot(&self) -> bool {
        matches!(self, Work::Waxed | Work::Soldered)
    }

    /// Whether a solvent was open.
    pub fn is_solvent(&self) -> bool {
        matches!(self, Work::Cleaned { solvent: true })
    }
}

/// Whether `name` can name a bin of the tray: up to 20 letters, digits, `_` and `-`.
pub fn is_bin_name(name: &str) -> bool {
    (1..=20).contains(&name.chars().count())
        && name.chars().all(|letter| letter.is_alphanumeric() || matches!(letter, '_' | '-'))
}

type Unknown<'a> = &'a dyn Fn() -> WorkError;

/// More strokes in one go are a slip of the keys.
const MOST_STROKES: u32 = 500;

/// `3 strokes with file by anna`, each part where it is told.
fn filing(part: Part, words: &[&str], unknown: Unknown) -> Result<Filing, WorkError> {
    let mut filing = Filing::at(part);
    let mut left = words;
    if let ["light", "stroke", rest @ ..] = left {
        filing.strokes = Some(0);
        left = rest;
    } else if let [count, "stroke" | "strokes", rest @ ..] = left {
        let strokes = count.parse().ok().filter(|count| (1..=MOST_STROKES).contains(count));
        filing.strokes = Some(strokes.ok_or_else(unknown)?);
        left = rest;
    }
    let name = |name: &str| {
        if is_bin_name(name) { Ok(Some(name.to_owned())) } else { Err(WorkError::name(name)) }
    };
    if let ["with", tool, rest @ ..] = left {
        filing.tool = name(tool)?;
        left = rest;
    }
    if let ["by", by, rest @ ..] = left {
        filing.by = name(by)?;
        left = rest;
    }
    if left.is_empty() { Ok(filing) } else { Err(unknown()) }
}

fn valve_off(words: &[&str], unknown: Unknown) -> Result<Work, WorkError> {
    let (words, bin) = split_bin(words, unknown)?;
    // The condition before the length or behind it, as it comes to mind.
    let condition = |word: Option<&&str>| word.and_then(|word| word.parse::<Condition>().ok());
    let (words, condition) = match (words, condition(words.first()), condition(words.last())) {
        ([rest @ .., _], _, Some(condition)) => (rest, condition),
        ([_, rest @ ..], Some(condition), None) => (rest, condition),
        _ => (words, Condition::Unsaid),
    };
    Ok(Work::ValveOff { length: length(words)?, condition, bin })
}

fn valve_fitted(words: &[&str], unknown: Unknown) -> Result<Work, WorkError> {
    if let [rest @ .., "new"] = words {
        return Ok(Work::ValveFitted { length: length(rest)?, source: Source::New });
    }
    let (words, bin) = split_bin(words, unknown)?;
    Ok(Work::ValveFitted { length: length(words)?, source: Source::Tray { bin } })
}

/// `… bin 2` at the end.
fn split_bin<'a, 'b>(
    words: &'a [&'b str],
    unknown: Unknown,
) -> Result<(&'a [&'b str], Option<String>), WorkError> {
    match words {
        [.., "bin"] => Err(unknown()),
        [rest @ .., "bin", bin] if is_bin_name(bin) => Ok((rest, Some((*bin).to_owned()))),
        [.., "bin", bin] => Err(WorkError::Bin { bin: (*bin).to_owned() }),
        _ => Ok((words, None)),
    }
}

fn length(words: &[&str]) -> Result<Option<Millimetres>, WorkError> {
    if words.is_empty() { Ok(None) } else { Ok(Some(parse_length(&words.join(" "))?)) }
}

impl fmt::Display for Rust {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Rust::None => "none",
            Rust::Light => "light",
            Rust::Heavy => "heavy",
        })
    }
}

impl fmt::Display for Filing {
    /// As it is typed.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.part)?;
        match self.strokes {
            None => {}
            Some(0) => write!(f, " light stroke")?,
            Some(1) => write!(f, " 1 stroke")?,
            Some(strokes) => write!(f, " {strokes} strokes")?,
        }
        if let Some(tool) = &self.tool {
            write!(f, " with {tool}")?;
        }
        if let Some(by) = &self.by {
            write!(f, " by {by}")?;
        }
        Ok(())
    }
}

impl fmt::Display for Part {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Part::Tip => "tip",
            Part::Root => "root",
        })
    }
}

impl fmt::Display for Work {
    /// As it is typed.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let with = |text: &str, length: &Option<Millimetres>| match length {
            Some(length) => format!("{text} {length}"),
            None => text.to_owned(),
        };
        let in_bin = |bin: &Option<String>| bin.as_ref().map_or(String::new(), |bin| format!(" bin {bin}"));
        let text = match self {
            Work::Lifted => "lifted".to_owned(),
            Work::PutBack => "put back".into(),
            Work::Waxed => "waxed".into(),
            Work::Cleaned { solvent: false } => "cleaned".into(),
            Work::Cleaned { solvent: true } => "cleaned solvent".into(),
            Work::Rust(rust) => format!("rust {rust}"),
            Work::ValveOff { length, condition: Condition::Unsaid, bin } => {
                with("valve off", length) + &in_bin(bin)
            }
            Work::ValveOff { length, condition, bin } => {
                format!("{} {condition}{}", with("valve off", length), in_bin(bin))
            }
            Work::ValveFitted { length, source: Source::New } => with("valve fitted", length) + " new",
            Work::ValveFitted { length, source: Source::Tray { bin } } => {
                with("valve fitted", length) + &in_bin(bin)
            }
            Work::ValveKept => "valve kept".into(),
            Work::SpringFitted => "spring fitted".into(),
            Work::Filed(filing) => format!("filed {filing}"),
            Work::Soldered => "soldered".into(),
            Work::Tuned => "tuned".into(),
            Work::Pause => "pause".into(),
            Work::Note(text) => format!("note {text}"),
            Work::Photo(file) => format!("photo {file}"),
            Work::Other(text) => text.clone(),
        };
        f.pad(&text)
    }
}
