//! The charts, looked at as a viewer would: what stands where, and whether it can be read.

mod subjects;
mod svg;
mod tremolo;

use std::collections::HashSet;
use std::sync::OnceLock;

use platenote::instrument::{Instrument, PerFace, Stroke, Valve};
use platenote::judgement::{Findings, Tune, Verdict};
use platenote::report::{Chart, Earlier, ReedCloseUp, Subject, charts};

use subjects::{block, cents, close_up, comparison, findings, instrument, note, row, swap};
use svg::{Area, Tag, tags, texts};

/// Fine SVG pixels for one of the picture's.
const FINE: f64 = 4.0;

fn single(instrument: &Instrument, findings: &Findings) -> Vec<Chart> {
    let subject = Subject {
        title: "Made up",
        instrument,
        findings,
        earlier: None,
        close_ups: &[],
        valves_now: None,
        reeds_now: None,
    };
    charts(&subject).unwrap()
}

fn compared(
    instrument: &Instrument,
    title: &str,
    passes: [&str; 2],
    close_ups: &[ReedCloseUp],
) -> Vec<Chart> {
    let earlier = findings(instrument, passes[0], 0);
    let mut later = findings(instrument, passes[1], 1);
    let first = &instrument.blocks[0];
    if first.rows[0].plates.len() > 3 {
        later.swaps.push(swap(&first.name, &first.rows[0].name, &[3, 4]));
    }
    let change = comparison(&earlier, &later);
    let earlier = Some(Earlier { findings: &earlier, comparison: Some(&change) });
    charts(&Subject {
        title,
        instrument,
        findings: &later,
        earlier,
        close_ups,
        valves_now: None,
        reeds_now: None,
    })
    .unwrap()
}

fn named<'a>(charts: &'a [Chart], name: &str) -> &'a Chart {
    let names: Vec<_> = charts.iter().map(|chart| &chart.name).collect();
    charts.iter().find(|chart| chart.name == name).unwrap_or_else(|| panic!("no `{name}` among {names:?}"))
}

/// Small and large, plain and awkward; drawn once for all tests.
fn gallery() -> &'static [Vec<Chart>] {
    static GALLERY: OnceLock<Vec<Vec<Chart>>> = OnceLock::new();
    GALLERY.get_or_init(draw_gallery)
}

fn draw_gallery() -> Vec<Vec<Chart>> {
    let mut shown = Vec::new();
    for n_plates in [1, 8, 12, 13, 20, 21, 41, 60] {
        let plan = instrument(vec![block("bass", vec![row("A", n_plates)])]);
        shown.push(single(&plan, &findings(&plan, "before", 0)));
        shown.push(compared(&plan, "Made up", ["before", "after"], &[close_up("bass", "A", 1)]));
    }
    shown.push(single(&instrument(vec![two_rows()]), &findings(&instrument(vec![two_rows()]), "before", 0)));
    let mut bisonoric = row("Piccolo-on-the-upper-side", 20);
    for (k, plate) in bisonoric.plates.iter_mut().enumerate() {
        plate.reeds.draw.as_mut().unwrap().note = note(k + 2);
    }
    let name = "a-block-<named>-by-\"someone\"&-who-would-not-stop-before-the-margin-of-the-paper-was-reached-at-last";
    let plan = instrument(vec![block(name, vec![bisonoric, row("B", 41), row("C", 41)])]);
    let title = "A <b>title</b> & a tale of where the instrument came from, told at such length that it runs over the margin";
    let passes = ["before-cleaning-and-everything-else", "after-the-second-round-of-valves-and-springs"];
    shown.push(compared(&plan, title, passes, &[close_up(name, "B", 2)]));
    shown.push(tremolo::shown());
    shown
}

fn two_rows() -> platenote::instrument::Block {
    let mut lower = row("A", 8);
    lower.plates[2].reeds.draw = None;
    lower.plates[2].valves = PerFace { outer: Valve::None, inner: Valve::None };
    lower.plates[7].valves.inner = Valve::None;
    block("bass", vec![lower, row("B", 12)])
}

#[test]
fn no_two_words_overlap_and_none_leaves_the_sheet() {
    for chart in gallery().iter().flatten() {
        let tags = tags(&chart.svg);
        let sheet = Area {
            left: 0.0,
            top: 0.0,
            right: FINE * tags[0].number("width"),
            bottom: FINE * tags[0].number("height"),
        };
        let words: Vec<(&str, Area)> =
            texts(&tags).into_iter().map(|tag| (tag.text.as_str(), tag.letters())).collect();
        assert!(words.len() > 10, "{} is lettered", chart.name);
        for (k, (text, area)) in words.iter().enumerate() {
            let inside = sheet.holds((area.left, area.top)) && sheet.holds((area.right, area.bottom));
            assert!(inside, "{}: `{text}` leaves the sheet: {area:?}", chart.name);
            for (other, there) in &words[..k] {
                assert!(!area.overlaps(there), "{}: `{text}` lies over `{other}`", chart.name);
            }
        }
    }
}

/// WCAG 2.1, success criterion 1.4.3: 4.5 to 1 for ordinary text; it counts luminance only, so it holds in grey print too.
#[test]
fn every_word_stands_out_of_its_ground_in_grey_print() {
    for chart in gallery().iter().flatten() {
        let tags = tags(&chart.svg);
        for (k, tag) in tags.iter().enumerate().filter(|(_, tag)| tag.name == "text") {
            let middle = tag.letters().centre();
            let under = tags[..k].iter().rev().find(|below| {
                below.name == "polygon"
                    && below.bounds().is_some_and(|area| area.holds(middle) && area.width() > 100.0)
            });
            let ground = under.map_or(1.0, |below| luminance(below.attribute("fill")));
            let contrast = contrast(ground, luminance(tag.attribute("fill")));
            assert!(contrast >= 4.5, "{}: `{}` has a contrast of {contrast:.1}", chart.name, tag.text);
        }
    }
}

/// WCAG 2.1, definitions of relative luminance and contrast ratio.
fn luminance(hex: &str) -> f64 {
    let channel = |k: usize| {
        let value = f64::from(u8::from_str_radix(&hex[k..k + 2], 16).unwrap()) / 255.0;
        if value <= 0.03928 { value / 12.92 } else { ((value + 0.055) / 1.055).powf(2.4) }
    };
    0.2126 * channel(1) + 0.7152 * channel(3) + 0.0722 * channel(5)
}

fn contrast(a: f64, b: f64) -> f64 {
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

#[test]
fn every_plate_is_named_once_on_either_chart() {
    for n_plates in [1, 8, 24, 60] {
        let plan = instrument(vec![block("bass", vec![row("R", n_plates)])]); // No note is called R.
        let drawn = compared(&plan, "Made up", ["before", "after"], &[]);
        for name in ["tuning-bass", "map-bass"] {
            let tags = tags(&named(&drawn, name).svg);
            for number in 1..=n_plates {
                let label = format!("R{number}");
                assert_eq!(
                    texts(&tags).iter().filter(|tag| tag.text == label).count(),
                    1,
                    "{label} on {name}"
                );
            }
        }
    }
}

#[test]
fn press_and_draw_have_shapes_of_their_own() {
    let plan = instrument(vec![block("bass", vec![row("A", 5)])]);
    let all = findings(&plan, "before", 0);
    let count = |left_out: Option<Stroke>| {
        let mut shown = all.clone();
        shown.reeds.retain(|reed| reed.pitch.is_ok() && Some(reed.place.stroke) != left_out);
        let drawn = single(&plan, &shown);
        let tags = tags(&named(&drawn, "tuning-bass").svg);
        let squares = tags.iter().filter(|tag| is_small_square(tag)).count();
        (squares, tags.iter().filter(|tag| tag.name == "circle").count())
    };
    let measured =
        |stroke| all.reeds.iter().filter(|reed| reed.pitch.is_ok() && reed.place.stroke == stroke).count();
    let (n_press, n_draw) = (measured(Stroke::Press), measured(Stroke::Draw));
    // The legend shows each once.
    assert_eq!(count(None), (n_press + 1, n_draw + 1));
    assert_eq!(count(Some(Stroke::Press)), (1, n_draw + 1));
    assert_eq!(count(Some(Stroke::Draw)), (n_press + 1, 1));
}

fn is_small_square(tag: &Tag) -> bool {
    let small = |area: Area| area.width() < 40.0 && (area.width() - (area.bottom - area.top)).abs() < 1.5;
    tag.name == "polygon" && tag.points().len() == 4 && tag.bounds().is_some_and(small)
}

#[test]
fn a_mark_lies_at_its_deviation_on_the_axis() {
    let plan = instrument(vec![block("bass", vec![row("A", 1)])]);
    let mut found = findings(&plan, "before", 0);
    for (reed, deviation) in found.reeds.iter_mut().zip([3.25, -1.5]) {
        let pitch = reed.pitch.as_mut().unwrap();
        pitch.deviation.value = cents(deviation);
    }
    let drawn = single(&plan, &found);
    let tags = tags(&named(&drawn, "tuning-bass").svg);
    let height_of = |label: &str| {
        let tag = texts(&tags).into_iter().find(|tag| tag.text == label).unwrap();
        tag.number("y") + (0.76 - 0.5 * 0.729) * tag.number("font-size") // The middle of its capitals.
    };
    let (zero, two) = (height_of("0"), height_of("+2"));
    let disc =
        tags.iter().filter(|tag| tag.name == "circle").map(|tag| tag.number("cy")).next_back().unwrap();
    let square = tags
        .iter()
        .filter(|tag| is_small_square(tag))
        .filter_map(Tag::bounds)
        .next_back()
        .unwrap()
        .centre()
        .1;
    let per_cent = (two - zero) / 2.0;
    assert!((disc - (zero - 1.5 * per_cent)).abs() < FINE, "the draw reed at {disc}, zero at {zero}");
    assert!((square - (zero + 3.25 * per_cent)).abs() < FINE, "the press reed at {square}, zero at {zero}");
}

#[test]
fn a_reed_far_off_is_shown_at_the_edge_with_its_figure() {
    let plan = instrument(vec![block("bass", vec![row("A", 12)])]);
    let mut found = findings(&plan, "before", 0);
    for reed in &mut found.reeds {
        if let Ok(pitch) = &mut reed.pitch {
            pitch.deviation.value = cents(0.5);
        }
    }
    found.reeds[4].pitch.as_mut().unwrap().deviation.value = cents(-80.0);
    let drawn = single(&plan, &found);
    let tags = tags(&named(&drawn, "tuning-bass").svg);
    let figures: Vec<_> = texts(&tags).into_iter().filter(|tag| tag.text == "\u{2212}80").collect();
    assert_eq!(figures.len(), 1);
    assert!(figures[0].attribute("transform").starts_with("rotate(270"));
}

#[test]
fn the_headings_carry_the_figures() {
    let plan = instrument(vec![two_rows()]);
    let found = findings(&plan, "after", 1);
    let drawn = single(&plan, &found);
    let said = |name: &str| {
        texts(&tags(&named(&drawn, name).svg))
            .iter()
            .map(|tag| tag.text.clone())
            .collect::<Vec<_>>()
            .join(" ")
    };
    let measured: Vec<_> = found.reeds.iter().filter_map(|reed| reed.pitch.as_ref().ok()).collect();
    let tuned = |tune| measured.iter().filter(|pitch| pitch.tune == Some(tune)).count();
    let work = format!(
        "{} of {} reeds measured, {} to raise, {} to lower",
        measured.len(),
        found.reeds.len(),
        tuned(Tune::Raise),
        tuned(Tune::Lower)
    );
    assert!(said("tuning-bass").contains(&work), "{work} in {}", said("tuning-bass"));
    assert!(said("tuning-bass").contains("A4\u{a0}=\u{a0}442.0\u{a0}Hz"));
    let leaks = found.valves.iter().filter(|valve| valve.verdict == Verdict::Leaks).count();
    assert!(said("map-bass").contains(&format!("Pass after: {leaks} consistent with a leak")));
    assert!(said("map-bass").contains("3 slots without a valve"));
}

#[test]
fn each_valve_shows_its_verdict_in_words_and_the_inner_one_says_lift() {
    let plan = instrument(vec![block("bass", vec![row("A", 12)])]);
    let found = findings(&plan, "before", 0);
    let drawn = single(&plan, &found);
    let tags = tags(&named(&drawn, "map-bass").svg);
    let count = |word: &str| texts(&tags).iter().filter(|tag| tag.text == word).count();
    let of =
        |wanted: fn(&Verdict) -> bool| found.valves.iter().filter(|valve| wanted(&valve.verdict)).count();
    assert_eq!(count("leaks"), of(|v| matches!(v, Verdict::Leaks)));
    assert_eq!(count("suspect"), of(|v| matches!(v, Verdict::Suspect)));
    assert_eq!(count("no sign"), of(|v| matches!(v, Verdict::NoSign)));
    // The legend names what was not judged in the same words.
    assert_eq!(count("not judged"), of(|v| matches!(v, Verdict::NotJudged { .. })) + 1);
    let lifted = found
        .valves
        .iter()
        .filter(|valve| valve.lift_plate() && matches!(valve.verdict, Verdict::Leaks | Verdict::Suspect));
    assert_eq!(count("inner, lift"), lifted.count());
}

#[test]
fn the_close_up_points_at_the_second_tone_in_both_passes() {
    let plan = instrument(vec![block("bass", vec![row("A", 1)])]);
    let drawn = compared(&plan, "Made up", ["before", "after"], &[close_up("bass", "A", 1)]);
    let tags = tags(&named(&drawn, "close-up-bass-A1-press").svg);
    let said: HashSet<&str> = texts(&tags).into_iter().map(|tag| tag.text.as_str()).collect();
    assert!(said.contains(
        "Pass before, partial 5: opposite reed \u{2212}32 dB re the sounding one, \u{2212}14.2 cents from it"
    ));
    assert!(said.contains("Pass after, partial 5: opposite reed not heard, below \u{2212}52 dB"));
    assert!(said.contains("opposite reed: \u{2212}14.2 cents"));
    assert!(said.contains("in the other pass: \u{2212}14.2 cents"));
    let curves: Vec<_> =
        tags.iter().filter(|tag| tag.name == "polyline" && tag.points().len() > 700).collect();
    assert_eq!(curves.len(), 2);
}

#[test]
fn the_png_has_twice_the_pixels_of_the_svg_and_white_corners() {
    for chart in gallery().iter().step_by(5).flatten() {
        let head = &tags(&chart.svg)[0];
        let mut reader = png::Decoder::new(chart.png.as_slice()).read_info().unwrap();
        let mut pixels = vec![0; reader.output_buffer_size()];
        let frame = reader.next_frame(&mut pixels).unwrap();
        assert_eq!(f64::from(frame.width), 2.0 * head.number("width"), "{}", chart.name);
        assert_eq!(f64::from(frame.height), 2.0 * head.number("height"), "{}", chart.name);
        assert_eq!((&pixels[..3], pixels.last()), (&[255; 3][..], Some(&255)));
        let n_dark = pixels.chunks_exact(3).filter(|pixel| pixel.iter().all(|value| *value < 120)).count();
        assert!(n_dark > 2000, "{} is drawn", chart.name);
    }
}

#[test]
fn the_same_findings_give_the_same_bytes() {
    assert!(gallery() == draw_gallery());
}

#[test]
fn names_are_safe_and_different_whatever_the_blocks_are_called() {
    let names = ["../up", "Bass", "bass", "a b", "żółw", "<&\"'\u{1}>"];
    let plan = instrument(names.iter().map(|name| block(name, vec![row("A", 2)])).collect());
    let drawn = single(&plan, &findings(&plan, "before", 0));
    let distinct: HashSet<String> = drawn.iter().map(|chart| chart.name.to_lowercase()).collect();
    assert_eq!(distinct.len(), 2 * names.len());
    for chart in &drawn {
        assert!(chart.name.chars().all(|c| c.is_ascii_alphanumeric() || "-_".contains(c)), "{}", chart.name);
        assert!(!tags(&chart.svg).is_empty());
        assert!(!chart.svg.contains('\u{1}'));
    }
}

#[test]
fn a_long_block_gives_a_chart_for_each_row() {
    let plan = instrument(vec![block("treble", vec![row("A", 41), row("B", 41), row("C", 41)])]);
    let drawn = single(&plan, &findings(&plan, "before", 0));
    for kind in ["tuning", "map"] {
        for row in ["A", "B", "C"] {
            assert!(named(&drawn, &format!("{kind}-treble-{row}")).title.ends_with(&format!(", row {row}")));
        }
    }
    assert_eq!(drawn.len(), 6);
}

#[test]
fn a_plan_without_plates_gives_no_chart() {
    let plan = instrument(vec![block("bare", vec![row("A", 0)])]);
    assert_eq!(single(&plan, &findings(&plan, "before", 0)), Vec::new());
}
