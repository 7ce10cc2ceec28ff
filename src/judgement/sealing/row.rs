//! A row's sealed pass: reed by reed against the open one, what the row has in common taken off.

use super::held::{self, Scatter};
use super::{Seal, SealBench, SealSet, SealVerdict, SealingFinding, Way};
use crate::judgement::robust::{median, robust_scatter};

/// Fewer plates have no common change worth the name.
const LEAST_PLATES: usize = 6;
/// Nobody plays more evenly, dB: pressure within 1 %.
const LEAST_PLAY_DB: f64 = 0.1;

/// Take off what all held sets of a block share, where each was sealed once, and judge them anew.
///
/// The strip lies over all plates of a row and the block was taken out and put back in between: that moves all levels. The
/// block's own scatter stands for the player's, since nothing was repeated.
pub(super) fn take_off_common(sets: &[SealSet], bench: &SealBench, findings: &mut [SealingFinding]) {
    let is_row = |set: &SealSet, finding: &SealingFinding| {
        finding.way == Some(Way::Held)
            && finding.difference_db.is_some()
            && set.heard(Seal::Sealed).count() == 1
    };
    let mut blocks: Vec<&str> = sets.iter().map(|set| set.valve.plate.block.as_str()).collect();
    blocks.sort_unstable();
    blocks.dedup();
    for block in blocks {
        let of_block: Vec<usize> = (0..sets.len())
            .filter(|idx| sets[*idx].valve.plate.block == block && is_row(&sets[*idx], &findings[*idx]))
            .collect();
        let differences: Vec<f64> = of_block.iter().map(|idx| held::difference_db(&sets[*idx])).collect();
        if differences.len() < LEAST_PLATES {
            continue;
        }
        let common = median(&differences).unwrap_or(0.0);
        // A leaking third stands out upwards only: the lower half tells how the healthy ones scatter.
        let lower: Vec<f64> =
            differences.iter().map(|d| (d - common).min(0.0)).filter(|d| *d < 0.0).collect();
        let mirrored: Vec<f64> = lower.iter().flat_map(|d| [*d, -d]).collect();
        let block_db = robust_scatter(&mirrored).unwrap_or(0.0);
        // A difference is of two plays.
        let widened = Scatter {
            play_db: (block_db / 2f64.sqrt()).max(LEAST_PLAY_DB),
            freedom: differences.len() as f64 - 1.0,
        };
        for (idx, difference) in of_block.into_iter().zip(differences) {
            let mut finding = held::told(&sets[idx], bench, &widened, 1, difference - common);
            if finding.verdict != SealVerdict::Refused {
                finding.reason +=
                    &format!("; {} dB common to the row are taken off", crate::units::signed(common, 1));
            }
            findings[idx] = finding;
        }
    }
}
