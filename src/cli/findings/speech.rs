//! Reeds that speak badly, with likely reasons and what to look at first.

use serde_json::json;

use crate::cli::failure::Failure;
use crate::cli::output::{json, line};
use crate::tuning::Response;

pub(super) fn print(found: &[Response]) -> Result<(), Failure> {
    if found.is_empty() {
        return Ok(());
    }
    line("")?;
    line(&format!(
        "Reeds that speak badly ({}); likely reasons are common practice, and no verdict on a valve",
        found.len()
    ))?;
    for one in found {
        let Response { place, trouble, value, limit, level_dbfs } = one;
        line(&format!(
            "  {place:<16} {}: {value:.2} {} against its neighbours, from {limit:.2}, at {level_dbfs:.0} dBFS",
            trouble.words(),
            trouble.unit(),
        ))?;
        line(&format!("    {}; then: {}", trouble.look_first(), trouble.reasons().join(", ")))?;
    }
    Ok(())
}

pub(super) fn print_json(pass: &str, found: &[Response]) -> Result<(), Failure> {
    for Response { place, trouble, value, limit, level_dbfs } in found {
        json(&json!({"format": 1, "kind": "response", "pass": pass, "place": place.to_string(),
            "trouble": trouble.name(), "value": value, "limit": limit, "unit": trouble.unit(),
            "level_dbfs": level_dbfs, "reasons": trouble.reasons(), "look_first": trouble.look_first()}))?;
    }
    Ok(())
}
