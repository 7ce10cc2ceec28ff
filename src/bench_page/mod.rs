//! The bench page: the job in a browser, for people who do not live in a terminal.
//!
//! A small server on this computer's own address. All state is in the job folder: the page can be closed and opened at any
//! time, and the commands work beside it. The drawings are those of the report.

mod app_state;
mod commands;
mod error;
mod event_stream;
mod guard;
mod job_lookup;
mod parts;
mod parts_bench;
mod parts_corrections;
mod parts_home;
mod parts_map;
mod parts_work;
mod photos;
mod plan_table;
mod plan_text;
mod recording;
mod recording_task;
mod routes;
mod server;
mod shown_pass;
mod sound_files;
mod staging;

use std::path::Path;
use std::sync::Arc;

pub use error::Error;
pub use server::Opened;

/// Serve the page of the job in `folder`, or of the jobs it holds, until it is closed; `opened` is called with where it is.
///
/// `ends_alone`: nobody can end it from a terminal, so it ends by itself when no page has been open for ten minutes.
pub fn serve(folder: &Path, ends_alone: bool, opened: impl FnOnce(&Opened)) -> Result<(), Error> {
    let app = Arc::new(app_state::AppState::new(folder)?);
    let mut runtime = tokio::runtime::Builder::new_current_thread();
    let runtime = runtime.enable_io().enable_time().max_blocking_threads(8).build().map_err(Error::Server)?;
    let ended = runtime.block_on(server::run(app.clone(), ends_alone, opened));
    // What is being recorded is stored first.
    app.stop_recording();
    runtime.shutdown_background();
    ended
}
