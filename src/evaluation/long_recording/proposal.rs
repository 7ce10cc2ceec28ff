//! What is to become of each note: found, placed, and not yet stored.

use super::known_offset::KnownStanding;
use super::scan::ScannedRecording;
use crate::alignment::{self, PlacingDoubt, PlayOrder, Rival, align};
use crate::audio::Streamed;
use crate::instrument::{Instrument, PlatePlace, ReedPlace};
use crate::segmentation::{Completeness, DetectionKind, NoNote};
use crate::units::{Cents, Dbfs, Hz};

/// A note this much softer than the middle of all is no good take, dB.
const TOO_SOFT_DB: f64 = 18.0;
/// Lost sound shows so late at most, s.
const SHOWS_LATE_S: f64 = 1.1;
/// A shorter note is no good take, s.
const GOOD_S: f64 = 1.2;

/// A note with its place.
#[derive(Debug, Clone)]
pub struct PlacedNote {
    /// First frame of the cut.
    pub from: u64,
    /// Frame after its last.
    pub to: u64,
    /// Where the note sounds, s.
    pub start_s: f64,
    /// Where it stops, s.
    pub stop_s: f64,
    /// `None` for a stretch that only the list names.
    pub pitch: Option<Hz>,
    /// Its level.
    pub level: Option<Dbfs>,
    /// The reed it is of.
    pub place: Option<ReedPlace>,
    /// From that reed's target.
    pub deviation: Option<Cents>,
    /// Why the place is doubtful, or missing; empty when it is sure.
    pub doubts: Vec<String>,
    /// What is wrong with the note as a take.
    pub faults: Vec<String>,
    /// Of several notes of a reed, the one that counts.
    pub speaks: bool,
    /// The list gives the place.
    pub is_said: bool,
}

/// Everything that is shown.
#[derive(Debug)]
pub struct Proposal {
    /// Name of the file.
    pub name: String,
    /// Of the file.
    pub sha256: String,
    /// Its rate, channels and remarks.
    pub streamed: Streamed,
    /// Levels over time, dBFS.
    pub levels: Vec<f32>,
    /// Every note, in order of time.
    pub rows: Vec<PlacedNote>,
    /// What stood out and is no note: from, to, what.
    pub others: Vec<(f64, f64, NoNote)>,
    /// The order of play that fits best.
    pub order: Option<String>,
    /// The next one, and how much less likely it is.
    pub runner_up: Option<(String, f64)>,
    /// How far the notes stand from the plan.
    pub offset: Option<Cents>,
    /// What was known of the offset beforehand.
    pub known: Option<KnownStanding>,
    /// Another offset at which the notes fit too.
    pub rival: Option<Rival>,
    /// Plates that seem to lie in each other's place.
    pub swaps: Vec<[PlatePlace; 2]>,
    /// Reeds of the order without a note.
    pub not_heard: Vec<ReedPlace>,
}

/// Place the notes of a recording on the plan, with what is doubtful of each place and wrong with each take.
pub fn propose(
    instrument: &Instrument,
    orders: &[PlayOrder],
    heard: ScannedRecording,
    known: Option<KnownStanding>,
) -> Proposal {
    let mut rows: Vec<PlacedNote> = Vec::new();
    let mut others = Vec::new();
    for one in heard.found {
        match one.kind {
            DetectionKind::Other(what) => others.push((one.start_s, one.stop_s, what)),
            DetectionKind::Note(note) => {
                let whole = match note.whole {
                    Completeness::Complete => None,
                    Completeness::BeginCut => Some("the recording begins inside it"),
                    Completeness::EndCut => Some("the recording ends inside it"),
                    Completeness::TooLong => Some("it is longer than a take may be, and was cut"),
                };
                let mut faults: Vec<String> = whole.into_iter().map(str::to_owned).collect();
                if note.is_clipped {
                    faults.push("it is clipped".into());
                }
                let spoils = |at_s: f64| at_s >= one.start_s && at_s - SHOWS_LATE_S <= one.stop_s;
                faults.extend(
                    heard.lost.iter().filter(|(at_s, _)| spoils(*at_s)).map(|(_, what)| what.clone()),
                );
                let lasts_s = one.stop_s - one.start_s;
                if lasts_s < GOOD_S {
                    faults.push(format!("it sounds for {lasts_s:.1} s only"));
                }
                rows.push(PlacedNote {
                    from: one.from,
                    to: one.to,
                    start_s: one.start_s,
                    stop_s: one.stop_s,
                    pitch: Some(note.pitch),
                    level: Some(note.level),
                    place: None,
                    deviation: None,
                    doubts: Vec::new(),
                    faults,
                    speaks: false,
                    is_said: false,
                });
            }
        }
    }
    mark_soft(&mut rows);
    let notes = notes(&rows);
    let alignment = align(instrument, orders, &notes, known.as_ref().map(|known| known.offset));
    let mut proposal = Proposal {
        name: heard.name,
        sha256: heard.sha256,
        streamed: heard.streamed,
        levels: heard.levels,
        rows,
        others,
        order: None,
        runner_up: None,
        offset: None,
        known,
        rival: None,
        swaps: Vec::new(),
        not_heard: Vec::new(),
    };
    let Some(alignment) = alignment else {
        proposal.not_heard = all_reeds(orders);
        return proposal;
    };
    for (row, placing) in proposal.rows.iter_mut().zip(alignment.placings) {
        row.doubts = placing.doubts.iter().map(doubt).collect();
        (row.place, row.deviation, row.speaks) = (placing.place, placing.deviation, placing.speaks);
    }
    proposal.order = Some(alignment.order);
    proposal.runner_up = alignment.runner_up;
    proposal.offset = Some(alignment.offset);
    proposal.rival = alignment.rival;
    proposal.swaps = alignment.swaps;
    proposal.not_heard = alignment.not_heard;
    proposal
}

impl Proposal {
    /// After places were changed: who speaks, how far all lie from the plan, and which reeds are missing now.
    pub fn settle(&mut self, instrument: &Instrument) {
        let mut placings: Vec<alignment::Placing> = self
            .rows
            .iter()
            .map(|row| alignment::Placing {
                place: row.place.clone(),
                deviation: row.deviation,
                doubts: Vec::new(),
                speaks: false,
            })
            .collect();
        alignment::let_speak(&mut placings, &notes(&self.rows));
        for (row, placing) in self.rows.iter_mut().zip(placings) {
            row.speaks = placing.speaks;
            let target = row.place.as_ref().and_then(|place| instrument.target(place));
            row.deviation = row.pitch.zip(target).map(|(pitch, target)| pitch.cents_above(target));
        }
        let mut offs: Vec<f64> = self.rows.iter().filter_map(|row| row.deviation.map(Cents::get)).collect();
        offs.sort_by(f64::total_cmp);
        self.offset = offs.get(offs.len() / 2).copied().and_then(Cents::new);
        let placed: Vec<&ReedPlace> = self.rows.iter().filter_map(|row| row.place.as_ref()).collect();
        self.not_heard.retain(|reed| !placed.contains(&reed));
    }

    /// Of a reed that was played several times, the note that speaks instead of this one.
    pub fn speaks_instead(&self, row: &PlacedNote) -> Option<&PlacedNote> {
        if row.speaks || row.place.is_none() {
            return None;
        }
        self.rows.iter().find(|other| other.speaks && other.place == row.place)
    }
}

fn notes(rows: &[PlacedNote]) -> Vec<alignment::Observation> {
    let unknown = Hz::STANDARD_A4;
    rows.iter()
        .map(|row| alignment::Observation {
            pitch: row.pitch.unwrap_or(unknown),
            level: row.level.unwrap_or(Dbfs::FLOOR),
            is_good: row.faults.is_empty(),
        })
        .collect()
}

fn mark_soft(rows: &mut [PlacedNote]) {
    let mut levels: Vec<f64> = rows.iter().filter_map(|row| row.level.map(Dbfs::get)).collect();
    levels.sort_by(f64::total_cmp);
    let Some(middle) = levels.get(levels.len() / 2).copied() else { return };
    for row in rows {
        let below = row.level.map_or(0.0, |level| middle - level.get());
        if below > TOO_SOFT_DB {
            row.faults.push(format!("it is {below:.0} dB softer than the others"));
        }
    }
}

fn all_reeds(orders: &[PlayOrder]) -> Vec<ReedPlace> {
    orders.first().map_or(Vec::new(), |order| order.runs.iter().flatten().flatten().cloned().collect())
}

fn doubt(doubt: &PlacingDoubt) -> String {
    match doubt {
        PlacingDoubt::Likely { part, other } => {
            format!("{:.0} % likely; it may be {other}", 100.0 * part.min(0.99))
        }
        PlacingDoubt::FarOff { by } => format!("{by} from that reed even with the common offset taken off"),
        PlacingDoubt::Swapped { with } => {
            format!("it has the pitch of {with}: the two plates may lie in each other's place")
        }
        PlacingDoubt::WhichStroke { times } => {
            format!(
                "its plate sounds {times} times with one note; which go was press and which draw is hard to tell"
            )
        }
        PlacingDoubt::Astray => "its pitch fits no reed at this point of the order".into(),
    }
}
