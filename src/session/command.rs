//! The commands a front end may send to a session.

use crate::instrument::Stroke;

/// What is asked of a session in front of it.
pub enum Command<Own> {
    /// Play the last reed once more.
    Again,
    /// Leave the due reed out.
    Skip,
    /// Back to the reed before.
    Back,
    /// The held note is of the reed it fits, on this stroke where the pitch cannot tell.
    There(Option<Stroke>),
    /// The held note is of the due reed.
    Here,
    /// What sounds now is the room: learn its noise anew, and wait for a note above it.
    LearnRoom,
    /// Something speaks to the one who plays (`true`), or has ended: what ends meanwhile is no take.
    Hush(bool),
    /// End.
    Stop,
    /// Something only this front knows of.
    Own(Own),
}
