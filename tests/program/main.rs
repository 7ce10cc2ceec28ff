//! The real program in empty folders, what is printed about it, and what it is made of.

#[path = "../bench/mod.rs"]
mod bench;

mod cli_chart;
mod cli_clock;
mod cli_findings;
mod cli_later_pass;
mod cli_note_names;
mod cli_read;
mod cli_record;
mod cli_report;
mod cli_seal;
mod cli_standing;
mod cli_valves;
mod cli_worklist;
mod corrections;
mod demo;
mod fuzz;
mod readme;
mod report_time;
mod supply_chain;
mod tuning;
mod without_terminal;
