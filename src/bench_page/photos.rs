//! Photos for the bench notes: taken in over the page, checked for what they are, and shown again.

use axum::http::header;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use serde_json::{Value, json};

use super::Error;
use super::app_state::AppState;
use super::job_lookup::{inside_job, spots_in};
use crate::job::{Event, picture_ending};

/// The original's name is kept up to so many letters.
const LONGEST_NAME: usize = 80;

/// What the page says of a photo beside its bytes.
#[derive(Deserialize)]
pub(super) struct NewPhoto {
    /// Places as typed; none for the job as a whole.
    #[serde(default)]
    places: String,
    /// What the photo was called.
    #[serde(default)]
    name: String,
}

/// A kind of picture that browsers show.
#[derive(Clone, Copy, PartialEq, Debug)]
struct ImageKind {
    ending: &'static str,
    mime: &'static str,
}

/// What the bytes are by how they begin, whatever they are called; `None` for everything else.
fn kind_of(bytes: &[u8]) -> Option<ImageKind> {
    let ending = picture_ending(bytes)?;
    let mime = match ending {
        "jpg" => "image/jpeg",
        "png" => "image/png",
        _ => "image/webp",
    };
    Some(ImageKind { ending, mime })
}

/// Whether the page can show a photo of that name.
pub(super) fn is_shown(file: &str) -> bool {
    [".jpg", ".jpeg", ".png", ".webp"].iter().any(|ending| file.to_lowercase().ends_with(ending))
}

/// Copy it into the job and note it.
pub(super) fn keep(app: &AppState, wish: NewPhoto, bytes: Vec<u8>) -> Result<Value, Error> {
    let kind = kind_of(&bytes).ok_or(Error::NoPhoto)?;
    let name: String = wish.name.chars().filter(|letter| !letter.is_control()).take(LONGEST_NAME).collect();
    let stem = name.rsplit(['/', '\\']).next().unwrap_or("").rsplit_once('.').map_or("", |(stem, _)| stem);
    let name = format!("{}.{}", if stem.is_empty() { "photo" } else { stem }, kind.ending);
    let facts = app.write(move |job| {
        let spots = spots_in(job, &wish.places)?;
        Ok(job.store_photo_bytes(&spots, &name, &bytes)?)
    })?;
    let places =
        if facts.places.is_empty() { String::new() } else { format!(" of {}", facts.places.join(", ")) };
    Ok(json!({"said": format!("mark {}: photo{places}, kept as {}", facts.n, facts.file)}))
}

/// A photo that the diary names; nothing else of the disk has an address here.
pub(super) fn show(app: &AppState, name: &str) -> Result<Option<Response>, Error> {
    let job = app.job()?;
    let wanted = format!("photos/{name}");
    let is_named =
        job.diary().iter().any(|line| matches!(&line.event, Event::Photo(photo) if photo.file == wanted));
    let bytes = if is_named { inside_job(&job, &job.folder().join(&wanted)) } else { None };
    let shown = bytes.and_then(|bytes| Some((kind_of(&bytes)?, bytes)));
    Ok(shown.map(|(kind, bytes)| ([(header::CONTENT_TYPE, kind.mime)], bytes).into_response()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_picture_is_known_by_its_first_bytes_and_by_nothing_else() {
        let ending = |bytes: &[u8]| kind_of(bytes).map(|kind| kind.ending);
        assert_eq!(ending(b"\xff\xd8\xff\xe0 JFIF"), Some("jpg"));
        assert_eq!(ending(b"\x89PNG\r\n\x1a\n...."), Some("png"));
        assert_eq!(ending(b"RIFF\x10\0\0\0WEBPVP8 "), Some("webp"));
        // Sound in the same envelope, a drawing that may hold a script, a page, nothing.
        for other in [b"RIFF\x10\0\0\0WAVEfmt ".as_slice(), b"<svg onload=x>", b"<html>", b"", b"\xff\xd8"] {
            assert_eq!(ending(other), None, "{other:?}");
        }
    }
}
