//! Takes a long recording apart: what stands out is looked at as soon as it has stopped, and then forgotten.

use super::channel::Channel;
use super::detection::{Completeness, Detection, DetectionKind, NoNote, Note};
use super::level::{HOP_S, hops};
use super::segmenter::{Edge, Segmenter, Stretch};
use super::tone::{Holds, LEAST_NOTE_S, LOOK_S, Sound, Tone};
use super::{channel, decimator};
use crate::units::{Cents, Dbfs, Hz};

/// Sound kept from before the note, s: its slow start, and quiet to hold it against.
const BEFORE_S: f64 = 0.7;
/// Sound kept after the stop, s: the tongues ring for some tenths of a second.
const TAIL_S: f64 = 0.8;
/// Shorter sounds are knocks, s.
const KNOCK_S: f64 = 0.15;
/// The room is heard alone from so long before a sound to so long before it, s: the level's own width lies between; and so
/// long after the last stop, s, when the tongue has rung out.
const ROOM_S: [f64; 2] = [0.55, 0.1];
const RINGS_S: f64 = 0.25;
/// Of a gap this part belongs to the note before, where it is too short for both.
const GAP_SHARE: f64 = 0.3;
/// A channel clipped in more than this share of the note's hops costs so many dB.
const CLIPPED_SHARE: f64 = 0.01;
const CLIPPED_COSTS_DB: f64 = 30.0;
/// Spacing of the kept levels, s.
pub const LEVEL_STEP_S: f64 = 0.1;
/// More channels than this are not taken apart.
pub const MOST_CHANNELS: usize = 32;

/// Listens to a long recording and finds its notes.
#[derive(Debug)]
pub struct Splitter {
    ears: Vec<Channel>,
    segmenter: Segmenter,
    rate_hz: u32,
    /// Frames of a hop at the recording's rate, and samples at the lower one.
    hop_frames: usize,
    hop_low: usize,
    /// Frames that do not fill a hop yet, interleaved.
    pending: Vec<f32>,
    channel_hop: Vec<f32>,
    /// Hops heard, and the first of those whose sound is still kept.
    heard: usize,
    kept_from: usize,
    is_settled: bool,
    /// Where the last sound stopped, hops.
    last_stop: usize,
    /// Sounds that wait for their tail, the oldest first.
    waiting: Vec<Detection>,
    levels: Vec<f32>,
    loudest: f32,
}

impl Splitter {
    /// For `channels` interleaved channels, 1 to [`MOST_CHANNELS`].
    pub fn new(rate_hz: u32, channels: usize) -> Self {
        let step = decimator::divisor(rate_hz);
        let low_rate = f64::from(rate_hz) / step as f64;
        let hop_low = ((HOP_S * low_rate).round() as usize).max(1);
        let channels = channels.clamp(1, MOST_CHANNELS);
        Self {
            ears: (0..channels).map(|_| Channel::new(rate_hz, low_rate)).collect(),
            segmenter: Segmenter::new(),
            rate_hz,
            hop_frames: hop_low * step,
            hop_low,
            pending: Vec::new(),
            channel_hop: Vec::new(),
            heard: 0,
            kept_from: 0,
            is_settled: false,
            last_stop: 0,
            waiting: Vec::new(),
            levels: Vec::new(),
            loudest: f32::NEG_INFINITY,
        }
    }

    /// Take in interleaved frames; gives what was found since, in the order of time.
    pub fn hear(&mut self, sound: &[f32]) -> Vec<Detection> {
        let mut found = Vec::new();
        let hop_len = self.hop_frames * self.ears.len();
        let mut left = sound;
        while !left.is_empty() {
            let wanted = hop_len - self.pending.len();
            let (now, later) = left.split_at(wanted.min(left.len()));
            self.pending.extend_from_slice(now);
            left = later;
            if self.pending.len() == hop_len {
                let hop = std::mem::take(&mut self.pending);
                found.extend(self.hop(&hop));
                self.pending = hop;
                self.pending.clear();
            }
        }
        found
    }

    /// The recording has ended.
    pub fn finish(mut self) -> (Vec<Detection>, Vec<f32>) {
        if !self.is_settled {
            self.settle();
        }
        if let Some(stretch) = self.segmenter.finish() {
            let is_cut = stretch.stop + hops(0.1) >= self.heard;
            self.look_at(stretch, is_cut);
        }
        let end = self.frames(self.heard) + (self.pending.len() / self.ears.len()) as u64;
        let mut found = std::mem::take(&mut self.waiting);
        for one in &mut found {
            one.to = one.to.min(end);
        }
        (found, self.levels)
    }

    fn hop(&mut self, frames: &[f32]) -> Vec<Detection> {
        let (n_channels, is_between) = (self.ears.len(), self.segmenter.is_between());
        let (mut excess, mut level) = (f32::NEG_INFINITY, f32::NEG_INFINITY);
        for (channel, ear) in self.ears.iter_mut().enumerate() {
            self.channel_hop.clear();
            self.channel_hop.extend(frames.iter().skip(channel).step_by(n_channels));
            let hop = ear.hear(&mut self.channel_hop, is_between);
            excess = excess.max(hop.excess_db);
            level = level.max(hop.level_db);
        }
        self.heard += 1;
        self.keep_level(level);
        self.follow(f64::from(excess));
        self.forget();
        let now = self.frames(self.heard);
        let ready = self.waiting.iter().take_while(|one| one.to <= now).count();
        self.waiting.drain(..ready).collect()
    }

    fn keep_level(&mut self, level: f32) {
        self.loudest = self.loudest.max(level);
        if self.heard.is_multiple_of(hops(LEVEL_STEP_S)) {
            self.levels.push(self.loudest);
            self.loudest = f32::NEG_INFINITY;
        }
    }

    /// Keep what a sound needs, and what lay before it.
    fn forget(&mut self) {
        let needed = self.segmenter.start().unwrap_or(self.heard).saturating_sub(hops(1.0));
        // In one go now and then: moving the rest costs.
        if needed < self.kept_from + hops(1.0) {
            return;
        }
        let n_hops = needed - self.kept_from;
        for ear in &mut self.ears {
            ear.hops.drain(..n_hops.min(ear.hops.len()));
            ear.sound.drain(..(n_hops * self.hop_low).min(ear.sound.len()));
        }
        self.kept_from = needed;
    }

    /// Find out what a stretch holds.
    fn look_at(&mut self, stretch: Stretch, is_end_cut: bool) {
        let channel = self.best_channel(stretch);
        let lasts_s = self.seconds(stretch.stop.saturating_sub(stretch.start));
        self.keep_room(stretch.start);
        let from = self.low(stretch.start);
        let to = self.low(stretch.stop).max(from);
        let Some(ear) = self.ears.get(channel) else { return };
        let to = to.min(ear.sound.len());
        let samples: Vec<f64> = ear.sound.range(from.min(to)..to).map(|x| f64::from(*x)).collect();
        let sound = Sound { samples: &samples, rate: self.low_rate(), room: &ear.room };
        let holds = if lasts_s < KNOCK_S { Holds::Noise } else { sound.holds() };
        let Holds::Notes(tones) = holds else {
            self.wait(stretch.start, stretch.stop, DetectionKind::Other(no_note(&holds, lasts_s)));
            return;
        };
        // What lies beside the notes is looked at by itself: nothing that stood out goes unsaid.
        let mut pieces: Vec<(f64, f64, Holds)> = Vec::new();
        let mut from_s = 0.0;
        for tone in tones {
            pieces.extend(sound.left_over(from_s, tone.from_s));
            from_s = tone.to_s;
            pieces.push((tone.from_s, tone.to_s, Holds::Notes(vec![tone])));
        }
        pieces.extend(sound.left_over(from_s, lasts_s));
        let hop_s = self.seconds(1);
        for (from_s, to_s, holds) in pieces {
            let at = |s: f64| (stretch.start + (s / hop_s).round() as usize).min(stretch.stop);
            match holds {
                Holds::Notes(tones) => {
                    for tone in tones {
                        self.add_note(stretch, channel, &tone, is_end_cut);
                    }
                }
                other => {
                    self.wait(at(from_s), at(to_s), DetectionKind::Other(no_note(&other, to_s - from_s)))
                }
            }
        }
    }

    /// Until the first stop nobody knows how quiet it is; now all that was heard so far is gone through once more.
    fn settle(&mut self) {
        self.is_settled = true;
        self.ears.iter_mut().for_each(Channel::settle);
        self.segmenter = Segmenter::in_known_noise(self.kept_from);
        for idx in 0..self.ears.first().map_or(0, |ear| ear.hops.len()) {
            let over_noise = self.ears.iter().filter_map(|ear| Some(ear.over_noise(ear.hops.get(idx)?)));
            let excess = over_noise.fold(f64::NEG_INFINITY, f64::max);
            self.follow(excess);
        }
    }

    /// What the level does: a stretch that has stopped is looked at.
    fn follow(&mut self, excess: f64) {
        match self.segmenter.hear(excess) {
            Some(Edge::Began { start }) => {
                let before = self.frames(start.saturating_sub(2));
                self.waiting.iter_mut().for_each(|one| one.to = one.to.min(before));
            }
            Some(Edge::Stopped(stretch)) if self.is_settled => {
                self.look_at(stretch, false);
                self.last_stop = stretch.stop;
            }
            Some(Edge::Stopped(_)) => self.settle(),
            None => {}
        }
    }

    /// Keep what the room sounds like alone, where it was quiet for long enough before `start`.
    fn keep_room(&mut self, start: usize) {
        let (from, to) = (start.saturating_sub(hops(ROOM_S[0])), start.saturating_sub(hops(ROOM_S[1])));
        let rings = if self.last_stop == 0 { 0 } else { hops(RINGS_S) };
        if start < self.last_stop + rings + hops(ROOM_S[0]) || from < self.kept_from {
            return;
        }
        let (from, to) = (self.low(from), self.low(to));
        for ear in &mut self.ears {
            let to = to.min(ear.sound.len());
            ear.room.swap(0, 1);
            let [newest, _] = &mut ear.room;
            newest.clear();
            newest.extend(ear.sound.range(from.min(to)..to).map(|x| f64::from(*x)));
        }
    }

    fn add_note(&mut self, stretch: Stretch, channel: usize, tone: &Tone, is_end_cut: bool) {
        let hop_s = self.seconds(1);
        let start = stretch.start + (tone.from_s / hop_s).round() as usize;
        let stop = (stretch.start + (tone.to_s / hop_s).round() as usize).min(stretch.stop);
        let kept = self.ears.get(channel).map(|ear| {
            let range =
                start.saturating_sub(self.kept_from)..stop.saturating_sub(self.kept_from).min(ear.hops.len());
            ear.hops.range(range.start.min(range.end)..range.end).copied().collect::<Vec<_>>()
        });
        let kept = kept.unwrap_or_default();
        let mut levels: Vec<f32> = kept.iter().map(|hop| hop.level_db).collect();
        levels.sort_by(f32::total_cmp);
        let level = levels.get(levels.len() / 2).map_or(channel::QUIETEST_DBFS, |level| f64::from(*level));
        let is_at_begin = self.seconds(start) < 0.1;
        let whole = match () {
            () if stretch.is_too_long && stop == stretch.stop => Completeness::TooLong,
            () if is_at_begin => Completeness::BeginCut,
            () if is_end_cut && stop == stretch.stop => Completeness::EndCut,
            () => Completeness::Complete,
        };
        let Some(pitch) = Hz::new(tone.hz) else { return };
        let note = Note {
            pitch,
            spread: Cents::new(tone.spread_cents).unwrap_or(Cents::ZERO),
            level: Dbfs::new(level).unwrap_or(Dbfs::FLOOR),
            is_clipped: kept.iter().any(|hop| hop.is_clipped),
            whole,
        };
        self.wait(start, stop, DetectionKind::Note(note));
    }

    fn wait(&mut self, start: usize, stop: usize, kind: DetectionKind) {
        // Of a short gap the note before needs its part.
        let gap = start.saturating_sub(self.last_stop);
        let free = self.last_stop + (GAP_SHARE * gap as f64) as usize;
        let from = start.saturating_sub(hops(BEFORE_S)).max(free.min(start));
        let (from, begin) = (self.frames(from), self.frames(start));
        if let Some(before) = self.waiting.last_mut() {
            before.to = before.to.min(begin);
        }
        self.waiting.push(Detection {
            from,
            to: self.frames(stop + hops(TAIL_S)),
            start_s: self.seconds(start),
            stop_s: self.seconds(stop),
            kind,
        });
        self.last_stop = stop;
    }

    /// The channel that stands highest above its noise, unless it is clipped.
    fn best_channel(&self, stretch: Stretch) -> usize {
        let mut best = (f64::NEG_INFINITY, 0);
        for (channel, ear) in self.ears.iter().enumerate() {
            let from = (stretch.start.saturating_sub(self.kept_from)).min(ear.hops.len());
            let to = (stretch.stop.saturating_sub(self.kept_from)).clamp(from, ear.hops.len());
            let n = (to - from).max(1) as f64;
            let sum: f64 = ear.hops.range(from..to).map(|hop| f64::from(hop.excess_db)).sum();
            let clipped = ear.hops.range(from..to).filter(|hop| hop.is_clipped).count() as f64;
            let score = sum / n - if clipped > CLIPPED_SHARE * n { CLIPPED_COSTS_DB } else { 0.0 };
            if score > best.0 {
                best = (score, channel);
            }
        }
        best.1
    }

    /// Where a hop begins in the kept sound.
    fn low(&self, hop: usize) -> usize {
        hop.saturating_sub(self.kept_from) * self.hop_low
    }

    fn low_rate(&self) -> f64 {
        f64::from(self.rate_hz) * self.hop_low as f64 / self.hop_frames as f64
    }

    fn frames(&self, hop: usize) -> u64 {
        (hop * self.hop_frames) as u64
    }

    fn seconds(&self, hop: usize) -> f64 {
        self.frames(hop) as f64 / f64::from(self.rate_hz)
    }
}

/// What a stretch is that holds no note.
fn no_note(holds: &Holds, lasts_s: f64) -> NoNote {
    match holds {
        Holds::Blip(hz) => Hz::new(*hz).map_or(NoNote::Noise, |pitch| NoNote::Blip { lasts_s, pitch }),
        Holds::Unsteady | Holds::Notes(_) => NoNote::Unsteady,
        Holds::Noise if lasts_s < KNOCK_S => NoNote::Knock,
        Holds::Noise => NoNote::Noise,
    }
}

// A note is long enough to be looked at twice.
const _: () = assert!(LEAST_NOTE_S > LOOK_S);
