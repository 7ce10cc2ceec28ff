//! The analysis on built sounds and real ones: samples in, readings out.

#[path = "../bench/mod.rs"]
mod bench;

mod accuracy;
mod cross_check;
mod dark_tone;
mod generator;
mod golden;
mod kept;
mod limits;
mod method;
mod odd_input;
mod properties;
mod recordings;
mod reed_model;
mod second_tone;
mod two_reeds;
