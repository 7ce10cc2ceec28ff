//! The ear: sound files and microphone; the only room that names hound, symphonia and cpal.
