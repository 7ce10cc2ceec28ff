//! What is asked of a pass wherever takes come in.

use clap::{Args, ValueEnum};

use super::failure::Failure;
use crate::job::{MeasuredIn, PassChange, is_plain_name};

/// The pass, and what is known of it.
#[derive(Args)]
pub(crate) struct PassArguments {
    /// Pass the takes belong to: `before`, `after`, or any plain name; opened when it is new
    #[arg(long = "pass", value_name = "NAME")]
    pub(crate) name: String,
    /// Room temperature of the pass, °C
    #[arg(long, value_name = "CELSIUS", allow_negative_numbers = true)]
    temperature: Option<f64>,
    /// Where the block is measured in this pass [default: instrument]
    #[arg(long = "place", value_enum, value_name = "WHERE")]
    place: Option<PlaceName>,
    /// Day of the pass [default: today]
    #[arg(long, value_name = "YYYY-MM-DD")]
    date: Option<String>,
}

#[derive(Clone, Copy, ValueEnum)]
enum PlaceName {
    /// In the instrument
    Instrument,
    /// On a test bench; blowing into the cell is draw, suction is press
    Bench,
}

impl PassArguments {
    /// What is said of the pass, checked.
    pub(crate) fn checked(&self) -> Result<PassChange, Failure> {
        if !is_plain_name(&self.name) {
            let next = "use up to 40 letters, digits, `_` and `-`, a letter or digit first";
            return Err(Failure::bad_usage(format!("`{}` cannot name a pass", self.name), next));
        }
        // A workshop is neither colder nor hotter; what is, was typed in another unit.
        if let Some(celsius) = self.temperature
            && !(-20.0..=50.0).contains(&celsius)
        {
            let what = format!("a room temperature of {celsius} °C is out of range");
            return Err(Failure::bad_usage(what, "give degrees Celsius from -20 to 50"));
        }
        let date = self.date.as_deref().map(str::parse::<jiff::civil::Date>).transpose().map_err(|_| {
            let what = format!("`{}` is not a day", self.date.as_deref().unwrap_or_default());
            Failure::bad_usage(what, "write year, month and day: 2026-04-30")
        })?;
        Ok(PassChange {
            place: self.place.map(|place| match place {
                PlaceName::Instrument => MeasuredIn::Instrument,
                PlaceName::Bench => MeasuredIn::Bench,
            }),
            temperature_c: self.temperature,
            date,
        })
    }
}
