//! A whole job through the page: from an empty folder to the report, with sound through the audio library.

use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use platenote::record::Job;
use serde_json::Value;

use super::bench::played::played;
use super::browser::Browser;
use super::chromium::chromium;
use super::client::Served;
use super::microphone::{Microphone, Plug, RATE, environment};

/// Pitches of A1 press, A1 draw.
const PLAYED_HZ: [f64; 2] = [440.9, 439.2];
const STEADY_S: f64 = 2.2;

/// Pictures go there when this names a folder, to be looked at.
const PICTURES: &str = "PLATENOTE_PICTURES";

fn reed(hz: f64, seed: u64) -> Vec<f32> {
    played(RATE as u32, hz, STEADY_S).render(seed).samples
}

fn picture(browser: &mut Browser, name: &str) {
    let Ok(folder) = std::env::var(PICTURES) else { return };
    let data = browser.picture();
    use base64::Engine;
    let png = base64::engine::general_purpose::STANDARD.decode(data).unwrap();
    std::fs::create_dir_all(&folder).unwrap();
    std::fs::write(std::path::Path::new(&folder).join(format!("{name}.png")), png).unwrap();
}

fn type_into(browser: &mut Browser, selector: &str, text: &str) {
    browser.value(&format!(
        "(() => {{ const e = document.querySelector('{selector}'); e.focus(); e.select?.(); }})()"
    ));
    browser.write(text);
}

/// Do something while the microphone goes on to give the noise of a quiet room.
fn in_a_quiet_room(microphone: &mut Microphone, work: impl FnOnce()) {
    struct Done<'a>(&'a AtomicBool);
    impl Drop for Done<'_> {
        fn drop(&mut self) {
            self.0.store(true, Ordering::Relaxed);
        }
    }
    let is_done = AtomicBool::new(false);
    std::thread::scope(|scope| {
        scope.spawn(|| {
            while !is_done.load(Ordering::Relaxed) {
                if !microphone.play_quiet() {
                    break;
                }
            }
        });
        let _done = Done(&is_done);
        work();
    });
}

/// Nothing wider than the window, no console error, and what the accessibility checker calls serious.
fn check(browser: &mut Browser, page: &str) {
    let wide = browser.value("document.documentElement.scrollWidth - window.innerWidth");
    assert!(wide.as_i64().unwrap() <= 0, "{page} is {wide} pixels too wide");
    assert!(browser.errors.is_empty(), "{page}: {:#?}", browser.errors);
    if browser.value("typeof axe") == "undefined" {
        browser.value(include_str!("axe.min.js"));
    }
    let found = browser.value(
        "axe.run(document, {resultTypes: ['violations']}).then(r => r.violations.filter(v => ['serious', 'critical'].includes(v.impact)).map(v => v.id + ': ' + v.nodes.map(n => n.html.slice(0, 120) + ' ' + (n.any[0]?.message || '')).slice(0, 3).join(' | ')))",
    );
    assert_eq!(found, Value::Array(Vec::new()), "{page}");
}

#[test]
fn a_job_goes_from_an_empty_folder_to_its_report_through_the_page() {
    let Some(program) = chromium() else { return };
    let dir = tempfile::tempdir().unwrap();
    let jobs = dir.path().join("jobs");
    std::fs::create_dir(&jobs).unwrap();
    let plug = Plug::new(dir.path());
    let served = Served::new(&jobs, &environment(&plug.path));
    let mut browser = Browser::new(&program, &dir.path().join("profile"));
    browser.size(1024, 600, false);
    browser.open(&served.address());
    browser.wait_for("!document.querySelector('#page-job').hidden");
    check(&mut browser, "job");
    // A job from a template, with the keyboard.
    type_into(&mut browser, "[data-do=new] [name=name]", "two-plates");
    type_into(&mut browser, "[data-do=new] [name=title]", "Two plates");
    browser.value("document.querySelector('#templates').value = 'empty'");
    browser.press("Enter", 13, "\r");
    browser.wait_for("location.hash === '#plan' && document.querySelector('[data-cell=\"0.0.press\"]')");
    // The plan: three plates become one, with its own note; a slip is told while it is typed.
    browser.value("document.querySelectorAll('#plan-table td button')[2].click()");
    browser.value("document.querySelectorAll('#plan-table td button')[1].click()");
    type_into(&mut browser, "[data-cell=\"0.0.press\"]", "H4");
    browser.wait_for(
        "document.querySelector('#plan-faults').textContent.includes('\"H4\" (plate 1) is not a note')",
    );
    assert_eq!(browser.value("document.querySelector('#keep-plan').disabled"), true);
    type_into(&mut browser, "[data-cell=\"0.0.press\"]", "A4");
    type_into(&mut browser, "[data-cell=\"0.0.draw\"]", "A4");
    type_into(&mut browser, "[data-cell=\"0.0.outer\"]", "28");
    browser.wait_for("!document.querySelector('#keep-plan').disabled && !document.querySelector('#plan-faults').textContent");
    check(&mut browser, "plan");
    picture(&mut browser, "plan-1024");
    browser.value("document.querySelector('#keep-plan').click()");
    browser.wait_for("document.querySelector('#said').textContent.includes('the plan is kept')");
    let folder = jobs.join("two-plates");
    assert_eq!(Job::open(&folder).unwrap().instrument().reeds().count(), 2);

    // Recording: what is due, the note while it sounds, the take and its verdict.
    browser.value("location.hash = '#record'");
    browser.wait_for("!document.querySelector('#page-record').hidden");
    browser.value("document.querySelector('#begin button').click()");
    browser.wait_for("!document.querySelector('#sitting').hidden");
    let mut microphone = plug.into_microphone();
    browser.wait_while("document.querySelector('#call').textContent.startsWith('play')", || {
        assert!(microphone.play_quiet());
    });
    assert_eq!(browser.value("document.querySelector('#due-place').textContent"), "A1 press");
    (0..100).for_each(|_| assert!(microphone.play_quiet()));
    let playing = std::thread::spawn(move || {
        assert!(microphone.play(&reed(PLAYED_HZ[0], 0)));
        microphone
    });
    browser.wait_for("document.querySelector('#live-words').textContent.includes('cents')");
    picture(&mut browser, "record-1024");
    let mut microphone = playing.join().unwrap();
    browser.wait_while("document.querySelector('#log [data-take] .verdict')", || {
        assert!(microphone.play_quiet());
    });
    // The page is closed and opened again: it misses nothing.
    browser.open("about:blank");
    (0..20).for_each(|_| assert!(microphone.play_quiet()));
    browser.open(&format!("{}#record", served.address()));
    browser.wait_while("document.querySelector('#due-place').textContent === 'A1 draw' && document.querySelector('#log [data-take] .verdict')", || {
        assert!(microphone.play_quiet());
    });
    // Back with a single key, and skip.
    browser.value("document.activeElement.blur()");
    browser.press("b", 66, "b");
    browser.wait_while("document.querySelector('#due-place').textContent === 'A1 press'", || {
        assert!(microphone.play_quiet());
    });
    browser.press("s", 83, "s");
    browser.wait_while("document.querySelector('#due-place').textContent === 'A1 draw'", || {
        assert!(microphone.play_quiet());
    });
    in_a_quiet_room(&mut microphone, || {
        browser.size(820, 1180, true);
        check(&mut browser, "record");
        picture(&mut browser, "record-tablet-dark");
        browser.size(1024, 600, false);
    });
    assert!(microphone.play(&reed(PLAYED_HZ[1], 1)));
    browser.wait_while("document.querySelector('#sitting').hidden", || {
        microphone.play_quiet();
    });
    let job = Job::open(&folder).unwrap();
    assert_eq!(job.takes("before").iter().map(|(_, takes)| takes.len()).collect::<Vec<_>>(), [1, 1]);

    // Takes are heard, notes noted, valves counted.
    browser.value("location.hash = '#takes'");
    browser.wait_for("document.querySelectorAll('.hear').length >= 2");
    check(&mut browser, "takes");
    browser.value("document.querySelector('#page-takes .hear').click()");
    browser.wait_for("document.querySelector('#audio').duration > 2");
    browser.value("location.hash = '#notes'");
    type_into(&mut browser, "#mark [name=places]", "A1");
    type_into(&mut browser, "#mark [name=work]", "lifted");
    browser.press("Enter", 13, "\r");
    browser.wait_for("document.querySelector('[data-unmark]')");
    check(&mut browser, "notes");
    browser.value("location.hash = '#tray'");
    type_into(&mut browser, "[data-do=count] [name=length]", "28");
    type_into(&mut browser, "[data-do=count] [name=count]", "3");
    browser.press("Enter", 13, "\r");
    browser.wait_for("document.querySelector('#page-tray .part').textContent.includes('3 × 28 mm')");
    check(&mut browser, "tray");
    assert_eq!(Job::open(&folder).unwrap().bench().tray.count(), 3);
    // A command beside the page shows on it.
    let mut command = std::process::Command::new(env!("CARGO_BIN_EXE_platenote"));
    assert!(command.arg("mark").arg(&folder).args(["A1", "waxed"]).output().unwrap().status.success());
    browser.value("location.hash = '#notes'");
    browser.wait_for("document.querySelector('#page-notes .part').textContent.includes('waxed')");
    for (page, wanted) in [("work", "Caution"), ("block", "Valves that want work")] {
        browser.value(&format!("location.hash = '#{page}'"));
        browser.wait_for(&format!(
            "document.querySelector('#page-{page} .part').textContent.includes('{wanted}')"
        ));
        check(&mut browser, page);
    }
    picture(&mut browser, "block-1024");
    browser.size(1600, 1000, true);
    check(&mut browser, "block in the dark");
    picture(&mut browser, "block-1600-dark");

    // The report, read in a window of its own.
    browser.value("location.hash = '#report'");
    browser.value("document.querySelector('[data-do=report] button').click()");
    browser.wait_for("document.querySelectorAll('#report-pages a').length === 2");
    check(&mut browser, "report");
    browser.open(&format!("{}report/report.html", served.address()));
    browser.wait_for("document.body.textContent.includes('What to do next')");
    assert!(browser.errors.is_empty(), "{:#?}", browser.errors);
    browser.open(&served.address());
    browser.value("location.hash = '#job'");
    browser.value("document.querySelector('[data-do=close] button').click()");
    std::thread::sleep(Duration::from_millis(500));
    assert!(std::net::TcpStream::connect(&served.host).is_err(), "the program has ended");
}
