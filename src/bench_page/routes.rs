//! What the page asks for, each under its own path.

use std::sync::Arc;

use axum::body::{Body, Bytes};
use axum::extract::{DefaultBodyLimit, Path, Query, State};
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::sse::Sse;
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use axum::{Json, Router};
use serde::Deserialize;
use serde_json::{Value, json};

use super::app_state::{AppState, TEMPLATES};
use super::job_lookup::{inside_job, running_pass, seen};
use super::plan_table::Table;
use super::{
    Error, commands, guard, parts, parts_bench, parts_home, parts_map, parts_work, photos, sound_files,
};
use crate::job::{Event, Job, Plan};
use crate::report::night_style;

type Answer = Result<Response, ErrorResponse>;
type Shared = State<Arc<AppState>>;

/// Every path behind the token.
pub(super) fn router(app: Arc<AppState>) -> Router {
    Router::new()
        .route("/", get(|| async { file("text/html; charset=utf-8", include_str!("page/index.html")) }))
        .route("/bench.css", get(|| async { file(STYLE, include_str!("page/bench.css")) }))
        .route("/pages.css", get(|| async { file(STYLE, include_str!("page/pages.css")) }))
        .route("/record.css", get(|| async { file(STYLE, include_str!("page/record.css")) }))
        .route("/inks.css", get(|| async { ([(header::CONTENT_TYPE, STYLE)], night_style()) }))
        .route("/icon.svg", get(|| async { file("image/svg+xml", include_str!("page/icon.svg")) }))
        .route("/bench.js", get(|| async { file(SCRIPT, include_str!("page/bench.js")) }))
        .route("/live.js", get(|| async { file(SCRIPT, include_str!("page/live.js")) }))
        .route("/again.js", get(|| async { file(SCRIPT, include_str!("page/again.js")) }))
        .route("/files.js", get(|| async { file(SCRIPT, include_str!("page/files.js")) }))
        .route("/map.js", get(|| async { file(SCRIPT, include_str!("page/map.js")) }))
        .route("/trial.js", get(|| async { file(SCRIPT, include_str!("page/trial.js")) }))
        .route("/stand.js", get(|| async { file(SCRIPT, include_str!("page/stand.js")) }))
        .route("/stand.css", get(|| async { file(STYLE, include_str!("page/stand.css")) }))
        .route("/voice.js", get(|| async { file(SCRIPT, include_str!("page/voice.js")) }))
        .route("/cells.js", get(|| async { file(SCRIPT, include_str!("page/cells.js")) }))
        .route("/plan.js", get(|| async { file(SCRIPT, include_str!("page/plan.js")) }))
        .route("/state", get(state))
        .route("/inputs", get(inputs))
        .route("/part/{name}", get(part))
        .route("/plan", get(plan))
        .route("/reeds", get(reeds))
        .route("/events", get(events))
        .route("/sound/{*file}", get(sound))
        .route("/report/{name}", get(report_page))
        .route("/print/{name}", get(printed_page))
        .route("/photos/{name}", get(photo))
        // The guard has looked at how much it is.
        .route("/do/photo", post(keep_photo).layer(DefaultBodyLimit::disable()))
        // What comes is written to the disk as it comes, and counted there.
        .route("/do/sound", post(keep_sound).layer(DefaultBodyLimit::disable()))
        .route("/do/{what}", post(act))
        .with_state(app)
}

const STYLE: &str = "text/css; charset=utf-8";
const SCRIPT: &str = "text/javascript; charset=utf-8";

/// Everything else.
pub(super) async fn nothing() -> Response {
    (StatusCode::NOT_FOUND, "nothing is here").into_response()
}

fn file(kind: &'static str, text: &'static str) -> Response {
    ([(header::CONTENT_TYPE, kind)], text).into_response()
}

/// An error as the page tells it.
struct ErrorResponse(Error);

impl From<Error> for ErrorResponse {
    fn from(error: Error) -> Self {
        Self(error)
    }
}

impl IntoResponse for ErrorResponse {
    fn into_response(self) -> Response {
        let is_question = matches!(self.0, Error::Ask(_));
        let body = json!({"error": self.0.to_string(), "next": self.0.next(), "ask": is_question});
        (StatusCode::UNPROCESSABLE_ENTITY, Json(body)).into_response()
    }
}

/// Work on the job folder waits for the disk, and judging for the processor: never where events are told.
async fn beside<T: Send + 'static>(
    app: Arc<AppState>,
    work: impl FnOnce(&Arc<AppState>) -> Result<T, Error> + Send + 'static,
) -> Result<T, ErrorResponse> {
    match tokio::task::spawn_blocking(move || work(&app)).await {
        Ok(done) => done.map_err(ErrorResponse),
        Err(_) => Err(ErrorResponse(Error::Server(std::io::Error::other("the work was broken off")))),
    }
}

#[derive(Deserialize)]
struct PassQuery {
    pass: Option<String>,
    /// The reed whose row is asked for.
    at: Option<String>,
}

async fn part(State(app): Shared, Path(name): Path<String>, Query(asked): Query<PassQuery>) -> Answer {
    let markup = beside(app, move |app| {
        let pass = asked.pass.as_deref();
        Ok(match name.as_str() {
            "home" => Some(parts_home::home(app)?),
            "plate" => Some(parts_map::plate(app, pass, asked.at.as_deref().unwrap_or(""))?),
            "picker" => Some(parts_map::picker(app)?),
            "row" => Some(parts_home::row(app, pass, asked.at.as_deref().unwrap_or(""))?),
            "block" => Some(parts::block(app, pass)?),
            "takes" => Some(parts::takes(app, pass)?),
            "work" => Some(parts_work::work(app, pass)?),
            "notes" => Some(parts_bench::notes(app)?),
            "tray" => Some(parts_bench::tray(app)?),
            _ => None,
        })
    });
    Ok(match markup.await? {
        Some(markup) => {
            ([(header::CONTENT_TYPE, "text/html; charset=utf-8")], markup.into_string()).into_response()
        }
        None => nothing().await,
    })
}

async fn state(State(app): Shared) -> Answer {
    let state = beside(app, |app| {
        let templates: Vec<Value> =
            TEMPLATES.iter().map(|(name, word, _)| json!({"name": name, "word": word})).collect();
        let job = match app.job() {
            Ok(job) => job_state(&job),
            Err(Error::NoJob) => Value::Null,
            Err(error) => json!({"error": error.to_string(), "next": error.next()}),
        };
        let jobs: Vec<Value> = app.jobs().iter().map(listed).collect();
        Ok(
            json!({"job": job, "jobs": jobs, "folder": app.home().display().to_string(), "templates": templates, "recording": app.orders().is_some(),
            "microphone": cfg!(feature = "mic")}),
        )
    });
    Ok(Json(state.await?).into_response())
}

/// A job of the list; its title stands in its plan.
fn listed(one: &crate::job::recent::Listed) -> Value {
    let title =
        Job::open(&one.folder).ok().map(|job| job.title().to_owned()).filter(|title| !title.is_empty());
    let name = one.folder.file_name().map(|name| name.to_string_lossy().into_owned());
    json!({"folder": one.folder.display().to_string(), "name": name, "title": title, "when": one.when})
}

fn job_state(job: &Job) -> Value {
    let passes: Vec<Value> = job
        .passes()
        .iter()
        .map(|facts| json!({"name": facts.pass, "date": facts.date, "temperature_c": facts.temperature_c}))
        .collect();
    let (plates, reeds) = (job.instrument().plates().count(), job.instrument().reeds().count());
    let pages: Vec<&str> =
        REPORT_PAGES.into_iter().filter(|name| job.report_folder().join(name).is_file()).collect();
    json!({"title": job.title(), "folder": job.folder().display().to_string(), "passes": passes,
        "plates": plates, "reeds": reeds, "pages": pages, "running_pass": running_pass(job)})
}

async fn inputs(State(app): Shared) -> Answer {
    let listed = beside(app, |_| {
        #[cfg(feature = "mic")]
        return Ok(crate::audio::inputs()?
            .into_iter()
            .map(|input| json!({"id": input.id, "name": input.name, "default": input.default}))
            .collect::<Vec<Value>>());
        #[cfg(not(feature = "mic"))]
        Err::<Vec<Value>, Error>(Error::NoMicrophone)
    });
    Ok(Json(listed.await?).into_response())
}

async fn plan(State(app): Shared) -> Answer {
    let plan = beside(app, |app| {
        let job = app.job()?;
        let is_changed = job.diary().iter().any(|line| matches!(line.event, Event::Plates(_)));
        let help: serde_json::Map<String, Value> =
            Plan::key_help().into_iter().map(|(key, words)| (key, words.into())).collect();
        Ok(json!({"table": Table::of(&job), "seen": seen(&job), "changed": is_changed, "help": help}))
    });
    Ok(Json(plan.await?).into_response())
}

async fn events(State(app): Shared, headers: HeaderMap) -> Response {
    let heard = headers.get("last-event-id").and_then(|id| id.to_str().ok()?.parse().ok()).unwrap_or(0);
    Sse::new(app.events.stream(heard)).into_response()
}

/// A take that the diary names; nothing else of the disk has an address here.
async fn sound(State(app): Shared, Path(wanted): Path<String>) -> Answer {
    let bytes = beside(app, move |app| {
        let job = app.job()?;
        let is_named =
            job.diary().iter().any(|line| matches!(&line.event, Event::Take(take) if take.file == wanted));
        Ok(if is_named { inside_job(&job, &job.folder().join(&wanted)) } else { None })
    });
    Ok(match bytes.await? {
        Some(bytes) => ([(header::CONTENT_TYPE, "audio/wav")], bytes).into_response(),
        None => nothing().await,
    })
}

async fn photo(State(app): Shared, Path(name): Path<String>) -> Answer {
    let shown = beside(app, move |app| photos::show(app, &name)).await?;
    Ok(match shown {
        Some(shown) => shown,
        None => nothing().await,
    })
}

async fn keep_photo(State(app): Shared, Query(wish): Query<photos::NewPhoto>, body: Bytes) -> Answer {
    let kept = beside(app, move |app| photos::keep(app, wish, body.to_vec())).await?;
    Ok(Json(kept).into_response())
}

async fn keep_sound(State(app): Shared, Query(wish): Query<sound_files::NewSound>, body: Body) -> Answer {
    Ok(Json(sound_files::keep(&app, &wish, body).await?).into_response())
}

/// Every reed of the plan by its name, to be chosen from.
async fn reeds(State(app): Shared) -> Answer {
    let reeds = beside(app, |app| {
        let job = app.job()?;
        let reeds = job.instrument().reeds().map(|(place, reed)| {
            let short = format!("{}{} {}", place.plate.row, place.plate.number, place.stroke);
            json!({"place": place.to_string(), "short": short, "note": reed.note.to_string()})
        });
        Ok(json!({"reeds": reeds.collect::<Vec<Value>>()}))
    });
    Ok(Json(reeds.await?).into_response())
}

const REPORT_PAGES: [&str; 2] = ["report.html", "hand-over.html"];

async fn report_page(app: Shared, name: Path<String>) -> Answer {
    page_of_report(app, name, guard::REPORT_POLICY, "DENY").await
}

/// The same within the bench page, which sends it to the printer.
async fn printed_page(app: Shared, name: Path<String>) -> Answer {
    page_of_report(app, name, guard::PRINT_POLICY, "SAMEORIGIN").await
}

async fn page_of_report(
    State(app): Shared,
    Path(name): Path<String>,
    policy: &'static str,
    frames: &'static str,
) -> Answer {
    let page = beside(app, move |app| {
        let job = app.job()?;
        let name = REPORT_PAGES.into_iter().find(|known| *known == name);
        Ok(name.and_then(|name| inside_job(&job, &job.report_folder().join(name))))
    });
    let Some(page) = page.await? else { return Ok(nothing().await) };
    let mut answer = ([(header::CONTENT_TYPE, "text/html; charset=utf-8")], page).into_response();
    let headers = answer.headers_mut();
    headers.insert(header::CONTENT_SECURITY_POLICY, HeaderValue::from_static(policy));
    headers.insert(header::X_FRAME_OPTIONS, HeaderValue::from_static(frames));
    Ok(answer)
}

/// Do something; says in a few words what was done.
async fn act(State(app): Shared, Path(what): Path<String>, body: Bytes) -> Answer {
    let done = beside(app, move |app| commands::act(app, &what, &body));
    Ok(Json(done.await?).into_response())
}
