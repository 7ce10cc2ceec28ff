//! Laws every reading obeys, on natural takes with fixed seeds.

use crate::bench::natural::{natural_opposite, random_natural};
use crate::bench::tone::{ToneSpec, Wander};
use platenote::analysis::{Expectation, Opposite, Reading, Warning, listen, read};
use platenote::take::Take;
use platenote::units::Cents;
use rayon::prelude::*;

/// Natural takes, every other one with an opposite reed.
fn takes() -> Vec<(u64, ToneSpec, Take)> {
    (600_000..600_012)
        .map(|seed: u64| {
            let mut spec = random_natural(seed, 60.0, 2000.0);
            if seed.is_multiple_of(2) {
                spec.opposite = Some(natural_opposite(seed, &spec, 15.0, -30.0));
            }
            let take = spec.render(seed).take();
            (seed, spec, take)
        })
        .collect()
}

fn reading(take: &Take) -> Reading {
    read(take, &Expectation::default()).expect("a natural take")
}

fn cents_between(a: &Reading, b: &Reading) -> f64 {
    a.f0.cents_above(b.f0).get()
}

/// Half as loud, to the bit in every sample: the same pitch, spans and opposite reed, 6.02 dB less level.
#[test]
fn softer_moves_nothing_but_the_level() {
    for (seed, _, take) in takes() {
        let mut soft = take.clone();
        soft.samples.iter_mut().for_each(|x| *x *= 0.5);
        let (loud, soft) = (reading(&take), reading(&soft));
        assert!(cents_between(&loud, &soft).abs() < 1e-6, "seed {seed}");
        assert!((loud.level.get() - soft.level.get() - 6.0206).abs() < 1e-3, "seed {seed}");
        assert_eq!(loud.steady, soft.steady, "seed {seed}");
        match (&loud.opposite, &soft.opposite) {
            (Opposite::Sounding { level: a, .. }, Opposite::Sounding { level: b, .. }) => {
                assert!((a.get() - b.get()).abs() < 1e-3, "seed {seed}");
            }
            (a, b) => assert_eq!(std::mem::discriminant(a), std::mem::discriminant(b), "seed {seed}"),
        }
    }
}

/// The other polarity of the microphone: the same reading.
#[test]
fn polarity_changes_nothing() {
    for (seed, _, take) in takes() {
        let mut turned = take.clone();
        turned.samples.iter_mut().for_each(|x| *x = -*x);
        let (a, b) = (reading(&take), reading(&turned));
        assert!(cents_between(&a, &b).abs() < 1e-9 && a.steady == b.steady, "seed {seed}");
    }
}

/// The same samples said to be taken twice as fast sound an octave higher for half the time; cents stay cents.
#[test]
fn twice_the_rate_is_an_octave_up() {
    let mut spec = ToneSpec::plain(24_000, 220.0, vec![1.0, 0.6, 0.4, 0.2], 2.0);
    spec.snr_db = Some(60.0);
    let take = spec.render(5).take();
    let fast = Take { rate_hz: 48_000, ..take.clone() };
    let (a, b) = (reading(&take), reading(&fast));
    assert!((cents_between(&b, &a) - 1200.0).abs() < 2e-3, "{}", cents_between(&b, &a));
}

/// A quarter of a second of more lead-in moves the steady stretch and not the pitch.
#[test]
fn more_silence_before_the_note_moves_no_pitch() {
    for (seed, spec, take) in takes() {
        let mut later = take.clone();
        let lead = take.samples[..(0.1 * f64::from(spec.rate_hz)) as usize].to_vec();
        later.samples.splice(0..0, lead.into_iter().cycle().take(spec.rate_hz as usize / 4));
        let (a, b) = (reading(&take), reading(&later));
        // The stretch may be laid a few milliseconds differently; drift over that is all that may be left.
        assert!(cents_between(&a, &b).abs() < 0.02 + a.uncertainty.get().min(0.1), "seed {seed}");
        assert!((b.steady.start.get() - a.steady.start.get() - 0.25).abs() < 0.2, "seed {seed}");
    }
}

/// The same samples give the same reading to the bit, alone or beside others on many threads.
#[test]
fn readings_are_the_same_to_the_bit_on_any_number_of_threads() {
    let takes: Vec<Take> = takes().into_iter().map(|(_, _, take)| take).collect();
    let alone: Vec<Reading> = takes.iter().map(reading).collect();
    let together: Vec<Reading> = takes.par_iter().map(reading).collect();
    let pool = rayon::ThreadPoolBuilder::new().num_threads(7).build().expect("a pool");
    let crowded: Vec<Reading> = pool.install(|| takes.par_iter().map(reading).collect());
    // Debug output shows every digit of an f64.
    assert_eq!(format!("{alone:?}"), format!("{together:?}"));
    assert_eq!(format!("{alone:?}"), format!("{crowded:?}"));
}

/// The louder the noise, the wider the interval.
#[test]
fn more_noise_means_more_doubt() {
    let spec =
        |snr| ToneSpec { snr_db: Some(snr), ..ToneSpec::plain(48_000, 440.0, vec![1.0, 0.5, 0.25], 2.0) };
    let doubt = |snr| reading(&spec(snr).render(9).take()).doubt.noise.get();
    assert!(doubt(20.0) > 3.0 * doubt(40.0) && doubt(40.0) > 3.0 * doubt(60.0));
}

/// What a reading says of itself hangs together: the stretch lies in the take, levels are finite, partials ascend.
#[test]
fn readings_hang_together() {
    for (seed, _, take) in takes() {
        let reading = reading(&take);
        let (start, end) = (reading.steady.start.get(), reading.steady.end.get());
        assert!(0.0 <= start && start < end && end <= take.length_s(), "seed {seed}");
        assert!(reading.partials.windows(2).all(|p| p[0].number < p[1].number), "seed {seed}");
        assert!(reading.partials.iter().all(|p| p.level.get() <= 1e-9), "seed {seed}");
        let doubt = reading.doubt;
        let largest = doubt.noise.get().max(doubt.wander.get()).max(doubt.clock.get());
        assert!(reading.uncertainty.get() >= largest * (1.0 - 1e-9), "seed {seed}");
    }
}

/// The picture beside a partial shows the second tone where it was planted and as strong, however far out in the band;
/// and it has four points, less a little, for each line the stretch can part.
#[test]
fn a_close_up_shows_a_planted_tone_in_its_place_and_at_its_level() {
    let mut spec = ToneSpec::plain(48_000, 220.0, vec![1.0, 0.7, 0.6, 0.5, 0.4, 0.3], 4.0);
    spec.snr_db = Some(70.0);
    for (offset_cents, partial) in [(15.0, 2), (15.0, 4), (-40.0, 3), (30.0, 5)] {
        let mut companion = natural_opposite(3, &spec, offset_cents, -30.0);
        companion.partials.clone_from(&spec.partials);
        (companion.share, companion.own_wander_cents, companion.forced) = (1.0, 0.0, false);
        let take = ToneSpec { opposite: Some(companion), ..spec.clone() }.render(7).take();
        let mut heard = listen(&take, &Expectation::default()).expect("a reading");
        let reading = heard.reading(Expectation::default().opposite);
        let drawn = heard.close_up(&reading, Cents::new(offset_cents), Some(partial)).expect("a picture");
        let loudest = |near: f64| {
            let points = drawn.offset_cents.iter().zip(&drawn.level_db);
            let near = points.filter(|(offset, _)| (**offset - near).abs() < 4.0);
            near.max_by(|a, b| a.1.total_cmp(b.1)).map(|(offset, level)| (*offset, *level)).expect("drawn")
        };
        let ((own, top), (other, level)) = (loudest(0.0), loudest(offset_cents));
        let where_it_is = format!("{offset_cents} cents, partial {partial}: {own} {top} {other} {level}");
        // Near by, a part of the beat is taken for wander that both share, and taken off.
        let within_db = if offset_cents.abs() < 20.0 { 1.5 } else { 0.1 };
        assert!(own.abs() < 0.3 && top.abs() < 0.2, "{where_it_is}");
        assert!((other - offset_cents).abs() < 0.5 && (level + 30.0).abs() < within_db, "{where_it_is}");
        let partial_hz = f64::from(partial) * 220.0;
        let step = drawn.offset_cents[1] - drawn.offset_cents[0];
        let step_hz = partial_hz * ((step / 1200.0).exp2() - 1.0);
        assert!(step_hz * reading.steady.length().get() < 0.3, "{step_hz} Hz");
    }
}

/// A bellows that makes the reed one cent flatter with each decibel: the slope is found, and the stated interval holds it.
/// The pitch is a mean over more of the wander than the level is, so that it comes out somewhat flatter than it is.
#[test]
fn pitch_against_level_is_found_as_it_was_planted() {
    for (db_per_cent, wanted) in [(1.0, -1.0), (0.5, -2.0)] {
        let mut spec = ToneSpec::plain(48_000, 330.0, vec![1.0, 0.6, 0.4, 0.2], 6.0);
        spec.snr_db = Some(60.0);
        spec.wander = Wander { range_cents: 4.0, correlation_s: 0.8, slope_cents_per_s: 0.0, db_per_cent };
        for seed in 0..4 {
            let (slope, interval) =
                reading(&spec.render(seed).take()).pitch_per_db.expect("it ranges enough");
            let off = (slope - wanted).abs();
            assert!(off < interval && interval < -0.15 * wanted, "{seed}: {slope} ± {interval} of {wanted}");
        }
    }
}

/// The noise that a warning names is the noise that was added.
#[test]
fn a_noisy_take_is_told_with_its_noise() {
    for snr_db in [8.0, 14.0] {
        let mut spec = ToneSpec::plain(48_000, 220.0, vec![1.0, 0.6, 0.4, 0.2], 4.0);
        spec.snr_db = Some(snr_db);
        let reading = reading(&spec.render(3).take());
        let told = reading.warnings.iter().find_map(|warning| match warning {
            Warning::Noisy { snr } => Some(*snr),
            _ => None,
        });
        // Only the noise beside the partials that are looked at counts, and its share of the band is not white's.
        assert!(told.is_some_and(|told| (told - snr_db).abs() < 3.0), "{snr_db} dB: {told:?}");
    }
}
