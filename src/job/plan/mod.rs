//! `plan.toml`: what lies on the bench, as people write and edit it (`docs/job-format.md`).

mod edit;
mod moves;
mod numbered;
mod numbers;
mod parse;
mod plates_csv;
mod reader;
mod row;
mod sizes;
mod template;
mod valves;
mod write;

pub use moves::{Origins, PlanEdit};
pub use numbers::PlateNumbers;
pub use parse::{FORMAT, Plan};
pub use reader::Fault;
pub use template::Template;
