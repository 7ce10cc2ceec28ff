//! Numbers as people type them.

/// A number as it is typed, with a decimal point or comma.
pub(super) fn number(text: &str) -> Result<f64, String> {
    let plain = text.trim().replace(',', ".").replace('−', "-");
    let number = plain.parse::<f64>().ok().filter(|number| number.is_finite());
    number.ok_or_else(|| format!("`{}` is no number", text.trim()))
}
