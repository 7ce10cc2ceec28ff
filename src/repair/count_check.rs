//! What the plan says, what the diary says and what the tray holds: every difference by name.

use super::bench::{Bench, ValveState};
use super::rule::ValveRule;
use super::tray::Condition;
use crate::instrument::{Face, Instrument, Material, ValvePlace};
use crate::units::Millimetres;

/// Plan, diary and tray side by side.
#[derive(Debug, Clone, PartialEq)]
pub struct CountCheck {
    /// How many of each.
    pub totals: Totals,
    /// Where they differ.
    pub differences: Vec<Difference>,
}

/// How many valves each of the three knows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Totals {
    /// Slots of the plan where a valve is due.
    pub due: usize,
    /// Of these, old valve off and none fitted yet.
    pub off: usize,
    /// Valve noted as fitted.
    pub fitted: usize,
    /// Old valve noted as kept.
    pub kept: usize,
    /// Nothing noted.
    pub unsaid: usize,
    /// Usable valves in the tray.
    pub tray: u32,
    /// Those of which nobody said the condition: not dealt out.
    pub unsaid_condition: u32,
    /// Those for scrap.
    pub scrap: u32,
}

/// One difference.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Difference {
    /// The valve it is about; `None` when it is about the tray.
    pub place: Option<ValvePlace>,
    /// What differs.
    pub text: String,
}

/// Compare plan, diary and tray.
pub fn check(instrument: &Instrument, rule: &ValveRule, bench: &Bench) -> CountCheck {
    let mut totals = Totals::default();
    let mut differences = Vec::new();
    for (plate, ..) in instrument.plates() {
        for face in Face::BOTH {
            let place = ValvePlace { plate: plate.clone(), face };
            let Some(state) = bench.face(&place) else { continue };
            if state.is_due() {
                totals.due += 1;
                match state.valve {
                    ValveState::Off => totals.off += 1,
                    ValveState::Fitted { .. } => totals.fitted += 1,
                    ValveState::Kept => totals.kept += 1,
                    ValveState::Unsaid => totals.unsaid += 1,
                }
            }
            let mut differ = |text: String| differences.push(Difference { place: Some(place.clone()), text });
            let plan = state.plan_length();
            match &state.valve {
                _ if !state.is_due() => match state.valve {
                    ValveState::Unsaid => {}
                    ValveState::Off => differ(format!(
                        "{} was lifted off, and the plan has no valve here",
                        a_valve(state.old_length)
                    )),
                    ValveState::Fitted { length, .. } => {
                        differ(format!("{} was fitted, and the plan has no valve here", a_valve(length)))
                    }
                    ValveState::Kept => differ("the old valve was kept, and the plan has none here".into()),
                },
                ValveState::Off => {
                    differ(format!("{} was lifted off, none fitted yet", a_valve(state.old_length)))
                }
                ValveState::Fitted { length: Some(length), .. } => {
                    let wanted = state.old_length.or(plan);
                    if let Some(wanted) = wanted.filter(|wanted| is_apart(*length, *wanted, rule)) {
                        let whose =
                            if state.old_length.is_some() { "the old one had" } else { "the plan says" };
                        differ(format!("a {length} valve was fitted, and {whose} {wanted}"));
                    }
                }
                _ => {}
            }
            if let (Some(old), Some(plan)) = (state.old_length, plan)
                && is_apart(old, plan, rule)
            {
                differ(format!("a {old} valve was lifted off, and the plan says {plan}"));
            }
        }
    }
    for (n, place, length) in &bench.not_in_tray {
        let text = format!(
            "mark {n} fitted {} from the tray, which as noted held none that suits",
            a_valve(*length)
        );
        differences.push(Difference { place: Some(place.clone()), text });
    }
    differences.extend(tray_against_diary(rule, bench));
    for lot in bench.tray.lots() {
        let sum = match lot.condition {
            Condition::Scrap => &mut totals.scrap,
            Condition::Unsaid => &mut totals.unsaid_condition,
            _ => &mut totals.tray,
        };
        *sum = sum.saturating_add(lot.count);
    }
    CountCheck { totals, differences }
}

/// The valves lifted off with a length before the last count should have lain in the tray then, or have been fitted.
fn tray_against_diary(rule: &ValveRule, bench: &Bench) -> Vec<Difference> {
    let Some(counted) = &bench.counted else { return Vec::new() };
    let off = bench.lifted_off.get(..counted.lifted_off).unwrap_or_default();
    let fitted = bench.from_tray.get(..counted.from_tray).unwrap_or_default();
    let in_tray = counted.tray.lots().iter().map(|lot| (lot.material, lot.length, lot.count));
    let mut differences = Vec::new();
    for material in [Material::Leather, Material::Plastic] {
        let of = |list: &[(Material, Millimetres)]| -> Vec<f64> {
            list.iter().filter(|(of, _)| *of == material).map(|(_, length)| length.get()).collect()
        };
        let (off, fitted) = (of(off), of(fitted));
        let tray: Vec<(f64, u32)> = in_tray
            .clone()
            .filter(|(of, ..)| *of == material)
            .map(|(_, length, count)| (length.get(), count))
            .collect();
        for (low, high) in
            groups(off.iter().chain(&fitted).copied().chain(tray.iter().map(|lot| lot.0)), rule)
        {
            let within = |length: &f64| (low..=high).contains(length);
            let n_off = off.iter().filter(|length| within(length)).count() as i64;
            let n_fitted = fitted.iter().filter(|length| within(length)).count() as i64;
            let n_tray: i64 =
                tray.iter().filter(|(length, _)| within(length)).map(|(_, count)| i64::from(*count)).sum();
            let missing = n_off - n_fitted - n_tray;
            if n_off > 0 && missing != 0 {
                let lengths = if low == high { format!("{low} mm") } else { format!("{low} to {high} mm") };
                let what = if missing > 0 {
                    format!("{missing} missing")
                } else {
                    format!("{} more than noted", -missing)
                };
                let text = format!(
                    "{lengths}: {n_off} lifted off, {n_fitted} of them fitted and {n_tray} in the tray when it was counted: {what}"
                );
                differences.push(Difference { place: None, text });
            }
        }
    }
    differences
}

/// Lengths gathered into runs whose neighbours could be the same valve read twice: shortest and longest of each.
fn groups(lengths: impl Iterator<Item = f64>, rule: &ValveRule) -> Vec<(f64, f64)> {
    let mut lengths: Vec<f64> = lengths.collect();
    lengths.sort_by(f64::total_cmp);
    let mut groups: Vec<(f64, f64)> = Vec::new();
    for length in lengths {
        match groups.last_mut() {
            Some((_, high)) if length - *high <= rule.reading_tolerance.get() => *high = length,
            _ => groups.push((length, length)),
        }
    }
    groups
}

fn is_apart(left: Millimetres, right: Millimetres, rule: &ValveRule) -> bool {
    // A micrometre of grace: 38.5 and 38.0 are 0.5 mm apart, whatever binary fractions say.
    (left.get() - right.get()).abs() > rule.reading_tolerance.get() + 0.001
}

fn a_valve(length: Option<Millimetres>) -> String {
    length.map_or("a valve".to_owned(), |length| format!("a {length} valve"))
}
