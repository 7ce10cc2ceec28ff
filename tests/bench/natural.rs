//! Takes drawn at random within what real reeds, bellows, rooms and cards do.
//!
//! Spectra follow real notes of free reeds recorded under free licences (124 to 1338 Hz); below that, reeds of
//! which the fundamental is far weaker than the partials above it.

use super::chance::Chance;
use super::room::Room;
use super::tone::{Companion, Mains, Tail, ToneSpec, Tremor, Wander};
use super::truth::Breath;

/// A clean take of one reed, everything about it drawn at random: pitch between `lo_hz` and `hi_hz` (log), spectrum,
/// attack, 2 to 4 s of steady tone, wander, tremor, breath, noise, room, tail. The card's clock is exact.
pub fn random_natural(seed: u64, lo_hz: f64, hi_hz: f64) -> ToneSpec {
    let chance = &mut Chance::split(seed, 100);
    let f0_hz = chance.log_between(lo_hz, hi_hz);
    let rate_hz = if chance.happens(0.5) { 48_000 } else { 44_100 };
    let partials = random_spectrum(chance, f0_hz, f64::from(rate_hz));
    let mut spec = ToneSpec::plain(rate_hz, f0_hz, partials, chance.between(2.0, 4.0));
    spec.lead_in_s = chance.between(0.15, 0.6);
    spec.attack_s = natural_attack(chance, f0_hz);
    spec.tail = natural_tail(chance, f0_hz);
    spec.wander = natural_wander(chance, f0_hz);
    spec.tremor = chance.happens(0.6).then(|| natural_tremor(chance, f0_hz));
    spec.breath = Some(natural_breath(chance));
    spec.snr_db = Some(chance.between(40.0, 70.0));
    spec.room = chance.happens(0.8).then(|| natural_room(chance));
    spec.mains = chance.happens(0.4).then(|| natural_mains(chance));
    spec.rumble_db = chance.happens(0.4).then(|| chance.between(-50.0, -25.0));
    spec.level_dbfs = chance.between(-36.0, -18.0);
    spec
}

/// Amplitudes of 10 to 60 partials, up to half the rate, the strongest 1.
///
/// The mean course fits the recorded notes: about −4 dB an octave and −0.7 dB a partial, ±6 dB at random from
/// partial to partial. Below 110 Hz the fundamental lies up to 26 dB under the strongest partial.
pub fn random_spectrum(chance: &mut Chance, f0_hz: f64, rate_hz: f64) -> Vec<f64> {
    let fit = ((0.47 * rate_hz).min(16_000.0) / f0_hz).floor().max(1.0) as usize;
    let n = (chance.between(10.0, 60.0) as usize).min(fit);
    let per_partial = chance.between(0.4, 1.0) * (f0_hz / 400.0).clamp(0.4, 2.0);
    let weak_start = f0_hz < 110.0;
    let levels: Vec<f64> = (1..=n)
        .map(|k| {
            let order = k as f64;
            let fall = -4.0 * order.log2() - per_partial * (order - 1.0);
            // Half of the ±6 dB on either side of the mean, normal, but never a wild value.
            fall + (4.0 * chance.normal()).clamp(-9.0, 9.0)
        })
        .collect();
    let mut amplitudes: Vec<f64> = levels.iter().map(|db| 10f64.powf(db / 20.0)).collect();
    let strongest = amplitudes.iter().skip(1).fold(1e-9, |a: f64, b| a.max(*b));
    if weak_start && n > 4 {
        let below_db = chance.between(3.0, 26.0);
        amplitudes[0] = strongest * 10f64.powf(-below_db / 20.0);
        // The second partial lies on the way up.
        amplitudes[1] = amplitudes[1].min(strongest).max(amplitudes[0]);
    }
    let strongest = amplitudes.iter().fold(1e-9, |a: f64, b| a.max(*b));
    amplitudes.iter().map(|a| a / strongest).collect()
}

/// An opposite reed at `offset_cents` and `level_db`: a spectrum like the sounding reed's, ±6 dB from partial to
/// partial, on the same bellows, ringing about as strongly in the tail.
pub fn natural_opposite(seed: u64, spec: &ToneSpec, offset_cents: f64, level_db: f64) -> Companion {
    let chance = &mut Chance::split(seed, 101);
    let partials = if offset_cents.abs() < 50.0 {
        spec.partials
            .iter()
            .map(|a| a * 10f64.powf((3.5 * chance.normal()).clamp(-8.0, 8.0) / 20.0))
            .collect()
    } else {
        random_spectrum(chance, spec.f0_hz * (offset_cents / 1200.0).exp2(), f64::from(spec.rate_hz))
    };
    let sharper = match spec.tail {
        Tail::Ring { sharper_cents, .. } => sharper_cents,
        _ => 10.0,
    };
    Companion {
        offset_cents,
        level_db,
        partials,
        share: chance.between(0.95, 1.05),
        own_wander_cents: chance.log_between(0.01, 0.1),
        forced: false,
        tail_level_db: (level_db + chance.between(0.0, 10.0)).min(0.0),
        tail_sharper_cents: sharper + chance.between(-3.0, 3.0),
    }
}

/// Another note of the instrument, `cents` away, on the same bellows but with a bend of its own.
pub fn other_note(seed: u64, spec: &ToneSpec, cents: f64, level_db: f64) -> Companion {
    let chance = &mut Chance::split(seed, 102);
    let f0 = spec.f0_hz * (cents / 1200.0).exp2();
    Companion {
        offset_cents: cents,
        level_db,
        partials: random_spectrum(chance, f0, f64::from(spec.rate_hz)),
        share: chance.between(0.3, 1.0),
        own_wander_cents: chance.log_between(0.02, 0.3),
        forced: false,
        tail_level_db: level_db,
        tail_sharper_cents: 10.0,
    }
}

/// Bass 100 to 500 ms, middle 30 to 150 ms, high 10 to 50 ms [CP].
pub fn natural_attack(chance: &mut Chance, f0_hz: f64) -> f64 {
    let longest = (0.5 * (55.0 / f0_hz).powf(0.65)).clamp(0.05, 0.5);
    chance.log_between(0.2 * longest, longest)
}

/// An abrupt stop; free ringing 5 to 15 cents sharper, with the quality factor of a steel tongue (70 to 250).
pub fn natural_tail(chance: &mut Chance, f0_hz: f64) -> Tail {
    let quality = chance.log_between(70.0, 250.0);
    let decay_s = (quality / (std::f64::consts::PI * f0_hz)).clamp(0.015, 0.5);
    Tail::Ring {
        sharper_cents: chance.between(5.0, 15.0),
        decay_s,
        length_s: (5.0 * decay_s).clamp(0.3, 1.2),
    }
}

/// Pressure wander of 1 to 8 %, through the bend of a reed: 35 cents per kPa at E2, 6 at A4, less above.
pub fn natural_wander(chance: &mut Chance, f0_hz: f64) -> Wander {
    let bend_cents_per_kpa = (6.0 * (440.0 / f0_hz).powf(1.05)).clamp(0.8, 40.0);
    let wander_kpa = 0.8 * chance.log_between(0.01, 0.08);
    let range_cents = (bend_cents_per_kpa * wander_kpa).min(3.0);
    Wander {
        range_cents,
        correlation_s: chance.log_between(0.3, 2.0),
        slope_cents_per_s: chance.between(-0.5, 0.5) * range_cents,
        // Level follows pressure about as its square root: 8 % of pressure, a third of a decibel and up.
        db_per_cent: chance.between(0.5, 1.5) * 10.0 * 0.1 / (0.1 * bend_cents_per_kpa).max(0.1) * 0.8,
    }
}

/// Tremor of the arm: 3 to 8 Hz, some percent of level, a fraction of a cent.
pub fn natural_tremor(chance: &mut Chance, f0_hz: f64) -> Tremor {
    Tremor {
        rate_hz: chance.between(3.0, 8.0),
        depth: chance.log_between(0.003, 0.05),
        cents: chance.log_between(0.02, 0.5) * (440.0 / f0_hz).powf(0.5).clamp(0.5, 2.0),
        spread: chance.between(0.0, 0.8),
    }
}

/// Air noise 35 to 65 dB below the tone, mostly between 0.3 and 6 kHz.
pub fn natural_breath(chance: &mut Chance) -> Breath {
    Breath {
        tone_over_breath_db: chance.between(35.0, 65.0),
        high_hz: chance.log_between(1000.0, 6000.0),
        low_hz: chance.log_between(80.0, 400.0),
    }
}

/// A workshop or living room, the microphone near the reed.
pub fn natural_room(chance: &mut Chance) -> Room {
    Room { rt60_s: chance.between(0.1, 0.6), direct_db: chance.between(3.0, 15.0), arrivals: 100 }
}

/// Hum 35 to 60 dB below the strongest partial.
pub fn natural_mains(chance: &mut Chance) -> Mains {
    Mains {
        hz: if chance.happens(0.5) { 50.0 } else { 60.0 } + chance.between(-0.05, 0.05),
        level_db: chance.between(-60.0, -35.0),
        harmonics: 6,
    }
}
