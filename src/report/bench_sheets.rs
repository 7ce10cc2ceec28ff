//! Lists to lay on the bench: the work list and the fitting list, each one self-contained page for A4.

use super::cautions::{Hazard, caution};
use crate::instrument::place_ranges;
use crate::repair::{Choice, Fitting, NextStep, OutOfOrder, StepKind, Task, WorkList, grouped};

/// The work list as an HTML page, rows in the plan's order, plates to lift first, with a box to tick for each valve.
pub fn work_list_page(title: &str, list: &WorkList) -> String {
    let mut body = String::new();
    if list.tasks.is_empty() {
        body += "<p>No valve wants work.</p>\n";
    }
    for row in list.rows() {
        let Some(first) = row.first() else { continue };
        body += &format!("<h2>Block {}, row {}</h2>\n", escape(&first.plate.block), escape(&first.plate.row));
        let groups = Task::sorted(row);
        let heads = [
            "Lift these plates, each once",
            "These plates lie beside the block",
            "In reach, the plate stays",
            "Listen again first",
        ];
        for (head, tasks) in heads.iter().zip(groups).filter(|(_, tasks)| !tasks.is_empty()) {
            body += &format!(
                "<h3>{head}</h3>\n<table>\n<tr><th></th><th>Plate</th><th>Face</th><th>Work</th></tr>\n"
            );
            for task in tasks {
                for valve in &task.valves {
                    body += &format!(
                        "<tr><td class=\"tick\">☐</td><td>{}{}</td><td>{}</td><td>{}</td></tr>\n",
                        escape(&task.plate.row),
                        task.plate.number,
                        valve.face,
                        escape(&valve.words())
                    );
                }
            }
            body += "</table>\n";
        }
    }
    let pass = match list.passes.as_slice() {
        [] => "Marks alone, no pass".to_owned(),
        [only] => format!("Pass {only}"),
        passes => format!("Passes {}", passes.join(", ")),
    };
    body += &cautions(&[Hazard::Knife, Hazard::Solvent, Hazard::Heat]);
    page("Work list", title, &pass, &body)
}

/// Everything that is open as an HTML page, in the order it is best done, with a box to tick for each step.
pub fn next_list_page(title: &str, steps: &[NextStep], astray: &[OutOfOrder]) -> String {
    let mut body = String::new();
    if steps.is_empty() {
        body += "<p>Nothing is open.</p>\n";
    }
    for kind in StepKind::ALL {
        let of_kind: Vec<&NextStep> = steps.iter().filter(|step| step.kind == kind).collect();
        if of_kind.is_empty() {
            continue;
        }
        body += &format!("<h2>{} ({})</h2>\n<p>{}.</p>\n", kind.heading(), of_kind.len(), kind.why_now());
        body += "<table>\n<tr><th></th><th>Place</th><th>What</th><th>Why</th></tr>\n";
        for group in grouped(&of_kind) {
            let step = group.first;
            let lift = if step.lift_plate { " (lift)" } else { "" };
            body += &format!(
                "<tr><td class=\"tick\">☐</td><td>{}{lift}</td><td>{}</td><td>{}</td></tr>\n",
                escape(&group.places_words()),
                escape(&step.what),
                escape(&step.reason)
            );
        }
        body += "</table>\n";
    }
    if !astray.is_empty() {
        body += "<h2>Done out of order: what can no longer be found out</h2>\n<ul>\n";
        for one in astray {
            let places = place_ranges(&one.places);
            body +=
                &format!("<li>{}: {}; {}</li>\n", escape(&places), escape(&one.what), escape(&one.instead));
        }
        body += "</ul>\n";
    }
    body += &cautions(&[Hazard::Knife, Hazard::Solvent, Hazard::Heat, Hazard::File]);
    page("What is next", title, "By all passes and notes of the job", &body)
}

/// The fitting list as an HTML page: by place and face, then what to cut, the strip, what is left over.
pub fn fitting_page(title: &str, fitting: &Fitting) -> String {
    let mut body = format!("<p><b>{}</b></p>\n<table>\n", escape(&fitting.summary()));
    body += "<tr><th></th><th>Place</th><th>Length</th><th>Take</th><th>Trim</th></tr>\n";
    for row in &fitting.rows {
        let need = &row.need;
        let length = need.length.map_or("?".to_owned(), |length| length.to_string());
        let (take, trim) = match &row.choice {
            Choice::FromTray { lot, trim } => {
                let bin = lot.bin.as_ref().map_or(String::new(), |bin| format!(", bin {bin}"));
                let trim = if trim.get() > 0.0 { trim.to_string() } else { String::new() };
                (format!("{} {}{bin}", lot.length, lot.condition), trim)
            }
            Choice::Cut => ("cut new".to_owned(), String::new()),
            Choice::NotMeasured => ("measure the slot or the old valve".to_owned(), String::new()),
        };
        let spring = if need.helper_spring { ", helper spring" } else { "" };
        body += &format!(
            "<tr><td class=\"tick\">☐</td><td>{}</td><td>{length}</td><td>{}{spring}</td><td>{trim}</td></tr>\n",
            escape(&need.place.to_string()),
            escape(&take)
        );
    }
    body += "</table>\n";
    if !fitting.cuts.is_empty() {
        body += "<h2>To cut</h2>\n<ul>\n";
        for (material, length, count) in &fitting.cuts {
            body += &format!("<li>{length} × {count}, {}</li>\n", material);
        }
        for strip in &fitting.strips {
            body += &format!(
                "<li>Strip of {}: at least {} long and {} wide, for {} side by side, each {} wide; kerf included</li>\n",
                strip.material, strip.length, strip.width, strip.count, strip.valve_width
            );
        }
        body += "</ul>\n";
    }
    if fitting.springs > 0 {
        body += &format!("<p>Helper springs: {}</p>\n", fitting.springs);
    }
    if !fitting.left.lots().is_empty() {
        body += "<h2>Left over</h2>\n<ul>\n";
        for lot in fitting.left.lots() {
            let bin = lot.bin.as_ref().map_or(String::new(), |bin| format!(", bin {}", escape(bin)));
            body += &format!(
                "<li>{} × {}, {}, {}{bin}</li>\n",
                lot.count, lot.length, lot.material, lot.condition
            );
        }
        body += "</ul>\n";
    }
    body += &cautions(&[Hazard::Knife]);
    page("Fitting list", title, "Tray and plan as noted", &body)
}

/// Text that may stand between tags.
pub(super) fn escape(text: &str) -> String {
    let plain: String = text.chars().map(|letter| if letter.is_control() { ' ' } else { letter }).collect();
    plain.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

fn cautions(works: &[Hazard]) -> String {
    let lines: String = works.iter().map(|work| format!("<li>{}.</li>\n", escape(caution(*work)))).collect();
    format!(
        "<h2>Caution</h2>\n<ul class=\"caution\">\n{lines}<li>local rules and trained advice come first.</li>\n</ul>\n"
    )
}

pub(super) fn page(kind: &str, title: &str, below: &str, body: &str) -> String {
    let (title, below) = (escape(title), escape(below));
    format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<title>{kind}: {title}</title>\n\
         <style>\n{STYLE}</style>\n</head>\n<body>\n<h1>{kind}: {title}</h1>\n<p>{below}</p>\n{body}</body>\n</html>\n"
    )
}

/// Black on white, so that any printer does; a table's head comes again on each sheet, and no line is torn apart.
const STYLE: &str = "@page { size: A4; margin: 15mm; }
body { font-family: sans-serif; font-size: 10pt; max-width: 180mm; margin: 0 auto; }
h1 { font-size: 15pt; } h2 { font-size: 12pt; break-after: avoid; } h3 { font-size: 10pt; break-after: avoid; }
table { border-collapse: collapse; width: 100%; } tr { break-inside: avoid; }
td, th { border-bottom: 0.2mm solid #888; padding: 1mm 2mm; text-align: left; vertical-align: top; }
td.tick { width: 6mm; font-size: 12pt; } ul.caution { font-size: 8.5pt; }
";
