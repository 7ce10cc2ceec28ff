//! Cuts stretches out of a streamed recording; only the open ones are held in memory.

use std::ops::Range;

/// The stretches still to be cut, and those under way.
#[derive(Debug)]
pub struct Cuts {
    channels: usize,
    /// Frames, with the number each was given in; the next last.
    ahead: Vec<(usize, Range<u64>)>,
    under_way: Vec<(usize, Range<u64>, Vec<f32>)>,
    heard: u64,
}

impl Cuts {
    /// Cut these stretches of frames; they may overlap.
    pub fn new(stretches: &[Range<u64>], channels: usize) -> Self {
        let mut ahead: Vec<(usize, Range<u64>)> = stretches.iter().cloned().enumerate().collect();
        ahead.retain(|(_, stretch)| stretch.start < stretch.end);
        ahead.sort_by_key(|(idx, stretch)| std::cmp::Reverse((stretch.start, *idx)));
        Self { channels: channels.max(1), ahead, under_way: Vec::new(), heard: 0 }
    }

    /// Take in interleaved frames; gives the cuts that are complete, by their numbers.
    pub fn hear(&mut self, sound: &[f32]) -> Vec<(usize, Vec<f32>)> {
        let until = self.heard + (sound.len() / self.channels) as u64;
        while self.ahead.last().is_some_and(|(_, stretch)| stretch.start < until) {
            let begun = self.ahead.pop().map(|(idx, stretch)| (idx, stretch, Vec::new()));
            self.under_way.extend(begun);
        }
        for (_, stretch, kept) in &mut self.under_way {
            let from = stretch.start.max(self.heard) - self.heard;
            let to = stretch.end.min(until).max(self.heard) - self.heard;
            let part = from as usize * self.channels..to as usize * self.channels;
            kept.extend_from_slice(sound.get(part).unwrap_or_default());
        }
        self.heard = until;
        self.take(|stretch| stretch.end <= until)
    }

    /// The recording has ended: what is there of the rest.
    pub fn finish(&mut self) -> Vec<(usize, Vec<f32>)> {
        self.take(|_| true)
    }

    /// Whether nothing is left to cut.
    pub fn is_done(&self) -> bool {
        self.ahead.is_empty() && self.under_way.is_empty()
    }

    fn take(&mut self, is_complete: impl Fn(&Range<u64>) -> bool) -> Vec<(usize, Vec<f32>)> {
        let complete = self.under_way.extract_if(.., |(_, stretch, _)| is_complete(stretch));
        complete.map(|(idx, _, kept)| (idx, kept)).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cuts_overlap_and_where_pieces_begin_does_not_matter() {
        let sound: Vec<f32> = (0..2_000).map(|n| n as f32).collect();
        let mut cuts = Cuts::new(&[100..300, 250..400, 900..1_200], 2);
        let mut done: Vec<(usize, Vec<f32>)> =
            sound.chunks(2 * 37).flat_map(|piece| cuts.hear(piece)).collect();
        done.extend(cuts.finish());
        assert!(cuts.is_done());
        let [first, second, third] = done.as_slice() else { panic!("{} cuts", done.len()) };
        assert_eq!(*first, (0, sound[200..600].to_vec()));
        assert_eq!(*second, (1, sound[500..800].to_vec()));
        assert_eq!(*third, (2, sound[1_800..].to_vec()), "as far as the recording goes");
    }
}
