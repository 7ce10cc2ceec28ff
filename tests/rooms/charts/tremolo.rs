//! The tremolo chart: each note at its beats beside the plan's curve, the worst one named, nothing over anything else.

use platenote::instrument::{Instrument, Stroke, Tremolo};
use platenote::judgement::{Findings, ReedPitch, Tune};
use platenote::report::Chart;
use platenote::units::{Hz, Measured};

use super::subjects::{block, cents, findings, instrument, note, row};
use super::svg::{Tag, tags, texts};
use super::{FINE, is_small_square, named, single};

/// Two rows of twelve; the second beats by 2 a second at its first note and by 3 at its last.
fn two_ranks() -> Instrument {
    let mut beside = row("B", 12);
    beside.tremolo = Tremolo::BeatsAt(vec![(note(0), 2.0), (note(11), 3.0)]);
    instrument(vec![block("tenor", vec![row("A", 12), beside])])
}

/// Every reed where the plan wants it, but for B12 press, which beats faster by `off` a second.
fn found(plan: &Instrument, off: f64) -> Findings {
    let mut found = findings(plan, "before", 0);
    for reed in &mut found.reeds {
        let is_off = (reed.place.plate.row.as_str(), reed.place.plate.number, reed.place.stroke)
            == ("B", 12, Stroke::Press);
        let f0 = Hz::new(reed.target.get() + if is_off { off } else { 0.0 }).unwrap();
        let deviation = Measured { value: f0.cents_above(reed.target), uncertainty: cents(0.2) };
        reed.pitch = Ok(ReedPitch { f0, deviation, tune: Some(Tune::Leave) });
    }
    found
}

#[test]
fn a_note_lies_at_its_beats_and_the_worst_is_named() {
    let plan = two_ranks();
    let drawn = single(&plan, &found(&plan, 1.0));
    let tags = tags(&named(&drawn, "tremolo-tenor-B").svg);
    let words: Vec<&str> = texts(&tags).into_iter().map(|tag| tag.text.as_str()).collect();
    let all = words.join(" ");
    assert!(all.contains("Furthest from the plan\u{2019}s curve: B12 press +1.0"), "{all}");
    let height_of = |label: &str| {
        let tag = texts(&tags).into_iter().find(|tag| tag.text == label).unwrap();
        tag.number("y") + (0.76 - 0.5 * 0.729) * tag.number("font-size")
    };
    let (two, three) = (height_of("+2.0"), height_of("+3.0"));
    let beat = three - two;
    // The last mark of each kind is the highest note's; its curve asks for 3 beats a second.
    let disc =
        tags.iter().filter(|tag| tag.name == "circle").map(|tag| tag.number("cy")).next_back().unwrap();
    let mut squares = tags.iter().filter(|tag| is_small_square(tag)).filter_map(Tag::bounds);
    let square = squares.next_back().unwrap().centre().1;
    assert!((disc - three).abs() < FINE, "the draw reed at {disc}, 3 beats at {three}");
    assert!(
        (square - (three + beat)).abs() < FINE,
        "the press reed at {square}, 4 beats at {}",
        three + beat
    );
}

#[test]
fn a_rank_on_its_curve_has_no_worst_note_and_a_straight_rank_no_chart() {
    let plan = two_ranks();
    let drawn = single(&plan, &found(&plan, 0.0));
    let even = tags(&named(&drawn, "tremolo-tenor-B").svg);
    let all: String = texts(&even).into_iter().map(|tag| format!("{} ", tag.text)).collect();
    assert!(all.contains("No note is surely off the plan\u{2019}s curve."), "{all}");
    // A mark for every reed of the rank, and one in the legend.
    let discs = even.iter().filter(|tag| tag.name == "circle").count();
    let squares = even.iter().filter(|tag| is_small_square(tag)).count();
    assert_eq!((squares, discs), (13, 13));
    assert!(!drawn.iter().any(|chart| chart.name.starts_with("tremolo-tenor-A")));
    let straight = instrument(vec![block("tenor", vec![row("A", 12), row("B", 12)])]);
    let drawn = single(&straight, &found(&straight, 0.0));
    assert!(!drawn.iter().any(|chart| chart.name.starts_with("tremolo")));
}

/// Drawn with the others, so that words apart, contrast and equal bytes are asked of it too.
pub fn shown() -> Vec<Chart> {
    let plan = two_ranks();
    single(&plan, &found(&plan, 1.0))
}
