//! `listen`: the live reading, no job needed.

use clap::Args;

use super::failure::{Ended, Failure};

/// Say what sounds now, no job needed: note, cents, steadiness, opposite reed
#[derive(Args)]
pub(crate) struct Arguments {
    /// The input: its name, or enough of it [default: the system's own choice]
    #[arg(long, value_name = "NAME")]
    device: Option<String>,
    /// Pitch of A4 to measure against
    #[arg(long, value_name = "HZ", default_value = "440", value_parser = super::read::reference)]
    reference: crate::units::Hz,
    /// Stop after so long [default: go on]
    #[arg(long = "for", value_name = "SECONDS", value_parser = super::number::number)]
    seconds: Option<f64>,
    /// One JSON object a line (docs/json.md)
    #[arg(long)]
    json: bool,
}

#[cfg(not(feature = "mic"))]
pub(crate) fn run(arguments: Arguments) -> Result<Ended, Failure> {
    let Arguments { device: _, reference: _, seconds: _, json: _ } = arguments;
    Err(Failure::could_not(
        "this program was built without recording",
        "build it with its default features: `cargo build --release`",
    ))
}

#[cfg(feature = "mic")]
pub(crate) use with_microphone::run;

#[cfg(feature = "mic")]
mod with_microphone {
    use std::collections::VecDeque;

    use serde_json::json;

    use super::{Arguments, Ended, Failure};
    use crate::analysis::{Clock, Expectation, Opposite, Reading};
    use crate::audio::Microphone;
    use crate::cli::output;
    use crate::instrument::{Temperament, Tuning};
    use crate::job::ClockFacts;
    use crate::session::{Live, LiveState, clock_of_input};
    use crate::units::Cents;

    /// The trace goes back over so many readings, about 5 s.
    const TRACE: usize = 20;

    pub(crate) fn run(arguments: Arguments) -> Result<Ended, Failure> {
        let tuning = Tuning {
            reference: arguments.reference,
            temperament: Temperament::EQUAL,
            stretch: crate::units::Cents::ZERO,
        };
        let mut microphone = Microphone::open(arguments.device.as_deref())?;
        let input = microphone.input().clone();
        output::say(&format!(
            "listening to `{}`, {} Hz, {} channels",
            input.name, input.rate_hz, input.channels
        ));
        let (clock, clock_words) = clock_of_input(&input);
        output::say(&clock_words);
        let clock = clock.as_ref().map_or(Clock::default(), ClockFacts::clock);
        let expectation = Expectation { clock, ..Expectation::default() };
        let mut live = Live::new(input.rate_hz, input.channels, expectation);
        let (mut sound, mut trace, mut frames) = (Vec::new(), VecDeque::new(), 0_usize);
        loop {
            sound.clear();
            for incident in microphone.hear(&mut sound)? {
                output::say(&format!("warning: {incident}"));
            }
            frames += sound.len() / input.channels.max(1);
            let heard_s = frames as f64 / f64::from(input.rate_hz);
            match live.hear(&sound) {
                Some(LiveState::Note(reading, since_s)) => {
                    tell(&arguments, &tuning, &reading, (heard_s, since_s), &mut trace)?;
                }
                Some(LiveState::Quiet) => trace.clear(),
                None => {}
            }
            if arguments.seconds.is_some_and(|seconds| heard_s >= seconds) {
                return Ok(Ended::Done);
            }
        }
    }

    fn tell(
        arguments: &Arguments,
        tuning: &Tuning,
        reading: &Reading,
        (heard_s, since_s): (f64, f64),
        trace: &mut VecDeque<Cents>,
    ) -> Result<(), Failure> {
        let Some((note, cents)) = tuning.nearest(reading.f0) else { return Ok(()) };
        trace.push_back(cents);
        while trace.len() > TRACE {
            trace.pop_front();
        }
        let low = trace.iter().map(|cents| cents.get()).fold(f64::INFINITY, f64::min);
        let high = trace.iter().map(|cents| cents.get()).fold(f64::NEG_INFINITY, f64::max);
        if arguments.json {
            let (level_db, opposite_cents) = match &reading.opposite {
                Opposite::Sounding { level, offset, .. } => (Some(level.get()), Some(offset.get())),
                _ => (None, None),
            };
            return output::json(&json!({"format": 1, "kind": "now", "heard_s": heard_s, "since_s": since_s,
                "note": note.stored(), "f0_hz": reading.f0.get(), "cents": cents.get(),
                "uncertainty_cents": reading.uncertainty.get(), "lowest_cents": low, "highest_cents": high,
                "opposite_level_db": level_db, "opposite_cents": opposite_cents}));
        }
        let opposite = match &reading.opposite {
            Opposite::Sounding { level, offset, .. } => format!("; a second tone at {level}, {offset}"),
            _ => String::new(),
        };
        output::line(&format!(
            "{note} {cents} ± {:.1}, {}; lately {low:+.1} to {high:+.1}{opposite}",
            reading.uncertainty.get(),
            reading.f0
        ))
    }
}
