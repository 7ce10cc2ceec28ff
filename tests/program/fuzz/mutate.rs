//! Changes to an input: bits, bytes, numbers at their limits, words of the format, cuts, repetitions, splices.

/// Numbers without pattern and the changes made with them.
pub struct Mutator<'a> {
    state: u64,
    dictionary: &'a [&'a str],
}

/// No input grows beyond this, bytes.
const MOST: usize = 200_000;

impl<'a> Mutator<'a> {
    pub fn new(seed: u64, dictionary: &'a [&'a str]) -> Self {
        Self { state: seed, dictionary }
    }

    /// A whole number below `sides` (constants of Knuth's MMIX generator, from memory).
    fn below(&mut self, sides: usize) -> usize {
        self.state =
            self.state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((self.state >> 33) as usize) % sides.max(1)
    }

    /// A place in the input; every other time near its beginning, where heads are.
    fn place(&mut self, length: usize) -> usize {
        let reach = if self.below(2) == 0 { length.min(120) } else { length };
        self.below(reach + 1)
    }

    /// An entry of the corpus with one to six changes.
    pub fn change(&mut self, corpus: &[Vec<u8>]) -> Vec<u8> {
        let pick = self.below(corpus.len());
        let mut input = corpus[pick].clone();
        for _ in 0..=self.below(6) {
            self.change_once(&mut input, corpus);
        }
        input.truncate(MOST);
        input
    }

    fn change_once(&mut self, input: &mut Vec<u8>, corpus: &[Vec<u8>]) {
        let at = self.place(input.len());
        let end = (at + 1 + self.below(16)).min(input.len());
        match self.below(11) {
            0 if at < input.len() => input[at] ^= 1 << self.below(8),
            1 if at < input.len() => input[at] = self.below(256) as u8,
            2 => {
                const LIMITS: [u64; 8] = [0, 1, 0x7F, 0x80, 0x7FFF, 0xFFFF, 0x7FFF_FFFF, u64::MAX];
                let value = LIMITS[self.below(LIMITS.len())];
                let width = [1, 2, 4, 8][self.below(4)];
                let bytes = if self.below(2) == 0 { value.to_le_bytes() } else { value.to_be_bytes() };
                let bytes = if bytes[0] == 0 { &bytes[8 - width..] } else { &bytes[..width] };
                for (offset, byte) in bytes.iter().enumerate() {
                    if let Some(there) = input.get_mut(at + offset) {
                        *there = *byte;
                    }
                }
            }
            3 if !self.dictionary.is_empty() => {
                let word = self.dictionary[self.below(self.dictionary.len())];
                let over = if self.below(2) == 0 { at } else { end.max(at) };
                input.splice(at..over, word.bytes());
            }
            4 => {
                let words = [
                    "-1",
                    "1e999",
                    "NaN",
                    "99999999999999999999",
                    "0",
                    "..",
                    "\u{202e}",
                    "\0",
                    "é",
                    "\u{1F3B5}",
                ];
                let word = words[self.below(words.len())];
                input.splice(at..at, word.bytes());
            }
            5 if at < end => drop(input.drain(at..end)),
            6 => input.truncate(at),
            7 if at < end => {
                let piece = input[at..end].to_vec();
                for _ in 0..=self.below(200) {
                    input.splice(at..at, piece.iter().copied());
                }
            }
            8 => {
                let pick = self.below(corpus.len());
                let from = self.below(corpus[pick].len());
                let to = (from + self.below(400)).min(corpus[pick].len());
                input.splice(at..at, corpus[pick][from..to].iter().copied());
            }
            9 => input.insert(at, self.below(256) as u8),
            _ if at < end => input[at..end].reverse(),
            _ => input.push(self.below(256) as u8),
        }
    }
}
