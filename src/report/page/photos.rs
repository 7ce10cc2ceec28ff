//! The photos of the visit, small, each with its place; on the owner's sheet with room for prints.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use maud::{Markup, html};

use super::book::Book;
use super::dossier::NotedPhoto;
use super::frame::clean;

/// So many frames the owner's sheet has for photos and prints.
const FRAMES: usize = 4;

/// Every photo of the visit; nothing where there is none.
pub(super) fn section(book: &Book) -> Markup {
    let photos = book.dossier.photos;
    html! {
        @if !photos.is_empty() {
            section id="photos" {
                h2 { "Photos" }
                div.photos { @for photo in photos { (figure(photo)) } }
            }
        }
    }
}

/// Photos of the visit on the owner's sheet, and empty frames for prints where there are fewer.
pub(super) fn room(book: &Book) -> Markup {
    let shown: Vec<&NotedPhoto> =
        book.dossier.photos.iter().filter(|photo| photo.picture.is_some()).take(FRAMES).collect();
    html! {
        section.room {
            h2 { "Photos" }
            div.photos {
                @for photo in &shown { (figure(photo)) }
                @for _ in shown.len()..FRAMES { figure.frame { "room for a photo" } }
            }
        }
    }
}

fn figure(photo: &NotedPhoto) -> Markup {
    let of = if photo.places.is_empty() { String::new() } else { format!(" of {}", photo.places) };
    html! {
        figure {
            @match &photo.picture {
                Some((kind, bytes)) => img src={ "data:" (kind) ";base64," (STANDARD.encode(bytes)) } alt={ "Photo" (clean(&of)) };,
                None => p.faint { "not shown here: " (clean(&photo.file)) },
            }
            figcaption { (photo.day) (clean(&of)) }
        }
    }
}
