//! How things stand: every plate and face after all marks, and what the tray holds.

use std::collections::BTreeMap;

use jiff::Timestamp;

use super::mark::{Happening, Mark};
use super::rule::ValveRule;
use super::sizes::sizes_at;
use super::tray::{Condition, Lot, Tray};
use super::work::{Source, Work};
use crate::instrument::{
    Face, Instrument, Material, PerFace, PlatePlace, SizeRange, Spot, Valve, ValvePlace,
};
use crate::units::Millimetres;

/// Plates and tray after all marks.
#[derive(Debug, Clone, PartialEq)]
pub struct Bench {
    /// Every plate of the plan.
    pub plates: BTreeMap<PlatePlace, PlateState>,
    /// What the tray holds now: as counted, with what was taken out and put in since.
    pub tray: Tray,
    /// What it held when it was last counted; `None` when it never was.
    pub counted: Option<Counted>,
    /// Fittings that the tray, as known, could not have given: number of the mark, place, length.
    pub not_in_tray: Vec<(u32, ValvePlace, Option<Millimetres>)>,
    /// Valves lifted off, and fitted from the tray: material and length.
    pub(crate) lifted_off: Vec<(Material, Millimetres)>,
    pub(crate) from_tray: Vec<(Material, Millimetres)>,
    /// What marks put into the tray since the last count.
    put_in: Tray,
    tolerance: Millimetres,
}

/// The tray at its last count.
#[derive(Debug, Clone, PartialEq)]
pub struct Counted {
    /// What it held.
    pub tray: Tray,
    /// How many liftings off, and fittings from the tray, had been noted.
    pub(crate) lifted_off: usize,
    pub(crate) from_tray: usize,
}

/// A plate after all marks.
#[derive(Debug, Clone, PartialEq)]
pub struct PlateState {
    /// Whether it lies beside the block.
    pub is_lifted: bool,
    /// Whether it was fixed again: waxed or put back since it was last lifted.
    pub is_seated: bool,
    /// Both faces.
    pub faces: PerFace<FaceState>,
}

/// A face of a plate after all marks.
#[derive(Debug, Clone, PartialEq)]
pub struct FaceState {
    /// The valve the plan has here.
    pub plan: Valve,
    /// What is known of the valve.
    pub valve: ValveState,
    /// Length of the old valve that was lifted off.
    pub old_length: Option<Millimetres>,
    /// What was put into the tray when it was lifted off.
    pub(crate) put_by: Option<Lot>,
    /// Whether it was cleaned.
    pub is_cleaned: bool,
    /// Whether the tongue on this face was tuned.
    pub is_tuned: bool,
    /// What was done, as typed, in order.
    pub done: Vec<String>,
}

/// What the marks say of a valve.
#[derive(Debug, Clone, PartialEq)]
pub enum ValveState {
    /// Nothing.
    Unsaid,
    /// It is off.
    Off,
    /// One was fitted.
    Fitted {
        /// Its length where it was told.
        length: Option<Millimetres>,
        /// When.
        at: Timestamp,
    },
    /// The old one stays on.
    Kept,
}

impl FaceState {
    /// Whether a valve belongs here.
    pub fn is_due(&self) -> bool {
        matches!(self.plan, Valve::Fitted { .. })
    }

    /// Whether a valve belongs here and none is noted as fitted or kept.
    pub fn is_open(&self) -> bool {
        self.is_due() && matches!(self.valve, ValveState::Unsaid | ValveState::Off)
    }

    /// The valve's length in the plan.
    pub fn plan_length(&self) -> Option<Millimetres> {
        match self.plan {
            Valve::Fitted { length, .. } => length,
            Valve::None => None,
        }
    }

    /// What the valve is made of; leather where none is due.
    pub fn material(&self) -> Material {
        match self.plan {
            Valve::Fitted { material, .. } => material,
            Valve::None => Material::Leather,
        }
    }
}

impl Bench {
    /// The bench before anything was noted.
    pub fn untouched(instrument: &Instrument, rule: &ValveRule) -> Self {
        let face = |plan: Valve| FaceState {
            plan,
            valve: ValveState::Unsaid,
            old_length: None,
            put_by: None,
            is_cleaned: false,
            is_tuned: false,
            done: Vec::new(),
        };
        let plates = instrument.plates().map(|(place, _, _, plate)| {
            let faces = PerFace { outer: face(plate.valves.outer), inner: face(plate.valves.inner) };
            (place, PlateState { is_lifted: false, is_seated: false, faces })
        });
        Self {
            plates: plates.collect(),
            tray: Tray::default(),
            counted: None,
            not_in_tray: Vec::new(),
            lifted_off: Vec::new(),
            from_tray: Vec::new(),
            put_in: Tray::default(),
            tolerance: rule.reading_tolerance,
        }
    }

    /// The bench after everything that was noted.
    pub fn after(instrument: &Instrument, rule: &ValveRule, happenings: &[Happening]) -> Self {
        let mut bench = Self::untouched(instrument, rule);
        for happening in happenings {
            bench.see(instrument, happening);
        }
        bench
    }

    /// The state of a face.
    pub fn face(&self, place: &ValvePlace) -> Option<&FaceState> {
        self.plates.get(&place.plate).map(|plate| plate.faces.on(place.face))
    }

    pub(crate) fn see(&mut self, instrument: &Instrument, happening: &Happening) {
        match happening {
            Happening::Mark(mark) if !mark.undone => self.mark(instrument, mark),
            Happening::Mark(_) => {}
            Happening::Counted { lots, whole } => self.count(lots, *whole),
        }
    }

    fn count(&mut self, lots: &[Lot], whole: bool) {
        // What is counted in a bin includes what marks had put there, and what lay in no bin was sorted into one.
        let is_counted = |bin: &Option<String>| bin.is_none() || lots.iter().any(|lot| lot.bin == *bin);
        let put_in = std::mem::take(&mut self.put_in);
        let mut tray = if whole { Tray::default() } else { self.tray.clone() };
        for lot in put_in.lots().iter().filter(|_| !whole) {
            if is_counted(&lot.bin) {
                let there =
                    tray.lots().iter().find(|there| there.is_same_kind(lot)).map_or(0, |lot| lot.count);
                tray.recount(Lot { count: there.saturating_sub(lot.count), ..lot.clone() });
            } else {
                self.put_in.put(lot.clone());
            }
        }
        for lot in lots {
            tray.recount(lot.clone());
        }
        self.tray = tray;
        self.counted = Some(Counted {
            tray: self.tray.clone(),
            lifted_off: self.lifted_off.len(),
            from_tray: self.from_tray.len(),
        });
    }

    fn mark(&mut self, instrument: &Instrument, mark: &Mark) {
        for (place, face) in faces_of(instrument, &mark.spots, &mark.work) {
            let sizes = instrument.plate(&place).map(|(block, row, plate)| sizes_at(block, row, plate, face));
            self.mark_face(&ValvePlace { plate: place, face }, mark, sizes.unwrap_or_default());
        }
        for spot in &mark.spots {
            let Some(plate) = self.plates.get_mut(plate_of(spot)) else { continue };
            match mark.work {
                Work::Lifted => (plate.is_lifted, plate.is_seated) = (true, false),
                Work::Waxed | Work::PutBack => (plate.is_lifted, plate.is_seated) = (false, true),
                _ => {}
            }
        }
    }

    fn mark_face(
        &mut self,
        place: &ValvePlace,
        mark: &Mark,
        (width, thickness): (Option<SizeRange>, Option<SizeRange>),
    ) {
        let Some(plate) = self.plates.get_mut(&place.plate) else { return };
        let face = match place.face {
            Face::Outer => &mut plate.faces.outer,
            Face::Inner => &mut plate.faces.inner,
        };
        face.done.push(mark.work.to_string());
        let material = face.material();
        match &mark.work {
            Work::Cleaned { .. } => face.is_cleaned = true,
            Work::Tuned => face.is_tuned = true,
            Work::ValveKept => face.valve = ValveState::Kept,
            Work::ValveOff { length, condition, bin } => {
                // Noted twice it is the same valve: the later note says what it is like, and it is counted once.
                let before = if face.valve == ValveState::Off { face.put_by.take() } else { None };
                face.valve = ValveState::Off;
                face.old_length = length.or(face.old_length);
                if let Some(length) = length.or(before.as_ref().map(|lot| lot.length)) {
                    let said = (*condition != Condition::Unsaid).then_some(*condition);
                    let condition = said.or(before.as_ref().map(|lot| lot.condition)).unwrap_or(*condition);
                    let bin = bin.clone().or_else(|| before.as_ref().and_then(|lot| lot.bin.clone()));
                    // What lay over the slot is as wide and as thick as the plan has it there.
                    let size = |range: Option<SizeRange>| range.map(|range| range.middle());
                    let (width, thickness) = (size(width), size(thickness));
                    let lot = Lot { length, width, thickness, material, condition, bin, count: 1 };
                    face.put_by = Some(lot.clone());
                    let is_there = match &before {
                        // Where it was counted since, the count stands.
                        Some(before) => self.put_in.take_back(before) && self.tray.take_back(before),
                        None => true,
                    };
                    match before {
                        Some(before) => {
                            let noted = (before.material, before.length);
                            let last = self.lifted_off.iter().rposition(|there| *there == noted);
                            last.and_then(|last| self.lifted_off.get_mut(last))
                                .into_iter()
                                .for_each(|there| *there = (material, length));
                        }
                        None => self.lifted_off.push((material, length)),
                    }
                    if is_there {
                        self.put_in.put(lot.clone());
                        self.tray.put(lot);
                    }
                }
            }
            Work::ValveFitted { length, source } => {
                face.valve = ValveState::Fitted { length: *length, at: mark.at };
                let wanted = length.or(face.old_length).or(face.plan_length());
                if let Source::Tray { bin } = source {
                    self.take(place, wanted, bin.as_deref(), material, mark.n);
                }
            }
            _ => {}
        }
    }

    fn take(
        &mut self,
        place: &ValvePlace,
        length: Option<Millimetres>,
        bin: Option<&str>,
        material: Material,
        n: u32,
    ) {
        let is_known = self.counted.is_some() || !self.lifted_off.is_empty();
        match self.tray.take(length, bin, material, self.tolerance) {
            Some(lot) => {
                self.from_tray.push((material, lot.length));
                // So that a later count does not take it off a second time.
                let bin = lot.bin.as_deref();
                self.put_in.take(Some(lot.length), bin, material, Millimetres::ZERO);
            }
            None if is_known => self.not_in_tray.push((n, place.clone(), length)),
            None => {}
        }
    }
}

/// The faces a mark is about: that of a valve's place, that of a reed's tongue, both of a plate; for work on valves
/// only those where one is due, if any is.
pub(crate) fn faces_of(instrument: &Instrument, spots: &[Spot], work: &Work) -> Vec<(PlatePlace, Face)> {
    let is_valve_work = matches!(
        work,
        Work::ValveOff { .. } | Work::ValveFitted { .. } | Work::ValveKept | Work::SpringFitted
    );
    let mut faces = Vec::new();
    for spot in spots {
        let Some((block, _, plate)) = instrument.plate(plate_of(spot)) else { continue };
        match spot {
            Spot::Valve(valve) => faces.push((valve.plate.clone(), valve.face)),
            // The tongue that sounds on a stroke lies on the face whose valve that stroke tests.
            Spot::Reed(reed) => faces.push((reed.plate.clone(), block.face_tested_by(reed.stroke))),
            Spot::Plate(place) => {
                let due = |face: &Face| matches!(plate.valves.on(*face), Valve::Fitted { .. });
                let wanted = Face::BOTH.into_iter().filter(|face| !is_valve_work || due(face));
                faces.extend(wanted.map(|face| (place.clone(), face)));
            }
        }
    }
    faces
}

/// The plate a spot is on.
pub(crate) fn plate_of(spot: &Spot) -> &PlatePlace {
    match spot {
        Spot::Plate(plate) => plate,
        Spot::Reed(reed) => &reed.plate,
        Spot::Valve(valve) => &valve.plate,
    }
}
