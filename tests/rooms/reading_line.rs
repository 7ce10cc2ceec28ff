//! The stored shape of a reading: every value comes back bit for bit, and the fields are the promised ones.

use platenote::analysis::{
    Doubt, NotMeasured, Opposite, OppositeDetail, OppositeLine, Partial, Reading, Refusal, SoundingReed,
    Tail, Warning,
};
use platenote::instrument::Note;
use platenote::job::{FileLine, ReadingLine};
use platenote::units::{Cents, Dbfs, Decibels, Hz, Seconds, Span};
use serde_json::{Value, json};

fn cents(value: f64) -> Cents {
    Cents::new(value).unwrap()
}

fn db(value: f64) -> Decibels {
    Decibels::new(value).unwrap()
}

fn seconds(value: f64) -> Seconds {
    Seconds::new(value).unwrap()
}

/// Figures with all 53 bits in use.
fn reading() -> Reading {
    let third = 1.0 / 3.0;
    Reading {
        f0: Hz::new(220.0 + third).unwrap(),
        uncertainty: cents(0.1 + third / 1e9),
        doubt: Doubt { noise: cents(1e-17 * third), wander: cents(third), clock: cents(0.173_1 + 1e-16) },
        steady: Span { start: seconds(0.1 * third), end: seconds(3.0 + third) },
        level: Dbfs::new(-18.0 - third).unwrap(),
        onset: Ok(seconds(third / 4.0)),
        breath: Ok(db(-57.0 - third)),
        pitch_per_db: Ok((-third, third / 7.0)),
        partials: vec![
            Partial { number: 1, level: db(-third), above_noise: db(60.0 + third) },
            Partial { number: 40, level: db(-80.0 * third), above_noise: db(third) },
        ],
        opposite: Opposite::Sounding {
            level: db(-40.0 - third),
            offset: cents(-9.0 - third),
            uncertainty: cents(0.2 * third),
            evidence: 400.0 + third,
        },
        opposite_detail: OppositeDetail {
            lines: vec![OppositeLine { number: 3, level: db(-51.0 - third) }],
            limit_from: Some(cents(third)),
        },
        tail: Tail::Heard { level: db(-12.0 - third), offset: cents(11.0 + third), evidence: 35.0 + third },
        reeds: vec![SoundingReed {
            f0: Hz::new(441.0 + third).unwrap(),
            uncertainty: cents(third),
            level: db(-third),
        }],
        warnings: vec![],
    }
}

#[track_caller]
fn comes_back(reading: &Reading) {
    let text = serde_json::to_string(&ReadingLine::from(reading)).unwrap();
    let line: ReadingLine = serde_json::from_str(&text).unwrap();
    assert_eq!(&Reading::try_from(line).unwrap(), reading, "{text}");
    // By way of a parsed tree too, and over the line of a file.
    let line: ReadingLine = serde_json::from_value(serde_json::from_str(&text).unwrap()).unwrap();
    assert_eq!(&Reading::try_from(line).unwrap(), reading);
}

const REASONS: [NotMeasured; 13] = [
    NotMeasured::AttackCut,
    NotMeasured::TailCut,
    NotMeasured::SlowStop,
    NotMeasured::TailUnclear,
    NotMeasured::TailTooShort { lasts: 0.1 / 3.0, needs: 0.2 / 3.0 },
    NotMeasured::TooClose { steady: 1.0 / 3.0 },
    NotMeasured::TooNoisy,
    NotMeasured::TooShort { lasts: 0.4 / 3.0, needs: 2.0 / 3.0 },
    NotMeasured::Clipped,
    NotMeasured::SeveralReeds,
    NotMeasured::LevelEven,
    NotMeasured::Swelling,
    NotMeasured::OppositeUnknown,
];

#[test]
fn every_digit_comes_back() {
    comes_back(&reading());
}

#[test]
fn every_state_of_opposite_and_tail_comes_back() {
    let mut all: Vec<Opposite> = vec![
        Opposite::Quiet { limit: db(-52.0 - 1.0 / 3.0), evidence: -0.1 },
        Opposite::Unresolved {
            evidence: 2.0 / 3.0,
            needs: Some(seconds(7.0 / 3.0)),
            reason: NotMeasured::TooNoisy,
        },
        Opposite::NotLooked,
    ];
    all.extend(REASONS.map(|reason| Opposite::Unresolved { evidence: 0.0, needs: None, reason }));
    for opposite in all {
        comes_back(&Reading { opposite, ..reading() });
    }
    comes_back(&Reading { tail: Tail::Quiet { limit: db(-30.1), evidence: 1.5 }, ..reading() });
    for reason in REASONS {
        comes_back(&Reading { tail: Tail::NotMeasured(reason), ..reading() });
        comes_back(&Reading {
            onset: Err(reason),
            breath: Err(reason),
            pitch_per_db: Err(reason),
            ..reading()
        });
    }
}

#[test]
fn every_warning_comes_back() {
    let warnings = vec![
        Warning::Clipped { count: 3 },
        Warning::NotFinite { count: 1 },
        Warning::Wandering { range: 4.0 / 3.0 },
        Warning::Noisy { snr: 10.0 / 3.0 },
        Warning::Unexpected { cents: -200.0 / 3.0 },
        Warning::Lossy,
        Warning::OtherTone { hz: 100.0 / 3.0 },
        Warning::Remark("2 of 2 channels carry sound".into()),
        Warning::SeveralReeds { count: 2 },
    ];
    comes_back(&Reading { warnings, ..reading() });
}

/// The shape promised in docs/json.md, field by field.
#[test]
fn the_line_has_the_promised_fields() {
    let mut quiet = reading();
    quiet.onset = Err(NotMeasured::AttackCut);
    quiet.opposite = Opposite::Quiet { limit: db(-50.0), evidence: 0.5 };
    quiet.opposite_detail = OppositeDetail { lines: vec![], limit_from: Some(cents(1.5)) };
    quiet.tail = Tail::NotMeasured(NotMeasured::TailCut);
    quiet.warnings = vec![Warning::Clipped { count: 12 }];
    let note: Note = "A3".parse().unwrap();
    let line = serde_json::to_value(FileLine::read("a.wav", &quiet, Some((note, cents(2.5))))).unwrap();
    let fields = |value: &Value| {
        let mut names: Vec<_> = value.as_object().unwrap().keys().cloned().collect();
        names.sort();
        names.join(" ")
    };
    assert_eq!(fields(&line), "file format opposite reading reeds tail warnings");
    assert_eq!(
        fields(&line["reading"]),
        "breath_db cents doubt_cents f0_hz level_dbfs not_measured note onset_s partials pitch_per_db steady_s \
         uncertainty_cents"
    );
    assert_eq!(
        (&line["format"], &line["reading"]["note"], &line["reading"]["cents"]),
        (&json!(1), &json!("A3"), &json!(2.5))
    );
    assert_eq!(line["reading"]["onset_s"], Value::Null);
    let why = json!({"onset_s": {"code": "attack_cut", "text": "the recording begins inside the note"}});
    assert_eq!(line["reading"]["not_measured"], why);
    assert_eq!(
        line["opposite"],
        json!({"state": "quiet", "level_db": null, "limit_db": -50.0, "cents": null, "uncertainty_cents": null,
               "evidence": 0.5, "needs_s": null, "reason": null, "limit_from_cents": 1.5, "lines": null})
    );
    assert_eq!(line["tail"]["state"], Value::Null);
    assert_eq!(line["tail"]["reason"]["code"], "tail_cut");
    assert_eq!(line["warnings"][0]["code"], "clipped");
    assert_eq!(line["warnings"][0]["count"], 12);
    assert_eq!(fields(&line["reeds"][0]), "f0_hz level_db uncertainty_cents");
}

#[test]
fn a_plate_with_one_reed_gives_nulls_and_the_reason() {
    let opposite_detail = OppositeDetail::default();
    let line = ReadingLine::from(&Reading { opposite: Opposite::NotLooked, opposite_detail, ..reading() });
    let line = serde_json::to_value(line).unwrap();
    let opposite = line["opposite"].as_object().unwrap();
    assert!(opposite.iter().all(|(name, value)| value.is_null() == (name != "reason")), "{opposite:?}");
    assert_eq!(opposite["reason"]["code"], "one_reed");
}

#[test]
fn an_infinite_evidence_stays_a_number() {
    let tail = Tail::Quiet { limit: db(-30.0), evidence: f64::INFINITY };
    let line = serde_json::to_value(ReadingLine::from(&Reading { tail, ..reading() })).unwrap();
    assert_eq!(line["tail"]["evidence"].as_f64(), Some(f64::MAX));
}

#[test]
fn fields_from_later_versions_are_passed_over() {
    let mut line = serde_json::to_value(ReadingLine::from(&reading())).unwrap();
    line["reading"]["colour"] = json!("brass");
    line["mood"] = json!(1);
    let line: ReadingLine = serde_json::from_value(line).unwrap();
    assert_eq!(Reading::try_from(line).unwrap(), reading());
}

#[test]
fn a_stored_reading_out_of_range_is_refused_by_its_field() {
    for (part, field, value, words) in [
        ("reading", "f0_hz", json!(0.0), "f0_hz"),
        ("reading", "steady_s", json!([2.0, 1.0]), "steady_s"),
        ("reading", "onset_s", Value::Null, "onset_s"),
        ("opposite", "level_db", Value::Null, "opposite.level_db"),
        ("tail", "state", Value::Null, "tail.reason"),
    ] {
        let mut line = serde_json::to_value(ReadingLine::from(&reading())).unwrap();
        line[part][field] = value;
        let line: ReadingLine = serde_json::from_value(line).unwrap();
        let error = Reading::try_from(line).unwrap_err();
        assert!(error.contains(words), "{part}.{field}: {error}");
    }
}

#[test]
fn a_refused_take_carries_code_and_figures() {
    let refusal = Refusal::TooShort { sounds: 0.31, needs: 0.5 };
    let line = serde_json::to_value(FileLine::refused("b.wav", &refusal, "hold the note longer")).unwrap();
    assert_eq!(
        line,
        json!({"format": 1, "file": "b.wav", "error": "the note sounds for 0.31 s and needs 0.50 s",
               "next": "hold the note longer",
               "refusal": {"code": "too_short", "sounds_s": 0.31, "needs_s": 0.5,
                           "text": "the note sounds for 0.31 s and needs 0.50 s"}})
    );
    for line in
        [line, serde_json::to_value(FileLine::unreadable("c.wav", "`c.wav` is empty", "copy it")).unwrap()]
    {
        let back: FileLine = serde_json::from_value(line.clone()).unwrap();
        assert_eq!(serde_json::to_value(back).unwrap(), line);
    }
}
