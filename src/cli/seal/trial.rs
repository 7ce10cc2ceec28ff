//! What a sealing test tells of the bench itself: plates known to be good, and strips of known thickness.

use serde_json::json;

use super::arguments::Arguments;
use crate::cli::failure::Failure;
use crate::cli::output;
use crate::job::{Job, KnownLeak, SealBenchFile};
use crate::judgement::sealing::{
    SealVerdict, SealingFinding, Way, level_drop_db, size_of_strip, usual_opening_mm2,
};

/// Strips and openings beyond these are slips of the hand, mm and mm².
const STRIP_MM: std::ops::RangeInclusive<f64> = 0.01..=3.0;
const OPENING_MM2: std::ops::RangeInclusive<f64> = 0.1..=300.0;

pub(super) fn check(strip_mm: Option<f64>, opening_mm2: Option<f64>) -> Result<(), Failure> {
    if let Some(mm) = strip_mm.filter(|mm| !STRIP_MM.contains(mm)) {
        let what = format!("a strip of {mm} mm is out of range");
        return Err(Failure::bad_usage(what, "measure its thickness: office paper has 0.1 mm"));
    }
    if let Some(mm2) = opening_mm2.filter(|mm2| !OPENING_MM2.contains(mm2)) {
        let what = format!("an opening of {mm2} mm² is out of range");
        return Err(Failure::bad_usage(
            what,
            "give the gap along both sides and the tip of the tongue at rest",
        ));
    }
    Ok(())
}

/// Keep with the bench what the test says of it.
pub(super) fn keep(
    arguments: &Arguments,
    mut bench: SealBenchFile,
    job: &Job,
    finding: Option<&SealingFinding>,
) -> Result<(), Failure> {
    if !arguments.good && arguments.strip.is_none() {
        return Ok(());
    }
    let Some(finding) = finding.filter(|finding| finding.verdict != SealVerdict::Refused) else {
        output::say("nothing is kept of the bench: the plays could not be compared");
        return Ok(());
    };
    if arguments.good {
        return good(&mut bench, finding, arguments.json);
    }
    let (Some(strip_mm), Some(pitch)) = (arguments.strip, job.instrument().target(&finding.reed)) else {
        return Ok(());
    };
    let pitch_hz = pitch.get();
    // The strip's slit is told for the usual opening; another opening makes another share of it.
    let usual = usual_opening_mm2(pitch_hz);
    let size = size_of_strip(strip_mm, pitch_hz) * usual / arguments.opening.unwrap_or(usual);
    let found = matches!(finding.verdict, SealVerdict::Leaks | SealVerdict::Suspect);
    let leak = KnownLeak {
        measured: jiff::Timestamp::now().to_zoned_datetime(jiff::tz::TimeZone::system()).date().to_string(),
        pitch_hz,
        strip_mm,
        size,
        way: finding.way.map_or("", Way::name).to_string(),
        verdict: finding.verdict.name().to_string(),
        difference_db: finding.difference_db,
        uncertainty_db: finding.uncertainty_db,
        estimated: finding.size.filter(|_| found),
    };
    bench.keep_known_leak(leak.clone())?;
    let smallest = smallest(finding);
    if arguments.json {
        return output::json(&json!({"format": 1, "kind": "known_leak", "strip_mm": strip_mm,
            "pitch_hz": pitch_hz, "size": size, "way": leak.way, "verdict": leak.verdict,
            "difference_db": leak.difference_db, "uncertainty_db": leak.uncertainty_db,
            "estimated": leak.estimated, "size_factor": bench.size_factor(),
            "smallest_size": smallest, "file": bench.file().to_string_lossy()}));
    }
    let estimate =
        leak.estimated.map_or("was not estimated".into(), |size| format!("was taken for {size:.2}"));
    output::line(&format!(
        "known leak: a strip of {strip_mm} mm opens about {size:.2} of the opening at {pitch_hz:.0} Hz; it {estimate} \
         ({}); sizes here are multiplied by {:.2} from now on",
        leak.verdict,
        bench.size_factor()
    ))?;
    if let Some(smallest) = smallest {
        output::line(&format!("the smallest opening so many plays show on this bench: about {smallest:.2}"))?;
    }
    output::line(&format!("kept in `{}`, a small file that can be sent on", bench.file().display()))
}

fn good(bench: &mut SealBenchFile, finding: &SealingFinding, as_json: bool) -> Result<(), Failure> {
    let (Some(Way::Held), Some(difference)) = (finding.way, finding.difference_db) else {
        output::say("nothing is kept of the bench: what sealing changes is measured with held pressure");
        return Ok(());
    };
    bench.keep_good_plate(difference)?;
    let told = match bench.seal_effect_db() {
        Some(effect) => {
            format!("sealing changes good plates by {effect:.2} dB here, and that counts from now on")
        }
        None => format!("{} of 4 good plates are sealed; until then 0.3 dB is assumed", bench.good_plates()),
    };
    if as_json {
        return output::json(&json!({"format": 1, "kind": "good_plates", "plates": bench.good_plates(),
            "seal_effect_db": bench.seal_effect_db(), "file": bench.file().to_string_lossy()}));
    }
    output::line(&format!("{told}; kept in `{}`", bench.file().display()))
}

/// The smallest leak that stands out by three standard errors of this test, share of the opening.
fn smallest(finding: &SealingFinding) -> Option<f64> {
    let wanted = 1.5 * finding.uncertainty_db?;
    // The held way says nothing below 0.6 dB.
    let wanted = if finding.way == Some(Way::Held) { wanted.max(0.6) } else { wanted };
    (1..=200).map(|i| 0.05 * f64::from(i)).find(|size| level_drop_db(*size) >= wanted)
}
