//! A microphone that is listened to: a stream, its ring, and what went wrong on the way.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU8, AtomicU32, Ordering};
use std::time::{Duration, Instant};

use cpal::traits::{DeviceTrait, StreamTrait};
use cpal::{
    Device, ErrorKind, FromSample, I24, InputCallbackInfo, Sample, SampleFormat, SizedSample, Stream,
    StreamConfig, StreamInstant, U24,
};

use super::MicrophoneError;
use super::device::{self, Input};
use super::ring::{Captured, Drainer, Filler, ring};
use super::watch::{Slip, Watch};

/// The ring holds so much sound: a listener that pauses for less loses nothing.
const RING_S: usize = 4;
/// No sound for so long means that the input has gone.
const SILENCE_LIMIT: Duration = Duration::from_millis(500);
/// Sound servers wake slowly: up to 1.6 s were measured.
const FIRST_SOUND_LIMIT: Duration = Duration::from_secs(3);
/// How often the listener looks; a usual block lasts 5 to 20 ms.
const LOOK: Duration = Duration::from_millis(5);
/// Exact zeros on all channels for so long are no silence of a room.
const ZEROS_S: f64 = 0.25;

/// Something that went wrong with the sound; the take it falls in should be repeated.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum Incident {
    /// Sound is missing, as the time stamps show.
    #[error("about {seconds:.2} s of sound were lost shortly before {at_s:.1} s")]
    Lost {
        /// How much.
        seconds: f64,
        /// Up to when, seconds since listening began.
        at_s: f64,
    },
    /// More sound came than time passed.
    #[error("about {seconds:.2} s of sound came twice, or from elsewhere, shortly before {at_s:.1} s")]
    Extra {
        /// How much.
        seconds: f64,
        /// Up to when, seconds since listening began.
        at_s: f64,
    },
    /// The system reports that it lost sound, and not how much.
    #[error("the system lost sound {times} times shortly before {at_s:.1} s")]
    Overrun {
        /// How often since the last look.
        times: u32,
        /// Up to when, seconds since listening began.
        at_s: f64,
    },
    /// This program came too late to take the sound.
    #[error("{seconds:.2} s of sound were lost shortly before {at_s:.1} s, as this computer is too busy")]
    TooBusy {
        /// How much.
        seconds: f64,
        /// Up to when, seconds since listening began.
        at_s: f64,
    },
    /// Exact zeros: muted, or no microphone behind the input.
    #[error("the input gives nothing but zeros since {at_s:.1} s; it is muted, or nothing is plugged in")]
    Zeros {
        /// Since when, seconds since listening began.
        at_s: f64,
    },
    /// The system changed the device under us.
    #[error("the system changed to another input shortly before {at_s:.1} s")]
    Changed {
        /// Up to when, seconds since listening began.
        at_s: f64,
    },
}

/// A microphone that is listened to. Dropped, it stops listening, and never waits for the audio library to agree.
pub struct Microphone {
    input: Input,
    stream: Option<Stream>,
    drainer: Drainer,
    troubles: Arc<Troubles>,
    watch: Watch,
    latest: Option<Captured>,
    last_sound: Instant,
    heard_frames: u64,
    zero_frames: u64,
}

/// What the error callback leaves for the listener; it may be called a million times, and only notes.
#[derive(Default)]
struct Troubles {
    overruns: AtomicU32,
    changed: AtomicBool,
    /// 0, or a number of [`Fault`].
    fault: AtomicU8,
}

#[derive(Clone, Copy)]
enum Fault {
    Gone = 1,
    NoServer = 2,
    NotAllowed = 3,
    Other = 4,
}

impl Microphone {
    /// Listen to the input called `wanted`, or that alone has it in its name; to the system's own choice without.
    pub fn open(wanted: Option<&str>) -> Result<Self, MicrophoneError> {
        let (input, device, supported) = device::choose(wanted)?;
        if !(8_000..=384_000).contains(&input.rate_hz) || input.channels == 0 {
            let what = format!("{} samples per second on {} channels", input.rate_hz, input.channels);
            return Err(MicrophoneError::Unfit { name: input.name, what });
        }
        let (filler, drainer) = ring(RING_S * input.rate_hz as usize * input.channels);
        let troubles = Arc::new(Troubles::default());
        let failed = |error: cpal::Error| MicrophoneError::from_library(&input.name, &error);
        let stream = build(&device, supported.sample_format(), supported.config(), filler, troubles.clone())
            .ok_or_else(|| MicrophoneError::Unfit { name: input.name.clone(), what: input.samples.clone() })?
            .map_err(failed)?;
        stream.play().map_err(failed)?;
        Ok(Self {
            input,
            stream: Some(stream),
            drainer,
            troubles,
            watch: Watch::new(),
            latest: None,
            last_sound: Instant::now() + (FIRST_SOUND_LIMIT - SILENCE_LIMIT),
            heard_frames: 0,
            zero_frames: 0,
        })
    }

    /// The input that is listened to.
    pub fn input(&self) -> &Input {
        &self.input
    }

    /// Wait for sound, at most a few milliseconds, and append it to `sound`: frames of all channels, interleaved.
    ///
    /// Gives what went wrong since the last call. Fails when the input has stopped; what came before is in `sound`.
    pub fn hear(&mut self, sound: &mut Vec<f32>) -> Result<Vec<Incident>, MicrophoneError> {
        let (before, rate_hz) = (sound.len(), f64::from(self.input.rate_hz));
        self.drainer.drain(sound);
        if sound.len() == before {
            std::thread::sleep(LOOK);
            self.drainer.drain(sound);
        }
        let new = sound.get(before..).unwrap_or_default();
        let channels = self.input.channels;
        self.heard_frames += (new.len() / channels) as u64;
        let at_s = self.heard_frames as f64 / rate_hz;
        let mut incidents = Vec::new();
        if !new.is_empty() {
            self.last_sound = self.last_sound.max(Instant::now());
            incidents.extend(self.zeros(new, at_s));
        }
        if let Some(captured) = self.drainer.captured().filter(|captured| Some(*captured) != self.latest) {
            self.latest = Some(captured);
            let heard_s = captured.before as f64 / channels as f64 / rate_hz;
            incidents.extend(self.watch.observe(heard_s, captured.nanos as f64 * 1e-9).map(
                |slip| match slip {
                    Slip::Lost(seconds) => Incident::Lost { seconds, at_s },
                    Slip::Extra(seconds) => Incident::Extra { seconds, at_s },
                },
            ));
        }
        let refused = self.drainer.refused();
        if refused > 0 {
            incidents.push(Incident::TooBusy { seconds: refused as f64 / channels as f64 / rate_hz, at_s });
        }
        let times = self.troubles.overruns.swap(0, Ordering::Relaxed);
        if times > 0 {
            incidents.push(Incident::Overrun { times, at_s });
        }
        if self.troubles.changed.swap(false, Ordering::Relaxed) {
            incidents.push(Incident::Changed { at_s });
        }
        match self.stopped() {
            // What else went wrong is told first; the input stays as it is till the next call.
            Some(how) if sound.len() == before && incidents.is_empty() => {
                Err(MicrophoneError::Stopped { name: self.input.name.clone(), how })
            }
            _ => Ok(incidents),
        }
    }

    /// Told once for each stretch of zeros.
    fn zeros(&mut self, new: &[f32], at_s: f64) -> Option<Incident> {
        let limit = (ZEROS_S * f64::from(self.input.rate_hz)) as u64;
        let tail = new.iter().rev().take_while(|sample| **sample == 0.0).count();
        let told_before = self.zero_frames >= limit;
        let run = (tail / self.input.channels) as u64;
        self.zero_frames = if tail == new.len() { self.zero_frames + run } else { run };
        let since_s = at_s - self.zero_frames as f64 / f64::from(self.input.rate_hz);
        (self.zero_frames >= limit && !told_before).then_some(Incident::Zeros { at_s: since_s })
    }

    fn stopped(&self) -> Option<String> {
        let fault = self.troubles.fault.load(Ordering::Relaxed);
        let silent = self.last_sound.elapsed();
        let limit = SILENCE_LIMIT.as_secs_f64();
        match fault {
            n if n == Fault::Gone as u8 => Some("it was taken away".into()),
            n if n == Fault::NoServer as u8 => Some("the sound server has gone".into()),
            n if n == Fault::NotAllowed as u8 => Some("the system does not allow it any more".into()),
            _ if silent < SILENCE_LIMIT => None,
            n if n == Fault::Other as u8 => {
                Some("the system reports a fault, and no more sound comes".into())
            }
            _ if self.heard_frames == 0 => Some("no sound came at all".into()),
            _ => Some(format!("no sound came for {limit:.1} s")),
        }
    }
}

impl Drop for Microphone {
    /// On a thread of its own: stopping can hang for ever inside a dead sound server's library.
    fn drop(&mut self) {
        if let Some(stream) = self.stream.take() {
            let left_alone =
                std::thread::Builder::new().name("stop listening".into()).spawn(move || drop(stream));
            drop(left_alone);
        }
    }
}

/// Build the stream for the device's own samples; `None` for kinds that are no plain samples.
fn build(
    device: &Device,
    samples: SampleFormat,
    config: StreamConfig,
    filler: Filler,
    troubles: Arc<Troubles>,
) -> Option<Result<Stream, cpal::Error>> {
    Some(match samples {
        SampleFormat::F32 => build_as::<f32>(device, config, filler, troubles),
        SampleFormat::F64 => build_as::<f64>(device, config, filler, troubles),
        SampleFormat::I8 => build_as::<i8>(device, config, filler, troubles),
        SampleFormat::I16 => build_as::<i16>(device, config, filler, troubles),
        SampleFormat::I24 => build_as::<I24>(device, config, filler, troubles),
        SampleFormat::I32 => build_as::<i32>(device, config, filler, troubles),
        SampleFormat::U8 => build_as::<u8>(device, config, filler, troubles),
        SampleFormat::U16 => build_as::<u16>(device, config, filler, troubles),
        SampleFormat::U24 => build_as::<U24>(device, config, filler, troubles),
        SampleFormat::U32 => build_as::<u32>(device, config, filler, troubles),
        _ => return None,
    })
}

fn build_as<T>(
    device: &Device,
    config: StreamConfig,
    filler: Filler,
    troubles: Arc<Troubles>,
) -> Result<Stream, cpal::Error>
where
    T: SizedSample,
    f32: FromSample<T>,
{
    let mut ear = CallbackEar { filler, first: None, before: 0 };
    device.build_input_stream::<T, _, _>(
        config,
        move |block: &[T], info: &InputCallbackInfo| ear.take_in(block, info.timestamp().capture),
        move |error| troubles.note(&error),
        Some(FIRST_SOUND_LIMIT),
    )
}

/// What runs on the audio thread: no allocation, no lock, no file, no printing.
struct CallbackEar {
    filler: Filler,
    first: Option<StreamInstant>,
    before: u64,
}

impl CallbackEar {
    fn take_in<T: SizedSample>(&mut self, block: &[T], captured: StreamInstant)
    where
        f32: FromSample<T>,
    {
        let since = captured.duration_since(*self.first.get_or_insert(captured));
        let nanos = u64::try_from(since.as_nanos()).unwrap_or(u64::MAX);
        let captured = Captured { before: self.before, nanos };
        self.filler.fill(block.iter().map(|sample| f32::from_sample(*sample)), captured);
        self.before += block.len() as u64;
    }
}

impl Troubles {
    fn note(&self, error: &cpal::Error) {
        let fault = match error.kind() {
            ErrorKind::Xrun => {
                self.overruns.fetch_add(1, Ordering::Relaxed);
                return;
            }
            ErrorKind::DeviceChanged => {
                self.changed.store(true, Ordering::Relaxed);
                return;
            }
            ErrorKind::RealtimeDenied => return, // Latency is of no matter here.
            ErrorKind::DeviceNotAvailable | ErrorKind::StreamInvalidated => Fault::Gone,
            ErrorKind::HostUnavailable => Fault::NoServer,
            ErrorKind::PermissionDenied => Fault::NotAllowed,
            _ => Fault::Other,
        };
        // The first one speaks; those that follow from it say less.
        let _ = self.fault.compare_exchange(0, fault as u8, Ordering::Relaxed, Ordering::Relaxed);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A second of stereo blocks of 5 ms, and then into a full ring, where a callback that waits would show.
    #[test]
    fn the_callbacks_allocate_nothing_and_report_once() {
        let (filler, drainer) = ring(2 * 48_000);
        let troubles = Troubles::default();
        let mut ear = CallbackEar { filler, first: None, before: 0 };
        let (block, wide) = ([1_000_i16; 480], [0.5_f64; 480]);
        let fault = cpal::Error::new(ErrorKind::DeviceNotAvailable);
        let (later, lost) = (cpal::Error::new(ErrorKind::BackendError), cpal::Error::new(ErrorKind::Xrun));
        let counted = allocation_counter::measure(|| {
            for n in 0..400 {
                let at = StreamInstant::new(n / 200, 5_000_000 * (n % 200) as u32);
                ear.take_in(&block, at);
                ear.take_in(&wide, at);
            }
            // As often as a removed device was seen to call it.
            troubles.note(&fault);
            (0..1_000_000).for_each(|_| troubles.note(&later));
            troubles.note(&lost);
        });
        assert_eq!((counted.count_total, counted.bytes_total), (0, 0));
        let mut got = Vec::new();
        drainer.drain(&mut got);
        assert!(got.starts_with(&[1_000.0 / 32_768.0]) && drainer.refused() > 0);
        assert_eq!(troubles.fault.load(Ordering::Relaxed), Fault::Gone as u8, "the first one speaks");
        assert_eq!(troubles.overruns.load(Ordering::Relaxed), 1);
        // The counter counts.
        assert!(
            allocation_counter::measure(|| drop(std::hint::black_box(vec![0; got.len()]))).count_total > 0
        );
    }

    #[test]
    fn a_busy_a_forbidden_and_a_missing_input_are_explained() {
        for (kind, says, next) in [
            (
                ErrorKind::DeviceBusy,
                "the input `USB` is in use by another program",
                "close the other program",
            ),
            (ErrorKind::PermissionDenied, "the system does not allow", "privacy settings"),
            (ErrorKind::DeviceNotAvailable, "the input `USB` stopped: it is not there", "check the plug"),
            (ErrorKind::HostUnavailable, "the sound server does not answer", "system's sound settings"),
            (ErrorKind::UnsupportedConfig, "which cannot be used", "48000 samples per second"),
        ] {
            let error = MicrophoneError::from_library("USB", &cpal::Error::new(kind));
            assert!(
                error.to_string().contains(says) && error.next().contains(next),
                "{error} {}",
                error.next()
            );
        }
    }
}
