//! What went wrong on the page once, each as whoever sits in front of it sees it.

use std::path::Path;

use platenote::job::{Job, JobWriter, NewTake, PassChange, Template};
use serde_json::json;

use super::browser::Browser;
use super::client::Served;
use super::looks::{check, picture, type_into};
use crate::bench::chromium::chromium;
use crate::bench::played::played;

/// Two plates with a take each in pass `before`, and a valve fitted since on the first.
fn job(folder: &Path) {
    let plan = Template::Empty.to_toml();
    Job::create(folder, &plan).unwrap();
    let mut job = JobWriter::open(folder).unwrap();
    job.open_pass("before", &PassChange::default()).unwrap();
    let place = job.instrument().reeds().next().unwrap().0;
    let hz = job.instrument().target(&place).unwrap().get();
    let take = played(48_000, hz, 2.0).render(1);
    let bytes = platenote::audio::wav_bytes(&platenote::take::Take::new(take.samples, 48_000)).unwrap();
    let new = NewTake {
        pass: "before".into(),
        place: place.clone(),
        original: None,
        extension: "wav".into(),
        why: "played".into(),
        lossy: false,
        remarks: Vec::new(),
        clock: None,
        recorded: None,
    };
    job.store_bytes(new, &bytes).unwrap();
    job.open_pass("later", &PassChange::default()).unwrap();
}

fn focused(browser: &mut Browser) -> serde_json::Value {
    browser.value("document.activeElement.dataset.cell || document.activeElement.getAttribute('aria-label') || document.activeElement.tagName")
}

fn cell(name: &str) -> String {
    format!("[data-cell=\"{name}\"]")
}

#[test]
fn the_plan_is_typed_without_losing_place_cell_or_fault() {
    let Some(program) = chromium() else { return };
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("Frühjahr, zweite Reihe");
    job(&folder);
    let served = Served::new(&folder, &[]);
    let mut browser = Browser::new(&program, &dir.path().join("profile"));
    browser.size(1280, 900, false);
    browser.open(&format!("{}#plan", served.address()));
    browser.wait_for("document.querySelector('[data-cell=\"0.0.0.press\"]')");
    // Enter goes on, down and then to the next column; nothing is kept by it.
    browser.value("document.querySelector('[data-cell=\"0.0.0.press\"]').focus()");
    browser.press("Enter", 13, "\r");
    assert_eq!(focused(&mut browser), "0.0.1.press");
    browser.press("Enter", 13, "\r");
    browser.press("Enter", 13, "\r");
    assert_eq!(focused(&mut browser), "0.0.0.draw");
    assert_eq!(Job::open(&folder).unwrap().plan_text(), Template::Empty.to_toml());
    // A range of notes fills the rows below, and adds plates where there are more notes.
    type_into(&mut browser, &cell("0.0.0.press"), "E2..A2");
    browser.press("Enter", 13, "\r");
    browser.wait_for("document.querySelectorAll('#plan-table tbody tr').length === 6");
    let notes = browser
        .value("[...document.querySelectorAll('[data-cell$=\".press\"]')].map(cell => cell.value).join(' ')");
    assert_eq!(notes, "E2 F2 F#2 G2 G#2 A2");
    // A column out of a spreadsheet, with decimal commas.
    browser.value("(() => { const cell = document.querySelector('[data-cell=\"0.0.1.outer\"]'); cell.focus(); const data = new DataTransfer(); data.setData('text', '38,5\\n38\\n35,5'); cell.dispatchEvent(new ClipboardEvent('paste', { clipboardData: data, bubbles: true, cancelable: true })); })()");
    let lengths = browser.value(
        "[1, 2, 3].map(p => document.querySelector(`[data-cell=\"0.0.${p}.outer\"]`).value).join(' ')",
    );
    assert_eq!(lengths, "38,5 38 35,5");
    // Filled down from the cell in hand.
    browser.value("document.querySelector('[data-cell=\"0.0.3.outer\"]').focus()");
    browser.value("document.querySelector('[aria-label$=\"fill down outer valve, mm\"]').click()");
    let last = browser.value(
        "[0, 4, 5].map(p => document.querySelector(`[data-cell=\"0.0.${p}.outer\"]`).value).join(' ')",
    );
    assert!(last.as_str().unwrap().ends_with("35,5 35,5"), "{last}");
    // A fault stands at its cell.
    type_into(&mut browser, &cell("0.0.2.inner"), "3.8");
    browser.wait_for(
        "document.querySelector('[data-cell=\"0.0.2.inner\"] + .cell-fault')?.textContent.includes('38 mm')",
    );
    assert_eq!(browser.value("document.querySelectorAll('.cell-fault').length"), 1);
    check(&mut browser, "plan with a fault");
    picture(&mut browser, "plan-fault");
    // Typed cells survive a reload, faults and all; taking a plate out keeps the focus near and is undone.
    browser.open("about:blank");
    browser.open(&format!("{}#plan", served.address()));
    browser.wait_for("document.querySelector('[data-cell=\"0.0.2.inner\"] + .cell-fault') && !document.querySelector('#plan-kept').hidden");
    assert_eq!(browser.value("document.querySelector('[data-cell=\"0.0.5.press\"]').value"), "A2");
    browser.value("(() => { const out = document.querySelectorAll('[aria-label^=\"Take out plate\"]')[5]; out.focus(); out.click(); })()");
    assert_eq!(browser.value("document.querySelectorAll('#plan-table tbody tr').length"), 5);
    assert_eq!(
        browser.value(
            "document.activeElement !== document.body && !!document.activeElement.closest('#plan-table')"
        ),
        true
    );
    browser.value("document.querySelector('#undo-plan').click()");
    assert_eq!(browser.value("document.querySelectorAll('#plan-table tbody tr').length"), 6);
    // What was typed can be thrown away.
    browser.value("document.querySelector('#plan-kept button').click()");
    browser.wait_for("document.querySelectorAll('#plan-table tbody tr').length < 6 && document.querySelector('#plan-kept').hidden");
    assert!(browser.errors.is_empty(), "{:#?}", browser.errors);
}

#[test]
fn small_things_that_went_wrong_go_right() {
    let Some(program) = chromium() else { return };
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("two plates");
    job(&folder);
    let served = Served::new(&folder, &[]);
    let mut browser = Browser::new(&program, &dir.path().join("profile"));
    browser.size(1280, 900, false);
    browser.open(&served.address());
    browser.wait_for("document.querySelector('#page-home .drawing')");
    // The pass that is looked at is looked at after a reload.
    browser.value("(() => { const pass = document.querySelector('#pass'); pass.value = 'before'; pass.dispatchEvent(new Event('change')); })()");
    browser.open("about:blank");
    browser.open(&format!("{}#takes", served.address()));
    browser.wait_for("document.querySelector('#page-takes .part caption')?.textContent.includes('before')");
    // The table is sorted by a head of its own, and narrowed down.
    browser.value("document.querySelectorAll('#page-takes button.sort')[1].click()");
    assert_eq!(browser.value("document.querySelector('#page-takes th[aria-sort]').textContent"), "Note");
    browser.value("(() => { const stroke = document.querySelector('[data-filter=stroke]'); stroke.value = 'draw'; stroke.dispatchEvent(new Event('change')); })()");
    assert_eq!(browser.value("[...document.querySelectorAll('#page-takes tbody tr:not([hidden]) th')].every(head => head.textContent.endsWith('draw'))"), true);
    // A plate of the map gives its figures; recording it again goes into the pass that has no take of it.
    browser.value("location.hash = '#block'");
    browser.wait_for("document.querySelector('#page-block .drawing a')");
    browser.value("document.querySelector('#page-block .drawing a').dispatchEvent(new MouseEvent('click', { bubbles: true, cancelable: true }))");
    browser.wait_for("document.querySelector('#figures [data-record]')");
    check(&mut browser, "the figures of a plate");
    picture(&mut browser, "figures");
    browser.value("document.querySelector('#figures [data-record]').click()");
    browser.wait_for("location.hash === '#record' && document.querySelector('#record-places').value");
    assert_eq!(browser.value("document.querySelector('#record-pass').value"), "later");
    // Where the newest pass has takes of the plate, a new one is opened and the old ones stay.
    let mut writer = JobWriter::open(&folder).unwrap();
    let place = writer.instrument().reeds().next().unwrap().0;
    let sound = std::fs::read(&writer.takes("before")[0].1[0].path).unwrap();
    let new = NewTake {
        pass: "later".into(),
        place,
        original: None,
        extension: "wav".into(),
        why: "played".into(),
        lossy: false,
        remarks: Vec::new(),
        clock: None,
        recorded: None,
    };
    writer.store_bytes(new, &sound).unwrap();
    drop(writer);
    browser.value("location.hash = '#block'");
    browser.wait_for("document.querySelector('#page-block .drawing a')");
    std::thread::sleep(std::time::Duration::from_millis(900));
    browser.value("document.querySelector('#page-block .drawing a').dispatchEvent(new MouseEvent('click', { bubbles: true, cancelable: true }))");
    browser.wait_for(
        "document.querySelector('#figures:not([hidden]) [data-record]')?.dataset.again === 'after'",
    );
    // Places are picked on the map of the plan.
    browser.value("location.hash = '#notes'");
    browser.wait_for("document.querySelector('#page-notes .part h3')");
    browser.value("document.querySelector('[data-pick]').click()");
    browser.wait_for("document.querySelectorAll('#pick-mark-places [data-plate-name]').length > 1");
    browser.value("document.querySelectorAll('#pick-mark-places [data-plate-name]')[1].click()");
    assert!(browser.value("document.querySelector('#mark-places').value").as_str().unwrap().ends_with("A2"));
    check(&mut browser, "the picker");
    // The focus is still in the form when its note is kept, and the note can be undone where it is told.
    type_into(&mut browser, "#mark [name=work]", "waxed");
    browser.press("Enter", 13, "\r");
    browser.wait_for("document.querySelector('#said [data-unmark]')");
    assert_eq!(browser.value("!!document.activeElement.closest('#mark')"), true);
    browser.value("document.querySelector('#said [data-unmark]').click()");
    browser.wait_for("document.querySelector('#said').textContent.includes('taken back')");
    assert!(Job::open(&folder).unwrap().marks().iter().all(|mark| mark.undone));
    // A word that is no work is answered with what is.
    type_into(&mut browser, "#mark [name=places]", "A1");
    type_into(&mut browser, "#mark [name=work]", "licked");
    browser.press("Enter", 13, "\r");
    browser.wait_for(
        "document.querySelector('#said.trouble')?.textContent.includes('no work that can be marked')",
    );
    // That it was refused is no fault of the page.
    assert!(browser.errors.drain(..).all(|error| error.contains("422")));
    // A telephone's own kind of photo is named, with the way out.
    let photo = dir.path().join("IMG_0001.HEIC");
    std::fs::write(&photo, b"\0\0\0\x18ftypheic").unwrap();
    let root = browser.call("DOM.getDocument", json!({}))["root"]["nodeId"].clone();
    let asked = json!({"nodeId": root, "selector": "#photo-form [name=photo]"});
    let node = browser.call("DOM.querySelector", asked)["nodeId"].clone();
    browser.call("DOM.setFileInputFiles", json!({"nodeId": node, "files": [photo.display().to_string()]}));
    browser.value("document.querySelector('#photo-form button').click()");
    browser.wait_for("document.querySelector('#said').textContent.includes('is a HEIC photo') && document.querySelector('#said').textContent.includes('JPEG')");
    // Sound files: nothing is stored before it is accepted, and a wrong place is corrected on the map.
    let take = played(48_000, 440.0, 2.0).render(3);
    let bytes = platenote::audio::wav_bytes(&platenote::take::Take::new(take.samples, 48_000)).unwrap();
    let sound = dir.path().join("bass-A2-draw.wav");
    std::fs::write(&sound, bytes).unwrap();
    browser.value("location.hash = '#files'");
    type_into(&mut browser, "#files-pass", "from files");
    browser.value("document.querySelector('#files-pass').value = 'files'");
    let asked = json!({"nodeId": root, "selector": "#files"});
    let node = browser.call("DOM.querySelector", asked)["nodeId"].clone();
    browser.call("DOM.setFileInputFiles", json!({"nodeId": node, "files": [sound.display().to_string()]}));
    browser.wait_for("document.querySelector('#placed select')");
    assert_eq!(browser.value("document.querySelector('#placed select').value"), "bass A2 draw");
    assert!(Job::open(&folder).unwrap().takes("files").iter().all(|(_, takes)| takes.is_empty()));
    check(&mut browser, "sounds placed");
    picture(&mut browser, "files-placed");
    browser.value("document.querySelector('#placed td button').click()");
    browser.value("document.querySelector('#placed-map [aria-label^=\"bass A1 draw\"]').click()");
    browser.value("document.querySelector('#placed .main').click()");
    browser
        .wait_for("document.querySelector('#said').textContent.includes('1 take is stored in pass files')");
    let takes = Job::open(&folder).unwrap().takes("files");
    let stored: Vec<_> =
        takes.iter().filter(|(_, takes)| !takes.is_empty()).map(|(place, _)| place.to_string()).collect();
    assert_eq!(stored, ["bass A1 draw"]);
    assert!(browser.errors.is_empty(), "{:#?}", browser.errors);
}
