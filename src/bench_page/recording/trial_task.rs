//! The microphone tried before a pass is opened: its level, the room, and advice; nothing is stored.

use std::sync::Arc;
use std::sync::mpsc::channel;
use std::time::{Duration, Instant};

use serde_json::{Value, json};

use super::input_state::{Input, InputState};
use crate::audio::Microphone;
use crate::bench_page::Error;
use crate::bench_page::app_state::AppState;
use crate::bench_page::recording_task::{RecordingCommand, RecordingTask};
use crate::session::Cutter;

/// The page is told so often.
const EVERY: Duration = Duration::from_millis(80);
/// A note this near to full scale may clip with the next louder one, dBFS of its mean. Common practice, no source.
const TOO_LOUD_DBFS: f64 = -9.0;
/// A note that stands out of the room by less than this leaves little to hear a leak in, dB: a leak sounds up to 40 dB
/// below its reed (the usual limit of a block).
const WANTED_ABOVE_ROOM_DB: f64 = 40.0;

/// Listen until told to stop, or until something else needs the microphone.
pub(in crate::bench_page) fn trial(app: &Arc<AppState>, input: &str) -> Result<RecordingTask, Error> {
    let wanted = input.trim();
    let microphone = Microphone::open((!wanted.is_empty()).then_some(wanted))?;
    let (orders, ordered) = channel();
    let app = app.clone();
    let run = move || {
        if let Err(error) = listen(&app, microphone, &ordered) {
            app.events.say(json!({"kind": "trouble", "text": error.to_string(), "next": error.next()}));
        }
        app.events.stands(Value::Null);
    };
    let thread = std::thread::Builder::new().name("trial".into()).spawn(run).map_err(Error::Server)?;
    Ok(RecordingTask { orders, holds_job: false, thread })
}

fn listen(
    app: &AppState,
    mut microphone: Microphone,
    ordered: &std::sync::mpsc::Receiver<RecordingCommand>,
) -> Result<(), Error> {
    let input = microphone.input().clone();
    let mut cutter = Cutter::new(input.rate_hz, input.channels);
    let mut state = InputState::new(input.rate_hz, input.channels);
    let (mut sound, mut told, mut clipped) = (Vec::new(), Instant::now(), None::<Instant>);
    let (mut note_db, mut was_steady) = (None::<f64>, false);
    loop {
        match ordered.try_recv() {
            Ok(RecordingCommand::Stop) | Err(std::sync::mpsc::TryRecvError::Disconnected) => return Ok(()),
            _ => {}
        }
        sound.clear();
        microphone.hear(&mut sound)?;
        state.hear(&sound);
        cutter.hear(&sound);
        if cutter.was_clipped() {
            clipped = Some(Instant::now());
        }
        // The loudest of the note: while it ends, the level falls to the room's.
        let is_steady = cutter.steady_s().is_some_and(|steady_s| steady_s > 0.5);
        if is_steady {
            let before = note_db.filter(|_| was_steady).unwrap_or(f64::NEG_INFINITY);
            note_db = Some(cutter.level_db().max(before));
        }
        was_steady = is_steady;
        if told.elapsed() < EVERY {
            continue;
        }
        told = Instant::now();
        let is_clipped = clipped.is_some_and(|since| since.elapsed() < Duration::from_secs(3));
        let words = advice(state.input(), is_clipped, note_db, cutter.floor_db());
        app.events.stands(json!({"trial": true, "input": input.name, "level_db": cutter.level_db(),
            "floor_db": cutter.floor_db(), "clipped": is_clipped, "advice": words}));
    }
}

/// What to change, from the loudest thing wrong to none.
fn advice(input: Input, is_clipped: bool, note_db: Option<f64>, floor_db: Option<f64>) -> String {
    match (input, note_db, floor_db) {
        (Input::Silent, ..) => "Nothing comes: is the input muted, or its plug out?".into(),
        _ if is_clipped => "It clips: turn the input down, or move the microphone away.".into(),
        (_, _, None) => "Be quiet for a moment: the noise of the room is being learnt.".into(),
        (_, None, Some(_)) => "Now play a reed as you will play them all, softly and evenly.".into(),
        (_, Some(note), _) if note > TOO_LOUD_DBFS => {
            "Near to clipping: turn the input down a little.".into()
        }
        (_, Some(note), Some(floor)) if note - floor < WANTED_ABOVE_ROOM_DB => format!(
            "The reed stands {:.0} dB above the room; {WANTED_ABOVE_ROOM_DB:.0} dB and more show small leaks. Nearer to the \
             microphone, or a quieter room.",
            note - floor
        ),
        (_, Some(note), Some(floor)) => {
            format!("Good: the reed stands {:.0} dB above the room.", note - floor)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn advice_names_the_worst_first() {
        let of = |clipped, note, floor| advice(Input::Sound, clipped, note, floor);
        assert!(advice(Input::Silent, true, None, None).contains("muted"));
        assert!(of(true, Some(-3.0), Some(-70.0)).contains("clips"));
        assert!(of(false, None, None).contains("quiet"));
        assert!(of(false, None, Some(-70.0)).contains("play a reed"));
        assert!(of(false, Some(-5.0), Some(-70.0)).contains("Near to clipping"));
        assert!(of(false, Some(-40.0), Some(-60.0)).contains("stands 20 dB"));
        assert!(of(false, Some(-20.0), Some(-70.0)).starts_with("Good: the reed stands 50 dB"));
    }
}
