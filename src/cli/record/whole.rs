//! `record JOB --whole`: everything into one long recording, written to disk as it comes, taken apart at the end.

use std::path::Path;

use super::Arguments;
use super::keys::{Key, key};
use crate::audio::Microphone;
use crate::cli::failure::{Ended, Failure};
use crate::cli::terminal::typed_lines;
use crate::cli::{output, sweep};
use crate::job::{JobWriter, LongRecording};
use crate::session;

/// How often the length is said, s.
const SAID_EVERY_S: f64 = 30.0;

pub(super) fn run(arguments: Arguments) -> Result<Ended, Failure> {
    let change = arguments.pass.checked()?;
    let mut job = JobWriter::open(&arguments.folder)?;
    output::say_oddities(&job);
    let mut microphone = Microphone::open(arguments.device.as_deref())?;
    let input = microphone.input().clone();
    let (clock, clock_words) = session::clock_of_input(&input);
    output::say(&clock_words);
    arguments.pass.ask_if_near(&job)?;
    let pass = job.open_pass(&arguments.pass.name, &change)?.pass;
    let channels = u16::try_from(input.channels).unwrap_or(1).max(1);
    let recording = job.begin_recording(&pass, input.rate_hz, channels)?;
    let file = recording.path().to_owned();
    output::say(&format!(
        "listening to `{}`, {} Hz, {} channels; everything goes into `{}`",
        input.name,
        input.rate_hz,
        input.channels,
        file.display()
    ));
    output::say(
        "play every reed in order, with a second of quiet between the notes; type `stop` and press Enter at the end",
    );
    let ended = listen(&mut microphone, recording, &mut job, &arguments.folder);
    // The sweep looks at the job itself, and another program may now write to it.
    drop(job);
    if let Err(failure) = ended {
        output::say(&format!("`{}` holds all that was heard up to here", file.display()));
        return Err(failure);
    }
    let order =
        (arguments.order != "plates" && arguments.order != "strokes").then(|| arguments.order.clone());
    let order_words =
        order.as_ref().map_or(String::new(), |order| format!(" --order {}", output::quoted(order)));
    let folder = arguments.folder.clone();
    sweep::run(sweep::Arguments::of_recording(folder, file.clone(), arguments.pass, order, arguments.json))?;
    let clock = clock.map_or(String::new(), |clock| format!(" --clock {}", output::quoted(&clock.device)));
    output::say(&format!(
        "next:  `platenote sweep {} {} --pass {pass}{order_words}{clock} --accept` stores the takes",
        output::quoted(&arguments.folder),
        output::quoted(&file)
    ));
    Ok(Ended::Done)
}

/// Sound to disk until it is stopped; what was lost is told and written on the recording.
fn listen(
    microphone: &mut Microphone,
    mut recording: LongRecording,
    job: &mut JobWriter,
    folder: &Path,
) -> Result<(), Failure> {
    let keys = typed_lines(key);
    let (mut sound, mut said_s) = (Vec::new(), 0.0);
    let name = recording
        .path()
        .strip_prefix(folder)
        .unwrap_or(recording.path())
        .to_string_lossy()
        .replace('\\', "/");
    let ended = loop {
        sound.clear();
        let heard = microphone.hear(&mut sound);
        recording.hear(&sound)?;
        match heard {
            Ok(incidents) => {
                for incident in incidents {
                    output::say(&format!("warning: {incident}"));
                    job.remark_at(&name, &incident.to_string(), recording.length_s())?;
                }
            }
            Err(error) => break Err(Failure::from(error)),
        }
        if recording.length_s() >= said_s + SAID_EVERY_S {
            said_s = recording.length_s();
            output::say(&format!("{:.0} s", said_s));
        }
        if keys.try_iter().any(|key| key == Key::Stop) {
            break Ok(());
        }
    };
    recording.finish()?;
    ended
}
