//! What may be done on the page, each thing by its word.

use std::sync::Arc;

use serde::Deserialize;
use serde::de::DeserializeOwned;
use serde_json::{Value, json};

use super::Error;
use super::app_state::AppState;
use super::job_lookup::{seen, spots_in};
use super::parts_corrections;
use super::plan_table::Table;
use super::recording;
use super::recording_task::{Own, RecordingCommand, SealWish, TuneWish, Wish};
use super::sound_files;
use crate::evaluation::{self, Detail, Evaluation, PassChoice, USUAL_SOUND_MB};
use crate::instrument::{Material, Stroke};
use crate::job;
use crate::repair::{self, Condition, Lot, MOST_COUNT, Part, Work, is_bin_name, parse_length};
use crate::report::caution_for;

/// Do what the word `what` asks for with what the page sent; gives a few words on what was done.
pub(super) fn act(app: &Arc<AppState>, what: &str, body: &[u8]) -> Result<Value, Error> {
    let text = |text: String| Ok(json!({ "said": text }));
    match what {
        "open" => {
            let wish: Chosen = read(body)?;
            app.choose(&wish.folder)?;
            text(format!("open: {}", wish.folder))
        }
        "new" => {
            let wish: NewJob = read(body)?;
            app.make(&wish.name, &wish.template, &wish.title)?;
            text(format!("job {} is made", wish.name))
        }
        "demo" => {
            let folder = app.demo()?;
            text(format!("the demo job is open: {}", folder.display()))
        }
        "mark" => mark(app, read(body)?),
        "unmark" => {
            let wish: Numbered = read(body)?;
            let mark = app.write(move |job| Ok(job.undo(Some(wish.n))?))?;
            text(format!("mark {} taken back: {}", mark.n, mark.work))
        }
        "put-take" => parts_corrections::put_take(app, read(body)?),
        "put-pass" => parts_corrections::put_pass(app, read(body)?),
        "uncorrect" => parts_corrections::undo(app, read(body)?),
        "count" => count(app, read(body)?),
        "check-plan" => Ok(json!({"faults": read::<Table>(body)?.faults()})),
        "keep-plan" => keep_plan(app, read(body)?),
        "undo-plan" => {
            app.must_rest()?;
            app.write(|job| Ok(job.undo_plan()?))?;
            text("the plan before is back, and its plates' names with it".into())
        }
        "record" => {
            let wish: Wish = read(body)?;
            app.start_recording(|folder| recording::begin(app, folder, wish))?;
            text("recording begins".into())
        }
        "seal" => {
            let wish: SealWish = read(body)?;
            app.start_recording(|folder| recording::seal(app, folder, wish))?;
            text("the sealing test begins".into())
        }
        "tune" => {
            let wish: TuneWish = read(body)?;
            app.start_recording(|folder| recording::tune(app, folder, wish))?;
            text("tuning begins".into())
        }
        "undo-go" => order(app, RecordingCommand::Own(Own::Undo), "the last go is taken back"),
        "filed" => {
            let wish: Filed = read(body)?;
            let part = if wish.part == "root" { Part::Root } else { Part::Tip };
            order(app, RecordingCommand::Own(Own::Filed(part, wish.strokes.min(MOST_STROKES))), "noted")
        }
        "again" => order(app, RecordingCommand::Again, "the last reed once more"),
        "skip" => order(app, RecordingCommand::Skip, "left out"),
        "back" => order(app, RecordingCommand::Back, "the reed before"),
        "there" => order(app, RecordingCommand::There(None), "kept where it fits"),
        "there-press" => {
            order(app, RecordingCommand::There(Some(Stroke::Press)), "kept where it fits, press")
        }
        "there-draw" => order(app, RecordingCommand::There(Some(Stroke::Draw)), "kept where it fits, draw"),
        "hush" => {
            let wish: Hush = read(body)?;
            // Nothing is listening, so nothing need be kept from it.
            if let Some(orders) = app.orders() {
                let _ = orders.send(RecordingCommand::Hush(wish.on));
            }
            text(String::new())
        }
        "trial" => {
            let wish: Trial = read(body)?;
            app.start_trial(|| recording::trial(app, &wish.input))?;
            text("the microphone is tried; nothing is stored".into())
        }
        "stop-trial" => {
            app.must_rest()?;
            app.stop_recording();
            text("the trial has ended".into())
        }
        "here" => order(app, RecordingCommand::Here, "kept for the due reed"),
        "stop" => {
            app.stop_recording();
            text("recording has ended".into())
        }
        // What came of it is told by what ends.
        "end" => {
            app.stop_recording();
            Ok(json!({}))
        }
        "place" => sound_files::place(app, &read(body)?),
        "accept-sound" => sound_files::accept(app, &read(body)?),
        "report" => report(app),
        "close" => {
            app.stop_recording();
            app.events.close();
            text("Platenote has ended; this window can be closed. Everything is stored.".into())
        }
        _ => Err(Error::Word(format!("`{what}` is nothing that can be done here"))),
    }
}

#[derive(Deserialize)]
struct Chosen {
    folder: String,
}

#[derive(Deserialize)]
struct Filed {
    part: String,
    strokes: u32,
}

/// More strokes in one go are a slip of the keys.
const MOST_STROKES: u32 = 500;

#[derive(Deserialize)]
struct Hush {
    on: bool,
}

#[derive(Deserialize)]
struct Trial {
    #[serde(default)]
    input: String,
}

#[derive(Deserialize)]
struct NewJob {
    name: String,
    template: String,
    #[serde(default)]
    title: String,
}

#[derive(Deserialize)]
struct Numbered {
    n: u32,
}

#[derive(Deserialize)]
struct NewMark {
    places: String,
    work: String,
}

#[derive(Deserialize)]
struct NewCount {
    length: String,
    count: u32,
    material: String,
    condition: String,
    bin: String,
}

#[derive(Deserialize)]
struct NewPlan {
    table: Table,
    seen: String,
    /// Takes or notes may be left without a place: that was asked, and answered yes.
    #[serde(default)]
    yes: bool,
}

fn read<T: DeserializeOwned>(body: &[u8]) -> Result<T, Error> {
    serde_json::from_slice(body)
        .map_err(|error| Error::Word(format!("the page sent what is not wanted here: {error}")))
}

fn order(app: &AppState, order: RecordingCommand, said: &str) -> Result<Value, Error> {
    let orders = app.orders().ok_or(Error::NotRecording)?;
    orders.send(order).map_err(|_| Error::NotRecording)?;
    Ok(json!({ "said": said }))
}

fn mark(app: &AppState, wish: NewMark) -> Result<Value, Error> {
    let work = Work::parse(&[wish.work.as_str()])?;
    let noted = work.clone();
    let (n, warnings) = app.write(move |job| {
        let spots = spots_in(job, &wish.places)?;
        work.check_places(job.instrument(), &spots)?;
        let n = job.mark(&spots, &work)?;
        let warnings = repair::warnings(job.instrument(), job.valve_rule(), &job.happenings());
        Ok((n, warnings.into_iter().filter(|warning| warning.n == n).collect::<Vec<_>>()))
    })?;
    let mut more: Vec<String> =
        warnings.into_iter().map(|warning| format!("Warning: {}. {}.", warning.text, warning.next)).collect();
    more.extend(caution_for(&noted).map(|caution| format!("Caution: {caution}.")));
    Ok(json!({"said": format!("mark {n}: {noted}"), "more": more, "undo": n}))
}

fn count(app: &AppState, wish: NewCount) -> Result<Value, Error> {
    let material = Material::named(&wish.material).ok_or_else(|| {
        let [one, other] = Material::ALL;
        Error::Word(format!("`{}` is no material; it is {one} or {other}", wish.material))
    })?;
    let condition: Condition = wish.condition.parse().map_err(Error::Word)?;
    let bin = Some(wish.bin.trim().to_owned()).filter(|bin| !bin.is_empty());
    if let Some(bin) = bin.as_deref().filter(|bin| !is_bin_name(bin)) {
        return Err(Error::Word(format!(
            "`{bin}` cannot name a bin; use up to 20 letters, digits, `_` and `-`"
        )));
    }
    let lot = Lot {
        length: parse_length(&wish.length)?,
        width: None,
        thickness: None,
        material,
        condition,
        bin,
        count: wish.count,
    };
    let said = format!("{} × {} in the tray", lot.count, lot.length);
    if lot.count > MOST_COUNT {
        return Err(Error::Word(format!(
            "{} is no count; give a whole number from 0 to {MOST_COUNT}",
            lot.count
        )));
    }
    app.write(move |job| Ok(job.count(&[lot], false)?))?;
    Ok(json!({ "said": said }))
}

fn keep_plan(app: &AppState, wish: NewPlan) -> Result<Value, Error> {
    app.must_rest()?;
    app.write(move |job| {
        if seen(job) != wish.seen {
            return Err(Error::PlanChanged);
        }
        let text = wish.table.plan_text(job, &job.plan_text())?;
        match job.change_plan(&text, &wish.table.origins(job), wish.yes) {
            Err(job::Error::LeavesWithoutPlace { lost }) => Err(Error::Ask(question(&lost))),
            done => Ok(done?),
        }
    })?;
    Ok(
        json!({"said": "the plan is kept, and takes and notes went along with their plates; it can be undone"}),
    )
}

/// What would be left without a place, a few of it by name.
fn question(lost: &[String]) -> String {
    /// What a question can show.
    const NAMED: usize = 8;
    let named: Vec<&str> = lost.iter().take(NAMED).map(String::as_str).collect();
    let more = match lost.len().saturating_sub(NAMED) {
        0 => String::new(),
        n => format!("\nand {n} more"),
    };
    format!("The plan would leave without a place:\n{}{more}\nKeep it all the same?", named.join("\n"))
}

fn report(app: &AppState) -> Result<Value, Error> {
    let job = app.job()?;
    let choice = PassChoice::with_the_one_before(&job, None)?;
    if choice.later.is_none() {
        return Err(Error::Word("no pass has been recorded, so there is nothing to report".into()));
    }
    let told = Evaluation::of(&job, &choice, Detail::Report, &|| ())?;
    let written = evaluation::write_report(&job, &told, None, USUAL_SOUND_MB)?;
    app.events.changed();
    Ok(
        json!({"said": format!("the report is written, with {} drawings", written.charts.len()), "more": written.words}),
    )
}
