//! `devices`: the inputs that can be recorded from, and a try of one of them.

use std::path::PathBuf;

use clap::Args;

use super::failure::{Ended, Failure};

/// List the inputs that can be recorded from, or try one
#[derive(Args)]
pub(crate) struct Arguments {
    /// Listen for so long and say what came: level, clipping, lost sound
    #[arg(long = "try", value_name = "SECONDS", value_parser = seconds)]
    listen_s: Option<f64>,
    /// The input to try: its name, or enough of it [default: the system's own choice]
    #[arg(long, value_name = "NAME", requires = "listen_s")]
    device: Option<String>,
    /// Keep what was heard as a WAV file, the clearest channel
    #[arg(long, value_name = "FILE", requires = "listen_s")]
    keep: Option<PathBuf>,
    /// One JSON object a line (docs/json.md)
    #[arg(long)]
    json: bool,
}

/// The longest try; it is held in memory.
const LONGEST_S: f64 = 600.0;

fn seconds(text: &str) -> Result<f64, String> {
    let number = super::number::number(text).ok().filter(|number| (0.1..=LONGEST_S).contains(number));
    number.ok_or_else(|| format!("`{text}` is not a number of seconds from 0.1 to {LONGEST_S}"))
}

#[cfg(not(feature = "mic"))]
pub(crate) fn run(arguments: Arguments) -> Result<Ended, Failure> {
    let Arguments { .. } = arguments;
    Err(Failure::could_not(
        "this program was built without recording",
        "build it with its default features: `cargo build --release`",
    ))
}

#[cfg(feature = "mic")]
pub(crate) use with_microphone::run;

#[cfg(feature = "mic")]
mod with_microphone {
    use serde::Serialize;

    use super::{Arguments, Ended, Failure};
    use crate::audio::{self, Incident, Input, Microphone, MicrophoneError};
    use crate::cli::output;
    use crate::take::Take;

    #[derive(Serialize)]
    struct InputLine<'a> {
        format: u32,
        kind: &'static str,
        name: &'a str,
        id: &'a str,
        rate_hz: u32,
        channels: usize,
        samples: &'a str,
        default: bool,
    }

    #[derive(Serialize)]
    struct HeardLine<'a> {
        format: u32,
        kind: &'static str,
        name: &'a str,
        rate_hz: u32,
        heard_s: f64,
        channel: usize,
        peak_dbfs: Option<f64>,
        level_dbfs: Option<f64>,
        full_scale: usize,
        incidents: Vec<String>,
        stopped: Option<String>,
    }

    impl From<MicrophoneError> for Failure {
        fn from(error: MicrophoneError) -> Self {
            Failure::could_not(error.to_string(), error.next())
        }
    }

    pub(crate) fn run(arguments: Arguments) -> Result<Ended, Failure> {
        match arguments.listen_s {
            Some(listen_s) => listen(&arguments, listen_s),
            None => list(arguments.json),
        }
    }

    fn list(json: bool) -> Result<Ended, Failure> {
        let inputs = audio::inputs()?;
        for input in &inputs {
            let Input { name, id, rate_hz, channels, samples, default } = input;
            if json {
                let (rate_hz, channels, default) = (*rate_hz, *channels, *default);
                output::json(&InputLine {
                    format: 1,
                    kind: "input",
                    name,
                    id,
                    rate_hz,
                    channels,
                    samples,
                    default,
                })?;
            } else {
                let mark = if *default { "* " } else { "  " };
                output::line(&format!("{mark}{name}: {rate_hz} Hz, {channels} channels, {samples} ({id})"))?;
            }
        }
        if inputs.is_empty() {
            return Err(MicrophoneError::NoInput.into());
        }
        if !json {
            output::say("* is used when `--device` names no other");
        }
        Ok(Ended::Done)
    }

    fn listen(arguments: &Arguments, listen_s: f64) -> Result<Ended, Failure> {
        let mut microphone = Microphone::open(arguments.device.as_deref())?;
        let Input { name, rate_hz, channels, .. } = microphone.input().clone();
        output::say(&format!("listening to `{name}`, {rate_hz} Hz, {channels} channels, for {listen_s} s"));
        let wanted = (listen_s * f64::from(rate_hz)) as usize * channels;
        let (mut sound, mut incidents, mut stopped): (Vec<f32>, Vec<Incident>, _) =
            (Vec::new(), Vec::new(), None);
        while sound.len() < wanted && stopped.is_none() {
            match microphone.hear(&mut sound) {
                Ok(more) => incidents.extend(more),
                Err(error) => stopped = Some(error),
            }
        }
        sound.truncate(wanted);
        let channel = audio::clearest_channel(&sound, channels, rate_hz);
        let samples: Vec<f32> =
            sound.chunks_exact(channels).filter_map(|frame| frame.get(channel)).copied().collect();
        let mut take = Take::new(samples, rate_hz);
        take.remarks = incidents.iter().map(Incident::to_string).collect();
        if let Some(file) = &arguments.keep {
            audio::write_wav(file, &take)
                .map_err(|error| Failure::could_not(error.to_string(), error.next()))?;
        }
        report(arguments.json, &name, channel, &take, stopped.as_ref())?;
        if let Some(error) = stopped {
            return Err(error.into());
        }
        Ok(if take.remarks.is_empty() { Ended::Done } else { Ended::CouldNot })
    }

    fn report(
        json: bool,
        name: &str,
        channel: usize,
        take: &Take,
        stopped: Option<&MicrophoneError>,
    ) -> Result<(), Failure> {
        let squares: f64 = take.samples.iter().map(|&s| f64::from(s) * f64::from(s)).sum();
        let peak = take.samples.iter().fold(0.0_f64, |peak, &s| peak.max(f64::from(s.abs())));
        let dbfs = |value: f64| (value > 0.0).then(|| 20.0 * value.log10());
        let level_dbfs = dbfs((squares / take.samples.len().max(1) as f64).sqrt());
        let full_scale = take.samples.iter().filter(|sample| sample.abs() >= 0.999).count();
        if json {
            return output::json(&HeardLine {
                format: 1,
                kind: "heard",
                name,
                rate_hz: take.rate_hz,
                heard_s: take.length_s(),
                channel: channel + 1,
                peak_dbfs: dbfs(peak),
                level_dbfs,
                full_scale,
                incidents: take.remarks.clone(),
                stopped: stopped.map(MicrophoneError::to_string),
            });
        }
        let level = |value: Option<f64>| value.map_or("silence".into(), |db| format!("{db:.1} dBFS"));
        output::line(&format!(
            "heard {:.2} s on channel {}: level {}, peak {}, {full_scale} samples at full scale",
            take.length_s(),
            channel + 1,
            level(level_dbfs),
            level(dbfs(peak)),
        ))?;
        take.remarks.iter().try_for_each(|remark| output::line(&format!("warning: {remark}")))
    }
}
