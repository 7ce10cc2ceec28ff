//! How wide and thick the valve over a slot may be.

use crate::instrument::{Block, Face, Plate, Row, SizeRange, Stroke};

/// Widths and thicknesses the plan allows over the slot that the valve on `face` covers.
pub(super) fn sizes_at(
    block: &Block,
    row: &Row,
    plate: &Plate,
    face: Face,
) -> (Option<SizeRange>, Option<SizeRange>) {
    let covered: Stroke = block.stroke_that_tests(face).other();
    let Some(reed) = plate.reeds.on(covered) else { return (None, None) };
    (row.sizes.width.at(reed.note), row.sizes.thickness.at(reed.note))
}
