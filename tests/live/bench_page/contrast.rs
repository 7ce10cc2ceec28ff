//! Colours of the page by day and by night, from its own style. The drawings' inks are counted where they are defined.

use std::collections::BTreeMap;

const STYLE: &str = include_str!("../../../src/bench_page/page/bench.css");

/// Relative luminance and contrast ratio: W3C, Web Content Accessibility Guidelines 2.2, definitions.
fn luminance(colour: &str) -> f64 {
    let digits = colour.trim_start_matches('#');
    let whole: String = if digits.len() == 3 {
        digits.chars().flat_map(|digit| [digit, digit]).collect()
    } else {
        digits.into()
    };
    let linear = |at: usize| {
        let value = f64::from(u8::from_str_radix(&whole[at..at + 2], 16).unwrap()) / 255.0;
        if value <= 0.040_45 { value / 12.92 } else { ((value + 0.055) / 1.055).powf(2.4) }
    };
    0.2126 * linear(0) + 0.7152 * linear(2) + 0.0722 * linear(4)
}

fn contrast(one: &str, other: &str) -> f64 {
    let (one, other) = (luminance(one), luminance(other));
    (one.max(other) + 0.05) / (one.min(other) + 0.05)
}

/// The colours of the `n`th block of tokens.
fn tokens(n: usize) -> BTreeMap<String, String> {
    let block = STYLE.split(":root {").nth(n + 1).unwrap().split('}').next().unwrap();
    let pairs = block.split(';').filter_map(|line| line.trim().strip_prefix("--")?.split_once(": "));
    pairs
        .filter(|(_, value)| value.starts_with('#'))
        .map(|(name, value)| (name.into(), value.into()))
        .collect()
}

/// Success criteria 1.4.3 (text, 4.5 to 1) and 1.4.11 (marks, 3 to 1) of the same guidelines.
#[test]
fn words_and_marks_stand_out_by_day_and_by_night() {
    let words = [
        ("text", "ground"),
        ("text", "sheet"),
        ("text", "unknown"),
        ("text", "soft"),
        ("text", "band"),
        ("faint", "ground"),
        ("faint", "sheet"),
        ("accent", "ground"),
        ("accent", "sheet"),
        ("on-accent", "accent"),
        ("on-leaks", "leaks"),
        ("warn", "sheet"),
        ("danger", "sheet"),
        ("danger", "ground"),
        ("sheet", "level"),
        ("sheet", "danger"),
    ];
    let marks = [
        ("leaks", "sheet"),
        ("leaks", "ground"),
        ("edge", "sheet"),
        ("line", "sheet"),
        ("line", "ground"),
        ("level", "sheet"),
        ("band-edge", "sheet"),
        ("band-edge", "band"),
        ("accent", "band"),
        ("warn", "band"),
    ];
    for (n, time) in ["day", "night"].into_iter().enumerate() {
        let colours = tokens(n);
        for (least, pairs) in [(4.5, words.as_slice()), (3.0, marks.as_slice())] {
            for (ink, ground) in pairs {
                let found = contrast(&colours[*ink], &colours[*ground]);
                assert!(found >= least, "{ink} on {ground} by {time}: {found:.2}, {least} is wanted");
            }
        }
    }
}
