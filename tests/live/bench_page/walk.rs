//! The whole way of a job, at the width of a telephone and of a desk: from an empty folder to the printed sheet, with sound from
//! the FIFO, a valve that leaks and is changed, a reed that is filed, and two mistakes taken back. Each state is asked of the
//! accessibility checker.

use std::time::Instant;

use base64::Engine;
use platenote::job::Job;
use serde_json::json;

use super::browser::Browser;
use super::client::Served;
use super::looks::{check, picture, type_into};
use super::sitting::in_a_quiet_room;
use crate::bench::chromium::chromium;
use crate::bench::played::played;
use crate::bench::tone::{Companion, ToneSpec};
use crate::microphone::{Microphone, Plug, RATE, environment};

/// Pitches of A1 press and draw re A4 = 440 Hz, cents: far enough apart to hear one beside the other in two seconds.
const PRESS_CENTS: f64 = -7.0;
const DRAW_CENTS: f64 = 5.0;
const STEADY_S: f64 = 1.9;

struct Walk<'a> {
    browser: Browser,
    folder: &'a std::path::Path,
    name: String,
}

impl Walk<'_> {
    fn turn(&mut self, page: &str, wanted: &str) {
        self.browser.value(&format!("location.hash = '#{page}'"));
        self.browser.wait_for(&format!("!document.querySelector('#page-{page}').hidden && !document.querySelector('[aria-busy]') && {wanted}"));
    }

    fn look(&mut self, state: &str) {
        check(&mut self.browser, &format!("{}, {state}", self.name));
        picture(&mut self.browser, &format!("walk-{}-{state}", self.name));
    }

    fn said(&mut self, words: &str) {
        self.browser.wait_for(&format!("document.querySelector('#said').textContent.includes('{words}')"));
    }

    /// Begin with the last input of the list.
    fn begin(&mut self, form: &str, screen: &str) {
        self.browser
            .wait_for(&format!("document.querySelectorAll('#{form} [name=input] option').length > 1"));
        self.browser.value(&format!("(() => {{ const all = document.querySelector('#{form} [name=input]'); all.selectedIndex = all.options.length - 1; document.querySelector('#{form} .main').click(); }})()"));
        self.browser.wait_for(&format!("!document.querySelector('#{screen}').hidden"));
    }

    fn wait(&mut self, microphone: &mut Microphone, script: &str) {
        let browser = &mut self.browser;
        in_a_quiet_room(microphone, || browser.wait_for(script));
    }

    /// Both reeds of A1 as they are called.
    fn record(&mut self, microphone: &mut Microphone, takes: &[Vec<f32>; 2]) {
        for (due, take) in ["A1 press", "A1 draw"].into_iter().zip(takes) {
            self.wait(microphone, &format!("document.querySelector('#due-place').textContent === '{due}' && document.querySelector('#call').textContent.startsWith('play')"));
            // Sound that was lost while the input began shows late.
            (0..100).for_each(|_| assert!(microphone.play_quiet()));
            assert!(microphone.play(take));
        }
        self.wait(microphone, "document.querySelector('#sitting').hidden");
    }

    fn marks(&self) -> Vec<String> {
        let marks = Job::open(self.folder).unwrap().marks();
        marks.iter().filter(|mark| !mark.undone).map(|mark| mark.work.to_string()).collect()
    }
}

fn reed(cents: f64, opposite: Option<Companion>, seed: u64) -> Vec<f32> {
    let hz = 440.0 * f64::exp2(cents / 1200.0);
    ToneSpec { opposite, ..played(RATE as u32, hz, STEADY_S) }.render(seed).samples
}

/// Press and draw of the plate, with the valve that leaks on press or without.
fn takes(is_leaking: bool, seed: u64) -> [Vec<f32>; 2] {
    let opposite = is_leaking.then(|| Companion {
        offset_cents: DRAW_CENTS - PRESS_CENTS,
        level_db: -24.0,
        partials: (1..=10).map(|k| 1.0 / f64::from(k)).collect(),
        share: 1.0,
        own_wander_cents: 0.0,
        forced: false,
        tail_level_db: -24.0,
        tail_sharper_cents: 10.0,
    });
    [reed(PRESS_CENTS, opposite, seed), reed(DRAW_CENTS, None, seed + 1)]
}

fn walk(program: &str, wide: u32, high: u32) {
    // Made beforehand: a gap in the sound is lost sound.
    let (before, after) = (takes(true, 1), takes(false, 3));
    let plays = [(reed(PRESS_CENTS, None, 5), "▲ raise"), (reed(-0.5, None, 6), "wait")];
    let begun = Instant::now();
    let dir = tempfile::tempdir().unwrap();
    let jobs = dir.path().join("jobs");
    std::fs::create_dir(&jobs).unwrap();
    let folder = jobs.join("one plate");
    let plug = Plug::new(dir.path());
    let served = Served::new(&jobs, &environment(&plug.path));
    let browser = Browser::new(program, &dir.path().join("profile"));
    let mut walk = Walk { browser, folder: &folder, name: wide.to_string() };
    walk.browser.size(wide, high, false);
    walk.browser.open(&served.address());
    walk.browser.wait_for(
        "!document.querySelector('#page-jobs').hidden && !document.querySelector('#welcome').hidden",
    );
    walk.look("empty");

    // A job, and its plan: one plate of the three that the template has.
    type_into(&mut walk.browser, "[data-do=new] [name=name]", "one plate");
    walk.browser.value("(() => { document.querySelector('#templates').value = 'empty'; document.querySelector('[data-do=new] button').click(); })()");
    walk.browser
        .wait_for("location.hash === '#plan' && document.querySelector('[data-cell=\"0.0.0.press\"]')");
    for plate in [3, 2] {
        walk.browser.value(&format!(
            "document.querySelector('[aria-label=\"Take out plate bass A{plate}\"]').click()"
        ));
    }
    // A slip: the last plate is taken out too far, and one undo brings it back, and once more takes it away again.
    walk.browser.value("document.querySelector('#undo-plan').click()");
    assert_eq!(walk.browser.value("document.querySelectorAll('#plan-table tbody tr').length"), 2);
    walk.browser.value("document.querySelector('[aria-label=\"Take out plate bass A2\"]').click()");
    for (column, text) in [("press", "A4"), ("draw", "A4"), ("outer", "28"), ("inner", "28")] {
        type_into(&mut walk.browser, &format!("[data-cell=\"0.0.0.{column}\"]"), text);
    }
    walk.browser.wait_for("!document.querySelector('#keep-plan').disabled && !document.querySelector('#plan-faults').textContent");
    walk.look("plan");
    walk.browser.value("document.querySelector('#keep-plan').click()");
    walk.said("the plan is kept");

    // As it was found.
    walk.turn("record", "document.querySelector('#begin')");
    walk.look("record");
    walk.begin("begin", "sitting");
    let mut microphone = plug.into_microphone();
    walk.record(&mut microphone, &before);
    in_a_quiet_room(&mut microphone, || {
        // The result is told where it is looked for: home, map, work.
        walk.turn("home", "document.querySelector('#page-home .stage')");
        walk.browser.wait_for("document.querySelector('#page-home .stage').textContent.includes('Valves')");
        walk.look("found");
        walk.turn("block", "document.querySelector('#page-block .drawing')");
        walk.browser.value("(() => { const verdict = document.querySelector('#page-block [data-filter=verdict]'); verdict.value = 'suspect'; verdict.dispatchEvent(new Event('change', { bubbles: true })); })()");
        assert_eq!(
            walk.browser.value("document.querySelector('[data-filtered]').textContent"),
            "0 of 1 plates"
        );
        walk.look("map");
        // A mistake: work noted at the wrong moment, and taken back.
        walk.turn("notes", "document.querySelector('#mark')");
        type_into(&mut walk.browser, "#mark-places", "A1");
        type_into(&mut walk.browser, "#mark [name=work]", "waxed");
        walk.browser.press("Enter", 13, "\r");
        walk.said("mark 1: waxed");
        walk.browser.value("document.querySelector('#said [data-unmark]').click()");
        walk.said("taken back");
        assert_eq!(walk.marks(), Vec::<String>::new());
        // The valve is changed, and ticked off.
        walk.turn("work", "document.querySelector('[data-tick=\"bass A1 outer\"]')");
        walk.look("work");
        walk.browser.value("document.querySelector('[data-tick=\"bass A1 outer\"]').click()");
        walk.said("valve fitted 28 mm");
        // Listen again: the button brings place and pass along.
        walk.browser.wait_for("document.querySelector('#page-work [data-record=\"bass A1 outer\"]')");
        walk.browser.value("document.querySelector('#page-work [data-record=\"bass A1 outer\"]').click()");
        walk.browser.wait_for("location.hash === '#record' && document.querySelector('#record-places').value === 'bass A1' && document.querySelector('#record-pass').value === 'after'");
        walk.begin("begin", "sitting");
    });
    walk.record(&mut microphone, &after);
    in_a_quiet_room(&mut microphone, || {
        // Another mistake: a take is said not to count, and counts again.
        walk.turn("takes", "document.querySelector('#put-take option')");
        walk.look("takes");
        let count = |folder| {
            Job::open(folder).unwrap().takes("after").iter().map(|(_, takes)| takes.len()).sum::<usize>()
        };
        walk.browser.value("(() => { const take = document.querySelector('#put-take'); take.value = [...take.options].find(one => one.textContent.includes('A1 draw, pass after')).value; take.form.querySelector('button').click(); })()");
        walk.said("withdrawn");
        assert_eq!(count(walk.folder), 1);
        walk.browser.value("document.querySelector('#said [data-uncorrect]').click()");
        walk.said("taken back");
        assert_eq!(count(walk.folder), 2);
        // The press reed is too flat: it is tuned.
        walk.turn("home", "document.querySelector('#page-home .stage').textContent.includes('tune')");
        walk.browser.value("document.querySelector('#page-home .stage .main').click()");
        walk.browser.wait_for("location.hash === '#tune'");
        type_into(&mut walk.browser, "#tune-places", "A1 press");
        walk.look("tune");
        walk.begin("tune-begin", "tune-stand");
    });
    walk.wait(&mut microphone, "document.querySelector('#tune-stand .call').textContent === 'play it'");
    for (play, wanted) in &plays {
        assert!(microphone.play(play));
        walk.wait(
            &mut microphone,
            &format!("document.querySelector('#tune-stand .call').textContent.startsWith('{wanted}')"),
        );
    }
    in_a_quiet_room(&mut microphone, || {
        // The keys of the recording, which was before, take none of these away.
        let keys = "[...document.querySelectorAll('#tune-stand .keys button')].filter(key => key.checkVisibility({ visibilityProperty: true })).length";
        assert_eq!(walk.browser.value(keys), 4);
        walk.look("tuning");
        walk.browser.value("document.querySelector('#tune-stand [data-order=end]').click()");
        walk.browser.wait_for("document.querySelector('#tune-stand').hidden");
    });
    drop(microphone);
    let marks = walk.marks();
    assert!(
        marks.len() == 2 && marks[0].starts_with("valve fitted 28 mm") && marks[1].starts_with("filed tip"),
        "{marks:?}"
    );

    // Handed over, on paper.
    walk.turn("report", "document.querySelector('[data-do=report] button')");
    walk.browser.value("document.querySelector('[data-do=report] button').click()");
    // The report is worked out from the sound; a slow computer takes its time.
    let until = Instant::now() + std::time::Duration::from_secs(60);
    let written = "document.querySelector('#said').textContent.includes('the report is written')";
    while walk.browser.value(written) != true && Instant::now() < until {
        std::thread::sleep(std::time::Duration::from_millis(200));
    }
    walk.said("the report is written");
    walk.look("report");
    assert_eq!(walk.browser.errors, Vec::<String>::new());
    walk.browser.open(&format!("{}report/hand-over.html", served.address()));
    walk.browser.wait_for("document.body.textContent.length > 300");
    picture(&mut walk.browser, &format!("walk-{wide}-hand-over"));
    let answer = walk.browser.call("Page.printToPDF", json!({"preferCSSPageSize": true}));
    let pdf = base64::engine::general_purpose::STANDARD.decode(answer["data"].as_str().unwrap()).unwrap();
    assert!(pdf.starts_with(b"%PDF-") && pdf.len() > 10_000, "{} bytes", pdf.len());
    let wide_by = walk.browser.value("document.documentElement.scrollWidth - innerWidth");
    assert!(wide_by.as_i64().unwrap() <= 0, "the sheet is {wide_by} pixels too wide");
    let told = walk.browser.value("document.body.innerText");
    for words in
        ["1 valve showed signs that fit a leak", "1 valve fitted", "1 heard again, without a sign of a leak"]
    {
        assert!(told.as_str().unwrap().contains(words), "{words}: {told}");
    }
    println!("{wide} pixels: {:.0} s", begun.elapsed().as_secs_f64());
}

#[test]
fn the_whole_way_is_walked_on_a_telephone() {
    if let Some(program) = chromium() {
        walk(&program, 390, 844);
    }
}

#[test]
fn the_whole_way_is_walked_at_a_desk() {
    if let Some(program) = chromium() {
        walk(&program, 1280, 900);
    }
}
