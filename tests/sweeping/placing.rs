//! Random players on random blocks: where each note is placed, and that nothing is wrong unmarked.

use std::collections::BTreeMap;

use platenote::placing::{Alignment, Heard, align, likely_orders};
use platenote::units::{Dbfs, Hz};

use crate::bench::player::{Doing, OffPitch, Performance, perform};

/// Note lists, as the splitter gives them: the pitch within a cent, the level within some decibels.
const SESSIONS: u64 = 200;
/// Seeds below this were looked at while the weights were chosen.
const FIRST_SEED: u64 = 10_000;

fn placed(performance: &Performance) -> Alignment {
    let notes: Vec<Heard> = performance
        .notes
        .iter()
        .map(|note| Heard {
            pitch: Hz::new(note.hz).expect("a pitch"),
            level: Dbfs::new(note.level_dbfs).expect("a level"),
            is_good: true,
        })
        .collect();
    align(&performance.instrument, &likely_orders(&performance.instrument, None), &notes)
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
        let alignment = placed(&performance);
        let before = sum(&table);
        unmarked.extend(
            count(&mut table, &performance, &alignment)
                .into_iter()
                .map(|what| format!("seed {seed}: {what}")),
        );
        let after = sum(&table);
        let n_marked = after[1] - before[1];
        if after[2] - before[2] > 4 || 3 * n_marked > performance.notes.len() {
            println!(
                "seed {seed}: {n_marked} marked, {} wrong of {}, order {} found {}, offset {:.0} found {}, swapped {:?} found {:?}, {:?}",
                after[2] - before[2],
                performance.notes.len(),
                performance.order,
                alignment.order,
                performance.offset_cents,
                alignment.offset,
                performance.swapped,
                alignment.swaps,
                alignment.runner_up
            );
        }
        if after[2] - before[2] > 2 {
            for (idx, (note, placing)) in performance.notes.iter().zip(&alignment.placings).enumerate() {
                let s = |p: &Option<platenote::instrument::ReedPlace>| {
                    p.as_ref().map_or("-".into(), |p| p.to_string())
                };
                if placing.place != note.place || note.kind != Doing::InOrder {
                    println!(
                        "    DBG {seed} {idx} {:?} {} -> {} {:.1} {:?}",
                        note.kind,
                        s(&note.place),
                        s(&placing.place),
                        note.hz,
                        placing.doubts.len()
                    );
                }
            }
        }
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
}
