//! The job folder through the library: plans, lists, diary, takes, lock, and places for files.

mod folder;
mod laws;
mod places;
mod plans;

use std::path::Path;

use platenote::instrument::Instrument;
use platenote::job::{Plan, Template};

fn bass() -> Instrument {
    Plan::parse(&Template::Bass24.to_toml(), Path::new("plan.toml")).unwrap().instrument
}
