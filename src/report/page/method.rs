//! How it was measured, what was corrected, and the cautions.

use maud::{Markup, html};

use super::book::Book;
use super::frame::clean;
use crate::judgement::CENTS_PER_KELVIN;
use crate::report::cautions::{Hazard, caution};
use crate::report::words::{plain, signed};

pub(super) fn sections(book: &Book) -> Markup {
    html! {
        section id="method" {
            h2 { "Method and limits" }
            p {
                "Each reed was sounded by itself and recorded. Its pitch is the mean over the steady part of the note, from all partials together; "
                "± is half the interval that holds the true mean pitch 95 times in a hundred. Behind a leaking valve the plate's opposite reed sounds along "
                "softly: its tone is looked for beside the partials and after the air has stopped, and breath, start and level are compared with the other "
                "stroke and with the block. Press tests the outer valve and draw the inner one, unless the block is mounted the other way. "
                b { "The signs are consistent with a leak and never prove one; “no sign” is an upper limit and never proves a valve good" }
                ", since an opposite reed that is locked to the sounding one gives no second tone, and a second tone can also come through the metal of the plate."
            }
            h3 { "Corrections used" }
            (corrections(book))
        }
        section id="cautions" {
            h2 { "Cautions" }
            ul.cautions {
                @for (head, work) in [("Solvents", Hazard::Solvent), ("Heat", Hazard::Heat), ("Knives", Hazard::Knife), ("Files and old solder", Hazard::File)] {
                    li { b { (head) } ": " (caution(work)) "." }
                }
                li { b { "Ears" } ": reeds at arm's length are loud for hours; sit back, wear plugs, take breaks." }
                li { "Local rules, the safety data sheet of the product in your hand and the advice of trained people come first." }
            }
        }
    }
}

/// Temperature, what the block shares, the sound card's clock.
fn corrections(book: &Book) -> Markup {
    let dossier = book.dossier;
    let comparison = dossier.subject.earlier.and_then(|earlier| earlier.comparison);
    let clock = dossier
        .readings
        .iter()
        .flat_map(|pass| pass.readings.values())
        .filter_map(|reading| reading.as_ref().ok())
        .map(|reading| reading.doubt.clock.get())
        .fold(0.0, f64::max);
    let temperatures: Vec<Option<f64>> = dossier.readings.iter().map(|pass| pass.temperature_c).collect();
    html! {
        ul {
            @match (comparison, temperatures.as_slice()) {
                (Some(_), [Some(then), Some(now)]) => li {
                    b { "Temperature" } ": steel reeds move by " (plain(CENTS_PER_KELVIN, 3)) " cents per kelvin; from "
                    (plain(*then, 1)) " °C to " (plain(*now, 1)) " °C that is " (signed(CENTS_PER_KELVIN * (now - then), 2))
                    " cents, taken off each reed's own change. The deviations of a single pass are as measured."
                },
                (Some(_), _) => li {
                    b { "Temperature" } ": not both are known, so nothing is taken off for it. The deviations of a single pass are as measured."
                },
                _ => li { b { "Temperature" } ": one pass alone needs no correction; its deviations are as measured." },
            }
            @for (block, shift) in &book.findings().shifts {
                li { b { "Block " (block) } ": its reeds lie " (signed(shift.get(), 2)) " cents from their targets in the median"
                    @if let Some(common) = comparison.and_then(|comparison| comparison.reeds.iter()
                        .find(|reed| reed.place.plate.block == *block).and_then(|reed| reed.common_shift)) {
                        "; between the passes they moved together by " (signed(common.get(), 2)) " cents beside the temperature, taken off each reed's own change"
                    }
                    "."
                }
            }
            li { b { "Clock of the sound card" } ": "
                @if dossier.clocks.is_empty() { "not measured, so taken as it is" }
                @for (k, words) in dossier.clocks.iter().enumerate() { @if k > 0 { "; " } (clean(words)) }
                ". Its tolerance is part of every ±, at most " (plain(clock, 2))
                " cents, the same for all reeds of a sound card, and does not count between them." }
            li { b { "Reference" } ": A4 = " (plain(dossier.subject.instrument.tuning.reference.get(), 2)) " Hz"
                @for block in &dossier.subject.instrument.blocks {
                    "; block " (clean(&block.name)) ": tolerance ±" (plain(block.tolerance.get(), 1)) " cents, a leak from "
                    (plain(block.leak_limit.get(), 0)) " dB up"
                }
                "." }
        }
    }
}

/// A caution beside the work it belongs to.
pub(super) fn caution_line(words: &str) -> Markup {
    html! { p.caution { b { "Caution: " } (words) "." } }
}
