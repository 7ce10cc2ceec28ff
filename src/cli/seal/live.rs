//! The sealing test with the microphone.

use std::sync::mpsc::{Receiver, channel};

use super::arguments::Arguments;
use super::trial;
use super::words::{say_due, say_how, tell};
use crate::audio::{Incident, Microphone};
use crate::cli::failure::{Ended, Failure};
use crate::cli::output;
use crate::instrument::ReedPlace;
use crate::job::{BlownKind, JobWriter, PassChange, SealBenchFile};
use crate::judgement::sealing::SealBench;
use crate::session::{self, SealSaid, SealingTest, Setting};

pub(super) fn with_microphone(
    arguments: &Arguments,
    job: &mut JobWriter,
    change: &PassChange,
    reed: ReedPlace,
    kind: Option<BlownKind>,
    bench: SealBench,
) -> Result<Ended, Failure> {
    // The input first: where none can be opened, no pass is opened either.
    let mut microphone = Microphone::open(arguments.device.as_deref())?;
    let input = microphone.input().clone();
    let pass = job.open_pass(&arguments.pass.name, change)?.pass;
    let (clock, clock_words) = session::clock_of_input(&input);
    say_how(&reed);
    output::say(&format!("listening to `{}`, {} Hz; be quiet for a moment", input.name, input.rate_hz));
    output::say(&clock_words);
    let setting = Setting { pass: pass.clone(), rate_hz: input.rate_hz, channels: input.channels, clock };
    let mut test = SealingTest::new(job, setting, reed.clone(), kind, bench);
    let typed = typed();
    let (mut sound, mut told) = (Vec::new(), None);
    while let Some(state) = test.due() {
        // Once the room is known, and after each play.
        if test.levels().1.is_some() && told != Some((test.plays(), state)) {
            say_due(&reed, state, test.plays());
            told = Some((test.plays(), state));
        }
        sound.clear();
        let incidents = microphone.hear(&mut sound)?;
        for said in test.hear(&sound, incidents.iter().map(Incident::to_string).collect())? {
            tell(&said, &pass, arguments.json)?;
            if matches!(said, SealSaid::Nothing(_)) {
                told = None;
            }
        }
        let words: Vec<String> = typed.try_iter().map(|line| line.trim().to_lowercase()).collect();
        for word in &words {
            match word.as_str() {
                "" | "stop" | "quit" | "q" => {}
                "again" | "a" => match test.again()? {
                    Some(file) => output::say(&format!("`{file}` is withdrawn")),
                    None => output::say("no play was kept yet"),
                },
                _ => output::say(&format!(
                    "`{word}` is no word here: `again` withdraws the newest play, `stop` ends"
                )),
            }
        }
        if words.iter().any(|word| matches!(word.as_str(), "stop" | "quit" | "q")) {
            break;
        }
    }
    let finding = test.finding().cloned();
    trial::keep(arguments, SealBenchFile::open()?, job, finding.as_ref())?;
    output::say(&format!("next:  `platenote findings {} --pass {pass}`", arguments.folder.display()));
    Ok(Ended::Done)
}

/// Lines typed from now on; a closed stdin types nothing and stops nothing.
fn typed() -> Receiver<String> {
    let (typed, lines) = channel();
    let waiting = std::thread::Builder::new().name("lines".into()).spawn(move || {
        for line in std::io::stdin().lines().map_while(Result::ok) {
            if typed.send(line).is_err() {
                return;
            }
        }
    });
    // Without a thread nothing can be typed, and the test goes on without.
    drop(waiting);
    lines
}
