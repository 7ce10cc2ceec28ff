//! What the program is made of: licences that allow it, no crate twice without a reason, no unsafe code of its own.
//!
//! Asked of cargo itself, without network.

use std::collections::{BTreeMap, BTreeSet};
use std::process::Command;

/// Licences that ask for nothing but their own text and name to be kept; each alone would do.
const ALLOWED: [&str; 14] = [
    "MIT",
    "Apache-2.0",
    "Apache-2.0 WITH LLVM-exception",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "ISC",
    "Zlib",
    "0BSD",
    "Unlicense",
    "Unicode-3.0",
    "CC0-1.0",
    "BSL-1.0",
    "MIT-0",
    "Bitstream-Vera",
];
/// Weak copyleft, by file: kept apart so that each is a choice. symphonia reads the coded sound files.
const BY_FILE: [(&str, &str); 1] = [("symphonia", "MPL-2.0")];

/// The packages that the program is linked from, tests and build scripts left out: name, version, licence.
fn linked() -> Vec<(String, String, String)> {
    let cargo = std::env::var("CARGO").unwrap_or("cargo".into());
    let mut command = Command::new(cargo);
    command.args(["tree", "--offline", "--locked", "--prefix", "none", "--edges", "normal", "--no-dedupe"]);
    command.args(["--format", "{p}|{l}"]).current_dir(env!("CARGO_MANIFEST_DIR"));
    let output = command.output().expect("cargo runs");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let lines = String::from_utf8(output.stdout).expect("names in UTF-8");
    // `serde v1.0.229|MIT OR Apache-2.0`, with `(proc-macro)` or a folder after the version of some.
    let packages: BTreeSet<_> = lines
        .lines()
        .map(|line| {
            let (package, licence) = line.rsplit_once('|').expect("package and licence");
            let mut words = package.split(' ').map(str::to_owned);
            (words.next().expect("a name"), words.next().expect("a version"), licence.to_owned())
        })
        .collect();
    packages.into_iter().collect()
}

/// Whether an SPDX expression can be met with licences that `is_allowed`: `OR` gives a choice, `AND` none.
fn is_met(expression: &str, is_allowed: &dyn Fn(&str) -> bool) -> bool {
    let expression = expression.trim();
    // `OR` first, since `AND` binds closer.
    if let parts @ [_, _, ..] = outside_brackets(expression, &[" OR ", "/"]).as_slice() {
        return parts.iter().any(|part| is_met(part, is_allowed));
    }
    if let parts @ [_, _, ..] = outside_brackets(expression, &[" AND "]).as_slice() {
        return parts.iter().all(|part| is_met(part, is_allowed));
    }
    match expression.strip_prefix('(').and_then(|inner| inner.strip_suffix(')')) {
        Some(inner) => is_met(inner, is_allowed),
        None => is_allowed(expression),
    }
}

/// The parts between the separators that stand outside every bracket.
fn outside_brackets<'a>(text: &'a str, separators: &[&str]) -> Vec<&'a str> {
    let (mut parts, mut from, mut depth) = (Vec::new(), 0, 0);
    for (at, letter) in text.char_indices() {
        match letter {
            '(' => depth += 1,
            ')' => depth -= 1,
            _ => {}
        }
        let separator = separators.iter().find(|separator| depth == 0 && text[at..].starts_with(**separator));
        if let Some(separator) = separator.filter(|_| at >= from) {
            parts.push(&text[from..at]);
            from = at + separator.len();
        }
    }
    parts.push(&text[from..]);
    parts
}

#[test]
fn every_licence_is_one_that_may_be_passed_on() {
    let packages = linked();
    assert!(packages.len() > 50, "{} packages seen", packages.len());
    for (name, version, licence) in &packages {
        let by_file =
            |asked: &str| BY_FILE.iter().any(|(stem, allowed)| name.starts_with(stem) && *allowed == asked);
        let is_allowed = |asked: &str| ALLOWED.contains(&asked) || by_file(asked);
        assert!(is_met(licence, &is_allowed), "{name} {version}: `{licence}`");
    }
    assert!(!is_met("GPL-3.0-only", &|licence| ALLOWED.contains(&licence)));
    assert!(!is_met("MIT AND GPL-3.0-only", &|licence| ALLOWED.contains(&licence)));
    assert!(!is_met("(MIT OR ISC) AND GPL-3.0-only", &|licence| ALLOWED.contains(&licence)));
    assert!(is_met("(MIT OR GPL-3.0-only) AND ISC", &|licence| ALLOWED.contains(&licence)));
    assert!(is_met("GPL-3.0-only OR MIT", &|licence| ALLOWED.contains(&licence)));
}

/// DEVELOPERS.md gives the number and a reason for each direct dependency.
#[test]
fn every_dependency_has_its_reason_and_the_number_is_true() {
    let developers = std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/DEVELOPERS.md")).unwrap();
    let n_linked = linked().len();
    let told = format!("is made of {n_linked} crates");
    assert!(developers.split_whitespace().collect::<Vec<_>>().join(" ").contains(&told), "not said: {told}");
    let manifest = std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/Cargo.toml")).unwrap();
    let manifest: toml::Table = manifest.parse().unwrap();
    let mut tables = vec![&manifest["dependencies"], &manifest["dev-dependencies"]];
    for target in manifest["target"].as_table().unwrap().values() {
        tables.extend(target.get("dependencies"));
    }
    // A row of the table names crates before the second stroke; those of tests stand in the sentence below it.
    let section = developers.split("\n## Dependencies\n").nth(1).expect("a section");
    let section = section.split("\n## ").next().unwrap_or_default();
    let rows = section.lines().filter_map(|line| line.strip_prefix("| ")?.split_once(" | "));
    let named: String = rows.filter(|(_, why)| why.len() > 5).map(|(names, _)| format!("{names} ")).collect();
    let of_tests =
        section.split("For tests:").nth(1).and_then(|rest| rest.split(". With ").next()).expect("tests");
    let has = |text: &str, name: &str| {
        text.split(|letter: char| !letter.is_alphanumeric() && !"-_".contains(letter))
            .any(|word| word == name)
    };
    let dev = &manifest["dev-dependencies"];
    for table in tables {
        let is_dev = std::ptr::eq(table, dev);
        for name in table.as_table().unwrap().keys() {
            let is_told = has(&named, name) || is_dev && has(of_tests, name);
            assert!(is_told, "DEVELOPERS.md does not say why `{name}`");
        }
    }
}

/// Two versions of a crate are two sets of faults; those that others force on us are named here with who does.
#[test]
fn no_crate_is_there_in_two_versions_but_those_named() {
    // plotters wants png 0.17 with its bitflags 1; jiff, ratatui and the macros of others move at their own pace.
    const FORCED: [&str; 7] =
        ["bitflags", "darling", "darling_core", "darling_macro", "itertools", "miniz_oxide", "syn"];
    let mut versions: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for (name, version, _) in linked() {
        versions.entry(name).or_default().push(version);
    }
    let twice: Vec<_> = versions.iter().filter(|(_, versions)| versions.len() > 1).collect();
    let named: Vec<_> = twice.iter().map(|(name, _)| name.as_str()).collect();
    assert_eq!(named, FORCED, "{twice:?}");
}

/// The compiler refuses unsafe code; this looks whether it was asked to.
#[test]
fn unsafe_code_is_forbidden() {
    let manifest = std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/Cargo.toml")).unwrap();
    let manifest: toml::Table = manifest.parse().unwrap();
    assert_eq!(manifest["lints"]["rust"]["unsafe_code"].as_str(), Some("forbid"));
}
