//! The work list: each plate once, lifted once, with length and bin.

use std::collections::BTreeMap;

use platenote::instrument::{Face, Instrument, Stroke, ValvePlace};
use platenote::judgement::{Findings, ValveFinding, Verdict};
use platenote::repair::{
    Bench, Choice, PassEvidence, Standing, TakeMoment, Task, ValveTrouble, WorkList, work_list,
};
use platenote::report::work_list_page;

use super::{marks, plan};

const ROWS: &str = "[[block.row]]\nname = \"A\"\nnotes = [\"E2\", \"F2\", \"G2\"]\nvalves_mm = 38\n\
    [[block.row]]\nname = \"B\"\nnotes = [\"E3\"]\nvalves_mm = [[35, 0]]\n";

fn findings(instrument: &Instrument, told: &[(&str, Verdict)]) -> Findings {
    let valve = |(place, verdict): &(&str, Verdict)| {
        let place: ValvePlace = instrument.valve_place(place).unwrap();
        let heard_on = if place.face == Face::Outer { Stroke::Press } else { Stroke::Draw };
        let reason = "consistent with a leak <&>".to_owned();
        ValveFinding {
            place,
            heard_on,
            verdict: *verdict,
            leak: None,
            signs: Vec::new(),
            reason,
            next: String::new(),
        }
    };
    Findings {
        pass: "before".into(),
        reeds: Vec::new(),
        valves: told.iter().map(valve).collect(),
        swaps: Vec::new(),
        shifts: Vec::new(),
        warnings: Vec::new(),
    }
}

fn listed(told: &[(&str, Verdict)], typed: &[(&str, &str)]) -> WorkList {
    let (instrument, rule) = plan(ROWS);
    let bench = Bench::after(&instrument, &rule, &marks(&instrument, typed));
    // The takes came in before the second mark.
    let heard_at: jiff::Timestamp = "2026-03-02T08:15:00Z".parse().unwrap();
    let day = heard_at.to_zoned_datetime(jiff::tz::TimeZone::UTC).date();
    let moment = TakeMoment { n: 1, at: heard_at, day };
    let takes: BTreeMap<_, _> = instrument.reeds().map(|(place, _)| (place, moment)).collect();
    let findings = findings(&instrument, told);
    let passes = [PassEvidence { findings: &findings, takes: &takes, plays: &BTreeMap::new() }];
    let standing = Standing::of(&instrument, &rule, &marks(&instrument, typed), &passes);
    work_list(&instrument, &rule, &bench, &standing)
}

#[test]
fn a_leak_comes_with_length_bin_face_and_whether_to_lift() {
    let list = listed(
        &[
            ("A1 outer", Verdict::Leaks),
            ("A1 inner", Verdict::Leaks),
            ("A3 outer", Verdict::Leaks),
            ("B1 outer", Verdict::NoSign),
        ],
        &[("A2 outer", "valve off 38 mm flat bin 4")],
    );
    let told: Vec<(String, bool, usize)> =
        list.tasks.iter().map(|task| (task.plate.to_string(), task.lift, task.valves.len())).collect();
    // In the plan's order; A1 once, with both its valves.
    let wanted = [("bass A1", true, 2), ("bass A2", false, 1), ("bass A3", false, 1)];
    assert_eq!(told, wanted.map(|(plate, lift, count)| (plate.to_owned(), lift, count)));
    assert!(list.tasks.iter().flat_map(|task| &task.valves).all(|valve| valve.length.unwrap().get() == 38.0));
    let from_bin = |task: &Task| {
        task.valves.iter().any(|valve| {
            matches!(&valve.replacement, Some(Choice::FromTray { lot, .. }) if lot.bin.as_deref() == Some("4"))
        })
    };
    assert_eq!(list.tasks.iter().filter(|task| from_bin(task)).count(), 1, "one valve lies in bin 4");
    assert_eq!(list.tasks[1].valves[0].trouble, ValveTrouble::Off);
}

#[test]
fn a_plate_that_lies_on_the_bench_is_not_lifted_again() {
    assert!(!listed(&[("A1 inner", Verdict::Leaks)], &[("A1", "lifted")]).tasks[0].lift);
    assert!(listed(&[("A1 inner", Verdict::Leaks)], &[("A1", "lifted"), ("A1", "waxed")]).tasks[0].lift);
    // A doubt alone lifts no plate.
    let suspect = listed(&[("A1 inner", Verdict::Suspect)], &[]);
    assert!(!suspect.tasks[0].lift && suspect.tasks[0].valves[0].replacement.is_none());
}

#[test]
fn what_was_fitted_after_the_take_is_listened_to_again() {
    let fitted =
        listed(&[("A1 outer", Verdict::Leaks)], &[("A3", "cleaned"), ("A1 outer", "valve fitted 38")]);
    assert_eq!(fitted.tasks[0].valves[0].trouble, ValveTrouble::FittedSince);
    // Fitted before the take, and it still leaks.
    let still = listed(&[("A1 outer", Verdict::Leaks)], &[("A1 outer", "valve fitted 38")]);
    assert_eq!(still.tasks[0].valves[0].trouble, ValveTrouble::Leaks);
}

#[test]
fn the_page_is_whole_and_holds_every_valve() {
    let list = listed(
        &[("A1 inner", Verdict::Leaks), ("A2 outer", Verdict::Suspect), ("B1 outer", Verdict::Leaks)],
        &[],
    );
    let page = work_list_page("Kitchen <1>", &list);
    assert_eq!(page.matches("class=\"tick\"").count(), 3);
    assert!(
        page.contains("size: A4") && page.contains("Kitchen &lt;1&gt;") && page.contains("&lt;&amp;&gt;")
    );
    for tag in ["table", "tr", "td", "ul", "li", "h2", "h3", "html", "body"] {
        let opened = page.matches(&format!("<{tag}>")).count() + page.matches(&format!("<{tag} ")).count();
        assert_eq!(opened, page.matches(&format!("</{tag}>")).count(), "{tag}");
    }
    assert!(!page.contains("http"), "nothing is fetched from anywhere");
}
