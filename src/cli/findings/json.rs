//! Findings as JSON, one object a line; every field is in `docs/json.md`.

use serde::Serialize;

use super::remarks::say_all;
use crate::cli::failure::Failure;
use crate::cli::output;
use crate::cli::standing_lines::standing_lines;
use crate::evaluation::Evaluation;
use crate::job::Job;
use crate::judgement::{
    CommonShift, Comparison, Findings, LeakEvidence, ReedChange, ReedFinding, Sign, Tune, ValveChanged,
    ValveFinding,
};
use crate::tuning::{Goal, rank_pairs, responses};

const FORMAT: u32 = 1;

pub(super) fn print(job: &Job, told: &Evaluation, goals: &[Goal]) -> Result<(), Failure> {
    say_all(job, told);
    let (instrument, found) = (job.instrument(), &told.later.findings);
    super::standing_pitch::Choice::of(instrument, found, goals).print_json(&found.pass)?;
    let Findings { pass, reeds, valves, swaps, .. } = &told.later.findings;
    for reed in reeds {
        output::json(&ReedLine::new(pass, reed))?;
    }
    for valve in valves {
        output::json(&ValveLine::new(pass, valve))?;
    }
    for sealing in &told.later.readings.sealings {
        output::json(&crate::cli::sealing_words::SealingLine::new(pass, sealing))?;
    }
    for swap in swaps {
        let places = swap.places.iter().map(ToString::to_string).collect();
        output::json(&SwapLine { format: FORMAT, kind: "swap", places, sure: swap.sure })?;
    }
    super::beating::print_json(pass, &rank_pairs(instrument, found), &told.later.together)?;
    super::speech::print_json(pass, &responses(instrument, &told.later.readings))?;
    for line in standing_lines(&told.standing) {
        output::json(&line)?;
    }
    if let Some(Comparison { valves, reeds, common, .. }) = &told.comparison {
        for valve in valves {
            output::json(&ValveChangeLine::new(valve))?;
        }
        for reed in reeds {
            output::json(&ReedChangeLine::new(reed))?;
        }
        for CommonShift { block, cents, from } in common {
            let from: Vec<String> = from.iter().map(ToString::to_string).collect();
            output::json(&serde_json::json!({"format": FORMAT, "kind": "common_shift", "block": block,
                "cents": cents.map(|cents| cents.get()), "from": from}))?;
        }
    }
    Ok(())
}

#[derive(Serialize)]
struct ReedLine<'a> {
    format: u32,
    kind: &'static str,
    pass: &'a str,
    place: String,
    note: String,
    f0_hz: Option<f64>,
    target_hz: f64,
    cents: Option<f64>,
    uncertainty_cents: Option<f64>,
    tune: Option<&'static str>,
}

#[derive(Serialize)]
struct ValveLine<'a> {
    format: u32,
    kind: &'static str,
    pass: &'a str,
    plate: String,
    face: String,
    heard_on: String,
    verdict: &'static str,
    lift_plate: bool,
    leak: Option<LeakLine>,
    signs: Vec<SignLine>,
    reason: &'a str,
    next: Option<&'a str>,
}

#[derive(Serialize)]
struct LeakLine {
    evidence: f64,
    size: Option<f64>,
    low: Option<f64>,
    high: Option<f64>,
    unit: &'static str,
    rank: Option<u32>,
}

#[derive(Serialize)]
struct SignLine {
    sign: &'static str,
    value: Option<f64>,
    limit: f64,
    unit: &'static str,
    stands_out: bool,
}

#[derive(Serialize)]
struct SwapLine {
    format: u32,
    kind: &'static str,
    places: Vec<String>,
    sure: bool,
}

#[derive(Serialize)]
struct ValveChangeLine<'a> {
    format: u32,
    kind: &'static str,
    plate: String,
    face: String,
    change: &'static str,
    reason: &'a str,
}

#[derive(Serialize)]
struct ReedChangeLine {
    format: u32,
    kind: &'static str,
    place: String,
    cents: f64,
    common_shift_cents: Option<f64>,
    work: Vec<String>,
    temperature_cents: Option<f64>,
    own_cents: f64,
    own_uncertainty_cents: f64,
}

impl<'a> ReedLine<'a> {
    fn new(pass: &'a str, reed: &ReedFinding) -> Self {
        let pitch = reed.pitch.as_ref().ok();
        let tune = pitch.and_then(|pitch| pitch.tune).map(Tune::as_str);
        Self {
            format: FORMAT,
            kind: "reed",
            pass,
            place: reed.place.to_string(),
            note: reed.note.stored(),
            f0_hz: pitch.map(|pitch| pitch.f0.get()),
            target_hz: reed.target.get(),
            cents: pitch.map(|pitch| pitch.deviation.value.get()),
            uncertainty_cents: pitch.map(|pitch| pitch.deviation.uncertainty.get()),
            tune,
        }
    }
}

impl<'a> ValveLine<'a> {
    fn new(pass: &'a str, valve: &'a ValveFinding) -> Self {
        Self {
            format: FORMAT,
            kind: "valve",
            pass,
            plate: valve.place.plate.to_string(),
            face: valve.place.face.to_string(),
            heard_on: valve.heard_on.to_string(),
            verdict: valve.verdict.name(),
            lift_plate: valve.lift_plate(),
            leak: valve.leak.as_ref().map(LeakLine::new),
            signs: valve.signs.iter().map(SignLine::new).collect(),
            reason: &valve.reason,
            next: Some(valve.next.as_str()).filter(|next| !next.is_empty()),
        }
    }
}

impl LeakLine {
    fn new(leak: &LeakEvidence) -> Self {
        let LeakEvidence { evidence, size, low, high, rank } = *leak;
        Self { evidence, size, low, high, unit: LeakEvidence::UNIT, rank }
    }
}

impl SignLine {
    fn new(sign: &Sign) -> Self {
        let Sign { kind, value, limit, stands_out } = *sign;
        Self { sign: kind.name(), value, limit, unit: kind.unit(), stands_out }
    }
}

impl<'a> ValveChangeLine<'a> {
    fn new(valve: &'a ValveChanged) -> Self {
        let change = valve.change.name();
        let (plate, face) = (valve.place.plate.to_string(), valve.place.face.to_string());
        Self { format: FORMAT, kind: "valve_change", plate, face, change, reason: &valve.reason }
    }
}

impl ReedChangeLine {
    fn new(reed: &ReedChange) -> Self {
        Self {
            format: FORMAT,
            kind: "reed_change",
            place: reed.place.to_string(),
            cents: reed.change.value.get(),
            common_shift_cents: reed.common_shift.map(|shift| shift.get()),
            work: reed.work.clone(),
            temperature_cents: reed.temperature.map(|part| part.get()),
            own_cents: reed.own.value.get(),
            own_uncertainty_cents: reed.own.uncertainty.get(),
        }
    }
}
