//! The opposite reed: found where it sounds, not found where it does not, with level, offset and limit as stated.
//!
//! D is the distance of the two fundamentals in hertz times the steady seconds.

use crate::bench::chance::Chance;
use crate::bench::natural::{natural_mains, natural_opposite, natural_tremor, other_note, random_natural};
use crate::bench::statistics::{Rate, over_seeds, quantile, trials};
use crate::bench::tone::{Mains, Rendered, ToneSpec, Tremor};
use platenote::analysis::{Expectation, Opposite, OppositeExpectation, read};
use platenote::units::{Cents, Hz};
use std::sync::OnceLock;

/// One class of the statement: D from, D to, level, probability.
const CLASSES: [(f64, f64, f64, f64); 3] =
    [(5.0, 60.0, -40.0, 0.97), (1.0, 5.0, -35.0, 0.9), (0.5, 1.0, -30.0, 0.7)];

/// What came of one planted opposite reed.
#[derive(Clone)]
struct Trial {
    class: usize,
    f0_hz: f64,
    is_known: bool,
    state: Opposite,
    true_level_db: f64,
    true_offset_cents: f64,
}

/// What the other stroke's take would have told: the pitch, right to half a cent or so.
fn known(seed: u64, pitch_hz: f64) -> OppositeExpectation {
    let error = (0.4 * Chance::split(seed, 300).normal()).clamp(-0.9, 0.9);
    let pitch = Hz::new(pitch_hz * (error / 1200.0).exp2()).expect("a pitch");
    OppositeExpectation::Known { pitch, within: Cents::new(1.0).expect("finite") }
}

/// Look for the opposite reed in a rendered take. A refusal counts as unresolved: nothing was claimed.
fn look(rendered: &Rendered, opposite: OppositeExpectation) -> Option<Opposite> {
    let expectation = Expectation { opposite, ..Expectation::default() };
    read(&rendered.take(), &expectation).ok().map(|r| r.opposite)
}

/// A natural take with an opposite reed within 30 cents, at `level_db`, D drawn from the class's range, and enough
/// energy above the noise; `None` when this seed's reed would lie farther off.
fn planted(seed: u64, d_lo: f64, d_hi: f64, level_db: f64) -> Option<ToneSpec> {
    let chance = &mut Chance::split(seed, 301);
    let mut spec = random_natural(seed, 40.0, 2500.0);
    let distance_hz = chance.log_between(d_lo, d_hi) / spec.steady_s;
    let offset = 1200.0 * (1.0 + chance.sign() * distance_hz / spec.f0_hz).log2();
    (offset.abs() <= 30.0).then(|| {
        spec.opposite = Some(natural_opposite(seed, &spec, offset, level_db));
        spec
    })
}

/// All planted takes, made once for the tests that ask them different things; half with the opposite pitch known.
fn planted_trials() -> &'static [Trial] {
    static MADE: OnceLock<Vec<Trial>> = OnceLock::new();
    MADE.get_or_init(|| {
        let one_class = |(class, (d_lo, d_hi, level_db, _)): (usize, (f64, f64, f64, f64))| {
            let first = 100_000 * (class as u64 + 1);
            let specs: Vec<(u64, ToneSpec)> = (first..)
                .filter_map(|seed| planted(seed, d_lo, d_hi, level_db).map(|spec| (seed, spec)))
                .take(trials(200, 100) as usize)
                .collect();
            over_seeds(0, specs.len() as u64, |idx| {
                trial(class, specs[idx as usize].0, &specs[idx as usize].1)
            })
        };
        CLASSES.into_iter().enumerate().flat_map(one_class).flatten().collect()
    })
}

/// Render and look; `None` where the noise itself forbids to find it.
fn trial(class: usize, seed: u64, spec: &ToneSpec) -> Option<Trial> {
    let rendered = spec.render(seed);
    let (start, end) = (spec.lead_in_s + spec.attack_s, rendered.truth.stop_s);
    if rendered.truth.opposite_energy_to_noise_db(start, end)? <= 30.0 {
        return None;
    }
    let true_offset_cents = rendered.truth.opposite_offset_cents(start, end)?;
    let is_known = seed.is_multiple_of(2);
    let pitch = rendered.truth.mean_pitch_hz(start, end) * (true_offset_cents / 1200.0).exp2();
    let expected = if is_known { known(seed, pitch) } else { OppositeExpectation::Unknown };
    Some(Trial {
        class,
        f0_hz: spec.f0_hz,
        is_known,
        state: look(&rendered, expected)?,
        true_level_db: rendered.truth.opposite_power_heard_db(start, end)?,
        true_offset_cents,
    })
}

/// Error of level (dB) and offset (cents) where it was found.
fn errors(trial: &Trial) -> Option<(f64, f64)> {
    match trial.state {
        Opposite::Sounding { level, offset, .. } => {
            Some((level.get() - trial.true_level_db, offset.get() - trial.true_offset_cents))
        }
        _ => None,
    }
}

/// Found: said to sound, at the planted pitch and not at some other.
fn is_found(trial: &Trial) -> bool {
    errors(trial).is_some_and(|(_, offset)| offset.abs() <= 2.0)
}

/// −40 dB with 0.97 for D of 5 and more, −35 dB with 0.9 for 1 to 5, −30 dB with 0.7 for 0.5 to 1.
#[test]
fn opposite_reed_is_found_as_stated() {
    println!("D          level   known  range Hz        found");
    let mut short = Vec::new();
    for (class, (d_lo, d_hi, level_db, wanted)) in CLASSES.into_iter().enumerate() {
        for is_known in [true, false] {
            let of_class = || planted_trials().iter().filter(|t| t.class == class && t.is_known == is_known);
            for (lo, hi) in [(40.0, 110.0), (110.0, 440.0), (440.0, 2500.0)] {
                let rate = Rate::of(of_class().filter(|t| lo <= t.f0_hz && t.f0_hz < hi).map(is_found));
                println!("{d_lo:3}..{d_hi:4}  {level_db:5}  {is_known:6}  {lo:5}..{hi:6}   {rate}");
            }
            let rate = Rate::of(of_class().map(is_found));
            println!(
                "{d_lo:3}..{d_hi:4}  {level_db:5}  {is_known:6}  all             {rate}   wanted {wanted}"
            );
            if rate.value() < wanted {
                short.push((d_lo, is_known, rate.to_string()));
            }
        }
    }
    assert!(short.is_empty(), "{short:#?}");
}

/// Where found, the offset is right to 0.5 cents in 95 % and the level, the power of the series over the sounding one's as
/// the microphone hears them, to 1 dB in 68 % and to 3 dB in 95 % from one cycle on.
#[test]
fn level_and_offset_are_right_where_found() {
    let mut off = Vec::new();
    for (class, (d_lo, ..)) in CLASSES.into_iter().enumerate() {
        let found: Vec<(f64, f64)> =
            planted_trials().iter().filter(|t| t.class == class).filter_map(errors).collect();
        let level = Rate::of(found.iter().map(|e| e.0.abs() <= 1.0));
        let wide = Rate::of(found.iter().map(|e| e.0.abs() <= 3.0));
        let offset = Rate::of(found.iter().map(|e| e.1.abs() <= 0.5));
        let bias = quantile(&found.iter().map(|e| e.0).collect::<Vec<_>>(), 0.5);
        println!(
            "D from {d_lo}: level within 1 dB {level}, 3 dB {wide} (median error {bias:+.2} dB), offset within 0.5 cents {offset}"
        );
        // Under one cycle the fundamental's line lies in the partial's own slow course and is told from the others: 49 and 90 %.
        let (one, three) = if d_lo < 1.0 { (0.4, 0.85) } else { (0.68, 0.95) };
        if level.value() < one || wide.value() < three || bias.abs() > 0.3 || offset.value() < 0.95 {
            off.push((d_lo, level.to_string(), wide.to_string(), offset.to_string()));
        }
    }
    assert!(off.is_empty(), "{off:#?}");
}

/// The stated 95 % interval of the offset covers it in at least 95 %.
#[test]
fn stated_interval_of_the_offset_covers_it() {
    let covered = Rate::of(planted_trials().iter().filter(|t| is_found(t)).filter_map(|t| match t.state {
        Opposite::Sounding { offset, uncertainty, .. } => {
            Some((offset.get() - t.true_offset_cents).abs() <= uncertainty.get())
        }
        _ => None,
    }));
    println!("offset inside its interval: {covered}");
    assert!(covered.value() >= 0.95, "{covered}");
}

/// At most one false alarm in 500 clean natural takes, whatever is known beforehand.
#[test]
fn clean_takes_give_no_second_tone() {
    let alarms = false_alarms(400_000, trials(1000, 0), |seed| random_natural(seed, 40.0, 3000.0));
    assert!(alarms.value() <= 1.0 / 500.0, "{alarms}");
}

/// Sidebands that stand at the same distance in hertz beside every partial are tremor, not a reed.
#[test]
fn tremor_is_not_a_reed() {
    let alarms = false_alarms(410_000, trials(120, 0), |seed| {
        let mut spec = random_natural(seed, 40.0, 2000.0);
        let chance = &mut Chance::split(seed, 302);
        let tremor = natural_tremor(chance, spec.f0_hz);
        spec.tremor = Some(Tremor {
            depth: chance.log_between(0.05, 0.3),
            cents: chance.log_between(0.3, 3.0),
            spread: 1.0,
            ..tremor
        });
        spec
    });
    assert!(alarms.value() <= 1.0 / 500.0, "{alarms}");
}

/// Mains hum with its harmonics is not a reed, strong as it may be.
#[test]
fn hum_is_not_a_reed() {
    let alarms = false_alarms(420_000, trials(120, 0), |seed| {
        let mut spec = random_natural(seed, 40.0, 700.0);
        let chance = &mut Chance::split(seed, 303);
        let hum = natural_mains(chance);
        spec.mains = Some(Mains { level_db: chance.between(-35.0, -10.0), harmonics: 12, ..hum });
        spec
    });
    assert!(alarms.value() <= 1.0 / 500.0, "{alarms}");
}

/// Another note of the instrument sounding along is not the opposite reed, whose pitch is known.
#[test]
fn another_note_is_not_the_opposite_reed() {
    let alarms = over_seeds(430_000, trials(120, 0), |seed| {
        let mut spec = random_natural(seed, 80.0, 1500.0);
        let chance = &mut Chance::split(seed, 304);
        let cents = 100.0 * chance.between(2.0, 19.0).round() + chance.between(-8.0, 8.0);
        spec.others.push(other_note(seed, &spec, cents, chance.between(-45.0, -20.0)));
        let pitch = spec.f0_hz * (chance.between(-20.0, 20.0) / 1200.0).exp2();
        matches!(look(&spec.render(seed), known(seed, pitch)), Some(Opposite::Sounding { .. }))
    });
    let alarms = Rate::of(alarms);
    println!("false alarms: {alarms}");
    assert!(alarms.value() <= 1.0 / 500.0, "{alarms}");
}

/// An opposite tongue that moves at exactly the sounding reed's pitch is never reported as a second pitch.
#[test]
fn forced_tongue_is_never_a_second_pitch() {
    let alarms = false_alarms(440_000, trials(120, 0), |seed| {
        let mut spec = random_natural(seed, 55.0, 2000.0);
        let chance = &mut Chance::split(seed, 305);
        let mut tongue =
            natural_opposite(seed, &spec, chance.between(-30.0, 30.0), chance.between(-40.0, -10.0));
        tongue.forced = true;
        spec.opposite = Some(tongue);
        spec
    });
    assert_eq!(alarms.hits, 0, "{alarms}");
}

/// Second tones reported in takes that hold none; a third each with nothing known, a pitch within 30 cents known, and
/// a bisonoric pitch known.
fn false_alarms(first: u64, count: u64, spec: impl Fn(u64) -> ToneSpec + Sync + Send) -> Rate {
    let found = over_seeds(first, count, |seed| {
        let spec = spec(seed);
        let chance = &mut Chance::split(seed, 306);
        let cents = match seed % 3 {
            0 => None,
            1 => Some(chance.between(-30.0, 30.0)),
            _ => Some(chance.sign() * 100.0 * chance.between(1.0, 5.0).round() + chance.between(-10.0, 10.0)),
        };
        let pitch = cents.map(|cents| spec.f0_hz * (cents / 1200.0).exp2());
        let expected = pitch.map_or(OppositeExpectation::Unknown, |pitch| known(seed, pitch));
        match look(&spec.render(seed), expected) {
            Some(Opposite::Sounding { level, offset, evidence, .. }) => {
                println!(
                    "false alarm: seed {seed}, {:.1} Hz, expected {cents:.1?}, {:.1} dB at {:.2} cents, evidence {evidence:.1}",
                    spec.f0_hz,
                    level.get(),
                    offset.get()
                );
                true
            }
            _ => false,
        }
    });
    let rate = Rate::of(found);
    println!("false alarms: {rate}");
    rate
}

/// An opposite reed on another note, 1 to 7 semitones away, is found at −45 dB with probability 0.97.
#[test]
fn bisonoric_opposite_is_found_at_45_db_below() {
    let found = over_seeds(450_000, trials(150, 0), |seed| {
        let chance = &mut Chance::split(seed, 307);
        let mut spec = random_natural(seed, 60.0, 1500.0);
        let cents =
            chance.sign() * 100.0 * chance.between(0.5, 7.5).round().max(1.0) + chance.between(-10.0, 10.0);
        spec.opposite = Some(natural_opposite(seed, &spec, cents, -45.0));
        let rendered = spec.render(seed);
        let (start, end) = (spec.lead_in_s + spec.attack_s, rendered.truth.stop_s);
        if rendered.truth.opposite_energy_to_noise_db(start, end)? <= 30.0 {
            return None;
        }
        let expected = known(seed, spec.f0_hz * (cents / 1200.0).exp2());
        match look(&rendered, expected) {
            Some(Opposite::Sounding { offset, .. }) if (offset.get() - cents).abs() <= 2.0 => Some(true),
            other => {
                println!("missed: seed {seed}, {:.1} Hz, {cents:.0} cents: {other:?}", spec.f0_hz);
                Some(false)
            }
        }
    });
    let rate = Rate::of(found.into_iter().flatten());
    println!("bisonoric: {rate}");
    assert!(rate.value() >= 0.97, "{rate}");
}

/// When quiet, the stated upper limit holds in 95 % of takes, with an opposite reed anywhere from −75 to −25 dB.
#[test]
fn quiet_limit_holds() {
    let held = over_seeds(460_000, trials(700, 700), |seed| {
        let chance = &mut Chance::split(seed, 308);
        let spec = planted(seed, 0.5, 40.0, chance.between(-75.0, -25.0))?;
        let rendered = spec.render(seed);
        let expected = if seed % 2 == 0 {
            known(seed, spec.f0_hz * (spec.opposite.as_ref()?.offset_cents / 1200.0).exp2())
        } else {
            OppositeExpectation::Unknown
        };
        match look(&rendered, expected)? {
            Opposite::Quiet { limit, .. } => {
                Some((rendered.truth.opposite_level_db()? <= limit.get(), limit.get()))
            }
            _ => None,
        }
    });
    let quiet: Vec<(bool, f64)> = held.into_iter().flatten().collect();
    let rate = Rate::of(quiet.iter().map(|q| q.0));
    let limits: Vec<f64> = quiet.iter().map(|q| q.1).collect();
    println!("limit holds: {rate}; median limit {:.1} dB", quantile(&limits, 0.5));
    assert!(rate.trials >= 20 && rate.value() >= 0.95, "{rate}");
}

/// Too close for the take: never `quiet`, and the time it asks for is longer than what it had.
#[test]
fn reeds_too_close_for_the_take_are_left_open() {
    let judged = over_seeds(470_000, trials(120, 0), |seed| {
        let spec = planted(seed, 0.02, 0.1, -30.0)?;
        let rendered = spec.render(seed);
        let pitch = spec.f0_hz * (spec.opposite.as_ref()?.offset_cents / 1200.0).exp2();
        let expected = OppositeExpectation::Known { pitch: Hz::new(pitch)?, within: Cents::new(0.05)? };
        match look(&rendered, expected)? {
            Opposite::Unresolved { needs, .. } => {
                Some(needs.is_none_or(|needs| needs.get() > spec.steady_s * 0.9))
            }
            other => {
                println!("seed {seed}, {:.1} Hz: {other:?}", spec.f0_hz);
                Some(false)
            }
        }
    });
    let rate = Rate::of(judged.into_iter().flatten());
    println!("left open: {rate}");
    assert!(rate.value() >= 0.95, "{rate}");
}
