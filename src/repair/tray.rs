//! The tray of old valves: lots of one length, material, condition, width and bin.

use std::fmt;
use std::str::FromStr;

use crate::instrument::Material;
use crate::units::Millimetres;

/// Valves of one kind in one bin.
#[derive(Debug, Clone, PartialEq)]
pub struct Lot {
    /// How long they are.
    pub length: Millimetres,
    /// How wide, where it was measured.
    pub width: Option<Millimetres>,
    /// How thick, where it was measured.
    pub thickness: Option<Millimetres>,
    /// What they are made of.
    pub material: Material,
    /// In which condition they are.
    pub condition: Condition,
    /// The bin of the tray they lie in.
    pub bin: Option<String>,
    /// How many.
    pub count: u32,
}

/// The condition of a valve, best first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Condition {
    /// Lies flat.
    Flat,
    /// Stained, and lies flat.
    Stained,
    /// Curled: to be flattened, and looked at again.
    Curled,
    /// Nobody said: not to be used until somebody has looked at it, since it may have been taken off for leaking.
    Unsaid,
    /// For scrap: not to be used.
    Scrap,
}

/// What the tray holds.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Tray {
    lots: Vec<Lot>,
}

impl Condition {
    /// All, best first.
    pub const ALL: [Condition; 5] =
        [Condition::Flat, Condition::Stained, Condition::Curled, Condition::Unsaid, Condition::Scrap];
}

impl fmt::Display for Condition {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Condition::Flat => "flat",
            Condition::Stained => "stained",
            Condition::Curled => "curled",
            Condition::Unsaid => "unsaid",
            Condition::Scrap => "scrap",
        })
    }
}

impl FromStr for Condition {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let lower = text.trim().to_lowercase();
        Self::ALL
            .into_iter()
            .find(|condition| condition.to_string() == lower)
            .ok_or_else(|| format!("`{text}` is no condition; give `flat`, `stained`, `curled` or `scrap`"))
    }
}

impl Lot {
    /// Whether a count of one replaces the count of the other.
    pub fn is_same_kind(&self, other: &Lot) -> bool {
        self.length == other.length
            && self.width == other.width
            && self.thickness == other.thickness
            && self.material == other.material
            && self.condition == other.condition
            && is_same_bin(self.bin.as_deref(), other.bin.as_deref())
    }

    /// Whether the valves may be fitted.
    pub fn is_usable(&self) -> bool {
        !matches!(self.condition, Condition::Scrap | Condition::Unsaid)
    }
}

impl Tray {
    /// A tray with these lots; a kind that comes twice is added up.
    pub fn new(lots: impl IntoIterator<Item = Lot>) -> Self {
        let mut tray = Self::default();
        for lot in lots {
            tray.put(lot);
        }
        tray
    }

    /// The lots, long ones first.
    pub fn lots(&self) -> &[Lot] {
        &self.lots
    }

    /// How many valves there are, scrap included.
    pub fn count(&self) -> u32 {
        self.lots.iter().fold(0, |sum, lot| sum.saturating_add(lot.count))
    }

    /// A lot was counted: this many there are, whatever was known before.
    pub fn recount(&mut self, lot: Lot) {
        self.lots.retain(|there| !there.is_same_kind(&lot));
        self.put(lot);
    }

    /// Take one valve of exactly this kind out again; whether there was one.
    pub fn take_back(&mut self, lot: &Lot) -> bool {
        let found = self.lots.iter_mut().find(|there| there.is_same_kind(lot) && there.count > 0);
        let is_there = found.map(|there| there.count -= 1).is_some();
        self.lots.retain(|lot| lot.count > 0);
        is_there
    }

    /// Put valves in.
    pub fn put(&mut self, lot: Lot) {
        if let Some(there) = self.lots.iter_mut().find(|there| there.is_same_kind(&lot)) {
            there.count = there.count.saturating_add(lot.count);
        } else if lot.count > 0 {
            self.lots.push(lot);
        }
        self.lots.sort_by(|left, right| {
            let by_length = right.length.get().total_cmp(&left.length.get());
            let width = |lot: &Lot| lot.width.map_or(0.0, Millimetres::get);
            let thickness = |lot: &Lot| lot.thickness.map_or(0.0, Millimetres::get);
            by_length
                .then(left.material.cmp(&right.material))
                .then(left.condition.cmp(&right.condition))
                .then_with(|| left.bin.cmp(&right.bin))
                .then(width(left).total_cmp(&width(right)))
                .then(thickness(left).total_cmp(&thickness(right)))
        });
    }

    /// Take out one valve that could have been trimmed to `length`: the nearest, of that bin where it is told.
    /// Gives the lot it came from, with a count of one; `None` when there is none.
    pub fn take(
        &mut self,
        length: Option<Millimetres>,
        bin: Option<&str>,
        material: Material,
        tolerance: Millimetres,
    ) -> Option<Lot> {
        let fits = |lot: &Lot| {
            lot.count > 0
                // Whoever fits a valve has looked at it.
                && lot.condition != Condition::Scrap
                && lot.material == material
                && (bin.is_none() || is_same_bin(lot.bin.as_deref(), bin))
                && length.is_none_or(|length| lot.length.get() >= length.get() - tolerance.get())
        };
        // Long ones come first, so the last that fits is the nearest; without a length nothing can be told apart.
        let mut fitting = self.lots.iter().enumerate().filter(|(_, lot)| fits(lot)).map(|(idx, _)| idx);
        let idx = match length {
            Some(length) => fitting.min_by(|&left, &right| {
                let trim = |idx: usize| {
                    self.lots.get(idx).map_or(f64::MAX, |lot| (lot.length.get() - length.get()).max(0.0))
                };
                trim(left).total_cmp(&trim(right))
            }),
            None => fitting.next().filter(|_| bin.is_some()),
        }?;
        let lot = self.lots.get_mut(idx)?;
        lot.count -= 1;
        let taken = Lot { count: 1, ..lot.clone() };
        self.lots.retain(|lot| lot.count > 0);
        Some(taken)
    }
}

fn is_same_bin(left: Option<&str>, right: Option<&str>) -> bool {
    left.map(str::to_lowercase) == right.map(str::to_lowercase)
}
