//! `plan.toml`: what lies on the bench, as people write and edit it (`docs/job-format.md`).

mod edit;
mod model;
mod moves;
mod numbered;
mod numbers;
mod parse;
mod plates_csv;
mod reader;
mod row;
mod schema;
mod sizes;
mod temperament;
mod template;
mod toml_text;
mod valves;
mod write;

pub use model::{FORMAT, Plan};
pub use moves::{Origins, PlanEdit};
pub use numbers::PlateNumbers;
pub use reader::Fault;
pub use template::Template;
