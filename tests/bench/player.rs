//! Someone who plays a block and errs: which reed sounds when, and at what pitch; deterministic by seed.

use super::chance::Chance;
use super::sitting::{Happens, Sitting};
use platenote::instrument::{
    Bellows, Block, Instrument, Note, PerFace, PerStroke, Plate, PlatePlace, Reed, ReedPlace, Row, Stroke,
    Temperament, Tremolo, Tuning, Valve,
};
use platenote::units::{Cents, Decibels, Hz};

/// A note that was played.
#[derive(Debug, Clone)]
pub struct Played {
    /// The reed by the place where its plate lies now; `None` for something that is no reed of the block.
    pub place: Option<ReedPlace>,
    /// What was going on.
    pub kind: Doing,
    /// Its pitch, Hz.
    pub hz: f64,
    /// Its level, dBFS.
    pub level_dbfs: f64,
}

/// What the player was doing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Doing {
    /// The next reed.
    InOrder,
    /// The same reed once more, or the first of several goes.
    Repeating,
    /// The wrong stroke.
    WrongStroke,
    /// A row from its other end.
    Reversed,
    /// A plate that was put back in another's place.
    Swapped,
    /// Something else that sounded.
    Stray,
}

/// A block, what was done to it, and how it was played.
pub struct Performance {
    /// The plan.
    pub instrument: Instrument,
    /// The notes, in order.
    pub notes: Vec<Played>,
    /// Plates that lie in each other's place.
    pub swapped: Option<[PlatePlace; 2]>,
    /// The order in words, as it can be said.
    pub order: String,
    /// How far the whole instrument is off, cents.
    pub offset_cents: f64,
}

/// How far off pitch the instrument may be.
#[derive(Debug, Clone, Copy)]
pub enum OffPitch {
    /// Mostly little, sometimes up to 80 cents.
    AsTheyCome,
    /// By this much.
    By(f64),
}

/// A random block played by a random player who errs now and then.
pub fn perform(seed: u64, off_pitch: OffPitch) -> Performance {
    let chance = &mut Chance::split(seed, 40);
    let instrument = random_instrument(chance);
    let offset_cents = match off_pitch {
        OffPitch::By(cents) => cents,
        OffPitch::AsTheyCome if chance.happens(0.3) => chance.between(-80.0, 80.0),
        OffPitch::AsTheyCome => (15.0 * chance.normal()).clamp(-60.0, 60.0),
    };
    let rows = &instrument.blocks[0].rows;
    let swapped = chance.happens(0.2).then(|| swapped_plates(chance, &instrument)).flatten();
    // The pitch of every reed, where it lies now.
    let reeds: Vec<(ReedPlace, f64)> = instrument
        .reeds()
        .map(|(place, _)| {
            let lies = match &swapped {
                Some([a, b]) if place.plate == *a => b,
                Some([a, b]) if place.plate == *b => a,
                _ => &place.plate,
            };
            let plate = ReedPlace { plate: lies.clone(), stroke: place.stroke };
            let target = instrument.target(&plate).expect("same kind of plates").get();
            let deviation = if chance.happens(0.04) { 20.0 } else { 6.0 };
            let cents = offset_cents + (deviation * chance.normal()).clamp(-40.0, 40.0);
            (place, target * (cents / 1200.0).exp2())
        })
        .collect();
    let (order, mut runs) = random_order(chance, &instrument);
    let reversed = chance.happens(0.15).then(|| (chance.unit() * runs.len() as f64) as usize);
    if let Some(run) = reversed {
        runs[run].reverse();
    }
    let mut planned: Vec<(ReedPlace, bool)> = runs
        .iter()
        .enumerate()
        .flat_map(|(idx, run)| run.iter().flatten().map(move |reed| (reed.clone(), Some(idx) == reversed)))
        .collect();
    if chance.happens(0.2) {
        let from = (chance.unit() * 0.6 * planned.len() as f64) as usize;
        planned.rotate_left(from);
        if chance.happens(0.5) {
            planned.truncate(planned.len() - from);
        }
    }
    let in_turn = order.contains("turn");
    let mut performance =
        Performance { notes: Vec::new(), swapped, order, offset_cents, instrument: instrument.clone() };
    let mut skipped: Option<PlatePlace> = None;
    for (idx, (reed, is_reversed)) in planned.iter().enumerate() {
        let is_new_plate = idx == 0 || planned[idx - 1].0.plate != reed.plate;
        if is_new_plate {
            skipped = chance.happens(0.015).then(|| reed.plate.clone());
        }
        if skipped.as_ref() == Some(&reed.plate) {
            continue;
        }
        let kind = match () {
            () if performance.swapped.as_ref().is_some_and(|pair| pair.contains(&reed.plate)) => {
                Doing::Swapped
            }
            () if *is_reversed => Doing::Reversed,
            () => Doing::InOrder,
        };
        if chance.happens(0.012) && in_turn {
            let other = ReedPlace { plate: reed.plate.clone(), stroke: reed.stroke.other() };
            performance.sound(chance, &reeds, &other, Doing::WrongStroke, 0.0);
            // In a bisonoric block one may go on without noticing.
            if rows[0].plates[0].reeds.press != rows[0].plates[0].reeds.draw && chance.happens(0.3) {
                continue;
            }
        }
        if chance.happens(0.03) {
            let goes = 1 + usize::from(chance.happens(0.2));
            for _ in 0..goes {
                let softer = if chance.happens(0.5) { chance.between(3.0, 15.0) } else { 0.0 };
                performance.sound(chance, &reeds, reed, Doing::Repeating, softer);
            }
            performance.sound(chance, &reeds, reed, Doing::Repeating, 0.0);
        } else {
            performance.sound(chance, &reeds, reed, kind, 0.0);
        }
        if chance.happens(0.006) {
            let hz = chance.log_between(60.0, 4_000.0);
            let level_dbfs = chance.between(-50.0, -15.0);
            performance.notes.push(Played { place: None, kind: Doing::Stray, hz, level_dbfs });
        }
    }
    performance
}

/// A part of a row of semitones, neither its first nor its last plates, press and draw in turn, on an instrument
/// `offset_cents` off: by the pitches alone it may as well be the part one reed on, a semitone less off.
pub fn perform_part(seed: u64, offset_cents: f64) -> Performance {
    let chance = &mut Chance::split(seed, 42);
    let (n_plates, lowest) = (10 + (chance.unit() * 7.0) as u32, 36 + (chance.unit() * 24.0) as i16);
    let plates = (0..n_plates as i16).map(|idx| {
        let reed = Note::from_number(lowest + idx).map(|note| Reed { note, slot: None });
        Plate {
            reeds: PerStroke { press: reed, draw: reed },
            valves: PerFace { outer: Valve::None, inner: Valve::None },
        }
    });
    let row = Row {
        name: "A".into(),
        tremolo: Tremolo::Even(Cents::ZERO),
        plates: plates.collect(),
        sizes: Default::default(),
        lines: Default::default(),
    };
    let instrument = instrument(Bellows::Unisonoric, vec![row]);
    let reeds: Vec<(ReedPlace, f64)> = instrument
        .reeds()
        .map(|(place, _)| {
            let target = instrument.target(&place).expect("a reed").get();
            let cents = offset_cents + (6.0 * chance.normal()).clamp(-40.0, 40.0);
            (place, target * (cents / 1200.0).exp2())
        })
        .collect();
    let first = 2 + (chance.unit() * 3.0) as u32;
    let last = n_plates - 1 - (chance.unit() * 3.0) as u32;
    let order = "row after row, press and draw in turn".into();
    let mut performance =
        Performance { notes: Vec::new(), swapped: None, order, offset_cents, instrument: instrument.clone() };
    for (reed, _) in reeds.iter().filter(|(reed, _)| (first..=last).contains(&reed.plate.number)) {
        performance.sound(chance, &reeds, reed, Doing::InOrder, 0.0);
    }
    performance
}

impl Performance {
    /// In full sound, with words, coughs, knocks, scraping, bellows and blips between the notes; and for each note of the
    /// sitting which note of the performance it is.
    pub fn in_sound(&self, seed: u64, rate_hz: u32) -> (Sitting, Vec<usize>) {
        let chance = &mut Chance::split(seed, 41);
        let mut events = vec![Happens::Quiet { lasts_s: chance.between(0.5, 1.5) }];
        let mut order = Vec::new();
        for (idx, note) in self.notes.iter().enumerate() {
            if chance.happens(0.2) {
                let level_dbfs = chance.between(-42.0, -20.0);
                events.push(match (chance.unit() * 6.0) as u32 {
                    0 => Happens::Speech { lasts_s: chance.between(0.5, 2.5), level_dbfs },
                    1 => Happens::Cough { level_dbfs },
                    2 => Happens::Knock { level_dbfs },
                    3 => Happens::Scraping { lasts_s: chance.between(0.3, 1.5), level_dbfs },
                    4 => Happens::Bellows { lasts_s: chance.between(0.5, 2.0), level_dbfs },
                    _ => Happens::Blip {
                        hz: note.hz,
                        lasts_s: chance.between(0.1, 0.4),
                        level_dbfs: note.level_dbfs,
                    },
                });
                events.push(Happens::Quiet { lasts_s: chance.between(0.4, 1.0) });
            }
            let lasts_s = chance.between(1.4, 2.4);
            events.push(Happens::Note { hz: note.hz, lasts_s, level_dbfs: note.level_dbfs });
            events.push(Happens::Quiet { lasts_s: chance.between(0.3, 0.8) });
            order.push(idx);
        }
        (Sitting::play(seed, rate_hz, -72.0, &events), order)
    }

    fn sound(
        &mut self,
        chance: &mut Chance,
        reeds: &[(ReedPlace, f64)],
        reed: &ReedPlace,
        kind: Doing,
        softer: f64,
    ) {
        let Some((_, hz)) = reeds.iter().find(|(place, _)| place == reed) else { return };
        // The bellows bend a note by a cent or so from one go to the next, and what is found is not exact.
        let cents = 0.8 * chance.normal();
        self.notes.push(Played {
            place: Some(reed.clone()),
            kind,
            hz: hz * (cents / 1200.0).exp2(),
            level_dbfs: -25.0 + 2.5 * chance.normal() - softer,
        });
    }
}

/// Rows of 6 to 14 plates: scales of their own, or a comb of semitones; some blocks bisonoric.
fn random_instrument(chance: &mut Chance) -> Instrument {
    let bellows = if chance.happens(0.6) { Bellows::Unisonoric } else { Bellows::Bisonoric };
    let n_rows = 1 + (chance.unit() * 3.9) as usize;
    let steps: &[i16] = match (chance.unit() * 4.0) as u32 {
        0 => &[1],
        1 => &[2, 2, 1, 2, 2, 2, 1],
        2 => &[3],
        _ => &[4, 3, 5],
    };
    let mut lowest = 36 + (chance.unit() * 24.0) as i16;
    let rows = ["A", "B", "C", "D"].iter().take(n_rows).map(|name| {
        let n_plates = 6 + (chance.unit() * 9.0) as usize;
        let mut note = lowest;
        lowest += (chance.between(-3.0, 9.0)) as i16;
        let plates = (0..n_plates).map(|idx| {
            let press = note;
            note += steps[idx % steps.len()];
            let draw = match bellows {
                Bellows::Unisonoric => press,
                Bellows::Bisonoric => press + 1 + (chance.unit() * 3.0) as i16,
            };
            let reed = |number| Note::from_number(number).map(|note| Reed { note, slot: None });
            Plate {
                reeds: PerStroke { press: reed(press), draw: reed(draw) },
                valves: PerFace { outer: Valve::None, inner: Valve::None },
            }
        });
        Row {
            name: (*name).into(),
            tremolo: Tremolo::Even(Cents::ZERO),
            plates: plates.collect(),
            sizes: Default::default(),
            lines: Default::default(),
        }
    });
    let rows = rows.collect();
    instrument(bellows, rows)
}

/// One row of plates with the nearest notes to these pitches, both reeds alike.
pub fn row_of_notes(pitches: &[Hz]) -> Instrument {
    let tuning = Tuning {
        reference: Hz::STANDARD_A4,
        temperament: Temperament::EQUAL,
        stretch: platenote::units::Cents::ZERO,
    };
    let plates = pitches.iter().map(|pitch| {
        let reed = tuning.nearest(*pitch).map(|(note, _)| Reed { note, slot: None });
        Plate {
            reeds: PerStroke { press: reed, draw: reed },
            valves: PerFace { outer: Valve::None, inner: Valve::None },
        }
    });
    let row = Row {
        name: "A".into(),
        tremolo: Tremolo::Even(Cents::ZERO),
        plates: plates.collect(),
        sizes: Default::default(),
        lines: Default::default(),
    };
    instrument(Bellows::Unisonoric, vec![row])
}

fn instrument(bellows: Bellows, rows: Vec<Row>) -> Instrument {
    let block = Block {
        name: "block".into(),
        outer_tongue_sounds_on: Stroke::Press,
        leak_limit: Decibels::COMMON_LEAK_LIMIT,
        tolerance: Cents::ZERO,
        rows,
    };
    let tuning = Tuning {
        reference: Hz::new(440.0).expect("a pitch"),
        temperament: Temperament::EQUAL,
        stretch: platenote::units::Cents::ZERO,
    };
    Instrument { bellows, tuning, blocks: vec![block] }
}

/// Two plates of a row with different notes.
fn swapped_plates(chance: &mut Chance, instrument: &Instrument) -> Option<[PlatePlace; 2]> {
    let row = &instrument.blocks[0].rows[(chance.unit() * instrument.blocks[0].rows.len() as f64) as usize];
    let n = row.plates.len();
    let a = (chance.unit() * n as f64) as usize;
    let b = a + 1 + (chance.unit() * 4.0) as usize;
    let place =
        |idx: usize| PlatePlace { block: "block".into(), row: row.name.clone(), number: idx as u32 + 1 };
    (b < n).then(|| [place(a), place(b)])
}

/// In words as the program calls them, and in runs of plates of reeds.
#[allow(clippy::type_complexity)]
fn random_order(chance: &mut Chance, instrument: &Instrument) -> (String, Vec<Vec<Vec<ReedPlace>>>) {
    let plates = |row: &Row| -> Vec<PlatePlace> {
        (1..=row.plates.len() as u32)
            .map(|number| PlatePlace { block: "block".into(), row: row.name.clone(), number })
            .collect()
    };
    let rows: Vec<Vec<PlatePlace>> = instrument.blocks[0].rows.iter().map(plates).collect();
    let reed = |plate: &PlatePlace, stroke| ReedPlace { plate: plate.clone(), stroke };
    let both = |plate: &PlatePlace| Stroke::BOTH.map(|stroke| reed(plate, stroke)).to_vec();
    let one =
        |row: &Vec<PlatePlace>, stroke| row.iter().map(|plate| vec![reed(plate, stroke)]).collect::<Vec<_>>();
    match (chance.unit() * 10.0) as u32 {
        0..=5 => (
            "row after row, press and draw in turn".into(),
            rows.iter().map(|row| row.iter().map(both).collect()).collect(),
        ),
        6 | 7 => (
            "row after row, all press, then all draw".into(),
            rows.iter().flat_map(|row| Stroke::BOTH.map(|stroke| one(row, stroke))).collect(),
        ),
        8 => (
            "the whole block press, then the whole block draw".into(),
            Stroke::BOTH.iter().flat_map(|stroke| rows.iter().map(|row| one(row, *stroke))).collect(),
        ),
        _ => {
            let longest = rows.iter().map(Vec::len).max().unwrap_or(0);
            let across =
                (0..longest).flat_map(|idx| rows.iter().filter_map(move |row| row.get(idx)).map(both));
            ("across the rows, press and draw in turn".into(), vec![across.collect()])
        }
    }
}
