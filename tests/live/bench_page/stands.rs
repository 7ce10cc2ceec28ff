//! A reed tuned and a valve tested through the page, with sound from the FIFO: what is shown, that nothing moves or is cut
//! off, and what the job keeps.

use platenote::instrument::Stroke;
use platenote::job::Job;
use serde_json::Value;

use super::browser::Browser;
use super::client::Served;
use super::looks::{check, picture, type_into};
use super::sitting::in_a_quiet_room;
use crate::bench::chance::Chance;
use crate::bench::chromium::chromium;
use crate::bench::played::played;
use crate::bench::reed::RATE_HZ;
use crate::bench::sealing::{OwnEffect, Spot, held_course, plates, sound};
use crate::microphone::{Microphone, Plug, RATE, environment};

const PLAN: &str = "format = 1\ntitle = \"One plate\"\nbellows = \"unisonoric\"\nreference_hz = 440.0\n[[block]]\nname = \"tenor\"\n\
                    [[block.row]]\nname = \"A\"\nnotes = [\"A3\"]\nvalves_mm = 38\n";

fn text(browser: &mut Browser, selector: &str) -> String {
    let text = browser.value(&format!("document.querySelector('{selector}').textContent"));
    text.as_str().unwrap_or("").to_owned()
}

/// Begin with the last input of the list.
fn begin(browser: &mut Browser, form: &str) {
    browser.wait_for(&format!("document.querySelectorAll('#{form} [name=input] option').length > 1"));
    browser.value(&format!("(() => {{ const all = document.querySelector('#{form} [name=input]'); all.selectedIndex = all.options.length - 1; document.querySelector('#{form} .main').click(); }})()"));
}

/// Everything lies in its place at every size, in letters that can be read.
fn fits(browser: &mut Browser, screen: &str, name: &str) {
    for (wide, high, percent) in [
        (390, 844, 100),
        (820, 1180, 100),
        (1280, 900, 100),
        (390, 844, 200),
        (820, 1180, 200),
        (1280, 900, 200),
    ] {
        browser.size(wide, high, false);
        browser.value(&format!("document.documentElement.style.fontSize = '{percent}%'"));
        browser.value("new Promise(done => { dispatchEvent(new Event('resize')); requestAnimationFrame(() => requestAnimationFrame(done)); })");
        let at = format!("{name} at {wide} × {high}, text {percent} %");
        let outside = browser.value(&format!(
            "[...document.querySelectorAll('{screen}, {screen} > *, {screen} p, {screen} button, {screen} input')]
                .filter(e => e.checkVisibility())
                .filter(e => {{
                    const box = e.getBoundingClientRect(), kept = e.parentElement.closest('.stand > *');
                    const frame = kept && !kept.matches('.words') ? kept.getBoundingClientRect() : {{ left: 0, top: 0, right: innerWidth, bottom: innerHeight }};
                    return !e.closest('.words > p') && (box.left < frame.left - 1 || box.top < frame.top - 1 || box.right > frame.right + 1 || box.bottom > frame.bottom + 1);
                }}).map(e => e.id || e.className || e.textContent)"
        ));
        picture(browser, &format!("{name}-{wide}-{percent}"));
        assert_eq!(outside, Value::Array(Vec::new()), "{at}");
        let more = browser.value("[document.documentElement.scrollHeight - innerHeight, document.documentElement.scrollWidth - innerWidth]");
        assert!(more[0].as_i64().unwrap() <= 0 && more[1].as_i64().unwrap() <= 0, "{at}: {more} to scroll");
        let least = browser.value(&format!("Math.min(...[...document.querySelectorAll('{screen} p, {screen} li, {screen} button, {screen} span')].filter(e => e.checkVisibility() && e.textContent.trim()).map(e => parseFloat(getComputedStyle(e).fontSize)))"));
        assert!(least.as_f64().unwrap() >= 14.0, "{at}: lettering of {least} pixels");
    }
    browser.value("document.documentElement.style.fontSize = ''");
    browser.size(1280, 900, false);
}

fn wait(browser: &mut Browser, microphone: &mut Microphone, script: &str) {
    in_a_quiet_room(microphone, || browser.wait_for(script));
}

struct Stand {
    _dir: tempfile::TempDir,
    folder: std::path::PathBuf,
    served: Served,
    browser: Browser,
    plug: Plug,
}

impl Stand {
    fn new(program: &str, page: &str) -> Self {
        let dir = tempfile::tempdir().unwrap();
        let folder = dir.path().join("one plate");
        Job::create(&folder, PLAN).unwrap();
        let plug = Plug::new(dir.path());
        let served = Served::new(&folder, &environment(&plug.path));
        let mut browser = Browser::new(program, &dir.path().join("profile"));
        browser.size(1280, 900, false);
        browser.open(&format!("{}#{page}", served.address()));
        browser.wait_for(&format!("!document.querySelector('#page-{page}').hidden"));
        check(&mut browser, page);
        picture(&mut browser, &format!("{page}-form"));
        Self { _dir: dir, folder, served, browser, plug }
    }
}

#[test]
fn a_reed_is_tuned_on_the_page_and_a_go_is_put_right_and_taken_back() {
    let Some(program) = chromium() else { return };
    let Stand { _dir, folder, served: _served, mut browser, plug } = Stand::new(&program, "tune");
    // Nothing is known to be off: it is said what to do.
    begin(&mut browser, "tune-begin");
    browser
        .wait_for("document.querySelector('#said.trouble')?.textContent.includes('name those to be tuned')");
    // What the browser's console says of the refusal was wanted.
    browser.errors.clear();
    type_into(&mut browser, "#tune-places", "A1 press");
    type_into(&mut browser, "#tune-by", "anna");
    begin(&mut browser, "tune-begin");
    browser.wait_for("!document.querySelector('#tune-stand').hidden");
    let mut microphone = plug.into_microphone();
    wait(
        &mut browser,
        &mut microphone,
        "document.querySelector('#tune-stand .call').textContent === 'play it'",
    );
    assert_eq!(text(&mut browser, "#tune-stand .place"), "A1 press");
    let play = |cents: f64, seed: u64, microphone: &mut Microphone| {
        let hz = 220.0 * f64::exp2(cents / 1200.0);
        assert!(microphone.play(&played(RATE as u32, hz, 2.0).render(seed).samples));
    };
    // The live value while it sounds, in its interval.
    let mut microphone = {
        let playing = std::thread::spawn(move || {
            play(-9.0, 1, &mut microphone);
            microphone
        });
        browser.wait_for("document.querySelector('#tune-stand .interval:not(.was):not([hidden])')");
        let shown = text(&mut browser, "#tune-cents");
        assert!(shown.starts_with('−'), "{shown}");
        playing.join().unwrap()
    };
    wait(
        &mut browser,
        &mut microphone,
        "document.querySelector('#tune-stand .call').textContent.startsWith('▲ raise: ')",
    );
    let shown = text(&mut browser, "#tune-cents");
    let off: f64 = shown.split(' ').next().unwrap().replace('−', "-").parse().unwrap();
    assert!((off + 9.0).abs() < 0.5, "{shown}");
    assert!(text(&mut browser, "#tune-stand .reason").contains("an order of magnitude by the beam alone"));
    in_a_quiet_room(&mut microphone, || {
        fits(&mut browser, "#tune-stand", "tune-file");
        check(&mut browser, "tune");
        browser.size(390, 844, true);
        check(&mut browser, "tune by night");
        picture(&mut browser, "tune-390-dark");
        browser.size(1280, 900, false);
        // Elsewhere the strip says so, and leads back.
        browser.value("location.hash = '#home'");
        browser.wait_for("!document.querySelector('#strip').hidden && document.querySelector('#strip').textContent.includes('Tuning')");
        browser.value("document.querySelector('#strip').click()");
        browser.wait_for("document.body.classList.contains('at-stand')");
    });
    // A go told by the pitch; then said to have been another one, and taken back.
    play(-5.0, 2, &mut microphone);
    wait(&mut browser, &mut microphone, "document.querySelector('#tune-history').textContent.includes('✎')");
    wait(
        &mut browser,
        &mut microphone,
        "document.querySelector('#tune-stand .words').textContent.includes('mark 1, filed tip')",
    );
    type_into(&mut browser, "#filed-strokes", "7");
    browser.value("document.querySelector('#filed button').click()");
    wait(
        &mut browser,
        &mut microphone,
        "document.querySelector('#tune-stand .words').textContent.includes('filed tip 7 strokes')",
    );
    let marks = Job::open(&folder).unwrap().marks();
    let kept: Vec<_> = marks.iter().filter(|mark| !mark.undone).map(|mark| mark.work.to_string()).collect();
    assert_eq!(kept, ["filed tip 7 strokes with file by anna"]);
    browser.value("document.activeElement.blur()");
    browser.press("u", 85, "u");
    wait(
        &mut browser,
        &mut microphone,
        "document.querySelector('#tune-stand .words').textContent.includes('taken back')",
    );
    assert!(Job::open(&folder).unwrap().marks().iter().all(|mark| mark.undone));
    // In tolerance at once: it is asked for again, and the time runs.
    play(-0.4, 3, &mut microphone);
    wait(
        &mut browser,
        &mut microphone,
        "document.querySelector('#tune-stand .words').textContent.includes('cents;')",
    );
    in_a_quiet_room(&mut microphone, || {
        picture(&mut browser, "tune-done");
        browser.value("document.querySelector('#tune-stand [data-order=end]').click()");
        browser.wait_for("document.querySelector('#tune-stand').hidden");
    });
    browser.wait_for(
        "document.querySelector('#said').textContent.includes('tuning has ended; 1 reed was played')",
    );
    assert!(Job::open(&folder).unwrap().takes("before").is_empty(), "no takes were asked for");
    assert_eq!(browser.errors, Vec::<String>::new());
}

#[test]
fn a_valve_is_tested_by_sealing_on_the_page_until_it_is_settled() {
    let Some(program) = chromium() else { return };
    // A plate by the reed equations whose valve stands off by the tongue's own opening, and the same sealed.
    let curves = plates(9_200, 1, 219.9, 220.1, &[0.0, 1.0]).remove(0);
    let chance = &mut Chance::split(78, 940);
    let spot = Spot::new(chance);
    let gain = 0.1 / curves[0].rise.iter().flat_map(|point| point.partials).fold(0.0, f64::max);
    assert_eq!(RATE_HZ as usize, RATE);
    // Made beforehand: half a second without any sound is a microphone that gave out.
    let plays: Vec<Vec<f32>> = (0..5)
        .map(|n| {
            let course = held_course(chance, 450.0, 0.02);
            sound(&curves[usize::from(n % 2 == 0)], chance, &course, &spot, OwnEffect::NONE, gain)
        })
        .collect();
    let Stand { _dir, folder, served: _served, mut browser, plug } = Stand::new(&program, "seal");
    type_into(&mut browser, "#seal-valve", "A7 outer");
    begin(&mut browser, "seal-begin");
    browser.wait_for("document.querySelector('#said.trouble')?.textContent.includes('not 7')");
    browser.errors.clear();
    type_into(&mut browser, "#seal-valve", "A1 outer");
    type_into(&mut browser, "#seal-pass", "check");
    begin(&mut browser, "seal-begin");
    browser.wait_for("!document.querySelector('#seal-stand').hidden");
    let mut microphone = plug.into_microphone();
    for (n, play) in plays.iter().enumerate() {
        let state = if n % 2 == 0 { "open" } else { "sealed" };
        let due = format!(
            "document.querySelector('#seal-stand .note').textContent === 'play {}: {state}' && /play/.test(document.querySelector('#seal-stand .call').textContent)",
            n + 1
        );
        wait(&mut browser, &mut microphone, &due);
        // Sound goes on whatever is looked at.
        in_a_quiet_room(&mut microphone, || {
            if n == 1 {
                assert!(text(&mut browser, "#seal-stand .reason").contains("over the outer valve"));
                check(&mut browser, "seal");
            }
            if n == 3 {
                let shown = text(&mut browser, "#seal-difference");
                assert!(shown.starts_with('+'), "{shown}");
                fits(&mut browser, "#seal-stand", "seal-pair");
            }
        });
        // The last play's end may already be the test's own.
        let _ = microphone.play(play);
        let kept = format!(
            "document.querySelectorAll('#seal-plays li').length === {} || document.querySelector('#seal-stand').hidden",
            n + 1
        );
        wait(&mut browser, &mut microphone, &kept);
        let is_over = browser.value("document.querySelector('#seal-stand').hidden");
        if is_over == true {
            break;
        }
    }
    in_a_quiet_room(&mut microphone, || browser.wait_for("document.querySelector('#seal-stand').hidden"));
    let said = text(&mut browser, "#said");
    assert!(said.contains("tenor A1 outer") && said.contains("leaks"), "{said}");
    picture(&mut browser, "seal-done");
    let job = Job::open(&folder).unwrap();
    let plays = job.seal_plays("check");
    assert!(plays.len() == 1 && plays[0].0.stroke == Stroke::Press && plays[0].1.len() >= 3, "{plays:?}");
    assert_eq!(browser.errors, Vec::<String>::new());
}
