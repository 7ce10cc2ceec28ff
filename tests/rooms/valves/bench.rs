//! Needs, orders of work, and the count check.

use platenote::instrument::Material;
use platenote::repair::{
    Basis, Bench, Choice, Condition, Happening, Lot, Tray, ValveRule, Work, check, fit, needs, status,
    warnings,
};
use platenote::units::Millimetres;

use super::{marks, plan};

fn mm(value: f64) -> Millimetres {
    Millimetres::new(value).unwrap()
}

fn counted(lots: &[(f64, u32)], whole: bool) -> Happening {
    let lot = |&(length, count): &(f64, u32)| Lot {
        length: mm(length),
        width: None,
        thickness: None,
        material: Material::Leather,
        condition: Condition::Flat,
        bin: Some("1".into()),
        count,
    };
    Happening::Counted { lots: lots.iter().map(lot).collect(), whole }
}

const TWO_ROWS: &str = "[[block.row]]\nname = \"A\"\nnotes = [\"E2\", \"F2\"]\nvalves_mm = [[38, 38], [38, 0]]\n\
    [[block.row]]\nname = \"B\"\nnotes = [\"E3\", \"F3\", \"F#3\", \"G3\"]\nvalves_mm = 35\n";

/// Overlap 1 to 3 mm, glue 3 to 5 mm, longer on bass (common practice, no source).
#[test]
fn a_slot_and_the_rule_give_a_length() {
    let rows = "[[block.row]]\nname = \"A\"\nnotes = [\"E2\", \"E4\", \"E6\"]\nvalves_mm = [\"?\", \"?\", 0]\n\
        slots_mm = [[45, 44], 30, 12]\nhelper_springs = [\"A1\"]\n";
    let (instrument, rule) = plan(rows);
    let found = needs(&instrument, &rule, &Bench::untouched(&instrument, &rule));
    let lengths: Vec<(String, f64)> =
        found.iter().map(|need| (need.place.to_string(), need.length.unwrap().get())).collect();
    // The outer valve covers the slot of the tongue on the inner face, which sounds on draw.
    let wanted =
        [("bass A1 outer", 52.0), ("bass A1 inner", 53.0), ("bass A2 outer", 36.0), ("bass A2 inner", 36.0)];
    assert_eq!(lengths, wanted.map(|(place, length)| (place.to_owned(), length)));
    assert_eq!(found[0].basis, Basis::Slot(mm(44.0)));
    assert_eq!(found.iter().filter(|need| need.helper_spring).count(), 2);
    let usual = ValveRule::default();
    for slot in [15.0, 39.9, 40.0, 60.0] {
        let added = usual.length_over(mm(slot)).get() - slot;
        assert!((4.0..=3.0 + 8.0).contains(&added), "{added}");
    }
}

#[test]
fn the_plan_sets_other_numbers() {
    let text = "[[block.row]]\nname = \"A\"\nnotes = [\"E4\"]\nslots_mm = 30\n[valves]\noverlap_mm = 1\nglue_mm = 3\nkerf_mm = 1\nwidth_mm = 8\n";
    let (instrument, rule) = plan(text);
    let bench = Bench::untouched(&instrument, &rule);
    let fitting = fit(&needs(&instrument, &rule, &bench), &bench.tray, &rule);
    assert_eq!(fitting.summary(), "2 needed, 0 usable: cut 2: 34 mm × 2");
    let strip = fitting.strips[0];
    assert_eq!((strip.length.get(), strip.width.get()), (2.0 * (8.0 + 1.0), 34.0 + 1.0));
    let again = platenote::job::Plan {
        title: String::new(),
        instrument: instrument.clone(),
        valve_rule: rule,
        numbers: std::collections::BTreeMap::new(),
    };
    let read = platenote::job::Plan::parse(&again.to_toml(), std::path::Path::new("again")).unwrap();
    assert_eq!(read.valve_rule, rule);
}

#[test]
fn six_needed_and_two_missing() {
    let notes = (0..3).map(|_| "\"E2\"").collect::<Vec<_>>().join(", ");
    let rows = format!(
        "[[block.row]]\nname = \"A\"\nnotes = [{notes}]\nvalves_mm = [[58, 58], [58, 0], 0]\n[[block.row]]\nname = \"B\"\nnotes = [{notes}]\nvalves_mm = [[28, 28], [28, 0], 0]\n"
    );
    let (instrument, rule) = plan(&rows);
    let bench = Bench::after(&instrument, &rule, &[counted(&[(58.0, 2), (28.0, 2), (20.0, 40)], true)]);
    let fitting = fit(&needs(&instrument, &rule, &bench), &bench.tray, &rule);
    assert_eq!(fitting.summary(), "6 needed, 4 usable: cut 2: 58 mm × 1, 28 mm × 1");
    assert_eq!(fitting.left.count(), 40);
}

#[test]
fn what_is_fitted_or_kept_or_not_due_needs_nothing() {
    let (instrument, rule) = plan(TWO_ROWS);
    let told = marks(
        &instrument,
        &[
            ("A1 outer", "valve fitted 38mm new"),
            ("A1 inner", "valve kept"),
            ("B1 inner", "valve off 34 mm flat"),
        ],
    );
    let bench = Bench::after(&instrument, &rule, &told);
    let found = needs(&instrument, &rule, &bench);
    let places: Vec<String> = found.iter().map(|need| need.place.to_string()).collect();
    assert_eq!(places.len(), 3 + 8 - 2);
    assert!(
        !places.iter().any(|place| place.starts_with("bass A1") || place == "bass A2 inner"),
        "{places:?}"
    );
    let b1 = found.iter().find(|need| need.place.to_string() == "bass B1 inner").unwrap();
    assert_eq!((b1.length, b1.basis), (Some(mm(34.0)), Basis::OldValve));
    // The lifted valve lies in the tray.
    let fitting = fit(std::slice::from_ref(b1), &bench.tray, &rule);
    assert!(matches!(fitting.rows[0].choice, Choice::FromTray { .. }));
}

fn warned(typed: &[(&str, &str)]) -> Vec<u32> {
    let (instrument, rule) = plan(TWO_ROWS);
    warnings(&instrument, &rule, &marks(&instrument, typed)).into_iter().map(|warning| warning.n).collect()
}

#[test]
fn orders_that_cost_work_are_named() {
    // Waxing a plate whose inner valve is not fitted.
    assert_eq!(warned(&[("A1", "lifted"), ("A1", "waxed")]), [2]);
    assert_eq!(warned(&[("A1 inner", "valve off"), ("A1", "waxed")]), [2]);
    assert!(warned(&[("A1 inner", "valve fitted 38"), ("A1", "waxed")]).is_empty());
    assert!(warned(&[("A1 inner", "valve kept"), ("A1", "waxed")]).is_empty());
    // A2 has no inner valve.
    assert!(warned(&[("A2", "waxed")]).is_empty());
    // Tuning before the valves are done.
    assert_eq!(warned(&[("A1 inner", "valve fitted"), ("A1 press", "filed tip"), ("A1", "tuned")]), [2, 3]);
    assert!(warned(&[("A1 outer", "valve fitted"), ("A1 inner", "valve kept"), ("A1", "tuned")]).is_empty());
    // Cleaning with solvent on a fresh valve; the other face is no matter.
    assert_eq!(
        warned(&[("A1 outer", "valve fitted"), ("A1 inner", "cleaned solvent"), ("A1", "cleaned solvent")]),
        [3]
    );
    // A valve where none is due.
    assert_eq!(warned(&[("A2 inner", "valve fitted 38")]), [1]);
}

#[test]
fn solvent_and_heat_on_one_day_want_a_pause_between() {
    assert_eq!(warned(&[("A2", "waxed"), ("B1", "cleaned solvent")]), [2]);
    assert_eq!(warned(&[("B1", "cleaned solvent"), ("A2", "waxed")]), [2]);
    assert!(warned(&[("A2", "waxed"), ("", "pause"), ("B1", "cleaned solvent")]).is_empty());
    assert!(warned(&[("A2", "waxed"), ("B1", "cleaned")]).is_empty());
    // The next day.
    let (instrument, rule) = plan(TWO_ROWS);
    let mut told = marks(&instrument, &[("A2", "waxed"), ("B1", "cleaned solvent")]);
    if let Happening::Mark(mark) = &mut told[1] {
        mark.day = mark.day.tomorrow().unwrap();
    }
    assert!(warnings(&instrument, &rule, &told).is_empty());
}

#[test]
fn what_was_taken_back_never_happened() {
    let (instrument, rule) = plan(TWO_ROWS);
    let mut told = marks(&instrument, &[("A1", "waxed"), ("A1 outer", "valve off 38")]);
    for happening in &mut told {
        if let Happening::Mark(mark) = happening {
            mark.undone = true;
        }
    }
    assert!(warnings(&instrument, &rule, &told).is_empty());
    assert_eq!(Bench::after(&instrument, &rule, &told), Bench::untouched(&instrument, &rule));
}

fn differences(happenings: impl Fn(&platenote::instrument::Instrument) -> Vec<Happening>) -> Vec<String> {
    let (instrument, rule) = plan(TWO_ROWS);
    let bench = Bench::after(&instrument, &rule, &happenings(&instrument));
    let named = check(&instrument, &rule, &bench).differences.into_iter();
    named
        .map(|difference| {
            let place = difference.place.map_or(String::new(), |place| format!("{place}: "));
            place + &difference.text
        })
        .collect()
}

#[test]
fn each_difference_is_named() {
    let told = |typed: &'static [(&str, &str)]| differences(|instrument| marks(instrument, typed));
    assert_eq!(
        told(&[("B4 inner", "valve off 35 mm")]),
        ["bass B4 inner: a 35 mm valve was lifted off, none fitted yet"]
    );
    assert!(told(&[("B4 inner", "valve off 35 mm"), ("B4 inner", "valve fitted 35.5 mm")]).is_empty());
    assert_eq!(
        told(&[("B4 inner", "valve fitted 33 mm new")]),
        ["bass B4 inner: a 33 mm valve was fitted, and the plan says 35 mm"]
    );
    assert_eq!(
        told(&[("A2 inner", "valve fitted 38 mm new")]),
        ["bass A2 inner: a 38 mm valve was fitted, and the plan has no valve here"]
    );
    assert_eq!(
        told(&[("B1 outer", "valve off 31 mm"), ("B1 outer", "valve fitted 31 mm")]),
        ["bass B1 outer: a 31 mm valve was lifted off, and the plan says 35 mm"]
    );
}

#[test]
fn the_tray_is_held_against_the_diary() {
    let counting = |count: u32, more: &'static [(&str, &str)]| {
        differences(|instrument| {
            let mut told = marks(instrument, &[("B1..B4", "valve off 35 mm")]);
            told.push(counted(&[(35.3, count)], false));
            told.extend(marks(
                instrument,
                &[("B1..B4", "valve fitted 35 mm bin 1"), ("B1..B4 outer", "valve kept")],
            ));
            told.extend(marks(instrument, more));
            told
        })
    };
    // Eight valves of four plates.
    assert!(counting(8, &[]).is_empty());
    assert_eq!(
        counting(9, &[]),
        [
            "35 to 35.3 mm: 8 lifted off, 0 of them fitted and 9 in the tray when it was counted: 1 more than noted"
        ]
    );
    let short = counting(7, &[]);
    assert!(
        short.iter().any(|text| text.ends_with("7 in the tray when it was counted: 1 missing")),
        "{short:?}"
    );
    assert!(
        short.iter().any(|text| text.contains("from the tray, which as noted held none that suits")),
        "{short:?}"
    );
}

#[test]
fn the_tray_follows_the_marks() {
    let (instrument, rule) = plan(TWO_ROWS);
    let mut told = marks(&instrument, &[("B1..B2", "valve off 35 mm bin 2")]);
    let count = |told: &[Happening]| Bench::after(&instrument, &rule, told).tray.count();
    assert_eq!(count(&told), 4);
    // Bin 1 is counted: what lies in bin 2 stays.
    told.push(counted(&[(38.0, 6)], false));
    assert_eq!(count(&told), 10);
    told.extend(marks(
        &instrument,
        &[("A1 outer", "valve fitted 38 mm bin 1"), ("A1 inner", "valve fitted 38 mm new")],
    ));
    assert_eq!(count(&told), 9);
    // Counted anew, also down to nothing.
    told.push(counted(&[(38.0, 0)], false));
    assert_eq!(count(&told), 4);
    told.push(counted(&[(38.0, 2)], true));
    assert_eq!(count(&told), 2);
}

#[test]
fn a_valve_taken_off_is_dealt_back_only_where_its_condition_was_said_and_counted_once() {
    let (instrument, rule) = plan(TWO_ROWS);
    let after = |typed: &[(&str, &str)]| {
        let bench = Bench::after(&instrument, &rule, &marks(&instrument, typed));
        let served = fit(&needs(&instrument, &rule, &bench), &bench.tray, &rule).served();
        (bench.tray.count(), served)
    };
    assert_eq!(after(&[("A1 outer", "valve off 38 mm")]), (1, 0));
    assert_eq!(after(&[("A1 outer", "valve off 38 mm scrap")]), (1, 0));
    assert_eq!(after(&[("A1 outer", "valve off 38 mm flat")]), (1, 1));
    // Noted twice it is one valve, and the later note says what it is like; with or without its length.
    assert_eq!(after(&[("A1 outer", "valve off 38 mm"), ("A1 outer", "valve off 38 mm")]), (1, 0));
    assert_eq!(after(&[("A1 outer", "valve off 38 mm"), ("A1 outer", "valve off flat")]), (1, 1));
    // Off, fitted and off again it is two.
    let twice = [
        ("A1 outer", "valve off 38 mm"),
        ("A1 outer", "valve fitted 38 mm new"),
        ("A1 outer", "valve off 38 mm"),
    ];
    assert_eq!(after(&twice).0, 2);
}

#[test]
fn next_steps_follow_the_work() {
    let (instrument, rule) = plan(TWO_ROWS);
    let steps = |typed: &[(&str, &str)]| {
        let bench = Bench::after(&instrument, &rule, &marks(&instrument, typed));
        let first = status(&instrument, &bench).into_iter().next().unwrap();
        [first.faces.outer.next, first.faces.inner.next].map(Option::unwrap_or_default)
    };
    assert_eq!(steps(&[]), ["clean", "clean"]);
    let mut done = vec![("A1", "cleaned")];
    assert_eq!(steps(&done), ["fit valve 38 mm", "lift, fit valve 38 mm"]);
    done.push(("A1", "lifted"));
    done.push(("A1 inner", "valve fitted 38"));
    assert_eq!(steps(&done), ["fit valve 38 mm", "wait for the other face's valve"]);
    done.push(("A1 outer", "valve kept"));
    assert_eq!(steps(&done), ["wax", "wax"]);
    done.push(("A1", "waxed"));
    assert_eq!(steps(&done), ["tune", "tune"]);
    done.push(("A1 press", "tuned"));
    assert_eq!(steps(&done), ["", "tune"]);
}

#[test]
fn an_old_valve_serves_a_slot_only_within_its_width_and_thickness() {
    // Widths along the row: wide below C4, narrower from there on; one thickness for all.
    let text = "[[block.row]]\nname = \"A\"\nnotes = [\"E3\", \"C4\"]\nvalves_mm = 38\n\
        valve_width_mm = { \"E2\" = [8, 9], \"C4\" = 6 }\nvalve_thickness_mm = [0.4, 0.5]\n";
    let (instrument, rule) = plan(text);
    let lot = |width: Option<f64>, thickness: Option<f64>, bin: &str| Lot {
        length: mm(38.0),
        width: width.map(mm),
        thickness: thickness.map(mm),
        material: Material::Leather,
        condition: Condition::Flat,
        bin: Some(bin.into()),
        count: 9,
    };
    let dealt = |lots: Vec<Lot>| -> Vec<String> {
        let tray = Tray::new(lots);
        let needs = needs(&instrument, &rule, &Bench::untouched(&instrument, &rule));
        let fitting = fit(&needs, &tray, &rule);
        let bin = |choice: &Choice| match choice {
            Choice::FromTray { lot, .. } => lot.bin.clone().unwrap(),
            _ => "cut".to_owned(),
        };
        fitting.rows.iter().map(|row| bin(&row.choice)).collect()
    };
    let wide = || lot(Some(8.5), Some(0.45), "wide");
    let narrow = || lot(Some(6.2), Some(0.4), "narrow");
    assert_eq!(dealt(vec![wide(), narrow()]), ["wide", "wide", "narrow", "narrow"]);
    // Too thick, too narrow, or nobody measured it.
    assert_eq!(dealt(vec![lot(Some(8.5), Some(0.7), "thick")]), ["cut"; 4]);
    assert_eq!(dealt(vec![lot(Some(8.5), None, "unmeasured")]), ["cut"; 4]);
    assert_eq!(dealt(vec![lot(None, Some(0.45), "unmeasured")]), ["cut"; 4]);
    assert_eq!(dealt(vec![narrow()]), ["cut", "cut", "narrow", "narrow"]);
    // What lies over the slot is as the plan has it: taken off and said to be flat, it may go back.
    let off = Work::parse(&["valve off flat 38"]).unwrap();
    assert_eq!(off.to_string(), "valve off 38 mm flat");
    // The plan is read back the same.
    let plan = platenote::job::Plan {
        title: String::new(),
        instrument: instrument.clone(),
        valve_rule: rule,
        numbers: std::collections::BTreeMap::new(),
    };
    let again = platenote::job::Plan::parse(&plan.to_toml(), std::path::Path::new("again")).unwrap();
    assert_eq!(again, plan);
}

#[test]
fn lengths_in_inches_are_written_as_a_rule_shows_them() {
    use platenote::repair::parse_length;
    // An inch is 25.4 mm by definition; the sixty-fourths of a rule.
    let cases = [
        ("1 1/2 in", "1 1/2 in"),
        ("1.5 in", "1 1/2 in"),
        ("3/4 in", "3/4 in"),
        ("2 in", "2 in"),
        ("1 5/64 in", "1 5/64 in"),
        ("1.437 in", "1.437 in"),
        ("38.1 mm", "38.1 mm"),
    ];
    for (typed, written) in cases {
        let length = parse_length(typed).unwrap();
        assert_eq!(length.to_string(), written, "{typed}");
        assert_eq!(parse_length(written).unwrap(), length, "read back the same");
    }
}
