//! The tray dealt out, against every possible dealing and against a general-purpose solver.

use std::collections::HashMap;

use pathfinding::prelude::{Matrix, kuhn_munkres};
use platenote::instrument::{Face, Material, PlatePlace, ValvePlace};
use platenote::repair::{Basis, Choice, Condition, Cost, Fitting, Lot, Need, Tray, ValveRule, assign, fit};
use platenote::units::Millimetres;
use proptest::prelude::*;

fn mm(value: f64) -> Millimetres {
    Millimetres::new(value).unwrap()
}

fn need(idx: usize, tenths: u32, material: Material) -> Need {
    let plate = PlatePlace { block: "bass".into(), row: "A".into(), number: idx as u32 + 1 };
    Need {
        place: ValvePlace { plate, face: Face::Outer },
        length: Some(mm(f64::from(tenths) / 10.0)),
        basis: Basis::Plan,
        width: None,
        width_range: None,
        thickness_range: None,
        material,
        helper_spring: false,
    }
}

fn lot(tenths: u32, condition: Condition, material: Material, count: u32) -> Lot {
    Lot {
        length: mm(f64::from(tenths) / 10.0),
        width: None,
        thickness: None,
        material,
        condition,
        bin: None,
        count,
    }
}

/// What the issue asks to be least, in its order: new valves, tenths of a millimetre trimmed, and condition, worst
/// counted 3 (a new one), each weighed by the length it goes to. `None`: this piece must not go there.
fn price(need: &Need, piece: Option<&Lot>) -> Option<[i64; 3]> {
    let tenths = |length: Millimetres| (length.get() * 10.0).round() as i64;
    let wanted = tenths(need.length.unwrap());
    let Some(piece) = piece else { return Some([1, 0, 3 * wanted]) };
    let over = tenths(piece.length) - wanted;
    if over < -5
        || piece.material != need.material
        || matches!(piece.condition, Condition::Unsaid | Condition::Scrap)
    {
        return None;
    }
    let worse = match piece.condition {
        Condition::Flat => 0,
        Condition::Stained => 1,
        _ => 2,
    };
    Some([0, if over <= 5 { 0 } else { over }, worse * wanted])
}

fn sum(left: [i64; 3], right: [i64; 3]) -> [i64; 3] {
    [left[0] + right[0], left[1] + right[1], left[2] + right[2]]
}

/// The price of what the program dealt, after looking whether it could be dealt at all.
fn price_of(fitting: &Fitting, tray: &Tray) -> [i64; 3] {
    let mut used: Vec<Lot> = Vec::new();
    let mut total = [0; 3];
    for row in &fitting.rows {
        let piece = match &row.choice {
            Choice::FromTray { lot, trim } => {
                let over = (lot.length.get() - row.need.length.unwrap().get()).max(0.0);
                let told = if over < 0.5001 { 0.0 } else { over };
                assert!((trim.get() - told).abs() < 1e-9, "{trim} is told and {told} is right");
                used.push(lot.clone());
                Some(lot)
            }
            Choice::Cut => None,
            Choice::NotMeasured => panic!("everything was measured"),
        };
        total = sum(total, price(&row.need, piece).expect("a piece was given where it must not go"));
    }
    for lot in tray.lots() {
        let taken = used.iter().filter(|piece| piece.is_same_kind(lot)).count() as u32;
        let left =
            fitting.left.lots().iter().find(|left| left.is_same_kind(lot)).map_or(0, |left| left.count);
        assert_eq!(taken + left, lot.count, "valves appear or vanish: {lot:?}");
    }
    total
}

/// Try every dealing.
fn best_of_all(needs: &[Need], pieces: &mut Vec<Lot>) -> [i64; 3] {
    let Some((first, rest)) = needs.split_first() else { return [0; 3] };
    let mut best = sum(price(first, None).unwrap(), best_of_all(rest, pieces));
    for idx in 0..pieces.len() {
        let piece = pieces.remove(idx);
        if let Some(price) = price(first, Some(&piece)) {
            best = best.min(sum(price, best_of_all(rest, pieces)));
        }
        pieces.insert(idx, piece);
    }
    best
}

/// The same by the solver of `pathfinding`, which looks for the greatest sum of single numbers.
fn best_by_solver(needs: &[Need], pieces: &[Lot]) -> [i64; 3] {
    const STEP: i64 = 1_000_000; // Above any sum of trimming or condition in these tests.
    let weight = |price: Option<[i64; 3]>| match price {
        Some([cuts, trim, condition]) => -((cuts * STEP + trim) * STEP + condition),
        None => -(1000 * STEP * STEP),
    };
    let rows = needs.iter().map(|need| {
        let from_tray = pieces.iter().map(|piece| weight(price(need, Some(piece))));
        from_tray.chain(needs.iter().map(|_| weight(price(need, None)))).collect::<Vec<i64>>()
    });
    let (total, _) = kuhn_munkres(&Matrix::from_rows(rows).unwrap());
    let total = -total;
    [total / STEP / STEP, total / STEP % STEP, total % STEP]
}

fn pieces_of(tray: &Tray) -> Vec<Lot> {
    let piece = |lot: &Lot| std::iter::repeat_n(Lot { count: 1, ..lot.clone() }, lot.count as usize);
    tray.lots().iter().flat_map(piece).collect()
}

fn conditions() -> impl Strategy<Value = Condition> {
    prop::sample::select(Condition::ALL.to_vec())
}

fn materials() -> impl Strategy<Value = Material> {
    prop_oneof![4 => Just(Material::Leather), 1 => Just(Material::Plastic)]
}

/// Needs and a tray whose lengths lie close together, so that much can go in many ways.
fn cases(
    needs: std::ops::RangeInclusive<usize>,
    lots: usize,
    most: u32,
) -> impl Strategy<Value = (Vec<Need>, Tray)> {
    let needs = prop::collection::vec((300_u32..=400, materials()), needs).prop_map(|list| {
        list.into_iter().enumerate().map(|(idx, (tenths, material))| need(idx, tenths, material)).collect()
    });
    let lots = prop::collection::vec((290_u32..=430, conditions(), materials(), 1..=most), 0..=lots);
    let tray = lots.prop_map(|list| {
        Tray::new(
            list.into_iter()
                .map(|(tenths, condition, material, count)| lot(tenths, condition, material, count)),
        )
    });
    (needs, tray)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, ..ProptestConfig::default() })]
    #[test]
    fn no_other_dealing_is_better((needs, tray) in cases(1..=5, 5, 1)) {
        let fitting = fit(&needs, &tray, &ValveRule::default());
        prop_assert_eq!(price_of(&fitting, &tray), best_of_all(&needs, &mut pieces_of(&tray)));
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 60, ..ProptestConfig::default() })]
    #[test]
    fn a_general_solver_finds_nothing_better((needs, tray) in cases(10..=48, 24, 4)) {
        let fitting = fit(&needs, &tray, &ValveRule::default());
        prop_assert_eq!(price_of(&fitting, &tray), best_by_solver(&needs, &pieces_of(&tray)));
    }

    #[test]
    fn any_table_is_assigned_as_the_solver_does(
        table in prop::collection::vec(prop::collection::vec(-50_i64..50, 12), 1..=12),
    ) {
        let costs: Vec<Vec<Cost>> = table
            .iter()
            .map(|row| row.iter().map(|&trimming| Cost { trimming, ..Cost::default() }).collect())
            .collect();
        let columns = assign(&costs);
        let distinct: std::collections::BTreeSet<&usize> = columns.iter().collect();
        prop_assert_eq!(distinct.len(), table.len());
        let found: i64 = columns.iter().zip(&table).map(|(&column, row)| row[column]).sum();
        let negated = table.iter().map(|row| row.iter().map(|cost| -cost).collect::<Vec<i64>>());
        let (best, _) = kuhn_munkres(&Matrix::from_rows(negated).unwrap());
        prop_assert_eq!(found, -best);
    }
}

#[test]
fn a_greedy_hand_would_cut_one_more() {
    // The nearest for 30 mm is 31 mm; but then 31 mm would have to be cut, while 40 mm serves 30 mm too.
    let needs = [need(0, 300, Material::Leather), need(1, 310, Material::Leather)];
    let tray = Tray::new([
        lot(310, Condition::Flat, Material::Leather, 1),
        lot(305, Condition::Flat, Material::Leather, 1),
    ]);
    let fitting = fit(&needs, &tray, &ValveRule::default());
    let lengths: Vec<f64> = fitting
        .rows
        .iter()
        .map(|row| match &row.choice {
            Choice::FromTray { lot, .. } => lot.length.get(),
            other => panic!("{other:?}"),
        })
        .collect();
    assert_eq!(lengths, [30.5, 31.0]);
}

#[test]
fn the_long_bass_is_served_first_and_gets_the_flat_ones() {
    let needs =
        [need(0, 380, Material::Leather), need(1, 385, Material::Leather), need(2, 383, Material::Leather)];
    let tray = Tray::new([
        lot(386, Condition::Curled, Material::Leather, 1),
        lot(386, Condition::Flat, Material::Leather, 1),
    ]);
    let fitting = fit(&needs, &tray, &ValveRule { reading_tolerance: mm(1.0), ..ValveRule::default() });
    let got: HashMap<u32, Option<Condition>> = fitting
        .rows
        .iter()
        .map(|row| {
            let condition = match &row.choice {
                Choice::FromTray { lot, .. } => Some(lot.condition),
                _ => None,
            };
            (row.need.place.plate.number, condition)
        })
        .collect();
    assert_eq!(got, HashMap::from([(1, None), (2, Some(Condition::Flat)), (3, Some(Condition::Curled))]));
}

#[test]
fn a_valve_is_trimmed_and_never_stretched_and_scrap_stays() {
    let needs = [need(0, 380, Material::Leather)];
    let rule = ValveRule::default();
    for (tenths, condition, trim) in [
        (374, Condition::Flat, None),
        (375, Condition::Flat, Some(0.0)),
        (385, Condition::Curled, Some(0.0)),
        (386, Condition::Flat, Some(0.6)),
        (380, Condition::Scrap, None),
    ] {
        let fitting = fit(&needs, &Tray::new([lot(tenths, condition, Material::Leather, 1)]), &rule);
        let got = match &fitting.rows[0].choice {
            Choice::FromTray { trim, .. } => Some(trim.get()),
            _ => None,
        };
        assert_eq!(got, trim, "{tenths} tenths, {condition}");
        assert!(!fitting.explain(&fitting.rows[0]).is_empty());
    }
    let plastic = fit(&needs, &Tray::new([lot(380, Condition::Flat, Material::Plastic, 9)]), &rule);
    assert_eq!(plastic.summary(), "1 needed, 0 usable: cut 1: 38 mm × 1");
}

#[test]
fn a_whole_instrument_with_a_full_tray_is_dealt_out_in_time() {
    // 41 keys by four ranks are 328 tongues (arithmetic); every slot with a valve.
    let needs: Vec<Need> =
        (0..328).map(|idx| need(idx, 200 + 2 * (idx as u32 % 150), Material::Leather)).collect();
    let lots = (0..100).map(|k| lot(201 + 3 * k, Condition::ALL[k as usize % 3], Material::Leather, 9999));
    let since = std::time::Instant::now();
    let fitting = fit(&needs, &Tray::new(lots), &ValveRule::default());
    assert_eq!(fitting.served(), 328);
    assert!(since.elapsed().as_secs() < 60, "{:?}", since.elapsed());
}

/// Far more than any bench holds: 500 slots, 2000 pieces of 2000 kinds, lengths drawn from the same range.
#[test]
fn the_largest_bench_is_dealt_out_while_one_waits() {
    let tenths = |k: u64, spread: u64| 200 + (k * 7919 % spread) as u32;
    let needs: Vec<Need> = (0..500).map(|k| need(k, tenths(k as u64, 397), Material::Leather)).collect();
    let lots = (0..2000).map(|k| Lot {
        bin: Some(k.to_string()),
        ..lot(tenths(k, 401), Condition::Flat, Material::Leather, 1)
    });
    let tray = Tray::new(lots);
    let began = std::time::Instant::now();
    let fitting = fit(&needs, &tray, &ValveRule::default());
    println!("500 needs, 2000 pieces: {:.2?}", began.elapsed());
    assert_eq!(fitting.rows.len(), 500);
    assert!(fitting.served() >= 495, "{}", fitting.summary());
    assert!(began.elapsed().as_secs() < 10, "{:?}", began.elapsed());
}
