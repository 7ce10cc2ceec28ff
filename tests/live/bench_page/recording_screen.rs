//! The recording screen: it fits every window without scrolling, tells what is wrong with the input, keeps the due plate in
//! sight, and finds its program again.

use platenote::job::Job;
use serde_json::Value;

use super::browser::Browser;
use super::client::Served;
use super::looks::picture;
use super::sitting::{in_a_quiet_room, sounding};
use crate::bench::chromium::chromium;
use crate::microphone::{BLOCK, Microphone, Plug, environment};

/// Sixty plates in one row.
fn sixty(folder: &std::path::Path) {
    let names = ["C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"];
    let notes: Vec<String> = (0..60).map(|n| format!("\"{}{}\"", names[n % 12], 2 + n / 12)).collect();
    let plan = format!(
        "format = 1\ntitle = \"Sixty\"\nbellows = \"unisonoric\"\nreference_hz = 440.0\n[[block]]\nname = \"treble\"\n\
         [[block.row]]\nname = \"A\"\nnotes = [{}]\nvalves_mm = 20\n",
        notes.join(", ")
    );
    Job::create(folder, &plan).unwrap();
}

fn text(browser: &mut Browser, selector: &str) -> String {
    browser
        .value(&format!("document.querySelector('{selector}').textContent"))
        .as_str()
        .unwrap_or("")
        .to_owned()
}

/// Everything on the screen that lies outside of it or over its own box.
fn out_of_place(browser: &mut Browser) -> Value {
    browser.value(
        "[...document.querySelectorAll('#sitting, #sitting > *, #sitting p, .keys button:not(.away)')]
            .filter(e => e.checkVisibility() && !e.matches('.hidden-words') && !e.closest('#due-map'))
            .map(e => [e, e.getBoundingClientRect()])
            .filter(([e, box]) => box.left < -0.5 || box.top < -0.5 || box.right > innerWidth + 0.5 || box.bottom > innerHeight + 0.5
                || (e.matches('p:not(#reason), button') && e.scrollWidth > e.clientWidth + 1 && getComputedStyle(e).textOverflow !== 'ellipsis'))
            .map(([e]) => e.id || e.className || e.textContent)",
    )
}

fn fits(browser: &mut Browser, name: &str) {
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
        let more = browser.value("[document.documentElement.scrollHeight - innerHeight, document.documentElement.scrollWidth - innerWidth]");
        assert!(more[0].as_i64().unwrap() <= 0 && more[1].as_i64().unwrap() <= 0, "{at}: {more} to scroll");
        assert_eq!(out_of_place(browser), Value::Array(Vec::new()), "{at}");
        // 2 cents of the lane, whose width is 20 cents.
        let two_cents = browser.value("document.querySelector('.lane').clientWidth / 10").as_f64().unwrap();
        assert!(two_cents >= 12.0, "{at}: 2 cents are {two_cents} pixels");
        let least = browser.value("Math.min(...[...document.querySelectorAll('#sitting p, #sitting li, #sitting button, #sitting span')].filter(e => e.checkVisibility() && !e.matches('.hidden-words') && e.textContent.trim()).map(e => parseFloat(getComputedStyle(e).fontSize)))");
        assert!(least.as_f64().unwrap() >= 14.0, "{at}: lettering of {least} pixels");
        picture(browser, &format!("record-{name}-{wide}-{percent}"));
    }
    browser.value("document.documentElement.style.fontSize = ''");
    browser.size(1280, 900, false);
}

/// Sound goes on in real time, without a gap, until `script` is true in the page.
fn until(
    browser: &mut Browser,
    microphone: &mut Microphone,
    script: &str,
    play: impl FnMut(&mut Microphone) + Send,
) {
    sounding(microphone, play, || browser.wait_for(script));
}

#[test]
fn the_recording_screen_fits_tells_what_is_wrong_and_finds_its_program_again() {
    let Some(program) = chromium() else { return };
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("sixty plates");
    sixty(&folder);
    let plug = Plug::new(dir.path());
    let served = Served::new(&folder, &environment(&plug.path));
    let (host, token) = (served.host.clone(), served.token.clone());
    let mut browser = Browser::new(&program, &dir.path().join("profile"));
    browser.size(1280, 900, false);
    browser.open(&format!("{}#record", served.address()));
    browser.wait_for("document.querySelectorAll('#inputs option').length > 1");
    browser.value("localStorage.setItem('calls', 'tones')");
    browser.value("(() => { const all = document.querySelector('#inputs'); all.selectedIndex = all.options.length - 1; document.querySelector('#record-places').value = 'A45..A60'; document.querySelector('#begin .main').click(); })()");
    browser.wait_for("!document.querySelector('#sitting').hidden");
    let mut microphone = plug.into_microphone();
    let quiet = |microphone: &mut Microphone| {
        let _ = microphone.play_quiet();
    };
    until(
        &mut browser,
        &mut microphone,
        "document.querySelector('#call').textContent.startsWith('play')",
        quiet,
    );
    // Asked for once; the next recording asks for all again.
    assert_eq!(browser.value("document.querySelector('#record-places').value"), "");
    assert_eq!(text(&mut browser, "#spoken"), "First: A45, press");
    // The due plate lies in sight, in a row that is longer than the window.
    until(&mut browser, &mut microphone, "document.querySelector('#due-map .due-plate')", quiet);
    let seen = browser.value("(() => { const [cell, box] = ['.due-plate', '#due-map'].map(s => document.querySelector(s).getBoundingClientRect()); return cell.left >= box.left && cell.right <= box.right; })()");
    assert_eq!(seen, true);
    // The same while it goes on: what is played must not starve.
    in_a_quiet_room(&mut microphone, || {
        fits(&mut browser, "due");
        // Another place leads back by its strip, and only the keys that make sense are there.
        browser.value("location.hash = '#home'");
        browser.wait_for(
            "!document.querySelector('#strip').hidden && !document.querySelector('#page-home').hidden",
        );
        browser.value("document.querySelector('#strip').click()");
        browser.wait_for("document.body.classList.contains('at-record')");
        let keys = browser.value(
            "[...document.querySelectorAll('.keys button:not(.away)')].filter(key => key.offsetParent).map(key => key.dataset.order).join()",
        );
        assert_eq!(keys, "skip,stop");
    });
    // Muted: told at the call, and the level is back within two seconds of sound.
    let mute = |microphone: &mut Microphone| {
        let _ = microphone.play(&[0.0; BLOCK]);
    };
    until(&mut browser, &mut microphone, "document.querySelector('#call').textContent === 'no sound'", mute);
    assert!(text(&mut browser, "#reason").contains("muted"));
    let since = std::time::Instant::now();
    until(
        &mut browser,
        &mut microphone,
        "document.querySelector('#call').textContent.startsWith('play') && /^−[5-9]\\d dBFS/.test(document.querySelector('#level-words').textContent)",
        quiet,
    );
    assert!(since.elapsed().as_secs_f64() < 2.0, "{:?}", since.elapsed());
    // A second window is told who began.
    let told = browser.value("fetch('state').then(answer => answer.json()).then(state => state.recording)");
    assert_eq!(told, true);
    browser.value("sessionStorage.setItem('window', 'another')");
    // Sound goes on while the page is opened: half a second without any would end the recording.
    sounding(&mut microphone, quiet, || {
        browser.open("about:blank");
        browser.open(&format!("{}#record", served.address()));
        browser.wait_for(
            "document.querySelector('#sitting-pass').textContent.includes('begun in another window')",
        );
    });

    // Killed: nothing old is shown as live, and it is said what to do.
    drop(served);
    browser.wait_for("!document.querySelector('#lost').hidden");
    assert!(text(&mut browser, "#lost").contains("Start Platenote again"), "{}", text(&mut browser, "#lost"));
    assert_eq!(text(&mut browser, "#level-words"), "–");
    assert_eq!(text(&mut browser, "#live-words"), "–");
    // Started again, at its own port: the page says so, and follows a newer page to the new address.
    let again = Served::new(&folder, &[]);
    assert_eq!(again.host, host, "the port is kept for the folder");
    assert_ne!(again.token, token);
    browser.wait_for("document.querySelector('#lost').textContent.includes('started again')");
    browser.value(&format!("localStorage.setItem('address', '/{}/')", again.token));
    browser.wait_for(&format!(
        "location.pathname === '/{}/' && document.querySelector('#page-record')?.hidden === false",
        again.token
    ));
}
