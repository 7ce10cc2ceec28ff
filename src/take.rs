//! One recorded sounding of one reed: its samples, their rate, and what the ear has to say about them.

/// Samples of one channel, with what is known of how they came in.
#[derive(Debug, Clone, PartialEq)]
pub struct Take {
    /// One channel, full scale at ±1; may hold values that are not finite, which the analysis reports.
    pub samples: Vec<f32>,
    /// Samples per second, 8 000 to 384 000.
    pub rate_hz: u32,
    /// Whether a lossy coder stood in the way; it lowers what can be said about leaks.
    pub lossy: bool,
    /// What the ear noticed: lost samples, a truncated file, a chosen channel. One sentence each.
    pub remarks: Vec<String>,
}

impl Take {
    /// A plain take with nothing to remark.
    pub fn new(samples: Vec<f32>, rate_hz: u32) -> Self {
        Self { samples, rate_hz, lossy: false, remarks: Vec::new() }
    }

    /// How long it lasts, seconds.
    pub fn length_s(&self) -> f64 {
        self.samples.len() as f64 / f64::from(self.rate_hz)
    }
}
