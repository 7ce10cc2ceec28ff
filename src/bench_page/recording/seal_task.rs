//! The sealing test of one valve for the page: asks for each play in turn, and tells how it stands after each pair.

use std::path::PathBuf;
use std::sync::Arc;

use serde_json::{Value, json};

use super::input_state::{Input, InputState};
use super::thread::{Teller, spawn};
use crate::audio::{Incident, Microphone};
use crate::bench_page::Error;
use crate::bench_page::app_state::AppState;
use crate::bench_page::recording_task::{Own, RecordingCommand, RecordingTask, SealWish};
use crate::instrument::ReedPlace;
use crate::job::{BlownKind, JobWriter, PassChange, SealBenchFile, SealState};
use crate::judgement::sealing::{Seal, SealingFinding};
use crate::report::figures;
use crate::session::seal_words::{CAUTIONS, lines, what_to_close};
use crate::session::{self, NAME_A_VALVE, SealSaid, SealingTest, Setting};

/// Open job, input and pass, and begin.
pub(in crate::bench_page) fn seal(
    app: &Arc<AppState>,
    folder: PathBuf,
    wish: SealWish,
) -> Result<RecordingTask, Error> {
    let kind = match wish.blown.as_str() {
        "" => None,
        "held" => Some(BlownKind::Held),
        "swell" => Some(BlownKind::Swell),
        other => return Err(Error::Word(format!("`{other}` is neither held nor swell"))),
    };
    let mut job = JobWriter::open(&folder)?;
    let place = wish.valve.trim();
    let reed = session::reed_that_tests(job.instrument(), place)?
        .map_err(|what| Error::Word(format!("{place}: {what}; {NAME_A_VALVE}")))?;
    // The input first: where none can be opened, no pass is opened either.
    let wanted = wish.input.trim();
    let mut microphone = Microphone::open((!wanted.is_empty()).then_some(wanted))?;
    let name = wish.pass.trim();
    if let Some(near) = job.pass_near(name).filter(|_| !wish.yes) {
        return Err(Error::Ask(format!(
            "There is a pass `{near}`, and `{name}` is one letter from it. Is `{name}` a new pass?"
        )));
    }
    let pass = job.open_pass(name, &PassChange::default())?.pass;
    let bench = SealBenchFile::open()?.bench();
    spawn(app, "sealing", move |teller| {
        let input = microphone.input().clone();
        let (clock, _) = session::clock_of_input(&input);
        let setting = Setting { pass: pass.clone(), rate_hz: input.rate_hz, channels: input.channels, clock };
        let mut state = InputState::new(input.rate_hz, input.channels);
        let mut test = SealingTest::new(&mut job, setting, reed.clone(), kind, bench);
        let mut sound = Vec::new();
        'playing: while test.due().is_some() {
            sound.clear();
            let incidents = microphone.hear(&mut sound)?;
            state.hear(&sound);
            for said in test.hear(&sound, incidents.iter().map(Incident::to_string).collect())? {
                teller.say(told(&said));
                if matches!(said, SealSaid::Kept { .. }) {
                    teller.app.events.changed();
                }
            }
            for order in teller.orders.try_iter() {
                match order {
                    RecordingCommand::Stop => break 'playing,
                    RecordingCommand::Hush(is_on) => test.hush(is_on),
                    RecordingCommand::Own(Own::Write(work)) => work(test.job()),
                    // Nothing else makes sense in a test of one valve.
                    _ => {}
                }
            }
            let is_clipped = teller.is_clipped(test.was_clipped());
            if teller.is_due() {
                stand(teller, &test, &reed, &pass, is_clipped, state.input());
            }
        }
        Ok(match test.finding() {
            Some(finding) => lines(finding).into_iter().map(|line| line.trim().to_owned()).collect(),
            None => vec![format!(
                "{reed}: no pair yet, so the test says nothing; the plays are kept in pass {pass}"
            )],
        })
    })
}

/// What a play told, in a line or two.
fn told(said: &SealSaid) -> Vec<String> {
    match said {
        SealSaid::Began => Vec::new(),
        SealSaid::Trouble(trouble) => vec![trouble.clone()],
        SealSaid::Nothing(refusal) => {
            vec![format!("that play gives nothing, {refusal}; it is not kept, play it once more")]
        }
        SealSaid::Kept { state, level_db, finding, .. } => {
            let kept = format!("{}: {level_db:.1} dBFS, kept", state.name());
            let verdict = finding.as_deref().map(|finding| finding.reason.clone());
            std::iter::once(kept).chain(verdict).collect()
        }
    }
}

fn stand(teller: &Teller, test: &SealingTest, reed: &ReedPlace, pass: &str, is_clipped: bool, input: Input) {
    let Some(due) = test.due() else { return };
    let (level_db, floor_db) = test.levels();
    let call = match (input, test.steady_s(), floor_db) {
        (Input::Silent, ..) => "silent",
        (_, Some(_), _) => "sounds",
        (_, None, None) => "quiet",
        _ => "play",
    };
    let plays: Vec<Value> = test
        .kept()
        .map(|(seal, level_db)| json!({"sealed": seal == Seal::Sealed, "level_db": level_db}))
        .collect();
    teller.app.events.stands(json!({
        "sealing": true, "pass": pass, "place": reed.to_string(), "short": super::recorder::short(reed),
        "stroke": reed.stroke.to_string(), "state": due.name(), "is_sealed": due == SealState::Sealed, "play": test.plays() + 1,
        "how": what_to_close(reed.stroke), "cautions": CAUTIONS, "call": call, "plays": plays,
        "finding": test.finding().map(shown), "said": teller.said(),
        "level_db": level_db, "floor_db": floor_db, "clipped": is_clipped}));
}

/// How it stands, for the page.
fn shown(finding: &SealingFinding) -> Value {
    json!({"pairs": finding.pairs, "verdict": finding.verdict.name(), "difference_db": finding.difference_db,
        "uncertainty_db": finding.uncertainty_db, "reason": figures(&finding.reason), "next": figures(&finding.next)})
}
