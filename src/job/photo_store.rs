//! Photos into the job: copied beside, flushed, renamed, then named in the diary; nothing is ever overwritten.

use std::fs;
use std::io::Read;
use std::path::Path;

use super::event::{Event, PhotoFacts};
use super::folder::JobWriter;
use super::layout::PHOTOS_FOLDER;
use super::notes::places;
use super::{Error, disk};
use crate::instrument::Spot;

impl JobWriter {
    /// Copy a photo into the job and note what it shows; the original stays as it is. Gives what the diary says of it.
    ///
    /// A photo that is in the job already is noted again, and not copied again.
    pub fn store_photo(&mut self, spots: &[Spot], photo: &Path) -> Result<PhotoFacts, Error> {
        let mut original = disk::open_plain(photo)?;
        self.store_photo_from(spots, photo, &mut original)
    }

    /// The same with a photo that lies on no disk: `name` is what it was called where it came from.
    pub fn store_photo_bytes(
        &mut self,
        spots: &[Spot],
        name: &str,
        mut photo: &[u8],
    ) -> Result<PhotoFacts, Error> {
        self.store_photo_from(spots, Path::new(name), &mut photo)
    }

    fn store_photo_from(
        &mut self,
        spots: &[Spot],
        photo: &Path,
        original: &mut dyn Read,
    ) -> Result<PhotoFacts, Error> {
        let mut begins = Vec::new();
        (&mut *original)
            .take(BEGINS as u64)
            .read_to_end(&mut begins)
            .map_err(|error| Error::read(photo, error))?;
        if picture_ending(&begins).is_none() {
            return Err(Error::NotAPhoto { file: photo.to_owned(), is_heic: is_heic(&begins) });
        }
        let original = &mut begins.as_slice().chain(original);
        let folder = self.job.folder().join(PHOTOS_FOLDER);
        disk::make_folder(&folder)?;
        let mut part = disk::new_part(&folder)?;
        let (sha256, bytes) = disk::copy_hashed(original, &mut part).map_err(|source| Error::Io {
            doing: "copied",
            file: photo.to_owned(),
            source,
        })?;
        part.as_file().sync_all().map_err(|error| Error::written(&folder, error))?;
        let name = match stored_already(&folder, &sha256)? {
            Some(name) => name,
            None => {
                let (stem, ending) = plain_name(photo);
                let mut waiting = Some(part);
                let mut name = String::new();
                let mut n = 1_u32;
                while let Some(part) = waiting.take() {
                    name = if n == 1 { format!("{stem}{ending}") } else { format!("{stem}-{n}{ending}") };
                    waiting = disk::persist_new(part, &folder.join(&name))?;
                    n += 1;
                }
                disk::flush_folder(&folder)?;
                name
            }
        };
        let facts = PhotoFacts {
            n: self.next_mark(),
            places: places(spots),
            file: format!("{PHOTOS_FOLDER}/{name}"),
            sha256,
            bytes,
            original: photo.file_name().map_or(String::new(), |name| name.to_string_lossy().into_owned()),
        };
        self.note(Event::Photo(facts.clone()))?;
        self.clear_parts_of(&folder.join(&name));
        Ok(facts)
    }
}

/// The kind of picture browsers show, by how the bytes begin, whatever they are called: `jpg`, `png` or `webp`.
pub fn picture_ending(bytes: &[u8]) -> Option<&'static str> {
    let is_webp = bytes.starts_with(b"RIFF") && bytes.get(8..12) == Some(b"WEBP".as_slice());
    match bytes {
        [0xff, 0xd8, 0xff, ..] => Some("jpg"),
        [0x89, b'P', b'N', b'G', b'\r', b'\n', 0x1a, b'\n', ..] => Some("png"),
        _ if is_webp => Some("webp"),
        _ => None,
    }
}

/// So many bytes tell the kind of a picture.
const BEGINS: usize = 16;

/// Whether it is a picture as newer telephones store it (ISO/IEC 23008-12: brands in the `ftyp` box), which browsers and
/// printers mostly do not show.
fn is_heic(bytes: &[u8]) -> bool {
    let brand = bytes.get(8..12).unwrap_or_default();
    bytes.get(4..8) == Some(b"ftyp".as_slice())
        && [b"heic", b"heix", b"hevc", b"mif1", b"msf1"].iter().any(|known| brand == known.as_slice())
}

/// A file of the folder that holds the very photo, whether the diary knows it or was cut off before its line.
fn stored_already(folder: &Path, sha256: &str) -> Result<Option<String>, Error> {
    let entries = fs::read_dir(folder).map_err(|error| Error::read(folder, error))?;
    let mut names: Vec<String> = entries
        .flatten()
        .filter(|entry| entry.file_type().is_ok_and(|kind| kind.is_file()))
        .filter_map(|entry| entry.file_name().into_string().ok())
        .filter(|name| !name.starts_with('.'))
        .collect();
    names.sort();
    Ok(names.into_iter().find(|name| disk::hash_of(&folder.join(name)).is_ok_and(|hash| hash == sha256)))
}

/// The photo's name with only what every file system takes, and its ending.
fn plain_name(photo: &Path) -> (String, String) {
    const LONGEST: usize = 40;
    let plain = |text: &str, longest: usize| -> String {
        let kept = text.chars().take(longest);
        kept.map(|letter| if letter.is_ascii_alphanumeric() { letter } else { '_' }).collect()
    };
    let part = |part: Option<&std::ffi::OsStr>| part.map(|part| part.to_string_lossy().into_owned());
    let stem = part(photo.file_stem()).map_or(String::new(), |stem| plain(&stem, LONGEST));
    let ending = part(photo.extension()).map_or(String::new(), |ending| plain(&ending, 5).to_lowercase());
    // Begins with a word of ours, since some systems keep names such as `con` or `nul` for devices.
    let stem = if stem.is_empty() { "photo".into() } else { format!("photo-{stem}") };
    (stem, if ending.is_empty() { ending } else { format!(".{ending}") })
}
