//! A whole job through the page: from an empty folder to the report, with sound through the audio library.

use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use platenote::job::Job;

use super::browser::Browser;
use super::client::Served;
use super::looks::{check, picture, type_into};
use super::wire::Wire;
use crate::bench::chromium::chromium;
use crate::bench::played::played;
use crate::microphone::{Microphone, Plug, RATE, environment};

/// Pitches of A1 press, A1 draw.
const PLAYED_HZ: [f64; 2] = [440.9, 439.2];
/// Both reeds of A2.
const OTHER_HZ: f64 = 466.2;
const STEADY_S: f64 = 2.2;

fn reed(hz: f64, seed: u64) -> Vec<f32> {
    played(RATE as u32, hz, STEADY_S).render(seed).samples
}

/// Do something while the microphone goes on to give the noise of a quiet room.
pub(super) fn in_a_quiet_room(microphone: &mut Microphone, work: impl FnOnce()) {
    let quiet = |microphone: &mut Microphone| {
        let _ = microphone.play_quiet();
    };
    sounding(microphone, quiet, work);
}

/// Do something while `play` is heard, again and again.
pub(super) fn sounding(
    microphone: &mut Microphone,
    mut play: impl FnMut(&mut Microphone) + Send,
    work: impl FnOnce(),
) {
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
                play(microphone);
            }
        });
        let _done = Done(&is_done);
        work();
    });
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
    browser.wait_for("!document.querySelector('#page-jobs').hidden");
    check(&mut browser, "job");
    // A job from a template, with the keyboard.
    type_into(&mut browser, "[data-do=new] [name=name]", "two-plates");
    type_into(&mut browser, "[data-do=new] [name=title]", "Two plates");
    browser.value("document.querySelector('#templates').value = 'empty'");
    browser.press("Enter", 13, "\r");
    browser.wait_for("location.hash === '#plan' && document.querySelector('[data-cell=\"0.0.0.press\"]')");
    // The plan: three plates become two, with their own notes; a slip is told while it is typed.
    browser.value("document.querySelector('[aria-label=\"Take out plate bass A3\"]').click()");
    type_into(&mut browser, "[data-cell=\"0.0.0.press\"]", "H4");
    browser.wait_for(
        "document.querySelector('[data-cell=\"0.0.0.press\"] + .cell-fault')?.textContent.includes('\"H4\" (plate 1) is not a note')",
    );
    assert_eq!(browser.value("document.querySelector('#keep-plan').disabled"), true);
    for (plate, note) in [(0, "A4"), (1, "A#4")] {
        type_into(&mut browser, &format!("[data-cell=\"0.0.{plate}.press\"]"), note);
        type_into(&mut browser, &format!("[data-cell=\"0.0.{plate}.draw\"]"), note);
        type_into(&mut browser, &format!("[data-cell=\"0.0.{plate}.outer\"]"), "28");
    }
    browser.wait_for("!document.querySelector('#keep-plan').disabled && !document.querySelector('#plan-faults').textContent");
    check(&mut browser, "plan");
    browser.value("document.querySelector('#keep-plan').click()");
    browser.wait_for("document.querySelector('#said').textContent.includes('the plan is kept')");
    let folder = jobs.join("two-plates");
    assert_eq!(Job::open(&folder).unwrap().instrument().reeds().count(), 4);

    // Recording, with an input out of the list: what is due, the note while it sounds, the take and its verdict.
    browser.value("location.hash = '#record'");
    browser.wait_for("document.querySelectorAll('#inputs option').length > 1");
    let input = browser.value("(() => { const all = document.querySelector('#inputs'); all.selectedIndex = all.options.length - 1; return all.selectedOptions[0].textContent; })()");
    type_into(&mut browser, "#record-places", "A1");
    browser.value("document.querySelector('#begin button').click()");
    browser.wait_for("!document.querySelector('#sitting').hidden");
    let mut microphone = plug.into_microphone();
    browser.wait_while("document.querySelector('#call').textContent.startsWith('play')", || {
        assert!(microphone.play_quiet());
    });
    assert_eq!(browser.value("document.querySelector('#due-place').textContent"), "A1 press");
    let heard = browser.value("document.querySelector('#log').textContent");
    let (heard, input) = (heard.as_str().unwrap(), input.as_str().unwrap());
    assert!(heard.contains(&format!("listening to {input}")), "{input}: {heard}");
    (0..100).for_each(|_| assert!(microphone.play_quiet()));
    let playing = std::thread::spawn(move || {
        assert!(microphone.play(&reed(PLAYED_HZ[0], 0)));
        microphone
    });
    browser.wait_for("document.querySelector('#live-words').textContent.includes('cents')");
    // The way of the pitch is drawn while it sounds, and what was said before is over.
    browser.wait_for("document.querySelector('#trace .path').getAttribute('points').split(' ').length >= 2");
    let drawn = browser.value("(() => { const box = document.querySelector('#trace .path').getBBox(); return [box.height, box.x, box.x + box.width]; })()");
    let [height, left, right] = [0, 1, 2].map(|k| drawn[k].as_f64().unwrap());
    // 440.9 Hz lies 3.5 cents above 440, which is 35 to the right of the middle of a lane that is 200 wide for 20 cents.
    assert!(height > 90.0 && left > 125.0 && right < 145.0, "{drawn}");
    assert_eq!(browser.value("document.querySelector('#said').textContent"), "");
    picture(&mut browser, "record-1024");
    let mut microphone = playing.join().unwrap();
    browser.wait_while("document.querySelector('#log [data-take] .verdict')", || {
        assert!(microphone.play_quiet());
    });
    // Two metres off, a letter wants a hundredth of that and more: 10 mm, which is 38 pixels, about 52 of type.
    for large in ["#due-place", "#call", "#newest .cents", "#newest .judged"] {
        let size = browser
            .value(&format!("parseFloat(getComputedStyle(document.querySelector('{large}')).fontSize)"));
        assert!(size.as_f64().unwrap() >= 49.0, "{large}: {size} pixels");
    }
    assert_eq!(browser.value("document.querySelector('#newest').textContent.startsWith('A1 press')"), true);
    // The page is closed and opened again, over a wire of its own: it misses nothing.
    let wire = Wire::to(&served.host);
    in_a_quiet_room(&mut microphone, || {
        browser.open("about:blank");
        browser.open(&format!("http://{}/{}/#record", wire.host, served.token));
    });
    browser.wait_while("document.querySelector('#due-place').textContent === 'A1 draw' && document.querySelector('#log [data-take] .verdict')", || {
        assert!(microphone.play_quiet());
    });
    // Single keys: the last reed again, left out, back to the one before.
    browser.value("document.activeElement.blur()");
    for (key, code, due) in [("a", 65, "A1 press"), ("s", 83, "A1 draw"), ("b", 66, "A1 press")] {
        browser.press(key, code, key);
        browser.wait_while(&format!("document.querySelector('#due-place').textContent === '{due}'"), || {
            assert!(microphone.play_quiet());
        });
    }
    // A note of the other plate, whose reeds have one pitch: it is kept on the stroke that is said, and then for the due reed after all.
    for (key, code, kept) in [("p", 80, "bass A2 press 1"), ("h", 72, "bass A1 press 2")] {
        assert!(microphone.play(&reed(OTHER_HZ, code.into())));
        browser.wait_while("document.querySelector('#call').textContent === 'which reed?'", || {
            microphone.play_quiet();
        });
        browser.press(key, code, key);
        browser.wait_while(
            &format!("document.querySelector('#log [data-take=\"{kept}\"] .verdict')"),
            || {
                microphone.play_quiet();
            },
        );
    }
    in_a_quiet_room(&mut microphone, || {
        browser.size(820, 1180, true);
        check(&mut browser, "record");
        picture(&mut browser, "record-tablet-dark");
        browser.size(1024, 600, false);
    });
    // The connection is lost, and a take comes meanwhile: the page says so, comes back by itself and has missed nothing.
    wire.cut();
    browser.wait_while("!document.querySelector('#lost').hidden", || assert!(microphone.play_quiet()));
    assert!(microphone.play(&reed(PLAYED_HZ[1], 1)));
    (0..60).for_each(|_| assert!(microphone.play_quiet()));
    assert_eq!(browser.value("document.querySelectorAll('#log [data-take]').length"), 3);
    wire.mend();
    browser.wait_while("document.querySelector('#sitting').hidden && document.querySelector('#log [data-take=\"bass A1 draw 1\"] .verdict')", || {
        microphone.play_quiet();
    });
    assert_eq!(browser.value("document.querySelector('#lost').hidden"), true);
    let takes =
        browser.value("[...document.querySelectorAll('#log [data-take]')].map(item => item.dataset.take)");
    assert_eq!(
        takes,
        serde_json::json!(["bass A1 draw 1", "bass A1 press 2", "bass A2 press 1", "bass A1 press 1"])
    );
    // What the browser says of the lost connection was wanted.
    browser.errors.clear();
    let job = Job::open(&folder).unwrap();
    assert_eq!(job.takes("before").iter().map(|(_, takes)| takes.len()).collect::<Vec<_>>(), [2, 1, 1]);
    browser.open(&served.address());

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
    // The report, read in a window of its own.
    browser.value("location.hash = '#report'");
    browser.value("document.querySelector('[data-do=report] button').click()");
    browser.wait_for("document.querySelectorAll('#report-pages a').length === 2");
    check(&mut browser, "report");
    browser.open(&format!("{}report/report.html", served.address()));
    browser.wait_for("document.body.textContent.includes('What to do next')");
    assert!(browser.errors.is_empty(), "{:#?}", browser.errors);
    browser.open(&served.address());
    browser.value("location.hash = '#jobs'");
    browser.value("document.querySelector('[data-do=close] button').click()");
    browser.wait_for("document.querySelector('#said').textContent.includes('Platenote has ended')");
    std::thread::sleep(Duration::from_millis(1_500));
    // One thing is said, and not that the program is missing as well.
    assert_eq!(browser.value("document.querySelector('#lost').hidden"), true);
    assert!(std::net::TcpStream::connect(&served.host).is_err(), "the program has ended");
}
