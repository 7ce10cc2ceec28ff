//! A sealing test as a drawing of letters and in JSON; its words are those of every front.

use serde::Serialize;

use crate::instrument::{Stroke, ValvePlace};
use crate::judgement::sealing::{SealingFinding, Way};
#[cfg(feature = "mic")]
pub(crate) use crate::session::seal_words::how;
pub(crate) use crate::session::seal_words::{CAUTIONS, lines, what_to_close};

/// What is to be closed, as a drawing: the plate from the side, what lies where, and what is laid on.
#[cfg_attr(not(feature = "mic"), allow(dead_code))] // What a guided test says; that needs a microphone.
pub(crate) fn drawing(stroke: Stroke) -> [&'static str; 5] {
    match stroke {
        Stroke::Press => [
            "   bellows side      sounding tongue        ######## pad or film, laid on here",
            "   outer face     ___/------------      ===outer valve===",
            "   plate          [=====|  slot A  |=====|  slot B  |=====]",
            "   inner face        ==inner valve==       ------------\\___ inner tongue",
            "   cell side      leave slot A free: its reed is the one that plays",
        ],
        Stroke::Draw => [
            "   bellows side    .--cap, hollow--.         leave this side free:",
            "   outer face      | _/----------- |      ===outer valve===",
            "   plate          [=====|  slot A  |=====|  slot B  |=====]",
            "   inner face        ==inner valve==       ------------\\___ sounding tongue",
            "   cell side         (hidden)",
        ],
    }
}

/// A sealing test as docs/json.md has it.
#[derive(Serialize)]
pub(crate) struct SealingLine<'a> {
    format: u32,
    kind: &'static str,
    pass: &'a str,
    plate: String,
    face: String,
    way: Option<&'static str>,
    pairs: usize,
    verdict: &'static str,
    difference_db: Option<f64>,
    uncertainty_db: Option<f64>,
    evidence: Option<f64>,
    size: Option<f64>,
    low: Option<f64>,
    high: Option<f64>,
    limit: Option<f64>,
    reason: &'a str,
    next: &'a str,
}

impl<'a> SealingLine<'a> {
    pub(crate) fn new(pass: &'a str, sealing: &'a SealingFinding) -> Self {
        let ValvePlace { plate, face } = &sealing.valve;
        Self {
            format: 1,
            kind: "sealing",
            pass,
            plate: plate.to_string(),
            face: face.to_string(),
            way: sealing.way.map(Way::name),
            pairs: sealing.pairs,
            verdict: sealing.verdict.name(),
            difference_db: sealing.difference_db,
            uncertainty_db: sealing.uncertainty_db,
            evidence: sealing.evidence,
            size: sealing.size,
            low: sealing.size_range.map(|range| range.0),
            high: sealing.size_range.map(|range| range.1),
            limit: sealing.limit,
            reason: &sealing.reason,
            next: &sealing.next,
        }
    }
}
