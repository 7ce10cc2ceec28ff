//! Pieces of TOML as a plan is written.

/// A TOML string with everything escaped that must be.
pub(super) fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

/// `key = [a, b, …]`, broken over lines where it grows long.
pub(super) fn list(key: &str, items: impl Iterator<Item = String>) -> String {
    let items: Vec<String> = items.collect();
    let line = format!("{key} = [{}]\n", items.join(", "));
    if line.len() <= 100 {
        return line;
    }
    let lines: Vec<String> = items.chunks(8).map(|chunk| format!("    {},\n", chunk.join(", "))).collect();
    format!("{key} = [\n{}]\n", lines.concat())
}
