//! Plans, templates and lists of plates: what is accepted, and how faults are named.

use std::path::Path;

use platenote::job::{Plan, Template, is_plain_name};

fn plan_faults(text: &str) -> String {
    match Plan::parse(text, Path::new("plan.toml")) {
        Err(error) => error.to_string(),
        Ok(plan) => panic!("accepted: {plan:?}"),
    }
}

const HEAD: &str = "format = 1\nbellows = \"unisonoric\"\n";

fn row(lines: &str) -> String {
    format!(
        "{HEAD}[[block]]\nname = \"bass\"\n[[block.row]]\nname = \"A\"\nnotes = [\"E2\", \"F2\"]\n{lines}\n"
    )
}

#[test]
fn every_template_can_be_read_and_written_back() {
    let templates = [
        (Template::Bass24, 24, 48),
        (Template::Treble41, 41, 82),
        (Template::Bisonoric20, 20, 40),
        (Template::Empty, 3, 6),
    ];
    for (template, plates, reeds) in templates {
        let plan = Plan::parse(&template.to_toml(), Path::new("plan.toml")).unwrap();
        assert_eq!((plan.instrument.plates().count(), plan.instrument.reeds().count()), (plates, reeds));
        assert_eq!(Plan::parse(&plan.to_toml(), Path::new("again")).unwrap(), plan);
    }
}

#[test]
fn every_remark_of_the_empty_template_is_a_key_that_works() {
    let text = Template::Empty.to_toml();
    for line in text.lines().filter(|line| line.starts_with("# ") && line.contains(" = ")) {
        if line.contains("press = [") || line.contains("name = ") || line.contains("\"E3\"") {
            continue;
        }
        let key = line.trim_start_matches("# ");
        let with = text.replace(line, key);
        assert_ne!(with, text);
        Plan::parse(&with, Path::new("plan.toml")).unwrap_or_else(|error| panic!("{key}: {error}"));
    }
}

#[test]
fn a_plan_with_everything_comes_back_the_same() {
    let text = "format = 1\ntitle = \"A \\\"quoted\\\" ü\"\nbellows = \"bisonoric\"\nreference_hz = 442.5\n\
        temperament = [1.5, 0, -2, 0, 0, 0, 0, 0, 0, 0.25, 0, 0]\n\
        [[block]]\nname = \"left-1\"\nouter_tongue_sounds_on = \"draw\"\nleak_limit_db = -35.5\ntolerance_cents = 1.25\n\
        [[block.row]]\nname = \"A\"\nnotes = { press = [\"C4\", \"-\", \"Eb4\"], draw = [\"D4\", \"E4\", \"\"] }\n\
        valves_mm = [[38.25, \"?\"], 30, [0, 22]]\nslots_mm = [[30, 0], 28.5, 20]\n\
        material = [\"leather\", [\"plastic\", \"leather\"], \"plastic\"]\nhelper_springs = [\"A1..A2 outer\", \"A3\"]\n\
        tremolo_cents = { \"F4\" = 15.6, \"F#3\" = 12.3 }\n\
        [[block.row]]\nname = \"B\"\nnotes = [\"C5\"]\ntremolo_beats_hz = { \"A4\" = 3.2 }\n\
        [[block]]\nname = \"right\"\n[[block.row]]\nname = \"A\"\nnotes = [\"C3\"]\ntremolo_cents = -4\nvalves_mm = 0\n";
    let plan = Plan::parse(text, Path::new("plan.toml")).unwrap();
    assert_eq!(Plan::parse(&plan.to_toml(), Path::new("again")).unwrap(), plan);
    assert_eq!(plan.title, "A \"quoted\" ü");
    assert_eq!(plan.instrument.reeds().count(), 8);
}

#[test]
fn faults_name_line_key_what_is_wrong_and_what_would_be_right() {
    let unknown = plan_faults(&row("valve_mm = 38"));
    assert_eq!(
        unknown,
        "`plan.toml` line 8, `valve_mm`: there is no such key here; did you mean `valves_mm`?"
    );
    let cases = [
        ("valves_mm = [38]", "line 8, `valves_mm`: 1 entries for 2 plates; give one for each plate"),
        ("valves_mm = [38, [1, 2, 3]]", "a list of 3; give two, [outer, inner]"),
        ("valves_mm = [38, -1]", "-1 is out of range; give a number from 0 to 200 (mm, 0 for none)"),
        (
            "valves_mm = [38, 3.8]",
            "line 8, `valves_mm`: `3.8` has no unit, and a valve of 3.8 mm is too short to be meant",
        ),
        (
            "valves_mm = [38, 3.8]",
            "write `38 mm` or `3.8 cm` if 38 mm is meant; lengths with a unit are put in quotes",
        ),
        ("slots_mm = [[31, 3.05], 28]", "write `30.5 mm` or `3.05 cm`"),
        ("valves_mm = [38, \"3.8\"]", "write `38 mm` or `3.8 cm` if 38 mm is meant"),
        ("valves_mm = [38, \"long\"]", "`valves_mm`: `long` is not a length"),
        ("valves_mm = nan", "`valves_mm`: float found"),
        (
            "tremolo_cents = 3\ntremolo_beats_hz = { A4 = 1 }",
            "line 9, `tremolo_beats_hz`: the tremolo is given twice",
        ),
        ("tremolo_cents = { H3 = 1 }", "\"H3\" is not a note"),
        ("tremolo_cents = { A3 = 1, \"A♯3\" = 2, Bb3 = 3 }", "A#3 is given twice"),
        ("material = \"wood\"", "\"wood\" is not known here; give \"leather\" or \"plastic\""),
        ("helper_springs = [\"A1..A9\"]", "\"A1..A9\" names no plate of row A, which has 2"),
    ];
    for (line, part) in cases {
        let message = plan_faults(&row(line));
        assert!(message.contains(part), "{message}\nlacks: {part}");
    }
    let heads = [
        ("bellows = \"unisonoric\"\n", "line 1, `format`: missing; add `format = 1`"),
        ("format = 1\nbellows = \"both\"\n", "line 2, `bellows`: \"both\" is not known here"),
        (
            "format = 1\nbellows = \"bisonoric\"\nreference_hz = 399\n",
            "399 is out of range; give a number from 400 to 470",
        ),
        (
            "format = 1\nbellows = \"bisonoric\"\ntemperament = [1, 2]\n",
            "2 offsets found; give \"equal\" or 12 offsets",
        ),
        ("format = 1\nbellows = \"bisonoric\"\n", "`block`: missing; add a [[block]] section"),
        ("format = 1\nbellows = \n", "`plan.toml` line 2"),
        ("format = 0\n", "0 is no format; write `format = 1`"),
    ];
    for (text, part) in heads {
        let message = plan_faults(text);
        assert!(message.contains(part), "{message}\nlacks: {part}");
    }
}

#[test]
fn all_faults_are_named_at_once_in_the_order_of_lines() {
    let message = plan_faults(&row("helper_springs = 1\nmaterial = 2").replace("\"F2\"", "\"H2\""));
    let at = |part: &str| message.find(part).unwrap_or_else(|| panic!("{part} not in {message}"));
    assert!(message.contains("has 3 faults"));
    assert!(at("line 7") < at("line 8") && at("line 8") < at("line 9"));
}

#[test]
fn names_that_would_clash_are_refused() {
    let twice =
        format!("{}[[block]]\nname = \"BASS\"\n[[block.row]]\nname = \"A\"\nnotes = [\"E2\"]\n", row(""));
    assert!(plan_faults(&twice).contains("a block \"BASS\" is there already"));
    for name in ["a b", "../x", "", "nul", "COM1", "-x", "a/b"] {
        assert!(!is_plain_name(name), "{name}");
        let text = row("").replace("\"bass\"", &format!("\"{name}\""));
        assert!(plan_faults(&text).contains("cannot name a block"), "{name}");
    }
    assert!(is_plain_name("after-2") && is_plain_name("früh"));
}

#[test]
fn a_unisonoric_plate_has_one_note() {
    let text = row("").replace("[\"E2\", \"F2\"]", "{ press = [\"E2\", \"F2\"], draw = [\"E2\", \"G2\"] }");
    assert!(plan_faults(&text).contains("plate 2 gives F2 on press and G2 on draw"));
    let one_reed = text.replace("\"G2\"", "\"-\"");
    assert_eq!(Plan::parse(&one_reed, Path::new("p")).unwrap().instrument.reeds().count(), 3);
}

#[test]
fn a_newer_plan_is_refused_by_number_before_anything_else() {
    let message = plan_faults("format = 2\nnonsense = true\n");
    assert_eq!(message, "`plan.toml` has format 2 and this program knows formats up to 1");
}

#[test]
fn a_list_of_plates_becomes_a_plan() {
    let list = "block;row;plate;press;draw;outer_valve_mm;inner_valve_mm;press_slot_mm;helper_springs\n\
        left;A;A2;F2;F2;37,5;;;\nleft;A;A1;E2;G2;38;0;33,5;outer\n";
    let plan = Plan::from_plates_csv(list.as_bytes(), Path::new("plates.csv")).unwrap();
    let text = plan.to_toml();
    assert!(text.contains("bellows = \"bisonoric\""), "{text}");
    assert!(text.contains("valves_mm = [[38.0, 0], [37.5, \"?\"]]"), "{text}");
    assert!(text.contains("slots_mm = [[33.5, 0.0], 0.0]"), "{text}");
    assert!(text.contains("helper_springs = [\"A1 outer\"]"), "{text}");
    assert_eq!(Plan::parse(&text, Path::new("p")).unwrap(), plan);
    let refused = |list: &str| {
        let error = Plan::from_plates_csv(list.as_bytes(), Path::new("plates.csv")).unwrap_err();
        format!("{error}; {}", error.next())
    };
    assert!(refused("row,plate,note\n").starts_with("`plates.csv` line 1: there is no column `note`"));
    assert!(refused("row,plate\n").contains("column `press` is missing"));
    assert!(
        refused("row,plate,press\nA,1,E2\nA,3,F2\n").contains("line 3: row A has a plate 3 but no plate 2")
    );
    assert!(refused("row,plate,press\nA,1,E2\nA,1,F2\n").contains("plate 1 of this row is there already"));
    assert!(refused("row,plate,press\nA,1,X2\n").contains("line 2: `X2` is not a note"));
    assert!(refused("row,plate,press\n").contains("no plates"));
}
