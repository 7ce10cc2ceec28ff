//! The values that `docs/method.md` prints are those of the code.

use std::collections::BTreeMap;
use std::path::Path;

/// The files whose constants decide which reeds sound.
const DECIDING: [&str; 7] =
    ["likelihood.rs", "octave.rs", "opposite.rs", "pair.rs", "second_tone.rs", "sidebands.rs", "tail.rs"];

/// Name and value of every constant of a source file.
fn constants(source: &str) -> BTreeMap<String, String> {
    let mut found = BTreeMap::new();
    let mut lines = source.lines().map(str::trim);
    while let Some(line) = lines.next() {
        let line = line.strip_prefix("pub(super) ").unwrap_or(line);
        let Some(start) = line.strip_prefix("const ").filter(|rest| !rest.starts_with("fn ")) else {
            continue;
        };
        let mut statement = start.to_owned();
        while !statement.ends_with(';') {
            statement = format!("{statement} {}", lines.next().expect("a whole statement"));
        }
        let (head, value) = statement.split_once(" = ").expect("a value");
        let name = head.split(':').next().expect("a name").to_owned();
        found.insert(name, value.trim_end_matches(';').to_owned());
    }
    found
}

/// Every row of the table names a constant and its value as the code has it, and none is missing.
#[test]
fn the_method_prints_the_values_of_the_code() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(root.join("docs/method.md")).expect("docs/method.md");
    let mut wrong = Vec::new();
    let mut rows = 0;
    for file in DECIDING {
        let source = std::fs::read_to_string(root.join("src/analysis").join(file)).expect("a source file");
        for (name, value) in constants(&source) {
            rows += 1;
            let row = format!("| `{file}` | `{name}` | {value} |");
            if !text.lines().any(|line| line == row) {
                wrong.push(row);
            }
        }
    }
    let printed = text.lines().filter(|line| line.starts_with("| `") && line.contains(".rs` | `")).count();
    assert!(rows > 50, "only {rows} constants were found in the sources");
    assert!(wrong.is_empty(), "these rows are missing or other in docs/method.md:\n{}", wrong.join("\n"));
    assert_eq!(printed, rows, "docs/method.md has rows for constants that are gone");
}
