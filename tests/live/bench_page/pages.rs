//! Every page with a job that has something on it: at three sizes, by day and by night, by keyboard, and on paper.

use std::process::Command;

use platenote::job::Job;
use serde_json::{Value, json};

use super::browser::Browser;
use super::client::Served;
use super::looks::{check, picture, type_into, width};
use crate::bench::chromium::chromium;

const PAGES: [&str; 11] =
    ["home", "jobs", "record", "files", "block", "takes", "notes", "tray", "work", "plan", "report"];
const SIZES: [(u32, u32); 4] = [(1280, 800), (1024, 600), (820, 1180), (390, 844)];

fn run(arguments: &[&std::ffi::OsStr]) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_platenote"));
    let output = command.args(arguments).output().unwrap();
    assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
}

fn turn_to(browser: &mut Browser, page: &str) {
    browser.value(&format!("location.hash = '#{page}'"));
    browser.wait_for(&format!(
        "!document.querySelector('#page-{page}').hidden && !document.querySelector('[aria-busy]')
         && !document.querySelector('#page-{page} .part:empty')"
    ));
    if page == "plan" {
        browser.wait_for("document.querySelector('#plan-table input')");
    }
}

/// The smallest lettering of the drawings that are shown has 14 pixels.
fn lettering(browser: &mut Browser, page: &str) {
    let least = browser.value(
        "Math.min(99, ...[...document.querySelectorAll('main section:not([hidden]) .drawing svg')].filter(svg => svg.checkVisibility()).flatMap(svg => {
            const scale = svg.getBoundingClientRect().width / svg.viewBox.baseVal.width;
            return [...svg.querySelectorAll('text')].map(text => scale * parseFloat(text.getAttribute('font-size')));
        }))",
    );
    assert!(least.as_f64().unwrap() >= 13.9, "{page}: lettering of {least} pixels");
}

/// Bytes of the page on paper.
fn paper(browser: &mut Browser) -> Vec<u8> {
    use base64::Engine;
    let answer = browser.call("Page.printToPDF", json!({"preferCSSPageSize": true, "printBackground": true}));
    base64::engine::general_purpose::STANDARD.decode(answer["data"].as_str().unwrap()).unwrap()
}

/// The tab key goes from one thing to the next in the order they stand in.
fn goes_by_tab(browser: &mut Browser, page: &str) {
    let count = browser.value(
        "(() => {
            const all = [...document.querySelectorAll('a[href], button, input, select, summary, audio, [tabindex]')];
            window.stops = all.filter(e => e.tabIndex >= 0 && !e.disabled && e.checkVisibility() && !e.closest('details:not([open]) > :not(summary)'));
            document.activeElement?.blur();
            getSelection().removeAllRanges();
            document.querySelector('.skip').focus();
            return window.stops.length;
        })()",
    );
    assert_eq!(browser.value("stops.some(e => e.tabIndex > 0)"), false, "{page}");
    let count = count.as_u64().unwrap().min(30);
    assert!(count > 6, "{page}: {count} stops");
    for stop in 0..count {
        let is_there = browser.value(&format!("document.activeElement === stops[{stop}]"));
        let found = browser.value("document.activeElement.outerHTML.slice(0, 120)");
        assert_eq!(is_there, true, "{page}: stop {stop} is {found}");
        browser.press("Tab", 9, "");
    }
}

#[test]
fn every_page_is_whole_at_three_sizes_by_day_and_night_by_keyboard_and_on_paper() {
    let Some(program) = chromium() else { return };
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("demo");
    run(&["demo".as_ref(), folder.as_ref()]);
    for words in ["A2 lifted", "A2 outer valve off 57 mm curled", "A5 note wax is brittle"] {
        let words = words.split(' ').map(std::ffi::OsStr::new);
        run(&["mark".as_ref(), folder.as_ref()].into_iter().chain(words).collect::<Vec<_>>());
    }
    let served = Served::new(dir.path(), &[("PLATENOTE_CONFIG", dir.path().join("config"))]);
    let mut browser = Browser::new(&program, &dir.path().join("profile"));
    browser.size(1280, 800, false);
    browser.open(&served.address());
    // A job that is there already is opened.
    browser.wait_for(
        "document.querySelectorAll('#jobs [data-open]').length === 1 && !document.querySelector('#page-jobs').hidden",
    );
    browser.value("document.querySelector('#jobs [data-open]').click()");
    browser.wait_for("location.hash === '#home' && document.querySelector('#page-home .drawing')");
    // What is next has one button.
    assert_eq!(browser.value("document.querySelectorAll('#page-home .main').length"), 1);

    for page in PAGES {
        turn_to(&mut browser, page);
        for (wide, high) in SIZES {
            for is_dark in [false, true] {
                browser.size(wide, high, is_dark);
                width(&mut browser, &format!("{page}, {wide} pixels"));
                lettering(&mut browser, &format!("{page}, {wide} pixels"));
                if std::env::var("PLATENOTE_PICTURES").is_ok() {
                    let scheme = if is_dark { "dark" } else { "light" };
                    picture(&mut browser, &format!("{page}-{wide}-{scheme}"));
                }
            }
        }
        // The checker's rules hold at any size but for contrast, which is asked by day and by night.
        for is_dark in [false, true] {
            browser.size(1024, 600, is_dark);
            check(&mut browser, &format!("{page}, dark: {is_dark}"));
        }
        goes_by_tab(&mut browser, page);
    }
    // By night the drawings are dark as the page around them is.
    turn_to(&mut browser, "block");
    let sheet = browser.value("getComputedStyle(document.querySelector('.drawing svg > rect')).fill");
    assert_eq!(sheet, "rgb(31, 34, 38)");
    browser.size(1280, 800, false);
    let sheet = browser.value("getComputedStyle(document.querySelector('.drawing svg > rect')).fill");
    assert_eq!(sheet, "rgb(255, 255, 255)");

    work_is_ticked_off(&mut browser, &folder);
    a_photo_is_kept(&mut browser, &folder, dir.path());
    the_report_is_printed(&mut browser, &served);
    assert!(browser.errors.is_empty(), "{:#?}", browser.errors);
}

fn work_is_ticked_off(browser: &mut Browser, folder: &std::path::Path) {
    turn_to(browser, "work");
    let before = Job::open(folder).unwrap().marks().len();
    let listed = "document.querySelector('#page-work .part').textContent";
    assert_eq!(browser.value(&format!("{listed}.includes('bass B3 outer: leaks')")), true);
    browser.value("document.querySelector('[data-tick=\"bass B3 outer\"]').click()");
    browser.wait_for(&format!("{listed}.includes('bass B3 outer: fitted since, listen again')"));
    let marks = Job::open(folder).unwrap().marks();
    assert_eq!(marks.len(), before + 1);
    let last = marks.last().unwrap();
    assert!(last.work.to_string().starts_with("valve fitted 28 mm"), "{}", last.work);
    // And taken back.
    browser.value(&format!("document.querySelector('#page-work [data-unmark=\"{}\"]').click()", last.n));
    browser.wait_for(&format!("{listed}.includes('bass B3 outer: leaks')"));
    assert!(Job::open(folder).unwrap().marks().last().unwrap().undone);
}

fn a_photo_is_kept(browser: &mut Browser, folder: &std::path::Path, dir: &std::path::Path) {
    use base64::Engine;
    turn_to(browser, "notes");
    let photo = dir.join("A5 rust.png");
    let picture = base64::engine::general_purpose::STANDARD.decode(browser.picture()).unwrap();
    std::fs::write(&photo, &picture).unwrap();
    type_into(browser, "#photo-form [name=places]", "A5");
    let root = browser.call("DOM.getDocument", json!({}))["root"]["nodeId"].clone();
    let asked = json!({"nodeId": root, "selector": "#photo-form [name=photo]"});
    let node = browser.call("DOM.querySelector", asked)["nodeId"].clone();
    browser.call("DOM.setFileInputFiles", json!({"nodeId": node, "files": [photo.display().to_string()]}));
    browser.value("document.querySelector('#photo-form button').click()");
    browser.wait_for("document.querySelector('#page-notes li img')?.naturalWidth > 500");
    let kept = std::fs::read(folder.join("photos/photo-A5_rust.png")).unwrap();
    assert!(kept == picture, "the photo is kept as it is");
    check(browser, "notes with a photo");
}

fn the_report_is_printed(browser: &mut Browser, served: &Served) {
    turn_to(browser, "report");
    browser.value("document.querySelector('[data-do=report] button').click()");
    // The report is worked out from the sound; a slow computer takes its time.
    let written = "document.querySelector('#said').textContent.includes('the report is written')";
    let until = std::time::Instant::now() + std::time::Duration::from_secs(60);
    while browser.value(written) != true && std::time::Instant::now() < until {
        std::thread::sleep(std::time::Duration::from_millis(200));
    }
    browser.wait_for(written);
    // The browser's own print dialog is not there without a screen; that it is asked for is seen.
    for page in ["report.html", "hand-over.html"] {
        browser.value(&format!(
            "(() => {{
                window.asked = null;
                new MutationObserver((changes, watch) => {{
                    const frame = document.querySelector('iframe.printed');
                    if (!frame) return;
                    watch.disconnect();
                    frame.addEventListener('load', () => {{ frame.contentWindow.print = () => {{ window.asked = frame.contentDocument.title; }}; }}, {{ capture: true, once: true }});
                }}).observe(document.body, {{ childList: true }});
                document.querySelector('[data-print=\"{page}\"]').click();
            }})()"
        ));
        browser.wait_for("window.asked");
        assert!(browser.value("window.asked").as_str().unwrap().contains("Lindenquell"));
    }
    for (page, words) in [("report.html", "What to do next"), ("hand-over.html", "Lindenquell")] {
        browser.open(&format!("{}report/{page}", served.address()));
        browser.wait_for(&format!("document.body.textContent.includes('{words}')"));
        let pdf = paper(browser);
        let pages = pdf.windows(11).filter(|bytes| bytes == b"/Type /Page").count();
        assert!(pdf.starts_with(b"%PDF-") && pdf.len() > 20_000 && pages >= 1, "{} bytes", pdf.len());
        // What a telephone shows is as wide as it is.
        browser.size(390, 844, false);
        browser.value("document.querySelectorAll('details').forEach(part => { part.open = true; })");
        let wide = browser.value(
            "[...document.querySelectorAll('.scroll')].filter(e => e.checkVisibility() && e.scrollWidth > e.clientWidth + 1).map(e => e.textContent.slice(0, 80))",
        );
        assert_eq!(wide, Value::Array(Vec::new()), "{page}");
        width(browser, page);
        picture(browser, &format!("{}-390", page.trim_end_matches(".html")));
        browser.size(1280, 800, false);
    }
}
