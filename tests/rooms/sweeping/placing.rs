//! Random players on random blocks: where each note is placed, and that nothing is wrong unmarked.

use std::collections::BTreeMap;

use platenote::alignment::{Alignment, KnownOffset, Observation, align, likely_orders};
use platenote::instrument::ReedPlace;
use platenote::units::{Cents, Dbfs, Hz};

use crate::bench::chance::Chance;
use crate::bench::player::{Doing, OffPitch, Performance, perform, perform_part};

/// Note lists, as the splitter gives them: the pitch within a cent, the level within some decibels.
const SESSIONS: u64 = 200;
/// Seeds below this were looked at while the weights were chosen.
const FIRST_SEED: u64 = 10_000;

fn placed(performance: &Performance, known: Option<KnownOffset>) -> Alignment {
    let notes: Vec<Observation> = performance
        .notes
        .iter()
        .map(|note| Observation {
            pitch: Hz::new(note.hz).expect("a pitch"),
            level: Dbfs::new(note.level_dbfs).expect("a level"),
            is_good: true,
        })
        .collect();
    align(&performance.instrument, &likely_orders(&performance.instrument, None), &notes, known)
        .expect("notes and orders")
}

/// Of one kind of note: right and sure, right and marked, wrong and marked, wrong and unmarked.
type Row = [usize; 4];

fn count(table: &mut BTreeMap<Doing, Row>, performance: &Performance, alignment: &Alignment) -> Vec<String> {
    let mut unmarked = Vec::new();
    for (idx, (note, placing)) in performance.notes.iter().zip(&alignment.placings).enumerate() {
        let (is_right, is_marked) = (placing.place == note.place, !placing.doubts.is_empty());
        let column = match (is_right, is_marked) {
            (true, false) => 0,
            (true, true) => 1,
            (false, true) => 2,
            (false, false) => 3,
        };
        table.entry(note.kind).or_default()[column] += 1;
        if column == 3 {
            unmarked.push(format!(
                "note {idx}: {note:?} placed at {placing:?}; {}, offset {:.0} found {}, order {} found {}",
                if performance.swapped.is_some() { "swapped" } else { "no swap" },
                performance.offset_cents,
                alignment.offset,
                performance.order,
                alignment.order
            ));
        }
    }
    unmarked
}

fn sum(table: &BTreeMap<Doing, Row>) -> Row {
    table.values().fold([0; 4], |sum, row| std::array::from_fn(|k| sum[k] + row[k]))
}

fn print(title: &str, table: &BTreeMap<Doing, Row>) {
    println!("{title:28} right, sure   right, marked   wrong, marked   wrong, unmarked");
    for (kind, row) in table {
        println!("{:28} {:11}   {:13}   {:13}   {:15}", format!("{kind:?}"), row[0], row[1], row[2], row[3]);
    }
}

#[test]
fn of_200_random_sessions_99_percent_is_right_and_nothing_wrong_is_unmarked() {
    let mut table: BTreeMap<Doing, Row> = BTreeMap::new();
    let (mut unmarked, mut orders, mut swaps, mut told) = (Vec::new(), 0, 0, 0);
    for seed in FIRST_SEED..FIRST_SEED + SESSIONS {
        let performance = perform(seed, OffPitch::AsTheyCome);
        let alignment = placed(&performance, None);
        unmarked.extend(
            count(&mut table, &performance, &alignment)
                .into_iter()
                .map(|what| format!("seed {seed}: {what}")),
        );
        orders += usize::from(performance.order == alignment.order);
        if let Some(pair) = &performance.swapped {
            swaps += 1;
            told += usize::from(alignment.swaps.contains(pair));
        }
    }
    print("200 sessions", &table);
    let [sure, marked, wrong_marked, wrong] = sum(&table);
    let all = sure + marked + wrong_marked + wrong;
    println!(
        "{all} notes: {:.2} % right, {:.2} % marked; order right in {orders}; swaps {told} of {swaps}",
        100.0 * (sure + marked) as f64 / all as f64,
        100.0 * (marked + wrong_marked) as f64 / all as f64
    );
    assert!(unmarked.is_empty(), "wrong and unmarked: {unmarked:#?}");
    assert!((sure + marked) as f64 >= 0.99 * all as f64);
    // Marks must mean something: most of what is right is not marked.
    assert!((sure as f64) >= 0.8 * all as f64);
}

/// Three instruments far off pitch, each in 34 blocks whose seeds nobody looked at while the weights were chosen.
#[test]
fn instruments_far_off_pitch_are_placed_as_well() {
    for (idx, offset) in [-78.0, 62.0, 75.0].into_iter().enumerate() {
        let mut table: BTreeMap<Doing, Row> = BTreeMap::new();
        let mut unmarked = Vec::new();
        for seed in 0..34 {
            let performance = perform(40_000 + 100 * idx as u64 + seed, OffPitch::By(offset));
            unmarked.extend(count(&mut table, &performance, &placed(&performance, None)));
        }
        print(&format!("{offset} cents"), &table);
        let [sure, marked, wrong_marked, wrong] = sum(&table);
        let all = sure + marked + wrong_marked + wrong;
        println!("{:.2} % of {all} right", 100.0 * (sure + marked) as f64 / all as f64);
        assert!(unmarked.is_empty(), "{offset} cents: {unmarked:#?}");
        assert!((sure + marked) as f64 >= 0.99 * all as f64, "{offset} cents: {wrong_marked} of {all} wrong");
    }
}

/// A part of a row of semitones fits in two places on an instrument half a semitone off. Then both are named, nothing wrong
/// is unmarked, and what the job's takes or the restorer know of the instrument settles it.
#[test]
fn a_part_of_a_row_that_fits_in_two_places_is_settled_by_what_is_known_of_the_instrument() {
    const SESSIONS: u64 = 40;
    let mut chance = Chance::split(50_000, 1);
    let cents = |value: f64| Cents::new(value).expect("cents");
    let [mut alone, mut by_takes, mut by_word]: [BTreeMap<Doing, Row>; 3] = Default::default();
    let (mut unmarked, mut two_fit) = (Vec::new(), 0);
    for seed in 50_000..50_000 + SESSIONS {
        let offset = if seed % 2 == 0 { chance.between(-80.0, -35.0) } else { chance.between(35.0, 80.0) };
        let performance = perform_part(seed, offset);
        let alignment = placed(&performance, None);
        unmarked.extend(count(&mut alone, &performance, &alignment));
        // Where another placing fits, it is named; of the two one is right.
        let n_right = |places: &mut dyn Iterator<Item = &Option<ReedPlace>>| {
            places.zip(&performance.notes).filter(|(place, note)| **place == note.place).count()
        };
        let here = n_right(&mut alignment.placings.iter().map(|placing| &placing.place));
        let there = alignment.rival.as_ref().map_or(0, |rival| n_right(&mut rival.places.iter()));
        two_fit += usize::from(alignment.rival.is_some());
        let all = performance.notes.len();
        assert!(
            here.max(there) + 2 >= all,
            "{offset:.0} cents: {here} or {there} of {all} right: {alignment:?}"
        );
        // As the job's takes tell it, and as somebody says it.
        let takes =
            KnownOffset { centre: cents(offset + 8.0 * chance.normal()), spread: cents(10.0), holds: 0.995 };
        let word = KnownOffset {
            centre: cents(offset + chance.between(-15.0, 15.0)),
            spread: cents(12.0),
            holds: 0.9999,
        };
        for (known, table) in [(takes, &mut by_takes), (word, &mut by_word)] {
            unmarked.extend(count(table, &performance, &placed(&performance, Some(known))));
        }
    }
    let part = |table: &BTreeMap<Doing, Row>| {
        let [sure, marked, wrong_marked, wrong] = sum(table);
        let all = (sure + marked + wrong_marked + wrong) as f64;
        ((sure + marked) as f64 / all, sure as f64 / all)
    };
    for (title, table) in [("nothing known", &alone), ("takes", &by_takes), ("somebody's word", &by_word)] {
        println!("{title}: right {:.3}, sure {:.3}", part(table).0, part(table).1);
    }
    println!("of {SESSIONS} sessions {two_fit} fit in two places");
    assert!(unmarked.is_empty(), "{unmarked:#?}");
    for table in [&by_takes, &by_word] {
        assert!(part(table).0 >= 0.99, "{table:?}");
    }
    assert!(part(&by_word).1 >= 0.9, "what is said makes places sure: {by_word:?}");
}

/// The whole way: random players in full sound at 16 kHz, with everything that happens between notes, split and placed.
#[test]
fn whole_sessions_in_sound_are_split_and_placed() {
    let (mut planted, mut wrong, mut marked, mut unmarked) = (0, Vec::new(), 0, Vec::new());
    for seed in 30_000..30_004 {
        let mut performance = perform(seed, OffPitch::AsTheyCome);
        performance.notes.truncate(45);
        let (sitting, order) = performance.in_sound(seed, 16_000);
        let found = super::splitting::split(&sitting.samples, 16_000, 1);
        let notes: Vec<(f64, Observation)> = found
            .iter()
            .filter_map(|one| match &one.kind {
                platenote::segmentation::DetectionKind::Note(note) => {
                    let heard = Observation { pitch: note.pitch, level: note.level, is_good: true };
                    Some((0.5 * (one.start_s + one.stop_s), heard))
                }
                platenote::segmentation::DetectionKind::Other(_) => None,
            })
            .collect();
        let heard: Vec<Observation> = notes.iter().map(|(_, note)| *note).collect();
        let alignment =
            align(&performance.instrument, &likely_orders(&performance.instrument, None), &heard, None)
                .expect("notes");
        planted += sitting.notes.len();
        for (truth, idx) in sitting.notes.iter().zip(order) {
            let place = &performance.notes[idx].place;
            let at = notes.iter().position(|(middle, _)| (truth.start_s..truth.stop_s).contains(middle));
            let placing = at.map(|at| &alignment.placings[at]);
            let is_marked = placing.is_some_and(|placing| !placing.doubts.is_empty());
            marked += usize::from(is_marked);
            if placing.map(|placing| &placing.place) != Some(place) {
                let what = format!("seed {seed}, {:.1} s, {place:?}: {placing:?}", truth.start_s);
                if is_marked { wrong.push(what) } else { unmarked.push(what) }
            }
        }
        assert!(
            notes.len() <= sitting.notes.len(),
            "seed {seed}: {} notes for {}",
            notes.len(),
            sitting.notes.len()
        );
    }
    println!("{planted} notes in sound, {} wrong and marked, {marked} marked", wrong.len());
    assert!(unmarked.is_empty(), "wrong or lost, unmarked: {unmarked:#?}");
    assert!(wrong.len() * 100 <= 2 * planted, "{wrong:#?}");
}
