//! The tray against the needs: what goes where, what is left, what must be cut.

use std::fmt;

use super::matching::{Cost, assign};
use super::need::Need;
use super::rule::{ValveRule, mm};
use super::tray::{Condition, Lot, Tray};
use crate::instrument::{Material, place_ranges};
use crate::units::Millimetres;

/// The tray dealt out to the needs.
#[derive(Debug, Clone, PartialEq)]
pub struct Fitting {
    /// Every need with what it gets, in the needs' order.
    pub rows: Vec<FittedNeed>,
    /// What stays in the tray, scrap included.
    pub left: Tray,
    /// What to cut: material, length, how many; long ones first.
    pub cuts: Vec<(Material, Millimetres, usize)>,
    /// The strip to buy for that, one for each material.
    pub strips: Vec<Strip>,
    /// Helper springs needed.
    pub springs: usize,
    /// The tray as it was dealt out from.
    tray: Tray,
    tolerance: Millimetres,
}

/// A need and what it gets.
#[derive(Debug, Clone, PartialEq)]
pub struct FittedNeed {
    /// The need.
    pub need: Need,
    /// What it gets.
    pub choice: Choice,
}

/// What a need gets.
#[derive(Debug, Clone, PartialEq)]
pub enum Choice {
    /// A valve of the tray.
    FromTray {
        /// The lot it is taken from, with a count of one.
        lot: Lot,
        /// How much is trimmed off; 0 within the reading tolerance.
        trim: Millimetres,
    },
    /// A new one, cut to the need's length.
    Cut,
    /// Nothing: its length is not known.
    NotMeasured,
}

impl fmt::Display for Choice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::FromTray { lot, trim } => {
                write!(f, "{} {}", lot.length, lot.condition)?;
                if let Some(bin) = &lot.bin {
                    write!(f, ", bin {bin}")?;
                }
                if trim.get() > 0.0 {
                    write!(f, ", trim {trim}")?;
                }
                Ok(())
            }
            Self::Cut => f.write_str("cut new"),
            Self::NotMeasured => f.write_str("measure the slot or the old valve"),
        }
    }
}

/// A strip to cut valves from, side by side across it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Strip {
    /// Leather, or plastic film.
    pub material: Material,
    /// How many valves it gives.
    pub count: usize,
    /// How long it must be at least: a width and a kerf for each valve.
    pub length: Millimetres,
    /// How wide: the longest valve and a kerf.
    pub width: Millimetres,
    /// The width of one valve it was reckoned with, of the widest where they differ.
    pub valve_width: Millimetres,
}

/// Deal out the tray so that the fewest new valves are cut, then least is trimmed, then the best ones are used and go
/// to the longest slots. Nothing else could do better (`tests/rooms/valves/`).
pub fn fit(needs: &[Need], tray: &Tray, rule: &ValveRule) -> Fitting {
    let tolerance = rule.reading_tolerance;
    let measured: Vec<(usize, &Need, Millimetres)> = needs
        .iter()
        .enumerate()
        .filter_map(|(idx, need)| need.length.map(|length| (idx, need, length)))
        .collect();
    // More of a lot than there are needs cannot be used.
    let pieces: Vec<&Lot> = tray
        .lots()
        .iter()
        .filter(|lot| lot.is_usable())
        .flat_map(|lot| std::iter::repeat_n(lot, (lot.count as usize).min(measured.len())))
        .collect();
    let costs: Vec<Vec<Cost>> = measured
        .iter()
        .map(|(_, need, length)| {
            let from_tray = pieces.iter().map(|lot| cost(need, *length, lot, tolerance));
            let cut = std::iter::repeat_n(cut_cost(*length), measured.len());
            from_tray.map(|cost| cost.unwrap_or(FORBIDDEN)).chain(cut).collect()
        })
        .collect();
    let mut choices: Vec<Choice> = needs.iter().map(|_| Choice::NotMeasured).collect();
    let mut left = tray.clone();
    for ((idx, need, length), column) in measured.iter().zip(assign(&costs)) {
        let Some(choice) = choices.get_mut(*idx) else { continue };
        *choice = match pieces.get(column) {
            Some(lot) if cost(need, *length, lot, tolerance).is_some() => {
                let there =
                    left.lots().iter().find(|there| there.is_same_kind(lot)).map_or(0, |lot| lot.count);
                left.recount(Lot { count: there.saturating_sub(1), ..(*lot).clone() });
                let trim = mm(trim_um(*length, lot, tolerance) as f64 / 1000.0);
                let trim = trim.written(length.is_in_inches());
                Choice::FromTray { lot: Lot { count: 1, ..(*lot).clone() }, trim }
            }
            _ => Choice::Cut,
        };
    }
    let rows: Vec<FittedNeed> =
        needs.iter().cloned().zip(choices).map(|(need, choice)| FittedNeed { need, choice }).collect();
    let cuts = cuts(&rows);
    let strips = strips(&rows, tray, rule);
    let springs = needs.iter().filter(|need| need.helper_spring).count();
    Fitting { rows, left, cuts, strips, springs, tray: tray.clone(), tolerance }
}

impl Fitting {
    /// How many needs the tray serves.
    pub fn served(&self) -> usize {
        self.rows.iter().filter(|row| matches!(row.choice, Choice::FromTray { .. })).count()
    }

    /// How many have no known length.
    pub fn unmeasured(&self) -> usize {
        self.rows.iter().filter(|row| row.choice == Choice::NotMeasured).count()
    }

    /// `6 needed, 4 usable: cut 2: 58 mm × 1, 28 mm × 1`.
    pub fn summary(&self) -> String {
        let mut text = format!("{} needed, {} usable", self.rows.len(), self.served());
        let to_cut: usize = self.cuts.iter().map(|(.., count)| count).sum();
        if to_cut > 0 {
            let lengths: Vec<String> = self
                .cuts
                .iter()
                .map(|(material, length, count)| match material {
                    Material::Leather => format!("{length} × {count}"),
                    Material::Plastic => format!("{length} plastic × {count}"),
                })
                .collect();
            text += &format!(": cut {to_cut}: {}", lengths.join(", "));
        }
        match self.unmeasured() {
            0 => {}
            n => text += &format!("; {n} not measured"),
        }
        text
    }

    /// Why a need gets what it gets, in a sentence or two.
    pub fn explain(&self, row: &FittedNeed) -> String {
        let need = &row.need;
        let Some(length) = need.length else {
            return format!("{}: {}; measure the slot or the old valve", need.place, need.basis);
        };
        let head = format!("{} needs {length}, {}", need.place, need.basis);
        let chosen = match &row.choice {
            Choice::FromTray { lot, .. } => cost(need, length, lot, self.tolerance),
            Choice::Cut | Choice::NotMeasured => None,
        };
        let ranked = |lot: &Lot| cost(need, length, lot, self.tolerance);
        let is_better = |lot: &Lot| match (ranked(lot), chosen) {
            (Some(cost), Some(chosen)) => cost < chosen,
            (Some(_), None) => true,
            (None, _) => false,
        };
        let better: u32 = self
            .tray
            .lots()
            .iter()
            .filter(|lot| is_better(lot))
            .fold(0, |sum, lot| sum.saturating_add(lot.count));
        let users: Vec<String> = self
            .rows
            .iter()
            .filter(|other| matches!(&other.choice, Choice::FromTray { lot, .. } if is_better(lot)))
            .map(|other| other.need.place.to_string())
            .collect();
        let users = shortened(&users);
        match &row.choice {
            Choice::FromTray { lot, trim } => {
                let how = if trim.get() > 0.0 { format!("trimmed by {trim}") } else { "as it is".into() };
                let why = match better {
                    0 => "nothing in the tray suits it better".to_owned(),
                    _ => {
                        format!("{better} would suit it better and go to {users}, which together saves more")
                    }
                };
                format!("{head}; it gets {}, {how}: {why}", lot_words(lot))
            }
            _ if better == 0 => {
                format!(
                    "{head}; cut it new: no usable {} valve of that length or more{} is in the tray",
                    need.material,
                    need.size_words()
                )
            }
            _ => format!(
                "{head}; cut it new: the {better} long enough go to {users}, which together needs the fewest cuts and the least trimming"
            ),
        }
    }
}

/// `38 mm flat, bin 1`.
pub fn lot_words(lot: &Lot) -> String {
    let bin = lot.bin.as_ref().map_or(String::new(), |bin| format!(", bin {bin}"));
    format!("{} {}{bin}", lot.length, lot.condition)
}

/// What no piece that cannot be used may cost less than: more new valves than any bench has slots.
const FORBIDDEN: Cost = Cost { cuts: 1_000_000_000, trimming: 0, condition: 0 };

/// Two thicknesses this close feel the same between the fingers, mm (common practice, no source).
const THICKNESS_TOLERANCE_MM: f64 = 0.1;

/// What it costs to give a piece to a need; `None` when it cannot be used there.
fn cost(need: &Need, length: Millimetres, lot: &Lot, tolerance: Millimetres) -> Option<Cost> {
    let is_long_enough = um(lot.length) + um(tolerance) >= um(length);
    let is_wide_enough = match (need.width_range, need.width, lot.width) {
        (Some(range), _, there) => there.is_some_and(|there| range.holds(there, tolerance.get())),
        (None, Some(needed), Some(there)) => um(there) + um(tolerance) >= um(needed),
        _ => true,
    };
    // What was not measured may be anything.
    let is_thick_enough = need
        .thickness_range
        .is_none_or(|range| lot.thickness.is_some_and(|there| range.holds(there, THICKNESS_TOLERANCE_MM)));
    let fits = is_long_enough && is_wide_enough && is_thick_enough;
    (lot.is_usable() && lot.material == need.material && fits).then(|| Cost {
        cuts: 0,
        trimming: trim_um(length, lot, tolerance),
        condition: worse(lot.condition) * um(length),
    })
}

/// A new valve counts as the worst condition, so that, all else equal, the long slots are served from the tray.
fn cut_cost(length: Millimetres) -> Cost {
    Cost { cuts: 1, trimming: 0, condition: worse(Condition::Scrap) * um(length) }
}

fn worse(condition: Condition) -> i64 {
    match condition {
        Condition::Flat => 0,
        Condition::Stained => 1,
        Condition::Curled => 2,
        Condition::Unsaid | Condition::Scrap => 3,
    }
}

/// What is trimmed off, micrometres; within the reading tolerance nothing.
fn trim_um(length: Millimetres, lot: &Lot, tolerance: Millimetres) -> i64 {
    let over = um(lot.length) - um(length);
    if over <= um(tolerance) { 0 } else { over }
}

/// Whole micrometres, so that sums are exact.
fn um(length: Millimetres) -> i64 {
    (length.get() * 1000.0).round() as i64
}

fn cuts(rows: &[FittedNeed]) -> Vec<(Material, Millimetres, usize)> {
    let mut cuts: Vec<(Material, Millimetres, usize)> = Vec::new();
    for row in rows.iter().filter(|row| row.choice == Choice::Cut) {
        let Some(length) = row.need.length else { continue };
        match cuts.iter_mut().find(|(material, there, _)| *material == row.need.material && *there == length)
        {
            Some((.., count)) => *count += 1,
            None => cuts.push((row.need.material, length, 1)),
        }
    }
    cuts.sort_by(|left, right| left.0.cmp(&right.0).then(right.1.get().total_cmp(&left.1.get())));
    cuts
}

fn strips(rows: &[FittedNeed], tray: &Tray, rule: &ValveRule) -> Vec<Strip> {
    let mut strips = Vec::new();
    for material in [Material::Leather, Material::Plastic] {
        let lengths: Vec<f64> = rows
            .iter()
            .filter(|row| row.choice == Choice::Cut && row.need.material == material)
            .filter_map(|row| row.need.length.map(Millimetres::get))
            .collect();
        if lengths.is_empty() {
            continue;
        }
        // Each as wide as its slot wants it; the widest is named.
        let usual = rule.width.unwrap_or_else(|| usual_width(tray, material));
        let to_cut = || rows.iter().filter(|row| row.choice == Choice::Cut && row.need.material == material);
        let widths: Vec<Millimetres> = to_cut()
            .filter(|row| row.need.length.is_some())
            .map(|row| row.need.width.unwrap_or(usual))
            .collect();
        let in_inches = to_cut().filter_map(|row| row.need.length).any(Millimetres::is_in_inches);
        let longest = lengths.iter().copied().fold(0.0, f64::max);
        let across: f64 = widths.iter().map(|width| width.get() + rule.kerf.get()).sum();
        let widest = widths
            .iter()
            .copied()
            .fold(Millimetres::ZERO, |most, width| if width > most { width } else { most });
        strips.push(Strip {
            material,
            count: lengths.len(),
            length: mm((across * 1000.0).round() / 1000.0).written(in_inches),
            width: mm(longest + rule.kerf.get()).written(in_inches),
            valve_width: widest.written(in_inches),
        });
    }
    strips
}

/// The middle width of the tray's valves.
fn usual_width(tray: &Tray, material: Material) -> Millimetres {
    let mut widths: Vec<f64> = tray
        .lots()
        .iter()
        .filter(|lot| lot.material == material)
        .filter_map(|lot| lot.width.map(Millimetres::get))
        .collect();
    widths.sort_by(f64::total_cmp);
    mm(widths.get(widths.len() / 2).copied().unwrap_or(ValveRule::FALLBACK_WIDTH_MM))
}

fn shortened(places: &[String]) -> String {
    const SHOWN: usize = 3;
    match places.len() {
        0..=SHOWN => place_ranges(places),
        n => format!(
            "{} and {} more",
            places.iter().take(SHOWN).cloned().collect::<Vec<_>>().join(", "),
            n - SHOWN
        ),
    }
}
