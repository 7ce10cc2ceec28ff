//! What a number is: pitch, interval, level, time and length as types of their own.
//!
//! A place on an axis and a distance on it are two types, so that nobody averages an offset with a pitch.

use std::fmt;

/// A frequency: a place on the pitch axis. Finite and above 0 Hz.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Hz(f64);

/// An interval: a signed distance on the pitch axis, 1200 to the octave. Positive is sharp.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Cents(f64);

/// A level difference, a power ratio in decibels. Finite.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Decibels(f64);

/// A level against digital full scale: the root mean square of a full-scale square wave is 0 dBFS.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Dbfs(f64);

/// A time or a duration. Finite.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Seconds(f64);

/// A length on the bench. Finite, 0 or more. One that was given in inches is written in inches; it compares as millimetres.
#[derive(Debug, Clone, Copy)]
pub struct Millimetres {
    mm: f64,
    in_inches: bool,
}

impl Hz {
    /// A4 where nothing else is said, 440 Hz (ISO 16).
    pub const STANDARD_A4: Hz = Hz(440.0);

    /// A frequency; `None` unless finite and above 0.
    pub fn new(value: f64) -> Option<Self> {
        (value.is_finite() && value > 0.0).then_some(Self(value))
    }

    /// The bare number, Hz.
    pub fn get(self) -> f64 {
        self.0
    }

    /// How far `self` lies above `reference`.
    ///
    /// # Example
    /// ```
    /// use platenote::units::Hz;
    /// let (a4, high) = (Hz::new(440.0).unwrap(), Hz::new(442.0).unwrap());
    /// assert!((high.cents_above(a4).get() - 7.851).abs() < 0.001);
    /// ```
    pub fn cents_above(self, reference: Hz) -> Cents {
        Cents(1200.0 * (self.0 / reference.0).log2())
    }

    /// The frequency `interval` above `self`; intervals are held within 20 octaves so that the result stays finite.
    pub fn raised_by(self, interval: Cents) -> Hz {
        let octaves = (interval.0 / 1200.0).clamp(-20.0, 20.0);
        Hz((self.0 * octaves.exp2()).clamp(f64::MIN_POSITIVE, f64::MAX))
    }

    /// Beats per second between two sounding fundamentals, 0 or more.
    pub fn beat_rate(self, other: Hz) -> f64 {
        (self.0 - other.0).abs()
    }
}

impl Cents {
    /// An interval; `None` unless finite.
    pub fn new(value: f64) -> Option<Self> {
        value.is_finite().then_some(Self(value))
    }

    /// No distance.
    pub const ZERO: Cents = Cents(0.0);

    /// Deviation up to which a reed is left alone where the plan says nothing; the user's figure.
    pub const COMMON_TOLERANCE: Cents = Cents(2.0);

    /// The bare number, cents.
    pub fn get(self) -> f64 {
        self.0
    }

    /// The distance without its direction.
    pub fn abs(self) -> Cents {
        Cents(self.0.abs())
    }
}

impl std::ops::Add for Cents {
    type Output = Cents;
    fn add(self, other: Cents) -> Cents {
        Cents(self.0 + other.0)
    }
}

impl std::ops::Sub for Cents {
    type Output = Cents;
    fn sub(self, other: Cents) -> Cents {
        Cents(self.0 - other.0)
    }
}

macro_rules! finite_number {
    ($name:ident, $unit:literal) => {
        impl $name {
            #[doc = concat!("From a bare number, ", $unit, "; `None` unless finite.")]
            pub fn new(value: f64) -> Option<Self> {
                value.is_finite().then_some(Self(value))
            }

            #[doc = concat!("The bare number, ", $unit, ".")]
            pub fn get(self) -> f64 {
                self.0
            }
        }
    };
}

impl Decibels {
    /// No difference.
    pub const ZERO: Decibels = Decibels(0.0);
}

impl Dbfs {
    /// Far below anything a converter gives.
    pub const FLOOR: Dbfs = Dbfs(-200.0);
}

finite_number!(Decibels, "dB");
finite_number!(Dbfs, "dBFS");
finite_number!(Seconds, "s");

impl Seconds {
    /// No time.
    pub const ZERO: Seconds = Seconds(0.0);
}

impl Decibels {
    /// Level of the opposite reed, re the sounding one, that means a leak where the plan says nothing; the user's figure.
    pub const COMMON_LEAK_LIMIT: Decibels = Decibels(-40.0);
}

impl Millimetres {
    /// No length.
    pub const ZERO: Millimetres = Millimetres { mm: 0.0, in_inches: false };
    /// Exact by definition since 1959 (ISO 31-1, from memory), mm.
    pub const INCH_MM: f64 = 25.4;

    /// A length; `None` unless finite and 0 or more.
    pub fn new(value: f64) -> Option<Self> {
        (value.is_finite() && value >= 0.0).then_some(Self { mm: value, in_inches: false })
    }

    /// The bare number, mm.
    pub fn get(self) -> f64 {
        self.mm
    }

    /// The same length, written in inches where `in_inches`.
    pub fn written(self, in_inches: bool) -> Self {
        Self { in_inches, ..self }
    }

    /// Whether it was given in inches, and is written so.
    pub fn is_in_inches(self) -> bool {
        self.in_inches
    }
}

impl PartialEq for Millimetres {
    fn eq(&self, other: &Self) -> bool {
        self.mm == other.mm
    }
}

impl PartialOrd for Millimetres {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        self.mm.partial_cmp(&other.mm)
    }
}

/// A measured interval with its doubt: half the 95 % interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measured {
    /// The best value.
    pub value: Cents,
    /// Half the 95 % interval around it.
    pub uncertainty: Cents,
}

/// A stretch of a take, from `start` to `end`, counted from the take's first sample.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Span {
    /// Where it begins.
    pub start: Seconds,
    /// Where it ends; not before `start`.
    pub end: Seconds,
}

impl Span {
    /// How long the stretch lasts.
    pub fn length(self) -> Seconds {
        Seconds(self.end.0 - self.start.0)
    }
}

/// A number with its sign; what rounds to zero has none.
pub fn signed(value: f64, decimals: usize) -> String {
    let text = format!("{value:+.decimals$}");
    let is_zero = !text.contains(|c: char| ('1'..='9').contains(&c));
    if is_zero { text.chars().skip(1).collect() } else { text }
}

impl fmt::Display for Hz {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:.2} Hz", self.0)
    }
}

impl fmt::Display for Cents {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:+.1} cents", self.0)
    }
}

impl fmt::Display for Decibels {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:.0} dB", self.0)
    }
}

impl fmt::Display for Millimetres {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.in_inches { f.write_str(&inches(self.mm)) } else { write!(f, "{} mm", self.mm) }
    }
}

/// `1 1/2 in` where a rule shows it, else with a point: `1.437 in`.
fn inches(mm: f64) -> String {
    /// The finest division of an inch rule.
    const FINEST: u32 = 64;
    /// Lengths are kept to the micrometre, mm.
    const KEPT_MM: f64 = 0.001;
    let inches = mm / Millimetres::INCH_MM;
    let parts = (inches * f64::from(FINEST)).round();
    if (parts * Millimetres::INCH_MM / f64::from(FINEST) - mm).abs() > KEPT_MM {
        return format!("{} in", (inches * 10_000.0).round() / 10_000.0);
    }
    let parts = parts as u32;
    let (whole, rest) = (parts / FINEST, parts % FINEST);
    let common = rest.trailing_zeros().min(FINEST.trailing_zeros());
    match (whole, rest) {
        (whole, 0) => format!("{whole} in"),
        (0, rest) => format!("{}/{} in", rest >> common, FINEST >> common),
        (whole, rest) => format!("{whole} {}/{} in", rest >> common, FINEST >> common),
    }
}
