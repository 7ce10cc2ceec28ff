//! The reed equations against the values an earlier, separate program gave for them; and the analysis on their sound.
//!
//! Left out of what that program ran: E2, A5 and A6, the 144-run sweep of partners (six runs stand for it), the growth
//! formula at low pressure.

use crate::bench::reed::{Plate, RATE_HZ, Run, blow, pitch_and_swing, steady_until, two_damped_tones};
use platenote::analysis::{Expectation, Opposite, OppositeExpectation, Tail, read};
use platenote::take::Take;
use platenote::units::{Cents, Hz};
use rayon::prelude::*;

const NEVER: f64 = 1e9;
/// Half swings below this are silence, m.
const SILENT: f64 = 1e-6;

fn last_second(track: &[f64]) -> &[f64] {
    &track[track.len() - RATE_HZ as usize..]
}

fn with(partner_cents: f64, leak_mm2: f64) -> Plate {
    Plate { partner_cents: Some(partner_cents), leak_mm2, ..Plate::a4() }
}

/// One tongue at 800 Pa: 436.544 Hz, half swing 2.325 mm.
#[test]
fn one_tongue_sounds_as_computed_before() {
    let run = blow(&Plate { partner_cents: None, ..Plate::a4() }, 3.0, steady_until(800.0, NEVER));
    let (hz, swing) = pitch_and_swing(last_second(&run.a), SILENT).expect("a tone");
    assert!((hz - 436.544).abs() < 0.02, "{hz}");
    assert!((swing / 2.325e-3 - 1.0).abs() < 0.02, "{swing}");
}

/// Partner 10 cents flat behind a leak of 3 mm²: 436.476 Hz, half swings 2.098 and 0.169 mm, both at one pitch.
#[test]
fn leaking_pair_moves_at_one_pitch() {
    let run = blow(&with(-10.0, 3.0), 3.0, steady_until(800.0, NEVER));
    let (a_hz, a) = pitch_and_swing(last_second(&run.a), SILENT).expect("a tone");
    let (b_hz, b) = pitch_and_swing(last_second(&run.b), SILENT).expect("a moving partner");
    assert!((a_hz - 436.476).abs() < 0.02 && (a_hz - b_hz).abs() < 0.001, "{a_hz} {b_hz}");
    assert!((a / 2.098e-3 - 1.0).abs() < 0.02 && (b / 0.169e-3 - 1.0).abs() < 0.02, "{a} {b}");
}

/// Pitch falls by 6.0 ± 0.5 cents per kPa from 150 to 1200 Pa; its sign as published (Koopman et al. 1996).
#[test]
fn pitch_falls_with_pressure() {
    let pitch = |pa: f64, seconds: f64| {
        let run = blow(&Plate { partner_cents: None, ..Plate::a4() }, seconds, steady_until(pa, NEVER));
        pitch_and_swing(last_second(&run.a), SILENT).expect("a tone").0
    };
    let slope = 1200.0 * (pitch(1200.0, 3.0) / pitch(150.0, 8.0)).log2() / 1.05;
    assert!((slope + 6.0).abs() < 0.5, "{slope} cents per kPa");
}

/// A larger leak behind a unison partner: more air, a slower start, a weaker and lower tone.
#[test]
fn leak_takes_air_and_weakens_the_tone() {
    let measured: Vec<(f64, f64, f64)> = [0.0, 1.0, 3.0, 10.0]
        .into_par_iter()
        .map(|leak| {
            let run = blow(&with(0.0, leak), 2.5, steady_until(800.0, NEVER));
            let (hz, swing) = pitch_and_swing(last_second(&run.a), SILENT).expect("a tone");
            let mean = last_second(&run.flow).iter().sum::<f64>() / f64::from(RATE_HZ);
            println!(
                "leak {leak} mm²: {:.1} l/min, swing {:.3} mm, {hz:.3} Hz",
                mean * 60_000.0,
                swing * 1e3
            );
            (mean * 60_000.0, swing, onset_s(&run, swing))
        })
        .collect();
    assert!(
        measured.windows(2).all(|w| w[0].0 < w[1].0 && w[0].1 > w[1].1 && w[0].2 <= w[1].2),
        "{measured:?}"
    );
    // 14.6 and 20.1 l/min, as computed before.
    assert!((measured[0].0 - 14.6).abs() < 0.3 && (measured[3].0 - 20.1).abs() < 0.3, "{measured:?}");
}

/// From the start to 90 % of the swing, s.
fn onset_s(run: &Run, swing: f64) -> f64 {
    let period = 120;
    let grown = run.a.chunks(period).position(|c| {
        let (low, high) = c.iter().fold((f64::MAX, f64::MIN), |(l, h), x| (l.min(*x), h.max(*x)));
        0.5 * (high - low) >= 0.9 * swing
    });
    grown.map_or(f64::INFINITY, |i| (i * period) as f64 / f64::from(RATE_HZ))
}

/// Unison tongues with the slot all but open: no tone at all.
#[test]
fn unison_pair_without_a_valve_is_silent() {
    let run = blow(&with(0.0, 40.0), 2.5, steady_until(800.0, NEVER));
    assert_eq!(pitch_and_swing(last_second(&run.a), SILENT), None);
}

/// A cell that resonates below the note: only the wrong tongue sounds, at 497.9 Hz, above its own 493.88.
#[test]
fn large_cell_makes_the_wrong_tongue_sound() {
    let plate = Plate { cell_cm3: 60.0, port: (40.0, 25.0), ..with(200.0, 40.0) };
    let run = blow(&plate, 4.0, steady_until(800.0, NEVER));
    let (hz, b) = pitch_and_swing(last_second(&run.b), SILENT).expect("a tone");
    let a = pitch_and_swing(last_second(&run.a), SILENT).map_or(0.0, |(_, swing)| swing);
    assert!((hz - 497.9).abs() < 0.5 && a < 0.2 * b, "{hz} Hz, {a} against {b}");
}

/// After the air stops both tongues ring at their own pitches: 439.98 and 437.47 Hz.
#[test]
fn both_tongues_ring_at_their_own_pitch() {
    let run = blow(&with(-10.0, 3.0), 2.4, steady_until(800.0, 2.0));
    let from = (2.08 * f64::from(RATE_HZ)) as usize;
    let ringing = from..from + RATE_HZ as usize / 5;
    let a = pitch_and_swing(&run.a[ringing.clone()], 1e-9).expect("ringing").0;
    // Tongue A shakes B a little, so B's motion holds two tones; its own is the lower one.
    let about_rest: Vec<f64> = run.b[ringing].iter().map(|x| x - 0.3e-3).collect();
    let (b, _) = two_damped_tones(&about_rest, 439.0);
    assert!((a - 439.98).abs() < 0.1 && (b - 437.47).abs() < 0.1, "{a} {b}");
}

/// What the analysis makes of the sound: tongues forced to one pitch are never a second tone, whatever the leak, the
/// pitch is the tongue's own, and a tight valve gives no tail tone.
#[test]
fn analysis_hears_one_pitch_in_the_reed_equations() {
    let plates =
        [(0.0, 0.0), (0.0, 3.0), (-10.0, 3.0), (12.0, 10.0), (-25.0, 3.0), (200.0, 10.0), (-300.0, 10.0)];
    let wrong: Vec<String> = plates
        .into_par_iter()
        .flat_map_iter(|(cents, leak)| [Plate::a4(), Plate::a3()].map(|plate| (cents, leak, plate)))
        .filter_map(|(cents, leak, plate)| {
            let plate = Plate { partner_cents: Some(cents), leak_mm2: leak, ..plate };
            let run = blow(&plate, 3.4, steady_until(800.0, 3.0));
            let take = Take::new(run.sound.clone(), RATE_HZ);
            let own = Hz::new(plate.f0_hz * (cents / 1200.0).exp2())?;
            // Its own take would give it blown, some 10 cents below its natural pitch.
            let blown = own.raised_by(Cents::new(-13.0)?);
            let opposite = OppositeExpectation::Known { pitch: blown, within: Cents::new(5.0)? };
            let reading = match read(&take, &Expectation { opposite, ..Expectation::default() }) {
                Ok(reading) => reading,
                Err(refusal) => return Some(format!("{plate:?}: {refusal}")),
            };
            let span = |s: f64| (s * f64::from(RATE_HZ)) as usize;
            let steady = &run.a[span(reading.steady.start.get())..span(reading.steady.end.get())];
            let (hz, _) = pitch_and_swing(steady, SILENT)?;
            let off = 1200.0 * (reading.f0.get() / hz).log2();
            let is_second = matches!(reading.opposite, Opposite::Sounding { .. });
            let is_tail = leak == 0.0 && matches!(reading.tail, Tail::Heard { .. });
            (is_second || is_tail || off.abs() > 0.05).then(|| {
                format!(
                    "{} Hz, {cents} cents, {leak} mm²: {off:+.3} cents, {:?}, {:?}",
                    plate.f0_hz, reading.opposite, reading.tail
                )
            })
        })
        .collect();
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// With 10 mm² the partner rings after the stop. The tail may leave that open; where it is heard it lies at its distance to a few
/// cents on another note (300 cents below it drowns under the limit that is stated). Near unison the two rings last for a cycle or two of
/// their beat only, which the played reed explains as well when it dies away in two ways: where one is heard it is placed to 25
/// cents, and no limit is stated below -20 dB.
#[test]
fn analysis_hears_the_partner_ring_after_the_stop() {
    let wrong: Vec<String> = [-40.0, 60.0, 200.0, -300.0]
        .into_par_iter()
        .filter_map(|cents| {
            let run = blow(&with(cents, 10.0), 3.6, steady_until(800.0, 3.0));
            let take = Take::new(run.sound, RATE_HZ);
            let pitch = Hz::new(440.0)?.raised_by(Cents::new(cents - 13.0)?);
            let opposite = OppositeExpectation::Known { pitch, within: Cents::new(5.0)? };
            match read(&take, &Expectation { opposite, ..Expectation::default() }).map(|r| r.tail) {
                Ok(Tail::Heard { offset, .. })
                    if (offset.get() - cents).abs() < if cents.abs() < 100.0 { 25.0 } else { 8.0 } =>
                {
                    None
                }
                Ok(Tail::NotMeasured(_)) if cents > -200.0 => None,
                Ok(Tail::Quiet { limit, .. }) if cents.abs() < 100.0 && limit.get() > -20.0 => None,
                // The model's own figure for so distant a partner is -31 dB: a limit above that is no miss.
                Ok(Tail::Quiet { limit, .. }) if cents < -200.0 && limit.get() > -31.0 => None,
                other => Some(format!("{cents} cents: {other:?}")),
            }
        })
        .collect();
    assert!(wrong.is_empty(), "{wrong:#?}");
}
