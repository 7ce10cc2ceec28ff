//! What can go wrong while drawing.

/// Why a chart could not be drawn.
#[derive(Debug, thiserror::Error)]
pub enum ReportError {
    /// The embedded font could not be read.
    #[error("the embedded font could not be read, so nothing can be lettered")]
    Font,
    /// The drawing library gave up.
    #[error("`{chart}` could not be drawn: {cause}")]
    Drawing {
        /// Which chart.
        chart: String,
        /// In the library's words.
        cause: String,
    },
}

impl ReportError {
    /// What to do about it.
    pub fn next(&self) -> String {
        match self {
            ReportError::Font => "build the program again from a clean copy of its source".to_owned(),
            ReportError::Drawing { .. } => {
                "report this with the plan of the job; `platenote findings` gives the same figures as text"
                    .to_owned()
            }
        }
    }
}
