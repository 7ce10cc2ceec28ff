//! How a page is looked at: by its picture, its width, its console and the accessibility checker.

use serde_json::Value;

use super::browser::Browser;

/// Pictures go there when this names a folder, to be looked at.
const PICTURES: &str = "PLATENOTE_PICTURES";

pub fn picture(browser: &mut Browser, name: &str) {
    let Ok(folder) = std::env::var(PICTURES) else { return };
    let data = browser.picture();
    use base64::Engine;
    let png = base64::engine::general_purpose::STANDARD.decode(data).unwrap();
    std::fs::create_dir_all(&folder).unwrap();
    std::fs::write(std::path::Path::new(&folder).join(format!("{name}.png")), png).unwrap();
}

pub fn type_into(browser: &mut Browser, selector: &str, text: &str) {
    browser.value(&format!(
        "(() => {{ const e = document.querySelector('{selector}'); e.focus(); e.select?.(); }})()"
    ));
    browser.write(text);
}

/// Nothing wider than the window, no console error, and what the accessibility checker calls serious.
pub fn check(browser: &mut Browser, page: &str) {
    width(browser, page);
    assert!(browser.errors.is_empty(), "{page}: {:#?}", browser.errors);
    if browser.value("typeof axe") == "undefined" {
        browser.value(include_str!("axe.min.js"));
    }
    let found = browser.value(
        "axe.run(document, {resultTypes: ['violations']}).then(r => r.violations.filter(v => ['serious', 'critical'].includes(v.impact)).map(v => v.id + ': ' + v.nodes.map(n => n.html.slice(0, 120) + ' ' + (n.any[0]?.message || '')).slice(0, 3).join(' | ')))",
    );
    assert_eq!(found, Value::Array(Vec::new()), "{page}");
}

/// Nothing is wider than the window.
pub fn width(browser: &mut Browser, page: &str) {
    let wide = browser.value("document.documentElement.scrollWidth - window.innerWidth");
    assert!(wide.as_i64().unwrap() <= 0, "{page} is {wide} pixels too wide");
}
