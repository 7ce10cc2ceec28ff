//! Where the instrument stands and what each target costs: the head of the findings.

use serde_json::json;

use crate::cli::failure::Failure;
use crate::cli::output::{json, line, signed};
use crate::instrument::{Instrument, Temperament};
use crate::judgement::Findings;
use crate::tuning::{Cost, Goal, Stand, cost, goals, stands};

/// Reeds beyond what is prudent that are named; more of them are counted.
const NAMED: usize = 8;

/// Where it stands, and what the goals cost.
pub(super) struct Choice {
    stands: Vec<Stand>,
    costs: Vec<Cost>,
}

impl Choice {
    /// For the goals worth comparing and those asked for.
    pub fn of(instrument: &Instrument, findings: &Findings, asked: &[Goal]) -> Self {
        let stands = stands(instrument, findings);
        let whole = stands.first();
        // With too few reeds to stand for anything only what was asked for is told.
        let goals = if whole.is_some() { goals(instrument, whole, asked) } else { asked.to_vec() };
        let costs = goals.iter().map(|goal| cost(instrument, findings, goal)).collect();
        Self { stands, costs }
    }

    pub fn print(&self, instrument: &Instrument) -> Result<(), Failure> {
        if self.costs.is_empty() {
            return Ok(());
        }
        line("")?;
        for stand in &self.stands {
            let what = match &stand.rank {
                Some((block, row)) => format!("  {block} {row}:"),
                None => "It stands at".into(),
            };
            let doubt = stand.a4.get() * std::f64::consts::LN_2 / 1200.0 * stand.offset.uncertainty.get();
            let slope = stand.slope.map_or(String::new(), |(slope, doubt)| {
                format!(", {} ± {doubt:.1} cents an octave from low to high", signed(slope, 1))
            });
            line(&format!(
                "{what} A4 = {:.2} ± {doubt:.2} Hz ({} ± {:.1} cents from the plan){slope}, scatter {:.1} cents; {} reeds",
                stand.a4.get(),
                signed(stand.offset.value.get(), 1),
                stand.offset.uncertainty.get(),
                stand.scatter,
                stand.reeds,
            ))?;
        }
        line("What each pitch would cost (filing at the tip raises, at the root lowers):")?;
        let plan = Goal::of(instrument);
        for cost in &self.costs {
            let reference = cost.goal.reference;
            let mark =
                if cost.goal == plan { " (the plan)".to_owned() } else { other_than(&plan, &cost.goal) };
            let beyond = match cost.beyond.len() {
                0 => String::new(),
                n => {
                    let names: Vec<String> =
                        cost.beyond.iter().take(NAMED).map(ToString::to_string).collect();
                    let more = if n > NAMED { ", …" } else { "" };
                    format!("; {n} beyond what is prudent: {}{more}", names.join(", "))
                }
            };
            line(&format!(
                "  {:.1} Hz{mark}: {} of {} reeds to tune, {:.0} cents at the tip, {:.0} at the root{beyond}",
                reference.get(),
                cost.reeds,
                cost.measured,
                cost.at_tip,
                cost.at_root,
            ))?;
        }
        Ok(())
    }

    pub fn print_json(&self, pass: &str) -> Result<(), Failure> {
        for stand in &self.stands {
            let (block, row) =
                stand.rank.as_ref().map_or((None, None), |(block, row)| (Some(block), Some(row)));
            json(&json!({"format": 1, "kind": "stands", "pass": pass, "block": block, "row": row,
                "a4_hz": stand.a4.get(), "cents": stand.offset.value.get(),
                "uncertainty_cents": stand.offset.uncertainty.get(),
                "slope_cents_per_octave": stand.slope.map(|slope| slope.0),
                "slope_uncertainty": stand.slope.map(|slope| slope.1),
                "scatter_cents": stand.scatter, "reeds": stand.reeds}))?;
        }
        for cost in &self.costs {
            let beyond: Vec<String> = cost.beyond.iter().map(ToString::to_string).collect();
            json(&json!({"format": 1, "kind": "pitch_cost", "pass": pass,
                "reference_hz": cost.goal.reference.get(), "stretch_cents": cost.goal.stretch.get(),
                "temperament_cents": cost.goal.temperament.0,
                "reeds": cost.reeds, "measured": cost.measured, "tip_cents": cost.at_tip,
                "root_cents": cost.at_root, "beyond": beyond}))?;
        }
        Ok(())
    }
}

/// What a goal has otherwise than the plan, but its pitch: `, stretched by 2.0 cents an octave`.
fn other_than(plan: &Goal, goal: &Goal) -> String {
    let mut words = String::new();
    if goal.temperament != plan.temperament {
        words += match goal.temperament {
            Temperament::EQUAL => ", equal temperament",
            _ => ", the temperament asked for",
        };
    }
    if goal.stretch != plan.stretch {
        words += &format!(", {} cents an octave of stretch", signed(goal.stretch.get(), 1));
    }
    words
}
