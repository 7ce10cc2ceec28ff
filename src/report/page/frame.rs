//! What every page has around it, and how texts stand in it.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use crate::report::words::figures;

/// The style of all pages; colours are those of `ink.rs`.
const STYLE: &str = include_str!("style.css");

/// A whole document.
pub(super) fn page(title: &str, body: Markup) -> String {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                // Nothing may be fetched, whatever a note or a name contains.
                meta http-equiv="Content-Security-Policy"
                    content="default-src 'none'; style-src 'unsafe-inline'; media-src data:; img-src data:";
                meta name="generator" content="platenote";
                meta name="color-scheme" content="light";
                title { (clean(title)) }
                style { (PreEscaped(STYLE)) }
            }
            body { (body) }
        }
    }
    .into_string()
}

/// Control characters have no place in a document; the template library escapes all else.
pub(super) fn clean(text: &str) -> String {
    text.chars().map(|letter| if letter.is_control() { ' ' } else { letter }).collect()
}

/// A sentence as it was said, with true minus signs.
pub(super) fn said(text: &str) -> String {
    figures(&clean(text))
}
