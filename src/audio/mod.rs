//! The ear: sound files and microphone; the only room that names hound, symphonia and cpal.
//!
//! A file goes through a look at its header, one of two decoders, and the choice of the channel to use.

mod channels;
mod coded;
mod error;
mod guard;
#[cfg(feature = "mic")]
mod live;
mod pcm;
mod sound_file;
mod stream;
mod wav_header;
mod write;

pub use channels::clearest_channel;
pub use error::SoundError;
#[cfg(feature = "mic")]
pub use live::{Incident, Input, Microphone, MicrophoneError, inputs};
pub use sound_file::read_file;
pub use stream::{Piece, Streamed, stream_file};
pub use write::{clip_bytes, wav_bytes, wav_head, write_wav};
