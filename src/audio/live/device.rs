//! The inputs that can be recorded from.

use cpal::traits::{DeviceTrait, HostTrait};
use cpal::{Device, Host, SupportedStreamConfig};

use super::MicrophoneError;

/// An input that can be recorded from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Input {
    /// What people call it.
    pub name: String,
    /// What the system calls it; the same on every start.
    pub id: String,
    /// Samples per second it gives by itself.
    pub rate_hz: u32,
    /// Its channels.
    pub channels: usize,
    /// Its samples, as `i16` or `f32`.
    pub samples: String,
    /// Whether it is used when none is named.
    pub default: bool,
}

/// List the inputs that can be recorded from.
///
/// Some systems list devices that cannot be opened and one, called null, that gives endless silence: they are left out.
pub fn inputs() -> Result<Vec<Input>, MicrophoneError> {
    let host = cpal::default_host();
    Ok(usable(&host)?.into_iter().map(|(input, ..)| input).collect())
}

/// The input to use: the one whose name or id is `wanted`, else the only one that has it in its name; the system's
/// own choice when none is wanted.
pub(super) fn choose(
    wanted: Option<&str>,
) -> Result<(Input, Device, SupportedStreamConfig), MicrophoneError> {
    let host = cpal::default_host();
    let all = usable(&host)?;
    let names = |some: &[(Input, Device, SupportedStreamConfig)]| -> Vec<String> {
        some.iter().map(|(input, ..)| input.name.clone()).collect()
    };
    let Some(wanted) = wanted else {
        let first_default = all.iter().position(|(input, ..)| input.default).unwrap_or(0);
        return all.into_iter().nth(first_default).ok_or(MicrophoneError::NoInput);
    };
    if let Some(exact) = all.iter().position(|(input, ..)| input.name == wanted || input.id == wanted) {
        return all.into_iter().nth(exact).ok_or(MicrophoneError::NoInput);
    }
    let there = names(&all);
    let part = wanted.to_lowercase();
    let fits =
        |input: &Input| input.name.to_lowercase().contains(&part) || input.id.to_lowercase().contains(&part);
    let mut fitting: Vec<_> = all.into_iter().filter(|(input, ..)| fits(input)).collect();
    match fitting.len() {
        0 => Err(MicrophoneError::NotFound { wanted: wanted.into(), there }),
        1 => fitting.pop().ok_or(MicrophoneError::NoInput),
        _ => Err(MicrophoneError::Several { wanted: wanted.into(), fitting: names(&fitting) }),
    }
}

/// The library under the audio library prints its own troubles; ours are told in our own words.
fn hush() {
    #[cfg(target_os = "linux")]
    let _ = alsa::Output::local_error_handler(); // Without it all works, with chatter.
}

fn usable(host: &Host) -> Result<Vec<(Input, Device, SupportedStreamConfig)>, MicrophoneError> {
    hush();
    let default = host.default_input_device();
    let default_id = default.as_ref().and_then(|device| device.id().ok());
    let listed = host.input_devices().map_err(|e| MicrophoneError::from_library("default", &e))?;
    let mut all: Vec<(Input, Device, SupportedStreamConfig)> = Vec::new();
    // The default one may not be in the list; it comes first then.
    for device in listed.chain(default) {
        let Ok(id) = device.id() else { continue };
        let text = id.to_string();
        let known = all.iter().any(|(input, ..)| input.id == text);
        if known || text.ends_with(":null") {
            continue;
        }
        let Ok(config) = device.default_input_config() else { continue };
        let input = Input {
            name: device.to_string(),
            id: text,
            rate_hz: config.sample_rate(),
            channels: usize::from(config.channels()),
            samples: config.sample_format().to_string(),
            default: Some(&id) == default_id.as_ref(),
        };
        all.push((input, device, config));
    }
    all.sort_by_key(|(input, ..)| !input.default);
    Ok(all)
}
