//! Laws that hold for any text; the seed is fixed.

use std::fs;
use std::path::Path;

use platenote::alignment::place_by_name;
use platenote::instrument::ReedPlace;
use platenote::job::{Job, Plan, Table, Template};
use proptest::prelude::*;
use proptest::test_runner::{Config, RngSeed};

use super::bass;

fn laws() -> Config {
    Config {
        cases: 400,
        rng_seed: RngSeed::Fixed(20_260_430),
        failure_persistence: None,
        ..Config::default()
    }
}

proptest! {
    #![proptest_config(laws())]

    #[test]
    fn no_text_makes_a_reader_panic(text in "\\PC{0,200}", bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        let bass = bass();
        let _ = Plan::parse(&text, Path::new("p"));
        let _ = bass.spots(&text);
        let _ = place_by_name(&text, &bass);
        let _ = Table::parse(&bytes, Path::new("t"), &["file", "place"], &[]);
        let _ = Plan::from_plates_csv(&bytes, Path::new("t"));
    }

    #[test]
    fn no_change_to_a_plan_makes_the_reader_panic(at in 0usize..900, put in "[\\PC\\n]{0,6}", drop in 0usize..6) {
        let text = Template::Bass24.to_toml();
        let letters: Vec<char> = text.chars().collect();
        let at = at.min(letters.len());
        let rest = letters.iter().skip(at + drop);
        let changed: String = letters.iter().take(at).copied().chain(put.chars()).chain(rest.copied()).collect();
        if let Ok(plan) = Plan::parse(&changed, Path::new("p")) {
            prop_assert_eq!(Plan::parse(&plan.to_toml(), Path::new("q")).unwrap(), plan);
        }
    }

    #[test]
    fn any_line_in_the_diary_is_used_or_named(line in "[^\\n\\r]{1,80}") {
        prop_assume!(!line.trim().is_empty());
        let dir = tempfile::tempdir().unwrap();
        Job::create(dir.path(), &Template::Empty.to_toml()).unwrap();
        fs::write(dir.path().join("diary.jsonl"), format!("{line}\n")).unwrap();
        let job = Job::open(dir.path()).unwrap();
        prop_assert_eq!(job.diary().len() + job.odd_lines().len(), 1);
    }

    #[test]
    fn a_place_reads_back_as_it_is_written(idx in 0usize..48) {
        let bass = bass();
        let places: Vec<ReedPlace> = bass.reeds().map(|(place, _)| place).collect();
        prop_assert_eq!(bass.reed_place(&places[idx].to_string()).unwrap(), places[idx].clone());
        let name = places[idx].to_string().replace(' ', "-");
        prop_assert_eq!(place_by_name(&name, &bass).unwrap(), places[idx].clone());
    }
}
