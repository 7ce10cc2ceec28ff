//! What is asked of a pass wherever takes come in.

use clap::{Args, ValueEnum};
use jiff::Timestamp;

use super::failure::Failure;
use crate::instrument::ReedPlace;
use crate::job::{Job, JobWriter, MeasuredIn, PassChange, PassFacts, is_plain_name};

/// The pass, and what is known of it.
#[derive(Args)]
pub(crate) struct PassArguments {
    /// Pass the takes belong to: `before`, `after`, or any plain name; opened when it is new
    #[arg(long = "pass", value_name = "NAME")]
    pub(crate) name: String,
    /// Open the pass even where its name is one letter from that of another
    #[arg(long)]
    new_pass: bool,
    /// Keep the takes in this pass even where a valve was changed since its takes; else they go into a new one
    #[arg(long)]
    same_pass: bool,
    /// Room temperature of the pass, °C
    #[arg(long, value_name = "CELSIUS", allow_hyphen_values = true, value_parser = super::number::number)]
    temperature: Option<f64>,
    /// Where the block is measured in this pass [default: instrument]
    #[arg(long = "place", value_enum, value_name = "WHERE")]
    place: Option<PlaceName>,
    /// Day of the pass [default: today]
    #[arg(long, value_name = "YYYY-MM-DD")]
    date: Option<String>,
}

#[derive(Clone, Copy, ValueEnum)]
pub(crate) enum PlaceName {
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
        Ok(PassChange {
            place: self.place.map(PlaceName::measured_in),
            temperature_c: self.temperature.map(room_temperature).transpose()?,
            date: day(self.date.as_deref())?,
        })
    }

    /// Open the pass for takes of these reeds, each with when it was sounded; another one where a valve was changed since.
    pub(crate) fn open_for(
        &self,
        job: &mut JobWriter,
        change: &PassChange,
        takes: &[(ReedPlace, Timestamp)],
    ) -> Result<PassFacts, Failure> {
        self.ask_if_near(job)?;
        let later = if self.same_pass { None } else { job.later_pass(&self.name, takes) };
        let Some(later) = later else { return Ok(job.open_pass(&self.name, change)?) };
        super::output::say(&format!(
            "note: {}; --same-pass keeps them in `{}`",
            later.words(),
            later.instead_of
        ));
        let place = job.pass(&later.instead_of)?.place;
        Ok(job
            .open_pass(&later.name, &PassChange { place: change.place.or(Some(place)), ..change.clone() })?)
    }

    /// Fails where the pass would be opened under a name that is probably mistyped.
    pub(crate) fn ask_if_near(&self, job: &Job) -> Result<(), Failure> {
        near_pass(job, &self.name, None, self.new_pass)
    }
}

impl PlaceName {
    pub(crate) fn measured_in(self) -> MeasuredIn {
        match self {
            PlaceName::Instrument => MeasuredIn::Instrument,
            PlaceName::Bench => MeasuredIn::Bench,
        }
    }
}

/// Ask where `name` is one letter from that of another pass than `own`: at a terminal the person answers, a script says
/// yes beforehand.
pub(crate) fn near_pass(job: &Job, name: &str, own: Option<&str>, is_sure: bool) -> Result<(), Failure> {
    let Some(near) = job.pass_near(name).filter(|near| !is_sure && Some(near.as_str()) != own) else {
        return Ok(());
    };
    let what = format!("there is a pass `{near}`, and `{name}` is one letter from it");
    if super::output::ask(&format!("{what}. Is `{name}` a new pass?")) {
        return Ok(());
    }
    let next = format!("give --pass {near} if that is meant, or say --new-pass; nothing was changed");
    Err(Failure::bad_usage(what, next))
}

/// A workshop is neither colder nor hotter; what is, was typed in another unit.
pub(crate) fn room_temperature(celsius: f64) -> Result<f64, Failure> {
    if (-20.0..=50.0).contains(&celsius) {
        return Ok(celsius);
    }
    let what = format!("a room temperature of {celsius} °C is out of range");
    Err(Failure::bad_usage(what, "give degrees Celsius from -20 to 50"))
}

/// A day as it is typed.
pub(crate) fn day(text: Option<&str>) -> Result<Option<jiff::civil::Date>, Failure> {
    text.map(str::parse::<jiff::civil::Date>).transpose().map_err(|_| {
        let what = format!("`{}` is not a day", text.unwrap_or_default());
        Failure::bad_usage(what, "write year, month and day: 2026-04-30")
    })
}
