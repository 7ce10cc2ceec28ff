//! How much is made of a take.

/// How much is made of the takes besides readings and findings.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Detail {
    /// Nothing more.
    Findings,
    /// Close-ups of leaks.
    Drawings,
    /// Close-ups and clips of sound.
    Report,
}
