//! What is wrong with the input at a moment, for the call: nothing comes, or something that is no note does not end.

use std::time::{Duration, Instant};

/// An input without any sound for so long is called silent, s of sound: a busy program hears no less of it.
const SILENT_S: f64 = 0.7;
/// A channel without any sound for so long, while another has some, is called dead, s of sound.
const DEAD_S: f64 = 3.0;
/// What has been steady for so long without a pitch is the room, s: a note is read within half a second.
const NO_PITCH_S: f64 = 2.0;
/// The room is asked to be quiet for so long before its noise is learnt anew.
const ASKED: Duration = Duration::from_secs(1);
/// Less is digital silence: half a step of 24 bits.
const LEAST: f32 = 6e-8;

/// How the input does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Input {
    Sound,
    /// Nothing at all comes.
    Silent,
    /// What comes is steady and has no pitch.
    Loud,
}

/// Follows the input's channels.
#[derive(Debug)]
pub(super) struct InputState {
    rate_hz: f64,
    /// Frames of each channel since its last sound.
    since: Vec<u64>,
    loud_since: Option<Instant>,
}

impl InputState {
    pub fn new(rate_hz: u32, channels: usize) -> Self {
        Self { rate_hz: f64::from(rate_hz), since: vec![0; channels.max(1)], loud_since: None }
    }

    /// Take in interleaved frames.
    pub fn hear(&mut self, sound: &[f32]) {
        let channels = self.since.len();
        for (channel, since) in self.since.iter_mut().enumerate() {
            let has_sound = sound.iter().skip(channel).step_by(channels).any(|sample| sample.abs() > LEAST);
            *since = if has_sound { 0 } else { *since + (sound.len() / channels) as u64 };
        }
    }

    fn is_without(&self, since: u64, seconds: f64) -> bool {
        since as f64 > seconds * self.rate_hz
    }

    /// How long what sounds has been steady, and whether it has a pitch.
    pub fn follow(&mut self, steady_s: Option<f64>, has_pitch: bool) {
        let is_loud = !has_pitch && steady_s.is_some_and(|steady_s| steady_s > NO_PITCH_S);
        self.loud_since = is_loud.then(|| self.loud_since.unwrap_or_else(Instant::now));
    }

    /// Whether the room goes on being loud, so that its noise is to be learnt anew.
    pub fn is_room_to_learn(&self) -> bool {
        self.loud_since.is_some_and(|since| since.elapsed() > ASKED)
    }

    pub fn input(&self) -> Input {
        if self.since.iter().all(|since| self.is_without(*since, SILENT_S)) {
            Input::Silent
        } else if self.loud_since.is_some() {
            Input::Loud
        } else {
            Input::Sound
        }
    }

    /// Words on channels that give nothing while others do.
    pub fn dead_channels(&self) -> Option<String> {
        let dead: Vec<String> = (1..)
            .zip(&self.since)
            .filter(|(_, since)| self.is_without(**since, DEAD_S))
            .map(|(channel, _)| channel.to_string())
            .collect();
        (!dead.is_empty() && dead.len() < self.since.len())
            .then(|| format!("channel {} of {} gives nothing", dead.join(", "), self.since.len()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn silence_a_dead_channel_and_a_room_without_pitch_are_told_apart() {
        let mut state = InputState::new(48_000, 2);
        state.hear(&[0.1, 0.0, 0.1, 0.0]);
        assert_eq!((state.input(), state.dead_channels()), (Input::Sound, None));
        state.hear(&vec![0.0; 2 * 4 * 48_000]);
        assert_eq!(state.input(), Input::Silent);
        state.hear(&[0.1, 0.0, 0.1, 0.0]);
        assert_eq!(state.input(), Input::Sound);
        assert_eq!(state.dead_channels().as_deref(), Some("channel 2 of 2 gives nothing"));
        state.follow(Some(2.5), true);
        assert_eq!(state.input(), Input::Sound);
        state.follow(Some(2.5), false);
        assert_eq!(state.input(), Input::Loud);
        assert!(!state.is_room_to_learn());
        state.follow(Some(0.1), false);
        assert_eq!(state.input(), Input::Sound);
    }
}
