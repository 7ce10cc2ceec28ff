//! What is said beside the findings.

use crate::cli::output;
use crate::evaluation::Evaluation;
use crate::job::Job;

/// All words that concern the results as a whole.
pub(super) fn warnings(job: &Job, told: &Evaluation) -> Vec<String> {
    let odd = job.odd_lines().iter().map(|odd| format!("diary line {}: {}", odd.line, odd.oddity));
    let compared = told.comparison.iter().flat_map(|comparison| &comparison.warnings);
    odd.chain(told.remarks().chain(&told.later.findings.warnings).chain(compared).cloned()).collect()
}

/// Print what a person should know beside JSON results.
pub(super) fn say_all(job: &Job, told: &Evaluation) {
    for warning in warnings(job, told) {
        output::say(&warning);
    }
    for reed in &told.later.findings.reeds {
        if let Err(missing) = &reed.pitch {
            output::say(&format!("{}: {missing}", reed.place));
        }
        for warning in &reed.warnings {
            output::say(&format!("{}: {warning}", reed.place));
        }
    }
}
