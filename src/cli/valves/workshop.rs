//! The tray of the workshop: counted once for all jobs, reserved for one, given back.

use serde_json::json;

use crate::cli::failure::Failure;
use crate::cli::output;
use crate::job::{Job, JobWriter, WorkshopTray};
use crate::repair::{Choice, Fitting, Lot, Need, Tray, fit, lot_words};
use crate::units::Millimetres;

/// Reserve the valves of the workshop's tray that serve this job better than cutting new ones.
pub(super) fn reserve(job: &mut JobWriter, needs: &[Need]) -> Result<(), Failure> {
    let mut workshop = WorkshopTray::open()?;
    let own = job.bench().tray;
    let both = Tray::new(own.lots().iter().chain(workshop.free().lots()).cloned());
    let fitting = fit(needs, &both, job.valve_rule());
    let taken = from_workshop(&fitting, &own);
    if taken.is_empty() {
        output::say("the workshop's tray has nothing for this job that its own tray has not");
        return Ok(());
    }
    // The workshop first: cut off in between nothing is counted twice, and `--release` puts it right.
    workshop.reserve(job, &taken)?;
    let counted: Vec<Lot> =
        taken.iter().map(|lot| Lot { count: lot.count + held(&own, lot), ..lot.clone() }).collect();
    job.count(&counted, false)?;
    for lot in &taken {
        output::say(&format!("reserved: {} × {}", lot.count, lot_words(lot)));
    }
    Ok(())
}

/// What the fitting takes beyond what the job's own tray has.
fn from_workshop(fitting: &Fitting, own: &Tray) -> Vec<Lot> {
    let used = fitting.rows.iter().filter_map(|row| match &row.choice {
        Choice::FromTray { lot, .. } => Some(lot.clone()),
        _ => None,
    });
    let beyond = |lot: &Lot| Lot { count: lot.count.saturating_sub(held(own, lot)), ..lot.clone() };
    Tray::new(used).lots().iter().map(beyond).filter(|lot| lot.count > 0).collect()
}

fn held(tray: &Tray, lot: &Lot) -> u32 {
    tray.lots().iter().find(|there| there.is_same_kind(lot)).map_or(0, |lot| lot.count)
}

/// Give back to the workshop what was reserved for this job and is still in its tray.
pub(super) fn release(job: &mut JobWriter) -> Result<(), Failure> {
    let back = WorkshopTray::open()?.release(job)?;
    let own = job.bench().tray;
    let left: Vec<Lot> = back
        .iter()
        .map(|lot| Lot { count: held(&own, lot).saturating_sub(lot.count), ..lot.clone() })
        .collect();
    if !left.is_empty() {
        job.count(&left, false)?;
    }
    let count: u32 = back.iter().map(|lot| lot.count).sum();
    output::say(&format!("{count} valves went back into the workshop's tray"));
    Ok(())
}

/// What lies free in the workshop's tray, and what is reserved for which job.
pub(super) fn show(job: &Job, as_json: bool) -> Result<(), Failure> {
    let workshop = WorkshopTray::open()?;
    for lot in workshop.free().lots() {
        match as_json {
            true => output::json(&super::show::lot_json("lot", lot))?,
            false => output::line(&format!("{} × {}", lot.count, lot_words(lot)))?,
        }
    }
    for (reservation, lot) in workshop.reserved() {
        let folder = reservation.job.to_string_lossy();
        if as_json {
            output::json(
                &json!({"format": 1, "kind": "reserved", "job": folder, "title": reservation.title,
                "day": reservation.day, "length_mm": lot.length.get(), "width_mm": lot.width.map(Millimetres::get),
                "thickness_mm": lot.thickness.map(Millimetres::get), "material": lot.material.as_str(),
                "condition": lot.condition.to_string(), "bin": lot.bin, "count": lot.count}),
            )?;
        } else {
            let own = if reservation.title == job.title() { " (this job)" } else { "" };
            output::line(&format!(
                "{} × {}, reserved for `{folder}`{own} on {}",
                lot.count,
                lot_words(&lot),
                reservation.day
            ))?;
        }
    }
    Ok(())
}
