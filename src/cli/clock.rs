//! The clock a sound was recorded with: as `calibrate` measured it, or as it was typed.

use super::failure::Failure;
use crate::job::{ClockFacts, Clocks};

/// A typed clock is no surer than this where nothing is said, ppm: it moves with the warmth of the day.
const TYPED_WITHIN_PPM: f64 = 5.0;

/// A clock as it is typed: the name of a device, or `12.5±3` in ppm.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum TypedClock {
    /// Of the device with this name.
    Device(String),
    /// These figures.
    Figures(ClockFacts),
}

/// Parse `--clock`.
pub(crate) fn parse(text: &str) -> Result<TypedClock, String> {
    let text = text.trim();
    let (error, within) = text.split_once('±').or_else(|| text.split_once("+-")).unwrap_or((text, ""));
    let number = |text: &str| text.trim().trim_end_matches("ppm").trim().replace(',', ".").parse::<f64>();
    let Ok(error_ppm) = number(error) else {
        return if text.is_empty() {
            Err("give a device, or how fast its clock runs in ppm, as `12.5±3`".into())
        } else {
            Ok(TypedClock::Device(text.to_owned()))
        };
    };
    let uncertainty_ppm = if within.is_empty() { Ok(TYPED_WITHIN_PPM) } else { number(within) };
    let facts = uncertainty_ppm.ok().map(|uncertainty_ppm| ClockFacts {
        device: "as typed".into(),
        error_ppm,
        uncertainty_ppm,
    });
    facts
        .filter(ClockFacts::is_sound)
        .map(TypedClock::Figures)
        .ok_or_else(|| format!("`{text}` is no clock; give ppm from -1000 to 1000, as `12.5±3`"))
}

impl TypedClock {
    /// The clock for sound of this rate.
    pub(crate) fn at(&self, rate_hz: u32) -> Result<ClockFacts, Failure> {
        let device = match self {
            TypedClock::Figures(facts) => return Ok(facts.clone()),
            TypedClock::Device(device) => device,
        };
        let clocks = Clocks::open()?;
        if let Some(clock) = clocks.of(device).find(|clock| clock.rate_hz == rate_hz) {
            return Ok(clock.facts());
        }
        let rates: Vec<String> = clocks.of(device).map(|clock| format!("{} Hz", clock.rate_hz)).collect();
        let what = if rates.is_empty() {
            format!("no clock of a device `{device}` is known")
        } else {
            format!(
                "the clock of `{device}` is known at {}, and the sound has {rate_hz} Hz",
                rates.join(", ")
            )
        };
        let next = "measure it with `platenote calibrate`, or type it in ppm, as `--clock 12.5±3`; \
                    `platenote calibrate --list` lists those that are known";
        Err(Failure::could_not(what, next))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn typed(error_ppm: f64, uncertainty_ppm: f64) -> Result<TypedClock, String> {
        Ok(TypedClock::Figures(ClockFacts { device: "as typed".into(), error_ppm, uncertainty_ppm }))
    }

    #[test]
    fn a_clock_is_typed_in_ppm_or_by_its_device() {
        assert_eq!(parse("12.5±3"), typed(12.5, 3.0));
        assert_eq!(parse("-8 +- 2,5 ppm"), typed(-8.0, 2.5));
        assert_eq!(parse("+40"), typed(40.0, TYPED_WITHIN_PPM));
        assert_eq!(parse("field recorder"), Ok(TypedClock::Device("field recorder".into())));
        for odd in ["", "5000", "3±-1", "3±x", "nan"] {
            assert!(parse(odd).is_err(), "{odd}");
        }
    }
}
