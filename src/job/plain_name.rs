//! Names that can be a file's name on every system.

/// Whether `name` can name a block, a pass and so a file on every system: letters, digits, `_` and `-`, a letter or
/// digit first, 40 at most, and none of the names some systems keep for devices.
pub fn is_plain_name(name: &str) -> bool {
    const KEPT: [&str; 4] = ["con", "prn", "aux", "nul"];
    let lower = name.to_lowercase();
    let is_port = lower.len() == 4 && (lower.starts_with("com") || lower.starts_with("lpt"));
    name.chars().next().is_some_and(char::is_alphanumeric)
        && name.chars().all(|letter| letter.is_alphanumeric() || letter == '_' || letter == '-')
        && name.chars().count() <= 40
        && !KEPT.contains(&lower.as_str())
        && !is_port
}

/// What to write instead of a name that is none.
pub(super) const PLAIN_NAME: &str = "use up to 40 letters, digits, `_` and `-`, a letter or digit first";
