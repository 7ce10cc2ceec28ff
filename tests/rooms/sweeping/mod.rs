//! One long recording of a block: taken apart, placed, shown and stored.

mod placing;
mod program;
mod real;
mod splitting;
mod stands;
