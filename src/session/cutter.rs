//! Cuts takes out of a running sound: a take begins when a note stands out of the noise, and ends when it has stopped
//! and rung out.

use std::collections::VecDeque;

use super::listener::Listener;
use super::note::SoundingNote;
use crate::segmentation::level::{HOP_S, Hop, hops, push};

/// Sound kept from before the note, s: its slow start, and quiet to hold it against.
const BEFORE_S: f64 = 0.7;
/// Sound kept after the stop, s: the tongues ring for some tenths of a second.
const TAIL_S: f64 = 0.6;
/// A note stands out from this far above the noise, dB, for this long, s.
const STANDS_OUT_DB: f64 = 15.0;
const STANDS_OUT_S: f64 = 0.06;
/// And not below this level, dBFS: an input without any noise of its own would let everything stand out.
const LEAST_DBFS: f64 = -75.0;
/// The noise is learnt over this long, s, and not trusted before this much of it was heard.
const FLOOR_S: f64 = 3.0;
const FLOOR_LEAST_S: f64 = 0.3;
/// The noise floor is this quantile of the levels: what is quiet between two notes counts, not the handling.
const FLOOR_QUANTILE: f64 = 0.2;
/// Below this an input gives digital silence and no room, dBFS: the noise of 16 bits lies at -98. From memory.
const MUTED_DBFS: f64 = -110.0;
/// The note has stopped when it lies this far below the loudest of the last second, or this near to the noise, dB.
const STOPPED_DB: f64 = 20.0;
const NEAR_FLOOR_DB: f64 = 6.0;
/// A note that is back within this time has not stopped: beats and a shaking bellows, s.
const BRIDGE_S: f64 = 0.25;
/// It is back when it comes this near to the loudest, dB.
const BACK_DB: f64 = 10.0;
/// Shorter sounds are knocks, s.
const KNOCK_S: f64 = 0.25;
/// A longer note is ended here, s; it is held in memory.
const LONGEST_S: f64 = 40.0;
/// Width of the level that decides, s: two periods of the lowest reed, less a little.
const WIDTH_S: f64 = 0.06;

/// Something that happened in the sound.
#[derive(Debug, Clone, PartialEq)]
pub enum Cut {
    /// A note stands out.
    Began,
    /// It was a knock, and is forgotten.
    Knock,
    /// A note has ended.
    Ended(Piece),
}

/// A note cut out of the sound, with what lies before and after it.
#[derive(Debug, Clone, PartialEq)]
pub struct Piece {
    /// Frames of all channels, interleaved.
    pub sound: Vec<f32>,
    /// Its first frame, counted from the first that was heard.
    pub from: u64,
    /// The frame after its last.
    pub to: u64,
    /// How it ended.
    pub end: PieceEnd,
}

/// How a note ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PieceEnd {
    /// It stopped and rang out.
    Stopped,
    /// The next note came before it had rung out.
    NextNote,
    /// It lasted longer than a take may.
    TooLong,
    /// The sound ended inside it.
    CutOff,
}

/// Listens to running sound and cuts notes out of it.
#[derive(Debug)]
pub struct Cutter {
    /// Keeps the note that sounds; short of one, only what lies shortly before now.
    listener: Listener,
    quiet: VecDeque<f64>,
    floor_db: Option<f64>,
    is_clipped: bool,
    loud_hops: usize,
    hops_since_floor: usize,
    note: Option<SoundingNote>,
}

impl Cutter {
    /// For `channels` interleaved channels, at least one.
    pub fn new(rate_hz: u32, channels: usize) -> Self {
        Self {
            listener: Listener::new(rate_hz, channels, WIDTH_S),
            quiet: VecDeque::new(),
            floor_db: None,
            is_clipped: false,
            loud_hops: 0,
            hops_since_floor: 0,
            note: None,
        }
    }

    /// Take in interleaved frames.
    pub fn hear(&mut self, sound: &[f32]) -> Vec<Cut> {
        let mut cuts = Vec::new();
        for frame in sound.chunks_exact(self.listener.channels()) {
            if let Some(hop) = self.listener.frame(frame) {
                cuts.extend(self.hop(hop));
            }
        }
        cuts
    }

    /// The sound has ended: give what is there of a note.
    pub fn finish(&mut self) -> Option<Piece> {
        let note = self.note.take()?;
        (!note.is_over && note.hops >= hops(KNOCK_S))
            .then(|| self.piece(self.listener.heard(), PieceEnd::CutOff))
    }

    /// Forget the note that sounds.
    pub fn let_go(&mut self) {
        if let Some(note) = &mut self.note {
            note.is_over = true;
        }
    }

    /// What sounds is no note but the room: forget it, and learn the noise anew.
    pub fn learn_room(&mut self) {
        self.note = None;
        self.quiet.clear();
        self.floor_db = None;
        self.loud_hops = 0;
    }

    /// The level now, dBFS, rumble weakened.
    pub fn level_db(&self) -> f64 {
        self.listener.level_db()
    }

    /// The noise between the notes, dBFS; not known in the first moments.
    pub fn floor_db(&self) -> Option<f64> {
        self.floor_db
    }

    /// Whether anything was clipped since this was last asked.
    pub fn was_clipped(&mut self) -> bool {
        std::mem::take(&mut self.is_clipped)
    }

    /// How long the note that sounds has been steady, s; `None` when none sounds.
    pub fn steady_s(&self) -> Option<f64> {
        let note = self.note.as_ref().filter(|note| !note.is_over)?;
        Some(note.best_hops as f64 * HOP_S)
    }

    /// Frames heard so far.
    pub fn heard(&self) -> u64 {
        self.listener.heard()
    }

    fn hop(&mut self, hop: Hop) -> Option<Cut> {
        self.is_clipped |= hop.is_clipped;
        match self.note.take() {
            None => self.wait(),
            Some(note) => self.follow(note),
        }
    }

    /// No note sounds: learn the noise, and see whether one stands out.
    fn wait(&mut self) -> Option<Cut> {
        self.listener.keep(BEFORE_S);
        let level = self.listener.level_db();
        let stands_out = self.floor_db.is_some_and(|floor| level > (floor + STANDS_OUT_DB).max(LEAST_DBFS));
        self.loud_hops = if stands_out { self.loud_hops + 1 } else { 0 };
        if self.loud_hops >= hops(STANDS_OUT_S) {
            self.loud_hops = 0;
            self.note = Some(SoundingNote::default());
            return Some(Cut::Began);
        }
        // A muted input tells nothing of the room: with it as the noise, the room itself would stand out afterwards.
        if level > MUTED_DBFS {
            push(&mut self.quiet, level, hops(FLOOR_S));
            self.hops_since_floor += 1;
        }
        // Sorting ten times a second is enough.
        if self.quiet.len() >= hops(FLOOR_LEAST_S) && (self.hops_since_floor >= 20 || self.floor_db.is_none())
        {
            self.hops_since_floor = 0;
            let mut sorted: Vec<f64> = self.quiet.iter().copied().collect();
            sorted.sort_by(f64::total_cmp);
            self.floor_db = sorted.get((sorted.len() as f64 * FLOOR_QUANTILE) as usize).copied();
        }
        None
    }

    fn follow(&mut self, mut note: SoundingNote) -> Option<Cut> {
        note.hops += 1;
        note.follow_level(self.listener.level_db());
        let loudest = note.loudest();
        let floor = self.floor_db.unwrap_or(LEAST_DBFS);
        match note.stopped_hops {
            None => {
                let is_down = self.listener.level_db() < (loudest - STOPPED_DB).max(floor + NEAR_FLOOR_DB);
                if is_down && note.hops < hops(KNOCK_S) {
                    return Some(Cut::Knock);
                }
                note.stopped_hops = is_down.then_some(0);
                if !note.is_over && note.hops > hops(LONGEST_S) {
                    note.is_over = true;
                    let piece = self.piece(self.listener.heard(), PieceEnd::TooLong);
                    self.note = Some(note);
                    return Some(Cut::Ended(piece));
                }
            }
            Some(since) => {
                note.stopped_hops = Some(since + 1);
                note.back_hops =
                    if self.listener.level_db() > loudest - BACK_DB { note.back_hops + 1 } else { 0 };
                let is_back = note.back_hops >= hops(STANDS_OUT_S);
                if is_back && since < hops(BRIDGE_S) {
                    (note.stopped_hops, note.back_hops) = (None, 0);
                } else if is_back || since + 1 >= hops(TAIL_S) {
                    if note.is_over {
                        return None;
                    }
                    // The next note keeps its start.
                    let back = if is_back { 2.0 * STANDS_OUT_S } else { 0.0 };
                    let to = self.listener.heard().saturating_sub(self.listener.frames(back));
                    let end = if is_back { PieceEnd::NextNote } else { PieceEnd::Stopped };
                    return Some(Cut::Ended(self.piece(to, end)));
                }
            }
        }
        if note.is_over {
            self.listener.keep(BEFORE_S);
        }
        self.note = Some(note);
        None
    }

    /// Everything kept up to the frame `to`.
    fn piece(&mut self, to: u64, end: PieceEnd) -> Piece {
        let from = self.listener.from();
        let to = to.max(from);
        let sound = self.listener.sound_to(to);
        self.listener.forget(to);
        Piece { sound, from, to, end }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE: u32 = 8_000;

    /// Seconds of noise at -70 dBFS with a tone of 1 kHz at `level(t)`.
    fn sound(seconds: f64, level: impl Fn(f64) -> f64) -> Vec<f32> {
        let n = (seconds * f64::from(RATE)) as u32;
        let at = |k: u32| {
            let t = f64::from(k) / f64::from(RATE);
            let noise = f64::from(k.wrapping_mul(2_654_435_761) >> 16) / 32_768.0 - 1.0;
            (level(t) * (std::f64::consts::TAU * 1000.0 * t).sin() + 0.0005 * noise) as f32
        };
        (0..n).map(at).collect()
    }

    fn cut(sound: &[f32]) -> (Cutter, Vec<Cut>) {
        let mut cutter = Cutter::new(RATE, 1);
        // In blocks of an odd length: where blocks begin must not matter.
        let cuts = sound.chunks(37).flat_map(|block| cutter.hear(block)).collect();
        (cutter, cuts)
    }

    fn pieces(cuts: Vec<Cut>) -> Vec<Piece> {
        cuts.into_iter()
            .filter_map(|cut| if let Cut::Ended(piece) = cut { Some(piece) } else { None })
            .collect()
    }

    #[test]
    fn a_note_is_cut_with_its_start_and_its_tail() {
        let all = sound(6.0, |t| if (2.0..4.0).contains(&t) { 0.1 } else { 0.0 });
        let (cutter, cuts) = cut(&all);
        assert_eq!(cuts.first(), Some(&Cut::Began));
        let pieces = pieces(cuts);
        let [piece] = pieces.as_slice() else { panic!("{} pieces", pieces.len()) };
        let second = |frame: u64| frame as f64 / f64::from(RATE);
        assert!((1.2..1.5).contains(&second(piece.from)), "{}", second(piece.from));
        assert!((4.5..4.9).contains(&second(piece.to)), "{}", second(piece.to));
        assert_eq!(piece.sound, all[piece.from as usize..piece.to as usize]);
        assert_eq!(piece.end, PieceEnd::Stopped);
        assert!((cutter.floor_db().unwrap() + 71.0).abs() < 3.0, "{:?}", cutter.floor_db());
    }

    #[test]
    fn steady_time_grows_with_the_note() {
        let all = sound(3.5, |t| if t > 2.0 { 0.1 } else { 0.0 });
        let (mut cutter, _) = cut(&all);
        let steady = cutter.steady_s().unwrap();
        assert!((1.2..1.5).contains(&steady), "{steady}");
        let piece = cutter.finish().unwrap();
        assert_eq!((piece.end, piece.to), (PieceEnd::CutOff, all.len() as u64));
    }

    #[test]
    fn a_knock_is_forgotten() {
        let (_, cuts) = cut(&sound(4.0, |t| if (2.0..2.05).contains(&t) { 0.5 } else { 0.0 }));
        assert!(cuts.iter().all(|cut| !matches!(cut, Cut::Ended(_))), "{cuts:?}");
    }

    #[test]
    fn beats_of_two_reeds_do_not_end_the_note() {
        let (_, cuts) = cut(&sound(8.0, |t| {
            if (2.0..6.0).contains(&t) { 0.1 * (std::f64::consts::TAU * 1.5 * t).cos() } else { 0.0 }
        }));
        assert_eq!(pieces(cuts).len(), 1);
    }

    #[test]
    fn the_next_note_may_come_soon() {
        let all = sound(8.0, |t| if (2.0..4.0).contains(&t) || (4.4..6.0).contains(&t) { 0.1 } else { 0.0 });
        let pieces = pieces(cut(&all).1);
        assert_eq!(
            pieces.iter().map(|piece| piece.end).collect::<Vec<_>>(),
            [PieceEnd::NextNote, PieceEnd::Stopped]
        );
        assert!(pieces[1].from < (4.4 * f64::from(RATE)) as u64, "its start is kept");
    }

    #[test]
    fn no_note_without_quiet_before_it() {
        let (cutter, cuts) = cut(&sound(3.0, |_| 0.1));
        assert_eq!(cuts, []);
        assert_eq!(cutter.steady_s(), None);
    }

    #[test]
    fn an_endless_note_ends_once() {
        let (_, cuts) = cut(&sound(50.0, |t| if (2.0..48.0).contains(&t) { 0.1 } else { 0.0 }));
        let pieces = pieces(cuts);
        assert_eq!(pieces.iter().map(|piece| piece.end).collect::<Vec<_>>(), [PieceEnd::TooLong]);
    }
}
