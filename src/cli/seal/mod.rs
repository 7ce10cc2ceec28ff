//! `seal JOB PLACE`: the sealing test of one valve, open and sealed in turn, with a microphone or from sound files.

#[cfg(feature = "mic")]
mod live;
mod trial;

use std::path::PathBuf;

use clap::{Args, ValueEnum};
use serde_json::json;

use super::failure::{Ended, Failure};
use super::pass_arguments::PassArguments;
use super::sealing_words::{self, CAUTIONS, SealingLine};
use super::{clock, output};
use crate::audio;
use crate::instrument::{Instrument, ReedPlace, Stroke, ValvePlace};
#[cfg(feature = "mic")]
use crate::job::SealState;
use crate::job::{BlownKind, JobWriter, SealBenchFile};
use crate::session::{SealSaid, SealingTest, Setting};

/// Test one valve: play its reed open and with the path behind the valve closed from outside, in turn
#[derive(Args)]
#[command(after_help = "\
The order is open, sealed, open, then sealed and open again until it is settled, within two minutes, the microphone and \
yourself untouched. By a water gauge or weighted bellows: plays of 3 s at about 450 Pa. By hand: swells from soft to loud to \
soft over 5 to 8 s. Type `stop` and Enter to end; every play so far is kept.
The bench itself: `--good` keeps what sealing changes on a plate known to be good, `--strip 0.1` a trial with a strip of \
0.1 mm under a good valve (docs/known-leak.md).")]
pub(crate) struct Arguments {
    /// Folder of the job
    #[arg(value_name = "JOB")]
    folder: PathBuf,
    /// The valve or the reed that tests it: `bass B3 inner`, `B3 draw`
    // Another name than `--place`, which says where the pass is measured.
    #[arg(value_name = "PLACE", required = true)]
    valve: Vec<String>,
    #[command(flatten)]
    pass: PassArguments,
    /// How it is blown [default: told from the sound]
    #[arg(long, value_enum, value_name = "HOW")]
    blown: Option<Blown>,
    /// Sound files instead of the microphone, in order: open, sealed, open, …
    #[arg(long, value_name = "FILE", num_args = 1..)]
    files: Vec<PathBuf>,
    /// The input: its name, or enough of it [default: the system's own choice]
    #[arg(long, value_name = "NAME", conflicts_with = "files")]
    device: Option<String>,
    /// Clock of the device that recorded the files: its name, or ppm as `12.5±3`
    #[arg(long, value_name = "DEVICE|PPM", value_parser = clock::parse, allow_hyphen_values = true, requires = "files")]
    clock: Option<clock::TypedClock>,
    /// The plate is known to be good: keep what sealing changes on it with the bench
    #[arg(long, conflicts_with = "strip")]
    good: bool,
    /// A trial: thickness of the strip under the valve, which is a good one otherwise
    #[arg(long, value_name = "MM")]
    strip: Option<f64>,
    /// For the trial: what the opposite tongue leaves open at rest [default: by its pitch]
    #[arg(long, value_name = "MM2", requires = "strip")]
    opening: Option<f64>,
    /// One JSON object a line (docs/json.md)
    #[arg(long)]
    json: bool,
}

#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Blown {
    /// Evenly, by a gauge or weighted bellows
    Held,
    /// Soft, loud, soft, by hand
    Swell,
}

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
    let reed = match instrument.valve_place(text) {
        Ok(ValvePlace { plate, face }) => {
            let stroke = instrument.plate(&plate).map(|(block, _, _)| block.stroke_that_tests(face));
            ReedPlace { plate, stroke: stroke.unwrap_or(Stroke::Press) }
        }
        Err(_) => instrument.reed_place(text)?,
    };
    let has_reed = instrument.target(&reed).is_some();
    let has_valve = instrument
        .valve_tested_by(&reed)
        .is_some_and(|(_, valve)| !matches!(valve, crate::instrument::Valve::None));
    if has_reed && has_valve {
        return Ok(reed);
    }
    let what = if has_reed { "no valve is due there" } else { "no reed sounds there" };
    Err(Failure::could_not(format!("{text}: {what}"), "name a valve that the plan has, as `B3 outer`"))
}

/// Say what is due and how to close it.
#[cfg(feature = "mic")]
fn say_due(reed: &ReedPlace, state: SealState, play: usize) {
    let how = match state {
        SealState::Open => "open; the hand rests beside the plate as it will when it is sealed",
        SealState::Sealed => "sealed; the same pressure",
    };
    output::say(&format!("play {}: {reed}, {how}", play + 1));
}

/// Say beforehand what will be closed, and the cautions.
#[cfg_attr(not(feature = "mic"), allow(dead_code))] // What a guided test says; that needs a microphone.
fn say_how(reed: &ReedPlace) {
    output::say(sealing_words::what_to_close(reed.stroke));
    for line in sealing_words::drawing(reed.stroke) {
        output::say(line);
    }
    for caution in CAUTIONS {
        output::say(&format!("caution: {caution}"));
    }
}

fn tell(said: &SealSaid, pass: &str, as_json: bool) -> Result<(), Failure> {
    match said {
        SealSaid::Began => output::say("it sounds"),
        SealSaid::Trouble(trouble) => output::say(&format!("warning: {trouble}")),
        SealSaid::Nothing(refusal) => {
            output::say(&format!("the play gives nothing, {refusal}; it is not kept, play it once more"));
        }
        SealSaid::Kept { state, file, level_db, kind, finding } => {
            let blown = match kind {
                crate::analysis::PlayKind::Held => "held",
                crate::analysis::PlayKind::Swell => "swell",
            };
            if as_json {
                output::json(&json!({"format": 1, "kind": "seal_play", "sealed": state.name(),
                    "blown": blown, "level_dbfs": level_db, "take": file}))?;
            } else {
                output::line(&format!("{}: {blown}, {level_db:.1} dBFS ({file})", state.name()))?;
            }
            match finding {
                Some(finding) if as_json => output::json(&SealingLine::new(pass, finding))?,
                Some(finding) => {
                    for line in sealing_words::lines(finding) {
                        output::line(&line)?;
                    }
                }
                None => {}
            }
        }
    }
    Ok(())
}
