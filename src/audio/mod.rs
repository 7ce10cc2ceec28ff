//! The ear: sound files and microphone; the only room that names hound, symphonia and cpal.
//!
//! A file goes through a look at its header, one of two decoders, and the choice of the channel to use.

mod channels;
mod coded;
mod error;
mod guard;
mod pcm;
mod sound_file;
mod wav_look;
mod write;

pub use error::Error;
pub use sound_file::read_file;
pub use write::write_wav;
