//! `seal JOB PLACE`: the sealing test of one valve, open and sealed in turn, with a microphone or from sound files.

mod arguments;
#[cfg(feature = "mic")]
mod live;
mod trial;
mod words;

use super::failure::{Ended, Failure};
use super::output;
use crate::audio;
use crate::instrument::{Instrument, ReedPlace};
use crate::job::{BlownKind, JobWriter, SealBenchFile};
use crate::session::{self, SealSaid, SealingTest, Setting};

pub(crate) use arguments::Arguments;
use arguments::Blown;
use words::tell;

pub(crate) fn run(arguments: Arguments) -> Result<Ended, Failure> {
    let change = arguments.pass.checked()?;
    trial::check(arguments.strip, arguments.opening)?;
    let bench_file = SealBenchFile::open()?;
    let mut job = JobWriter::open(&arguments.folder)?;
    output::say_oddities(&job);
    let reed = reed_of(job.instrument(), &arguments.valve.join(" "))?;
    let kind = arguments.blown.map(|blown| match blown {
        Blown::Held => BlownKind::Held,
        Blown::Swell => BlownKind::Swell,
    });
    // A trial shows the size as it is estimated without the bench's own correction.
    let mut bench = bench_file.bench();
    if arguments.strip.is_some() {
        bench.size_factor = 1.0;
    }
    if arguments.files.is_empty() {
        return with_microphone(&arguments, &mut job, &change, reed, kind, bench);
    }
    if arguments.files.len() < 2 {
        let what = "one sound file makes no pair";
        return Err(Failure::bad_usage(
            what,
            "give at least an open and a sealed play, better open, sealed, open",
        ));
    }
    // All files first, so that a slip leaves nothing behind.
    let sounds = arguments.files.iter().map(|file| audio::read_file(file)).collect::<Result<Vec<_>, _>>()?;
    let clock = match (&arguments.clock, sounds.first()) {
        (Some(clock), Some(sound)) => Some(clock.at(sound.rate_hz)?),
        _ => None,
    };
    let pass = job.open_pass(&arguments.pass.name, &change)?.pass;
    let rate_hz = sounds.first().map_or(48_000, |sound| sound.rate_hz);
    let setting = Setting { pass: pass.clone(), rate_hz, channels: 1, clock };
    let mut test = SealingTest::new(&mut job, setting, reed, kind, bench);
    let mut ended = Ended::Done;
    for (file, sound) in arguments.files.iter().zip(sounds) {
        match test.file(sound)? {
            Some(said) => {
                if matches!(said, SealSaid::Nothing(_)) {
                    ended = Ended::CouldNot;
                }
                tell(&said, &pass, arguments.json)?;
            }
            None => output::say(&format!("`{}` is not needed: it is settled", file.display())),
        }
    }
    let finding = test.finding().cloned();
    trial::keep(&arguments, bench_file, &job, finding.as_ref())?;
    Ok(ended)
}

#[cfg(feature = "mic")]
use live::with_microphone;

#[cfg(not(feature = "mic"))]
fn with_microphone(
    _: &Arguments,
    _: &mut JobWriter,
    _: &crate::job::PassChange,
    _: ReedPlace,
    _: Option<BlownKind>,
    _: crate::judgement::sealing::SealBench,
) -> Result<Ended, Failure> {
    Err(Failure::could_not(
        "this program was built without recording",
        "give the plays as sound files with --files, or build it with its default features",
    ))
}

/// The reed that tests a valve, or the reed itself; it must have a valve to test.
fn reed_of(instrument: &Instrument, text: &str) -> Result<ReedPlace, Failure> {
    session::reed_that_tests(instrument, text)?
        .map_err(|what| Failure::could_not(format!("{text}: {what}"), session::NAME_A_VALVE))
}
