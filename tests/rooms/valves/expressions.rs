//! Lengths and work as people type them.

use platenote::repair::{LengthError, Work, parse_count, parse_length, parse_width};
use proptest::prelude::*;

/// The inch is 25.4 mm exactly (international yard and pound agreement, 1959; from memory).
#[test]
fn the_ways_of_the_trade_give_one_length() {
    for text in ["38", "38mm", "38 mm", " 38 MM ", "3.8 cm", "3,8cm", "38,0", "38."] {
        assert_eq!(parse_length(text).unwrap().get(), 38.0, "{text}");
    }
    for text in ["1.5 in", "1.5in", "1.5\"", "1,5 inches", "3.81 cm", "38.1"] {
        assert_eq!(parse_length(text).unwrap().get(), 38.1, "{text}");
    }
    for text in ["1 1/2 in", "1-1/2\"", "1 1/2in", "1½ in", "1½\"", "1 - 1/2 in", "1 1⁄2 inch", "38 1/10 mm"]
    {
        assert_eq!(parse_length(text).unwrap().get(), 38.1, "{text}");
    }
    assert_eq!(parse_length("7/8 in").unwrap().get(), 22.225);
    assert_eq!(parse_length("1 3/4\"").unwrap().get(), 44.45);
    assert_eq!(parse_length("38,125 mm").unwrap().get(), 38.125, "no valve is 38 metres long");
    assert_eq!(parse_count("1 1/2 in=4").unwrap(), (parse_length("38.1").unwrap(), 4));
    assert_eq!(parse_count("3.8 cm = 12").unwrap().1, 12);
    assert_eq!(parse_width("6,5 mm").unwrap().get(), 6.5);
}

#[test]
fn a_bare_3_8_is_refused_and_38_is_named() {
    let error = parse_length("3.8").unwrap_err();
    assert_eq!(error, LengthError::Bare { text: "3.8".into(), likely: 38.0 });
    assert_eq!(error.next(), "write `38 mm` or `3.8 cm` if 38 mm is meant");
    let error = parse_length("1 1/2").unwrap_err();
    assert_eq!(error, LengthError::BareFraction { text: "1 1/2".into(), likely: 38.1 });
    assert_eq!(error.next(), "write `1 1/2 in` if 38.1 mm is meant");
    // With its unit it is no better: no valve is that short.
    assert_eq!(parse_length("3.8 mm").unwrap_err().next(), "write `38 mm` if that is meant");
    assert_eq!(parse_length("380").unwrap_err().next(), "write `38 mm` if that is meant");
    assert_eq!(parse_length("38 cm").unwrap_err().next(), "write `38 mm` if that is meant");
}

#[test]
fn what_is_no_length_says_what_would_be() {
    for text in [
        "",
        "mm",
        "38 m",
        "thirty",
        "3.8.1",
        "-38",
        "1e2",
        "nan",
        "inf",
        ".",
        "38 38",
        "٣٨",
        "0x26",
        "1/0 in",
        "0/2 in",
        "3/2 in",
        "1 1/2/2 in",
        "1.5 1/2 in",
        "1,000.5",
        "/2 in",
        "1/ in",
        "1--1/2 in",
        "½½ in",
    ] {
        let error = parse_length(text).unwrap_err();
        assert!(error.next().contains("38 mm"), "{text}: {error}; {}", error.next());
    }
    for text in ["38", "38=", "=12", "38=-1", "38=1.5", "38=+3", "38=10000", "38=12=1"] {
        assert!(parse_count(text).is_err(), "{text}");
    }
    for text in ["", "1", "41", "nan", "1e1", "7 cm"] {
        assert!(parse_width(text).is_err(), "{text}");
    }
}

/// Everything the help lists.
const TYPED: [&str; 24] = [
    "lifted",
    "put back",
    "waxed",
    "cleaned",
    "cleaned solvent",
    "rust none",
    "rust light",
    "rust heavy",
    "valve off",
    "valve off 35 mm",
    "valve off 35.5 mm curled bin 2",
    "valve off scrap",
    "valve off bin a-1",
    "valve fitted",
    "valve fitted 38 mm",
    "valve fitted 38.1 mm bin 1",
    "valve fitted 38 mm new",
    "valve fitted new",
    "valve kept",
    "spring fitted",
    "filed tip",
    "filed root",
    "tuned",
    "pause",
];

#[test]
fn work_comes_back_as_it_was_typed() {
    for text in TYPED {
        let work = Work::parse(&[text]).unwrap();
        assert_eq!(work.to_string(), text);
        assert_eq!(Work::parse(&text.to_uppercase().split(' ').collect::<Vec<_>>()).unwrap(), work, "{text}");
    }
    assert_eq!(Work::parse(&["valve", "fitted", "3.8cm"]).unwrap().to_string(), "valve fitted 38 mm");
    assert_eq!(Work::parse(&["Note", "Tip weight LOOSE"]).unwrap().to_string(), "note Tip weight LOOSE");
    for wrong in
        ["", "polished", "rust", "rust deep", "filed", "valve", "valve fitted bin", "note", "waxed twice"]
    {
        assert!(Work::parse(&[wrong]).is_err(), "{wrong}");
    }
    assert!(Work::parse(&["valve fitted 3.8"]).unwrap_err().next().contains("38 mm"));
}

proptest! {
    #[test]
    fn millimetres_and_centimetres_agree(tenths in 100_u32..=2000) {
        let mm = f64::from(tenths) / 10.0;
        let centimetres = format!("{}.{:02} cm", tenths / 100, tenths % 100);
        for text in [format!("{mm}"), format!("{mm}mm"), format!("{mm} mm").replace('.', ","), centimetres] {
            prop_assert_eq!(parse_length(&text).unwrap().get(), mm, "{}", text);
        }
    }

    #[test]
    fn inches_are_25_4_mm(hundredths in 20_u32..=780) {
        let inches = f64::from(hundredths) / 100.0;
        let found = parse_length(&format!("{inches} in")).unwrap().get();
        prop_assert!((found - inches * 25.4).abs() <= 0.0005, "{} mm", found);
    }

    #[test]
    fn a_bare_number_below_ten_is_never_taken(hundredths in 0_u32..1000) {
        let text = format!("{}", f64::from(hundredths) / 100.0);
        let is_bare = matches!(parse_length(&text), Err(LengthError::Bare { .. }));
        prop_assert!(is_bare, "{}", text);
    }

    #[test]
    fn anything_typed_is_answered(text in "\\PC{0,20}", unit in "[0-9.,]{0,5} ?(mm|cm|in|\"|m)?") {
        for text in [text.clone(), unit.clone(), format!("{text}={unit}"), format!("valve off {unit} {text}")] {
            let length = parse_length(&text);
            prop_assert!(length.is_err() || (5.0..=200.0).contains(&length.unwrap().get()));
            let _ = (parse_count(&text).map_err(|error| error.next()), parse_width(&text));
            if let Ok(work) = Work::parse(&[&text]) {
                prop_assert_eq!(Work::parse(&[work.to_string()]).unwrap(), work);
            }
        }
    }
}
