//! The clock a sound was recorded with: as `calibrate` measured it, or as it was typed.

use super::failure::Failure;
use crate::record::{ClockFacts, Clocks};

/// 1 ppm as an interval, cents: 1200·log2(1 + 1e-6).
pub(crate) const CENTS_PER_PPM: f64 = 0.001_731_233;
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

/// The clock of an input, where it was measured at this rate, and words on it.
#[cfg(feature = "mic")]
pub(crate) fn of_input(input: &crate::audio::Input) -> (Option<ClockFacts>, String) {
    let not_measured = "clock not measured: 100 ppm, 0.17 cents, stay in every uncertainty \
                        (`platenote calibrate` measures it)";
    let clocks = match Clocks::open() {
        Ok(clocks) => clocks,
        // No reason to stop for: the readings say how unsure they are.
        Err(error) => return (None, format!("note: {error}; {not_measured}")),
    };
    let of_device = || clocks.of(&input.id).chain(clocks.of(&input.name));
    if let Some(clock) = of_device().find(|clock| clock.rate_hz == input.rate_hz) {
        let facts = clock.facts();
        let words = format!("clock of `{}`: {}; readings are corrected", facts.device, figures(&facts));
        return (Some(facts), words);
    }
    match of_device().next() {
        Some(clock) => {
            let (device, rate_hz) = (&clock.device, clock.rate_hz);
            (None, format!("clock of `{device}` is known at {rate_hz} Hz only; {not_measured}"))
        }
        None => (None, not_measured.into()),
    }
}

/// The figures of a clock, for people.
pub(crate) fn figures(clock: &ClockFacts) -> String {
    let (error, doubt) = (clock.error_ppm, clock.uncertainty_ppm);
    format!(
        "{} ± {doubt:.1} ppm ({} ± {:.3} cents)",
        super::output::signed(error, 1),
        super::output::signed(CENTS_PER_PPM * error, 3),
        CENTS_PER_PPM * doubt
    )
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

    #[test]
    fn a_ppm_is_what_it_is_in_cents() {
        assert!((1200.0 * (1.0 + 1e-6f64).log2() - CENTS_PER_PPM).abs() < 1e-8);
    }
}
