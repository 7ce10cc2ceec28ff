//! Takes and passes put right: a take that does not count, or is another reed's or another pass's; a pass called otherwise or
//! joined to another; and everything that was put right, to be taken back.

use maud::{Markup, html};
use serde::Deserialize;
use serde_json::{Value, json};

use super::Error;
use super::app_state::AppState;
use crate::job::Job;

/// So many corrections are shown, the newest first.
const NEWEST: usize = 12;

/// The forms, and what was put right.
pub(super) fn corrections(job: &Job) -> Markup {
    let takes: Vec<_> = job.all_takes().into_iter().filter(|take| take.withdrawn.is_none()).collect();
    let passes: Vec<String> = job.passes().into_iter().map(|facts| facts.pass).collect();
    let corrections = job.corrections();
    html! { @if !takes.is_empty() || !corrections.is_empty() {
        section.put-right.on-screen aria-labelledby="h-put-right" {
            h3 id="h-put-right" { "Put right" }
            p.hint { "Nothing is rubbed out: a sound stays where it is, the diary gets a line, and each line can be taken back." }
            div.columns {
                form data-do="put-take" {
                    label { "Take " select name="file" id="put-take" {
                        @for take in &takes { option value=(take.file) { (take.place) ", pass " (take.pass) ", take " (take.n) } }
                    } }
                    label { "What is right " select name="what" {
                        option value="withdraw" { "it does not count" }
                        option value="place" { "it is of the reed" }
                        option value="pass" { "it is of the pass" }
                    } }
                    label { "Reed or pass " input name="to" autocomplete="off" spellcheck="false" placeholder="A8 press"; }
                    label { "Why " input name="why" autocomplete="off" placeholder="a door slammed"; }
                    button { "Put the take right" }
                }
                form data-do="put-pass" {
                    label { "Pass " select name="pass" { @for pass in &passes { option value=(pass) { (pass) } } } }
                    label { "What is right " select name="what" {
                        option value="rename" { "it is called" }
                        option value="merge" { "it is part of the pass" }
                        option value="withdraw" { "it does not count" }
                    } }
                    label { "Name " input name="to" autocomplete="off" spellcheck="false"; }
                    label { "Why " input name="why" autocomplete="off"; }
                    button { "Put the pass right" }
                }
            }
            @if !corrections.is_empty() {
                ul.plain { @for correction in corrections.iter().rev().take(NEWEST) {
                    li { (correction.n) ": " (correction.words) " "
                        @if correction.undone { span.faint { "taken back" } }
                        @else {
                            button type="button" data-uncorrect=(correction.n) data-of=(of(correction.is_of_take)) aria-label={ "Undo correction " (correction.n) } { "Undo" }
                        } }
                } }
            }
        }
    } }
}

fn of(is_of_take: bool) -> &'static str {
    if is_of_take { "take" } else { "pass" }
}

/// What is right of a take, as the page says it.
#[derive(Debug, Deserialize)]
pub(super) struct TakeWish {
    file: String,
    what: String,
    #[serde(default)]
    to: String,
    #[serde(default)]
    why: String,
}

/// What is right of a pass.
#[derive(Debug, Deserialize)]
pub(super) struct PassWish {
    pass: String,
    what: String,
    #[serde(default)]
    to: String,
    #[serde(default)]
    why: String,
}

/// Which correction is to be taken back.
#[derive(Debug, Deserialize)]
pub(super) struct UndoWish {
    n: u32,
    of: String,
}

fn named(to: &str, what: &str) -> Result<String, Error> {
    let to = to.trim();
    if to.is_empty() {
        Err(Error::Word(format!("which {what}? its name is missing")))
    } else {
        Ok(to.to_owned())
    }
}

/// Put a take right.
pub(super) fn put_take(app: &AppState, wish: TakeWish) -> Result<Value, Error> {
    corrected(app, move |job| {
        Ok(match wish.what.as_str() {
            "place" => {
                let place = job.instrument().reed_place(&named(&wish.to, "reed")?)?;
                job.move_take(&wish.file, &place, &wish.why)?
            }
            "pass" => job.reassign(&wish.file, None, Some(&named(&wish.to, "pass")?), &wish.why)?,
            _ => job.withdraw_take(&wish.file, &wish.why)?,
        })
    })
}

/// Put a pass right.
pub(super) fn put_pass(app: &AppState, wish: PassWish) -> Result<Value, Error> {
    // The recording writes to a pass by its name.
    app.must_rest()?;
    corrected(app, move |job| {
        Ok(match wish.what.as_str() {
            "rename" => job.rename_pass(&wish.pass, &named(&wish.to, "name")?)?,
            "merge" => job.merge_pass(&wish.pass, &named(&wish.to, "pass")?)?,
            _ => job.withdraw_pass(&wish.pass, &wish.why)?,
        })
    })
}

/// Take a correction back.
pub(super) fn undo(app: &AppState, wish: UndoWish) -> Result<Value, Error> {
    let done = app.write(move |job| Ok(job.undo_correction(Some(wish.n), wish.of == "take")?))?;
    Ok(json!({"said": format!("correction {} taken back: {}", done.n, done.words)}))
}

fn corrected(
    app: &AppState,
    work: impl FnOnce(&mut crate::job::JobWriter) -> Result<u32, Error> + Send + 'static,
) -> Result<Value, Error> {
    let found = app.write(move |job| {
        let n = work(job)?;
        Ok(job.corrections().into_iter().rev().find(|correction| correction.n == n))
    })?;
    Ok(match found {
        Some(done) => json!({"said": format!("correction {}: {}", done.n, done.words),
            "uncorrect": done.n, "of": of(done.is_of_take)}),
        None => json!({"said": "put right"}),
    })
}
