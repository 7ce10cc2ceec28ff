//! What whoever stands in front of a session may ask of it.

/// What is asked of a session in front of it.
pub enum Command<Own> {
    /// Play the last reed once more.
    Again,
    /// Leave the due reed out.
    Skip,
    /// Back to the reed before.
    Back,
    /// The held note is of the reed it fits.
    There,
    /// The held note is of the due reed.
    Here,
    /// End.
    Stop,
    /// Something only this front knows of.
    Own(Own),
}
