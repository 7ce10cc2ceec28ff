//! The pictures and the page of what was found, in the job's report folder.

use std::path::PathBuf;

use super::words;
use crate::cli::failure::Failure;
use crate::evaluation::long_recording::{PlacedNote, Proposal};
use crate::job::Job;
use crate::report::{Certainty, DrawnCut, LongRecording, long_recording_charts, long_recording_page};
use crate::segmentation::LEVEL_STEP_S;

/// What was written.
pub(super) struct Pictures {
    /// SVG and PNG of each picture.
    pub pictures: Vec<(PathBuf, PathBuf)>,
    pub page: PathBuf,
}

pub(super) fn draw(job: &Job, pass: &str, proposal: &Proposal) -> Result<Pictures, Failure> {
    let cuts: Vec<DrawnCut> = proposal.rows.iter().map(|row| drawn(row, job)).collect();
    let lines = [words::order_words(proposal), words::count_words(proposal), words::rival_words(proposal)];
    let lines: Vec<String> = lines.into_iter().filter(|line| !line.is_empty()).collect();
    let recording = LongRecording {
        name: &proposal.name,
        pass,
        lines: &lines,
        levels: &proposal.levels,
        step_s: LEVEL_STEP_S,
        cuts: &cuts,
    };
    let charts = long_recording_charts(&recording)
        .map_err(|error| Failure::could_not(error.to_string(), error.next()))?;
    let mut pictures = Vec::new();
    for chart in &charts {
        let svg = job.write_report(&format!("{}.svg", chart.name), chart.svg.as_bytes())?;
        let png = job.write_report(&format!("{}.png", chart.name), &chart.png)?;
        pictures.push((svg, png));
    }
    let page = long_recording_page(&recording, &charts);
    let page = job.write_report(&format!("sweep-{pass}.html"), page.as_bytes())?;
    Ok(Pictures { pictures, page })
}

fn drawn(row: &PlacedNote, job: &Job) -> DrawnCut {
    let several = job.instrument().blocks.len() > 1;
    let place = row.place.as_ref().map_or(String::new(), |place| {
        let block = if several { format!("{} ", place.plate.block) } else { String::new() };
        format!("{block}{}{} {}", place.plate.row, place.plate.number, place.stroke)
    });
    let remarks: Vec<&str> = row.doubts.iter().chain(&row.faults).map(String::as_str).collect();
    DrawnCut {
        start_s: row.start_s,
        stop_s: row.stop_s,
        place,
        pitch: row.pitch,
        how: match (&row.place, row.doubts.is_empty()) {
            (None, _) => Certainty::None,
            (_, false) => Certainty::Doubtful,
            _ => Certainty::Sure,
        },
        remark: remarks.join("; "),
    }
}
