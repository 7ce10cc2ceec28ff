//! `calibrate`: how far a sound card's clock is off, by a tone whose frequency is known.

use std::path::{Path, PathBuf};

use clap::Args;
use serde_json::json;

use super::failure::{Ended, Failure};
use super::output;
use crate::audio;
use crate::job::{Clocks, DeviceClock};
use crate::session::{ToneError, clock_against};
use crate::take::Take;
use crate::units::Hz;

/// Shorter sound tells too little of a clock, s.
const LEAST_S: f64 = 5.0;

/// Measure a sound card's clock by a tone of known frequency, so that pitches can be corrected for it
#[derive(Args)]
#[command(after_help = "\
Without FILE the input itself listens to the tone. What was measured is kept for the device on this computer; record and \
listen use it from then on, add and read with --clock, and each take says which clock it was read with.

The tone must be surer than the clock: one made from a time signal or a satellite receiver is, a tuning fork or another \
computer is not. Keep a loud tone away from the ears.")]
pub(crate) struct Arguments {
    /// A recording of the tone, made with the device
    #[arg(value_name = "FILE", requires = "tone")]
    file: Option<PathBuf>,
    /// Frequency of the tone
    #[arg(long, value_name = "HZ", value_parser = tone, required_unless_present_any = ["list", "forget"])]
    tone: Option<Hz>,
    /// How sure the tone is: below 1 from a time signal, 20 to 50 from a quartz, 100 from another computer
    #[arg(long, value_name = "PPM", default_value = "50", value_parser = ppm)]
    tone_within: f64,
    /// The device: an input, or with FILE any name for what recorded it [default: the system's own choice of input]
    #[arg(long, value_name = "NAME", required_if_eq("forget", "true"))]
    device: Option<String>,
    /// How long to listen
    #[arg(long = "for", value_name = "SECONDS", default_value = "20", value_parser = seconds, conflicts_with = "file")]
    listen_s: f64,
    /// List the clocks that are known on this computer
    #[arg(long, conflicts_with_all = ["file", "tone", "forget"])]
    list: bool,
    /// Forget what is known of the device's clock
    #[arg(long, conflicts_with_all = ["file", "tone"])]
    forget: bool,
    /// One JSON object a line (docs/json.md)
    #[arg(long)]
    json: bool,
}

fn tone(text: &str) -> Result<Hz, String> {
    let hz = super::number::number(text).ok().filter(|hz| (50.0..=5_000.0).contains(hz)).and_then(Hz::new);
    hz.ok_or_else(|| format!("`{text}` is not a frequency from 50 to 5000 Hz"))
}

fn ppm(text: &str) -> Result<f64, String> {
    let number = super::number::number(text).ok().filter(|number| (0.0..=1_000.0).contains(number));
    number.ok_or_else(|| format!("`{text}` is not a number of parts per million from 0 to 1000"))
}

fn seconds(text: &str) -> Result<f64, String> {
    let number = super::number::number(text).ok().filter(|number| (LEAST_S..=60.0).contains(number));
    number.ok_or_else(|| format!("`{text}` is not a number of seconds from {LEAST_S} to 60"))
}

impl From<ToneError> for Failure {
    fn from(error: ToneError) -> Self {
        Failure::could_not(error.to_string(), error.next())
    }
}

/// What listened, and what it heard.
struct ToneTake {
    take: Take,
    name: String,
    id: String,
}

pub(crate) fn run(arguments: Arguments) -> Result<Ended, Failure> {
    let mut clocks = Clocks::open()?;
    let Some(tone) = arguments.tone else {
        return if arguments.list { list(&clocks, arguments.json) } else { forget(&mut clocks, &arguments) };
    };
    let heard = match &arguments.file {
        Some(file) => from_file(file, arguments.device.as_deref())?,
        None => live(&arguments)?,
    };
    let length_s = heard.take.length_s();
    if length_s < LEAST_S {
        return Err(Failure::could_not(
            format!("the tone lasts {length_s:.1} s, and {LEAST_S} s are needed to tell a clock"),
            "record it for 20 s",
        ));
    }
    let measured = clock_against(&heard.take, tone, arguments.tone_within)?;
    let today = jiff::Timestamp::now().to_zoned_datetime(jiff::tz::TimeZone::system()).date();
    let new = DeviceClock {
        device: heard.name,
        id: heard.id,
        rate_hz: heard.take.rate_hz,
        error_ppm: measured.error_ppm,
        uncertainty_ppm: measured.uncertainty_ppm,
        tone_hz: tone.get(),
        measured: today.to_string(),
    };
    clocks.keep(new.clone())?;
    tell(&new, arguments.json)?;
    output::say(&format!("kept in `{}`", clocks.file().display()));
    if new.id.ends_with(":default") {
        output::say(
            "note: `default` is whatever the system chooses; when another device is plugged in, measure again",
        );
    }
    Ok(Ended::Done)
}

fn from_file(file: &Path, device: Option<&str>) -> Result<ToneTake, Failure> {
    let Some(device) = device.map(str::trim).filter(|device| !device.is_empty()) else {
        return Err(Failure::bad_usage(
            format!("`{}` does not say which device recorded it", file.display()),
            "name it: an input as `platenote devices` lists it, or any name, as `--device \"field recorder\"`",
        ));
    };
    let take = audio::read_file(file)?;
    if take.lossy {
        output::say("note: the file was stored by a lossy coder; a WAV file is surer");
    }
    let (name, id) = plugged_in(device);
    Ok(ToneTake { take, name, id })
}

/// The input of this name, where one is plugged in; else the name alone.
#[cfg(feature = "mic")]
fn plugged_in(device: &str) -> (String, String) {
    let inputs = audio::inputs().unwrap_or_default();
    let found = inputs.into_iter().find(|input| input.name == device || input.id == device);
    found.map_or((device.to_owned(), String::new()), |input| (input.name, input.id))
}

#[cfg(not(feature = "mic"))]
fn plugged_in(device: &str) -> (String, String) {
    (device.to_owned(), String::new())
}

#[cfg(not(feature = "mic"))]
fn live(arguments: &Arguments) -> Result<ToneTake, Failure> {
    let _ = arguments.listen_s;
    Err(Failure::could_not(
        "this program was built without recording",
        "name a sound file with the tone, or build it with its default features: `cargo build --release`",
    ))
}

#[cfg(feature = "mic")]
fn live(arguments: &Arguments) -> Result<ToneTake, Failure> {
    use crate::audio::Microphone;
    let mut microphone = Microphone::open(arguments.device.as_deref())?;
    let input = microphone.input().clone();
    output::say(&format!(
        "listening to `{}`, {} Hz, for {} s: let the tone sound",
        input.name, input.rate_hz, arguments.listen_s
    ));
    let wanted = (arguments.listen_s * f64::from(input.rate_hz)) as usize * input.channels;
    let mut sound = Vec::new();
    while sound.len() < wanted {
        if let Some(incident) = microphone.hear(&mut sound)?.first() {
            return Err(Failure::could_not(
                format!("the tone is not whole: {incident}"),
                "let it sound and measure again",
            ));
        }
    }
    sound.truncate(wanted);
    let channel = audio::clearest_channel(&sound, input.channels, input.rate_hz);
    let samples = sound.chunks_exact(input.channels).filter_map(|frame| frame.get(channel)).copied();
    Ok(ToneTake { take: Take::new(samples.collect(), input.rate_hz), name: input.name, id: input.id })
}

fn list(clocks: &Clocks, json: bool) -> Result<Ended, Failure> {
    clocks.all().iter().try_for_each(|clock| tell(clock, json))?;
    let known = if clocks.all().is_empty() { "no clock is known; they are kept in" } else { "kept in" };
    output::say(&format!("{known} `{}`", clocks.file().display()));
    Ok(Ended::Done)
}

fn forget(clocks: &mut Clocks, arguments: &Arguments) -> Result<Ended, Failure> {
    let device = arguments.device.as_deref().unwrap_or_default();
    if clocks.forget(device)? == 0 {
        return Err(Failure::could_not(
            format!("no clock of a device `{device}` is known"),
            "`platenote calibrate --list` lists those that are",
        ));
    }
    output::say(&format!("the clock of `{device}` is forgotten; takes that were read with it keep it"));
    Ok(Ended::Done)
}

fn tell(clock: &DeviceClock, json: bool) -> Result<(), Failure> {
    let DeviceClock { device, id, rate_hz, error_ppm, uncertainty_ppm, tone_hz, measured } = clock;
    if json {
        let id = Some(id).filter(|id| !id.is_empty());
        return output::json(&json!({"format": 1, "kind": "clock", "device": device, "id": id,
            "rate_hz": rate_hz, "error_ppm": error_ppm, "uncertainty_ppm": uncertainty_ppm,
            "tone_hz": tone_hz, "measured": measured}));
    }
    let figures = clock.facts().figures();
    output::line(&format!("{device}, {rate_hz} Hz: {figures}, by a tone of {tone_hz} Hz on {measured}"))
}
