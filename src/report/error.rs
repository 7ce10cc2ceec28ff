//! What can go wrong while drawing.

/// Why a chart could not be drawn.
#[derive(Debug, thiserror::Error)]
pub enum ReportError {
    /// The embedded font could not be read.
    #[error(
        "the embedded font could not be read, so nothing can be lettered\nnext:  build the program again from a clean copy of its source"
    )]
    Font,
    /// The drawing library gave up.
    #[error(
        "`{chart}` could not be drawn: {cause}\nnext:  report this with the plan of the job; `findings` gives the same figures as text"
    )]
    Drawing {
        /// Which chart.
        chart: String,
        /// In the library's words.
        cause: String,
    },
}
