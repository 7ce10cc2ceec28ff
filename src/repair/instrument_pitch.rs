//! The pitch of the instrument as a whole, as it was found and as it was left.

use crate::units::Hz;

/// Where A4 stands by a pass: the reference, moved by the median deviation of the reeds.
#[derive(Debug, Clone, PartialEq)]
pub struct InstrumentPitch {
    /// The pass.
    pub pass: String,
    /// Its day.
    pub date: String,
    /// A4.
    pub a4: Hz,
    /// The reeds it was taken from.
    pub n_reeds: usize,
}
