//! Names of the files and folders in a job's folder.

pub(super) const PLAN_FILE: &str = "plan.toml";
/// The plan before its last change.
pub(super) const PLAN_BEFORE_FILE: &str = "plan.before.toml";
/// A plan that is about to take the place of the other.
pub(super) const PLAN_NEXT_FILE: &str = "plan.next.toml";
pub(super) const TAKES_FOLDER: &str = "takes";
pub(super) const PHOTOS_FOLDER: &str = "photos";
pub(super) const REPORT_FOLDER: &str = "report";
/// Long recordings.
pub(super) const RECORDINGS_FOLDER: &str = "recordings";
