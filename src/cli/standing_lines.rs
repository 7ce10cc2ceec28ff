//! The standing as `--json` writes it, the same wherever it is told; every field is in `docs/json.md`.

use serde_json::{Value, json};

use crate::repair::{Evidence, Noted, PitchEvidence, ReedStanding, Standing, ValveStanding};

const FORMAT: u32 = 1;

/// A line for each slot, each reed and each plate, in the plan's order.
pub(crate) fn standing_lines(standing: &Standing) -> Vec<Value> {
    let valves = standing.valves.iter().map(valve_line);
    let reeds = standing.reeds.iter().map(reed_line);
    let plates = standing.plates.iter().map(|plate| {
        json!({"format": FORMAT, "kind": "plate_standing", "plate": plate.place.to_string(),
            "state": plate.state.name(), "since": plate.since.map(|day| day.to_string())})
    });
    valves.chain(reeds).chain(plates).collect()
}

fn valve_line(valve: &ValveStanding) -> Value {
    json!({"format": FORMAT, "kind": "standing", "plate": valve.place.plate.to_string(),
        "face": valve.place.face.to_string(), "state": valve.state.name(),
        "since": valve.since.map(|day| day.to_string()), "evidence": valve.evidence.as_ref().map(evidence),
        "before_change": valve.is_evidence_historic(), "unanswered": valve.unanswered.as_ref().map(evidence),
        "changed": valve.changed.as_ref().map(noted), "reason": valve.reason()})
}

/// Pass, take, day, and the sign that tells most with its figure.
fn evidence(evidence: &Evidence) -> Value {
    let sign = evidence.signs.first();
    json!({"pass": evidence.pass, "take": evidence.take, "place": evidence.reed.to_string(),
        "date": evidence.day.to_string(), "answer": evidence.answer.map(|answer| answer.name()),
        "sign": sign.map(|sign| sign.kind.name()), "value": sign.and_then(|sign| sign.value),
        "limit": sign.map(|sign| sign.limit), "unit": sign.map(|sign| sign.kind.unit()),
        "reason": evidence.reason})
}

fn noted(noted: &Noted) -> Value {
    json!({"mark": noted.n, "date": noted.day.to_string(), "work": noted.work})
}

fn reed_line(reed: &ReedStanding) -> Value {
    json!({"format": FORMAT, "kind": "reed_standing", "place": reed.place.to_string(),
        "state": reed.state.name(), "since": reed.since.map(|day| day.to_string()),
        "evidence": reed.evidence.as_ref().map(pitch), "worked": reed.worked.as_ref().map(noted),
        "unanswered": reed.unanswered})
}

fn pitch(told: &PitchEvidence) -> Value {
    let deviation = told.pitch.deviation;
    json!({"pass": told.pass, "take": told.take, "date": told.day.to_string(),
        "f0_hz": told.pitch.f0.get(), "cents": deviation.value.get(),
        "uncertainty_cents": deviation.uncertainty.get()})
}
