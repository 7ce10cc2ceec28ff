//! A ring of samples between the callback and the listener: neither ever waits for the other, allocates or locks.

use std::sync::Arc;
use std::sync::atomic::{AtomicU32, AtomicU64, AtomicUsize, Ordering, fence};

/// Make a ring that holds at least `capacity` samples.
pub(super) fn ring(capacity: usize) -> (Filler, Drainer) {
    let len = capacity.next_power_of_two();
    let shared = Arc::new(Shared {
        samples: (0..len).map(|_| AtomicU32::new(0)).collect(),
        written: AtomicUsize::new(0),
        read: AtomicUsize::new(0),
        refused: AtomicU64::new(0),
        stamp: Stamp::default(),
    });
    (Filler { shared: shared.clone() }, Drainer { shared })
}

/// The callback's end.
pub(super) struct Filler {
    shared: Arc<Shared>,
}

/// The listener's end.
pub(super) struct Drainer {
    shared: Arc<Shared>,
}

/// When the sound was captured, and how much had been heard before it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Captured {
    /// Samples heard before the block, refused ones included.
    pub before: u64,
    /// Capture time of the block's first sample, since the first block's.
    pub nanos: u64,
}

struct Shared {
    /// Bits of 32-bit floats; a power of two of them.
    samples: Box<[AtomicU32]>,
    /// Counted up for ever; the place in the ring is the remainder.
    written: AtomicUsize,
    read: AtomicUsize,
    refused: AtomicU64,
    stamp: Stamp,
}

/// The latest [`Captured`], guarded by a number that is odd while it is written.
#[derive(Default)]
struct Stamp {
    edition: AtomicU64,
    before: AtomicU64,
    nanos: AtomicU64,
}

impl Filler {
    /// Put a block in, or refuse it whole and count it when the listener is too far behind.
    pub fn fill(&self, block: impl ExactSizeIterator<Item = f32>, captured: Captured) {
        let shared = &*self.shared;
        let (len, mask) = (block.len(), shared.samples.len() - 1);
        let written = shared.written.load(Ordering::Relaxed);
        let in_use = written.wrapping_sub(shared.read.load(Ordering::Acquire));
        if len > shared.samples.len() - in_use {
            shared.refused.fetch_add(len as u64, Ordering::Relaxed);
        } else {
            for (n, sample) in block.enumerate() {
                if let Some(place) = shared.samples.get(written.wrapping_add(n) & mask) {
                    place.store(sample.to_bits(), Ordering::Relaxed);
                }
            }
            shared.written.store(written.wrapping_add(len), Ordering::Release);
        }
        shared.stamp.write(captured);
    }
}

impl Drainer {
    /// Append all that is there.
    pub fn drain(&self, into: &mut Vec<f32>) {
        let shared = &*self.shared;
        let mask = shared.samples.len() - 1;
        let read = shared.read.load(Ordering::Relaxed);
        let written = shared.written.load(Ordering::Acquire);
        let there = written.wrapping_sub(read);
        into.reserve(there);
        for n in 0..there {
            if let Some(place) = shared.samples.get(read.wrapping_add(n) & mask) {
                into.push(f32::from_bits(place.load(Ordering::Relaxed)));
            }
        }
        shared.read.store(written, Ordering::Release);
    }

    /// Samples refused since the last call.
    pub fn refused(&self) -> u64 {
        self.shared.refused.swap(0, Ordering::Relaxed)
    }

    /// The latest time stamp; `None` while it is just being written.
    pub fn captured(&self) -> Option<Captured> {
        self.shared.stamp.read()
    }
}

impl Stamp {
    fn write(&self, captured: Captured) {
        let edition = self.edition.load(Ordering::Relaxed);
        self.edition.store(edition.wrapping_add(1), Ordering::Relaxed);
        fence(Ordering::Release);
        self.before.store(captured.before, Ordering::Relaxed);
        self.nanos.store(captured.nanos, Ordering::Relaxed);
        self.edition.store(edition.wrapping_add(2), Ordering::Release);
    }

    fn read(&self) -> Option<Captured> {
        let edition = self.edition.load(Ordering::Acquire);
        let captured = Captured {
            before: self.before.load(Ordering::Relaxed),
            nanos: self.nanos.load(Ordering::Relaxed),
        };
        fence(Ordering::Acquire);
        let same = edition == self.edition.load(Ordering::Relaxed);
        (same && edition.is_multiple_of(2)).then_some(captured)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn block(from: u64, len: u64) -> impl ExactSizeIterator<Item = f32> {
        (from as u32..(from + len) as u32).map(|n| n as f32)
    }

    fn at(before: u64) -> Captured {
        Captured { before, nanos: 1_000 * before }
    }

    #[test]
    fn all_samples_come_through_in_order_from_another_thread() {
        const ALL: u64 = 2_000_000;
        let (filler, drainer) = ring(4_096);
        let feeding = std::thread::spawn(move || {
            let mut sent = 0;
            while sent < ALL {
                let len = (1 + sent % 480).min(ALL - sent);
                let in_use = || {
                    let shared = &filler.shared;
                    shared.written.load(Ordering::Relaxed) - shared.read.load(Ordering::Relaxed)
                };
                while in_use() > 3_000 {
                    std::thread::yield_now();
                }
                filler.fill(block(sent, len), at(sent));
                sent += len;
            }
        });
        let mut got = Vec::new();
        while (got.len() as u64) < ALL {
            drainer.drain(&mut got);
            if let Some(Captured { before, nanos }) = drainer.captured() {
                assert_eq!(nanos, 1_000 * before, "a stamp is never half of one and half of another");
            }
        }
        feeding.join().unwrap();
        let wrong = got.iter().enumerate().find(|(n, sample)| **sample != *n as f32);
        assert_eq!((got.len() as u64, wrong, drainer.refused()), (ALL, None, 0));
    }

    #[test]
    fn a_full_ring_refuses_whole_blocks_and_counts_them() {
        let (filler, drainer) = ring(1_024);
        for n in 0..5 {
            filler.fill(block(300 * n, 300), at(300 * n));
        }
        let mut got = Vec::new();
        drainer.drain(&mut got);
        assert_eq!((got.len(), drainer.refused(), drainer.refused()), (900, 600, 0));
        assert_eq!(drainer.captured(), Some(at(1_200)));
        filler.fill(block(0, 1_024), at(1_500));
        got.clear();
        drainer.drain(&mut got);
        assert_eq!(got.len(), 1_024, "all of the ring is used");
    }
}
