//! The pictures of README and docs/first-evening.md: an evening at the bench with the invented demo job, played through the
//! page with sound from the FIFO. `PLATENOTE_KEEP_PICTURES=1 cargo test --release --test live pictures::` makes them anew; without,
//! they are asked to be there, small, and shown.

use std::collections::HashMap;
use std::io::Cursor;
use std::path::{Path, PathBuf};
use std::process::Command;

use platenote::job::Job;
use serde_json::json;

use super::browser::Browser;
use super::client::Served;
use super::looks::type_into;
use super::sitting::sounding;
use crate::bench::chromium::chromium;
use crate::microphone::{BLOCK, Microphone, Plug, environment};

const ROOT: &str = env!("CARGO_MANIFEST_DIR");
/// All of docs/pictures together.
const MOST_BYTES: u64 = 400 * 1024;
const PICTURES: [&str; 9] =
    ["map", "tuning", "recording", "microphone", "findings", "sealing", "filing", "home", "hand-over"];

fn folder() -> PathBuf {
    Path::new(ROOT).join("docs/pictures")
}

#[test]
fn the_pictures_are_there_small_and_shown() {
    let size = |name: &&str| std::fs::metadata(folder().join(format!("{name}.png"))).unwrap().len();
    let all: u64 = PICTURES.iter().map(size).sum();
    assert!(all <= MOST_BYTES, "{all} bytes");
    let text = |name: &str| std::fs::read_to_string(Path::new(ROOT).join(name)).unwrap();
    let (readme, evening) = (text("README.md"), text("docs/first-evening.md"));
    for name in ["map", "tuning", "recording"] {
        assert!(readme.contains(&format!("docs/pictures/{name}.png")), "{name}");
    }
    for name in PICTURES {
        assert!(evening.contains(&format!("pictures/{name}.png")), "{name}");
    }
}

/// Few colours make small files: 16 levels of each, and the 256 that are seen most.
fn small(png: &[u8]) -> Vec<u8> {
    let mut decoder = png::Decoder::new(Cursor::new(png));
    decoder.set_transformations(png::Transformations::EXPAND | png::Transformations::STRIP_16);
    let mut reader = decoder.read_info().unwrap();
    let mut pixels = vec![0; reader.output_buffer_size()];
    let info = reader.next_frame(&mut pixels).unwrap();
    let step = info.color_type.samples();
    assert!(step >= 3, "a picture in colour");
    let rough = |level: u8| ((u16::from(level) + 8) / 17).min(15) as u8 * 17;
    let colours: Vec<[u8; 3]> = pixels[..info.buffer_size()]
        .chunks_exact(step)
        .map(|p| [rough(p[0]), rough(p[1]), rough(p[2])])
        .collect();
    let mut counts: HashMap<[u8; 3], usize> = HashMap::new();
    for colour in &colours {
        *counts.entry(*colour).or_default() += 1;
    }
    let mut palette: Vec<[u8; 3]> = counts.keys().copied().collect();
    palette.sort_by_key(|colour| (std::cmp::Reverse(counts[colour]), *colour));
    palette.truncate(256);
    let far = |a: &[u8; 3], b: &[u8; 3]| -> u32 {
        a.iter().zip(b).map(|(x, y)| u32::from(x.abs_diff(*y)).pow(2)).sum()
    };
    let nearest: HashMap<[u8; 3], u8> = counts
        .keys()
        .map(|colour| {
            let at = (0..palette.len()).min_by_key(|at| far(&palette[*at], colour)).unwrap();
            (*colour, at as u8)
        })
        .collect();
    let indices: Vec<u8> = colours.iter().map(|colour| nearest[colour]).collect();
    let mut out = Vec::new();
    let mut encoder = png::Encoder::new(&mut out, info.width, info.height);
    encoder.set_color(png::ColorType::Indexed);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_palette(palette.concat());
    encoder.set_compression(png::Compression::Best);
    encoder.set_filter(png::FilterType::NoFilter);
    encoder.write_header().unwrap().write_image_data(&indices).unwrap();
    out
}

fn keep(browser: &mut Browser, name: &str, (wide, high): (u32, u32)) {
    use base64::Engine;
    browser.size(wide, high, false);
    // A page of the report runs no script, and needs none to be whole.
    if name != "hand-over" {
        browser.value("new Promise(done => { dispatchEvent(new Event('resize')); requestAnimationFrame(() => requestAnimationFrame(() => setTimeout(done, 250))); })");
    }
    let png = base64::engine::general_purpose::STANDARD.decode(browser.picture()).unwrap();
    std::fs::write(folder().join(format!("{name}.png")), small(&png)).unwrap();
    // What stood there, to be quoted.
    if let Ok(folder) = std::env::var("PLATENOTE_PICTURES") {
        let words = browser.value("document.querySelector('.stand:not([hidden]), #sitting:not([hidden])')?.innerText ?? document.body.innerText");
        std::fs::create_dir_all(&folder).unwrap();
        std::fs::write(Path::new(&folder).join(format!("{name}.txt")), words.as_str().unwrap()).unwrap();
    }
}

/// The room of the demo's takes, -86 dBFS, while something is done.
fn in_a_quiet_room(microphone: &mut Microphone, work: impl FnOnce()) {
    let room: Vec<f32> = (0..BLOCK).map(|n| 1.4e-5 * ((n * 7919) % 13) as f32).collect();
    let play = |microphone: &mut Microphone| {
        let _ = microphone.play(&room);
    };
    sounding(microphone, play, work);
}

fn run(arguments: &[&str], folder: &Path) -> String {
    let mut command = Command::new(env!("CARGO_BIN_EXE_platenote"));
    let output = command.args(arguments).current_dir(folder).output().unwrap();
    assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}

/// A take of the demo as the microphone hears it: to its first whole block, and noise of the room after it.
fn take(stock: &Path, file: &str) -> Vec<f32> {
    platenote::audio::read_file(&stock.join("takes").join(file)).unwrap().samples
}

fn bring(browser: &mut Browser, files: &[PathBuf], pass: &str) {
    browser.value("location.hash = '#files'");
    browser.wait_for("!document.querySelector('#page-files').hidden");
    browser.value("document.querySelector('#files-pass').value = ''");
    type_into(browser, "#files-pass", pass);
    let root = browser.call("DOM.getDocument", json!({}))["root"]["nodeId"].clone();
    let asked = json!({"nodeId": root, "selector": "#files"});
    let node = browser.call("DOM.querySelector", asked)["nodeId"].clone();
    let names: Vec<String> = files.iter().map(|file| file.display().to_string()).collect();
    browser.call("DOM.setFileInputFiles", json!({"nodeId": node, "files": names}));
    let long = "new Promise((done, fail) => { const until = Date.now() + 120000; (function look() { if (document.querySelector('#placed .main')) done(true); else if (Date.now() > until) fail('not placed'); else setTimeout(look, 200); })(); })";
    browser.value(long);
    browser.value("document.querySelector('#placed .main').click()");
    let stored =
        long.replace("document.querySelector('#placed .main')", "!document.querySelector('#placed .main')");
    browser.value(&stored);
}

/// Turn to a page, and wait for its part however slow the computer is.
fn turn(browser: &mut Browser, page: &str, wanted: &str) {
    browser.value(&format!("location.hash = '#{page}'"));
    browser.value(&format!(
        "new Promise((done, fail) => {{ const until = Date.now() + 120000; (function look() {{ if (!document.querySelector('#page-{page}').hidden && !document.querySelector('[aria-busy]') && document.querySelector('#page-{page} {wanted}')) done(true); else if (Date.now() > until) fail('{page}'); else setTimeout(look, 200); }})(); }})"
    ));
    browser.value("document.querySelector('#said').replaceChildren()");
}

fn begin(browser: &mut Browser, form: &str, screen: &str) {
    browser.wait_for(&format!("document.querySelectorAll('#{form} [name=input] option').length > 1"));
    browser.value(&format!("(() => {{ const all = document.querySelector('#{form} [name=input]'); all.selectedIndex = all.options.length - 1; document.querySelector('#{form} .main').click(); }})()"));
    browser.wait_for(&format!("!document.querySelector('#{screen}').hidden"));
}

#[test]
fn the_evening_is_played_for_its_pictures() {
    if std::env::var_os("PLATENOTE_KEEP_PICTURES").is_none() {
        return;
    }
    let program = chromium().expect("a Chromium");
    std::fs::create_dir_all(folder()).unwrap();
    let dir = tempfile::tempdir().unwrap();
    run(&["demo", "stock"], dir.path());
    let stock = dir.path().join("stock");
    for (name, file) in [("map", "map-bass"), ("tuning", "tuning-bass")] {
        let png = std::fs::read(stock.join(format!("report/{file}.png"))).unwrap();
        std::fs::write(folder().join(format!("{name}.png")), small(&png)).unwrap();
    }
    // The same block again, from nothing but its plan.
    let job = dir.path().join("first evening");
    Job::create(&job, &std::fs::read_to_string(stock.join("plan.toml")).unwrap()).unwrap();
    let takes = |pass: &str| -> Vec<PathBuf> {
        let mut files: Vec<PathBuf> = std::fs::read_dir(stock.join("takes").join(pass))
            .unwrap()
            .map(|entry| entry.unwrap().path())
            .filter(|file| file.to_string_lossy().ends_with("-1.wav"))
            // The one that is played before the microphone.
            .filter(|file| pass != "before" || !file.ends_with("bass-A1-press-1.wav"))
            .collect();
        files.sort();
        files
    };
    let plug = Plug::new(dir.path());
    let served = Served::new(&job, &environment(&plug.path));
    let mut browser = Browser::new(&program, &dir.path().join("profile"));
    browser.size(1000, 700, false);
    browser.open(&format!("{}#record", served.address()));
    // One reed at the microphone, to see how it stands out of the room, and as a take.
    browser.wait_for("document.querySelectorAll('#inputs option').length > 1");
    type_into(&mut browser, "#record-places", "A1 press");
    let whole = take(&stock, "before/bass-A1-press-1.wav");
    let mut microphone = plug.into_microphone();
    let sound = |microphone: &mut Microphone, from: usize, to: usize| {
        let _ = microphone.play(&whole[from / BLOCK * BLOCK..to.min(whole.len()) / BLOCK * BLOCK]);
    };
    let quiet = |browser: &mut Browser, microphone: &mut Microphone, script: &str| {
        in_a_quiet_room(microphone, || browser.wait_for(script));
    };
    in_a_quiet_room(&mut microphone, || {
        browser.value("(() => { const all = document.querySelector('#inputs'); all.selectedIndex = all.options.length - 1; document.querySelector('#try-input').click(); })()");
        browser.wait_for("document.querySelector('#trial .advice').textContent.includes('play a reed')");
    });
    sound(&mut microphone, 24_000, 144_000);
    quiet(
        &mut browser,
        &mut microphone,
        "document.querySelector('#trial .advice').textContent.startsWith('Good')",
    );
    in_a_quiet_room(&mut microphone, || {
        browser.value("document.querySelector('#said').replaceChildren()");
        keep(&mut browser, "microphone", (900, 640));
        browser.value("document.querySelector('#try-input').click()");
        browser.wait_for("document.querySelector('#trial').hidden");
        browser.value("document.querySelector('#begin .main').click()");
        browser.wait_for("document.querySelector('#call').textContent.startsWith('play')");
    });
    // The reed sounds while it is looked at.
    let mut microphone = std::thread::scope(|scope| {
        let playing = scope.spawn(|| {
            sound(&mut microphone, 0, usize::MAX);
            microphone
        });
        browser.wait_for("document.querySelector('#live-words').textContent.includes('cents')");
        std::thread::sleep(std::time::Duration::from_millis(900));
        keep(&mut browser, "recording", (1000, 700));
        playing.join().unwrap()
    });
    quiet(&mut browser, &mut microphone, "document.querySelector('#sitting').hidden");
    drop(microphone);
    // The others from the field recorder.
    bring(&mut browser, &takes("before"), "before");
    turn(&mut browser, "block", ".drawing");
    keep(&mut browser, "findings", (1280, 860));
    drop(browser);
    drop(served);

    // One valve only the sealing test can tell.
    let plug = Plug::new(dir.path());
    let served = Served::new(&job, &environment(&plug.path));
    let mut browser = Browser::new(&program, &dir.path().join("profile 2"));
    browser.size(1000, 700, false);
    browser.open(&format!("{}#seal", served.address()));
    browser.wait_for("!document.querySelector('#page-seal').hidden");
    type_into(&mut browser, "#seal-valve", "B4 inner");
    begin(&mut browser, "seal-begin", "seal-stand");
    let mut microphone = plug.into_microphone();
    for n in 2..=8 {
        quiet(
            &mut browser,
            &mut microphone,
            "/play/.test(document.querySelector('#seal-stand .call').textContent) || document.querySelector('#seal-stand').hidden",
        );
        let shown = browser.value("document.querySelectorAll('#seal-plays li').length");
        if n == 5 || n == 6 {
            in_a_quiet_room(&mut microphone, || keep(&mut browser, "sealing", (1000, 700)));
        }
        let _ = microphone.play(&take(&stock, &format!("before/bass-B4-draw-{n}.wav")));
        quiet(
            &mut browser,
            &mut microphone,
            &format!(
                "document.querySelectorAll('#seal-plays li').length > {shown} || document.querySelector('#seal-stand').hidden || document.querySelector('#seal-plays li:nth-child(6)')"
            ),
        );
        if browser.value("document.querySelector('#seal-stand').hidden") == true {
            break;
        }
    }
    in_a_quiet_room(&mut microphone, || {
        browser.value("document.querySelector('#seal-stand [data-order=end]').click()");
        browser.wait_for("document.querySelector('#seal-stand').hidden");
    });
    let told = browser.value("document.querySelector('#said').innerText");
    println!("sealing: {told}");
    drop(microphone);
    drop(browser);
    drop(served);
    // New valves, and the block once more.
    for words in [
        &["A2", "outer", "valve fitted 57 mm"][..],
        &["A5", "inner", "valve fitted 52 mm"],
        &["B3", "outer", "valve fitted 28 mm"],
        &["B4", "inner", "valve fitted 27 mm"],
    ] {
        run(&[&["mark", "first evening"][..], words].concat(), dir.path());
    }
    let plug = Plug::new(dir.path());
    let served = Served::new(&job, &environment(&plug.path));
    let mut browser = Browser::new(&program, &dir.path().join("profile 3"));
    browser.size(1000, 700, false);
    browser.open(&served.address());
    browser.wait_for("document.querySelector('#page-home')");
    bring(&mut browser, &takes("after"), "after");
    turn(&mut browser, "home", ".drawing");
    keep(&mut browser, "home", (1000, 700));
    // A reed is tuned: 12.8 cents flat, and a go with the file later.
    browser.value("location.hash = '#tune'");
    browser.wait_for("!document.querySelector('#page-tune').hidden");
    type_into(&mut browser, "#tune-places", "A2 draw");
    type_into(&mut browser, "#tune-by", "anna");
    begin(&mut browser, "tune-begin", "tune-stand");
    let mut microphone = plug.into_microphone();
    quiet(
        &mut browser,
        &mut microphone,
        "document.querySelector('#tune-stand .call').textContent === 'play it'",
    );
    let _ = microphone.play(&take(&stock, "after/bass-A2-draw-1.wav"));
    quiet(
        &mut browser,
        &mut microphone,
        "document.querySelector('#tune-stand .call').textContent.includes('raise')",
    );
    in_a_quiet_room(&mut microphone, || keep(&mut browser, "filing", (1000, 700)));
    in_a_quiet_room(&mut microphone, || {
        browser.value("document.querySelector('#tune-stand [data-order=end]').click()");
        browser.wait_for("document.querySelector('#tune-stand').hidden");
    });
    drop(microphone);
    println!("{}", run(&["next", "first evening"], dir.path()));
    println!("{}", run(&["status", "first evening"], dir.path()));
    run(&["report", "first evening"], dir.path());
    browser.open(&format!("{}report/hand-over.html", served.address()));
    browser.wait_for("document.body.textContent.includes('Lindenquell')");
    keep(&mut browser, "hand-over", (800, 860));
}
