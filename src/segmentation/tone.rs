//! Whether a stretch of sound is a note: one pitch that stays, carries most of the sound and came with it.

use crate::analysis::fundamental::fundamental;
use crate::analysis::spectrum::{Spectrum, spectrum};

/// Length of a look, s: sixteen periods of the lowest reed.
pub(super) const LOOK_S: f64 = 0.4;
/// A note sounds for this long at the least, s; shorter tones are tests and slips.
pub(super) const LEAST_NOTE_S: f64 = 0.8;
/// Looks of a stretch that seems to be one note, s apart; and where it does not.
const WIDE_S: f64 = 0.45;
const CLOSE_S: f64 = 0.1;
/// Looks agree within this, cents: a reed wanders by some cents, a voice by semitones.
const AGREE_CENTS: f64 = 35.0;
/// And the middle of them much better in a short tone, cents: in noise or a word some looks agree by chance.
const RESTS_CENTS: f64 = 2.0;
const SHORT_S: f64 = 1.3;
/// What is left beside the notes of a stretch is looked at from this length on, s: a ringing tongue is shorter.
const LEFT_OVER_S: f64 = 0.5;
/// So many looks in a row may say otherwise within a note: a knock, a word.
const ASTRAY: usize = 2;
/// Part of the sound's power that lies at the tone's partials.
const LEAST_SHARE: f64 = 0.5;
/// The tone is this much stronger than what lies at its partials in the room alone, power ratio (6 dB): hum is there always.
const OVER_ROOM: f64 = 4.0;
/// Where the room alone stands so much over its noise it has a line, hum, power ratio; so many times its power is taken away
/// there, since it comes and goes by a little.
const LINE_EXCESS: f64 = 8.0;
const LINE_TIMES: f64 = 2.0;

/// Sound at the lower rate.
pub(super) struct Sound<'a> {
    pub samples: &'a [f64],
    pub rate: f64,
    /// The room alone, heard twice, for comparison; empty where it was not.
    pub room: &'a [Vec<f64>; 2],
}

/// A tone within a stretch.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Tone {
    /// From and to, s from the stretch's start.
    pub from_s: f64,
    pub to_s: f64,
    pub hz: f64,
    pub spread_cents: f64,
}

/// What a stretch holds.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Holds {
    /// Notes, one after the other.
    Notes(Vec<Tone>),
    /// One tone, too short for a note.
    Blip(f64),
    /// Tones whose pitch never rests.
    Unsteady,
    /// No tone.
    Noise,
}

#[derive(Clone, Copy)]
struct PitchFrame {
    at_s: f64,
    hz: Option<f64>,
}

impl Tone {
    /// Whether its pitch rests as a reed's does.
    fn rests(&self, lasts_s: f64) -> bool {
        lasts_s >= SHORT_S || self.spread_cents <= RESTS_CENTS
    }
}

impl Sound<'_> {
    fn length_s(&self) -> f64 {
        self.samples.len() as f64 / self.rate
    }

    /// What it holds.
    pub fn holds(&self) -> Holds {
        let length_s = self.length_s();
        let room = Room::of(self.room, self.rate);
        let room = room.as_ref();
        if length_s < LEAST_NOTE_S {
            let look = self.looks(1, room).pop().and_then(|look| look.hz);
            return look
                .filter(|hz| self.came_with_it(*hz, 0.5 * length_s, room))
                .map_or(Holds::Noise, Holds::Blip);
        }
        // A few looks agree by chance, in low noise at least: a short stretch is looked at closely at once.
        let n_wide = if length_s < SHORT_S { 0 } else { ((length_s - LOOK_S) / WIDE_S).ceil() as usize + 1 };
        let wide = self.looks(n_wide, room);
        if let [run] = runs(&wide, wide.len(), 0).as_slice()
            && self.came_with_it(run.hz, 0.5 * length_s, room)
        {
            return Holds::Notes(vec![Tone { from_s: 0.0, to_s: length_s, ..run.clone() }]);
        }
        let close = self.looks(((length_s - LOOK_S) / CLOSE_S).ceil() as usize + 1, room);
        let least = ((LEAST_NOTE_S - 0.5 * LOOK_S) / CLOSE_S) as usize;
        let mut notes: Vec<Tone> = runs(&close, least, ASTRAY);
        notes.retain(|tone| self.came_with_it(tone.hz, 0.5 * (tone.from_s + tone.to_s), room));
        for tone in &mut notes {
            // A look sees a tone that fills a third of it: the middle of the outermost looks is nearly the end.
            tone.from_s = if tone.from_s < 0.8 * LOOK_S { 0.0 } else { tone.from_s - 0.25 * LOOK_S };
            let left_s = length_s - tone.to_s;
            tone.to_s = if left_s < 0.8 * LOOK_S { length_s } else { tone.to_s + 0.25 * LOOK_S };
        }
        notes.retain(|tone| tone.to_s - tone.from_s >= LEAST_NOTE_S && tone.rests(tone.to_s - tone.from_s));
        let n_tonal = close.iter().filter(|look| look.hz.is_some()).count();
        match (notes.is_empty(), 3 * n_tonal >= close.len()) {
            (false, _) => Holds::Notes(notes),
            (true, true) => Holds::Unsteady,
            (true, false) => Holds::Noise,
        }
    }

    /// What lies from one second to another beside the notes that were found; `None` where that is too little to tell.
    pub fn left_over(&self, from_s: f64, to_s: f64) -> Option<(f64, f64, Holds)> {
        if to_s - from_s < LEFT_OVER_S {
            return None;
        }
        let at = |s: f64| ((s * self.rate) as usize).min(self.samples.len());
        let samples = self.samples.get(at(from_s)..at(to_s))?;
        let mut holds = Sound { samples, ..*self }.holds();
        if let Holds::Notes(tones) = &mut holds {
            for tone in tones {
                (tone.from_s, tone.to_s) = (tone.from_s + from_s, tone.to_s + from_s);
            }
        }
        Some((from_s, to_s, holds))
    }

    /// `n` looks spread evenly.
    fn looks(&self, n: usize, room: Option<&Room>) -> Vec<PitchFrame> {
        let frame = ((LOOK_S * self.rate) as usize).min(self.samples.len());
        let left = self.samples.len() - frame;
        (0..n)
            .map(|idx| {
                let from = if n == 1 { left / 2 } else { left * idx / (n - 1) };
                let samples = self.samples.get(from..from + frame).unwrap_or_default();
                let at_s = (from + frame / 2) as f64 / self.rate;
                PitchFrame { at_s, hz: pitch(samples, self.rate, room) }
            })
            .collect()
    }

    /// Whether the tone at `at_s` is not in the room alone, as hum is, and carries what has come.
    fn came_with_it(&self, hz: f64, at_s: f64, room: Option<&Room>) -> bool {
        let frame = (LOOK_S * self.rate) as usize;
        let Some(room) = room else { return true };
        let from = ((at_s * self.rate) as usize).saturating_sub(frame / 2);
        let now = self.samples.get(from..(from + frame).min(self.samples.len())).unwrap_or_default();
        if now.is_empty() {
            return false;
        }
        let nyquist = 0.5 * self.rate;
        let (own, all) = at_partials(&spectrum(now, self.rate, LOOK_S, 1), hz, nyquist);
        let (own_before, all_before) = at_partials(&room.spectrum, hz, nyquist);
        own > OVER_ROOM * own_before && own - own_before > LEAST_SHARE * (all - all_before)
    }
}

/// The room alone.
struct Room {
    spectrum: Spectrum,
}

impl Room {
    fn of(heard: &[Vec<f64>; 2], rate: f64) -> Option<Self> {
        let is_enough = |samples: &&Vec<f64>| samples.len() >= (LOOK_S * rate) as usize;
        let mut each = heard.iter().filter(is_enough).map(|samples| spectrum(samples, rate, LOOK_S, 2));
        let mut spectrum = each.next()?;
        // What belongs to the room is there both times; a note that swells up from nothing is not.
        for other in each {
            spectrum.power.iter_mut().zip(&other.power).for_each(|(power, other)| *power = power.min(*other));
        }
        Some(Self { spectrum })
    }

    /// Take the room's own lines out of a spectrum.
    fn take_out(&self, heard: &mut Spectrum) {
        if heard.power.len() != self.spectrum.power.len() {
            return;
        }
        let rooms = self.spectrum.power.iter().zip(&self.spectrum.floor);
        for ((power, floor), (room, room_floor)) in heard.power.iter_mut().zip(&heard.floor).zip(rooms) {
            if *room > LINE_EXCESS * room_floor {
                *power = (*power - LINE_TIMES * room).max(*floor).min(*power);
            }
        }
    }
}

/// The pitch of a tone that carries most of the sound.
fn pitch(samples: &[f64], rate: f64, room: Option<&Room>) -> Option<f64> {
    if samples.len() < 64 {
        return None;
    }
    let mut spectrum = spectrum(samples, rate, LOOK_S, 1);
    room.into_iter().for_each(|room| room.take_out(&mut spectrum));
    let hz = fundamental(&spectrum, 0.5 * rate, None)?.hz;
    let (own, all) = at_partials(&spectrum, hz, 0.5 * rate);
    (own > LEAST_SHARE * all).then_some(hz)
}

/// Power at the partials of `hz`, and in all, rumble left out.
fn at_partials(spectrum: &Spectrum, hz: f64, nyquist: f64) -> (f64, f64) {
    let lowest = 0.75 * hz.min(80.0);
    let first = (lowest / spectrum.bin_hz) as usize;
    let mut own = 0.0;
    let all: f64 = spectrum.power.iter().skip(first).sum();
    for number in 1.. {
        let place = hz * f64::from(number);
        if place > nyquist {
            break;
        }
        // Wide enough for the other reed of a tremolo.
        let reach = (0.7 * spectrum.lobe_hz).max(0.018 * place).min(0.15 * hz);
        let (from, to) = ((place - reach) / spectrum.bin_hz, (place + reach) / spectrum.bin_hz);
        let bins =
            spectrum.power.get(from.ceil().max(0.0) as usize..=(to as usize).min(spectrum.power.len() - 1));
        own += bins.unwrap_or_default().iter().sum::<f64>();
    }
    (own, all)
}

/// Runs of looks that agree, each of `least` looks or more, with up to `astray` others in a row inside.
fn runs(looks: &[PitchFrame], least: usize, astray: usize) -> Vec<Tone> {
    let mut runs = Vec::new();
    let mut at = 0;
    while at < looks.len() {
        let (tone, agreed, next) = run_from(looks, at, astray);
        match tone.filter(|_| agreed >= least.max(1)) {
            Some(tone) => {
                runs.push(tone);
                at = next;
            }
            None => at += 1,
        }
    }
    runs
}

/// The run that begins at a look: the tone, how many looks agree, and the look after the run.
fn run_from(looks: &[PitchFrame], first: usize, astray: usize) -> (Option<Tone>, usize, usize) {
    let Some(PitchFrame { at_s: from_s, hz: Some(_) }) = looks.get(first).copied() else {
        return (None, 0, first + 1);
    };
    let (mut agreed, mut to_s, mut next, mut others): (Vec<f64>, _, _, _) = (Vec::new(), from_s, first, 0);
    for (idx, look) in looks.iter().enumerate().skip(first) {
        let middle = middle(&agreed);
        match look.hz.filter(|hz| middle.is_none_or(|middle| cents(*hz, middle).abs() <= AGREE_CENTS)) {
            Some(hz) => {
                agreed.push(hz);
                (to_s, next, others) = (look.at_s, idx + 1, 0);
            }
            None if others < astray => others += 1,
            None => break,
        }
    }
    let tone = middle(&agreed).map(|hz| {
        let mut offs: Vec<f64> = agreed.iter().map(|one| cents(*one, hz)).collect();
        offs.sort_by(f64::total_cmp);
        let at =
            |part: f64| offs.get(((offs.len() - 1) as f64 * part).round() as usize).copied().unwrap_or(0.0);
        Tone { from_s, to_s, hz, spread_cents: 0.5 * (at(0.8) - at(0.2)) }
    });
    (tone, agreed.len(), next)
}

fn middle(values: &[f64]) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted.get(sorted.len() / 2).copied()
}

fn cents(hz: f64, reference: f64) -> f64 {
    1200.0 * (hz / reference).log2()
}
