//! Where a Chromium without a screen is, for the tests that look at pages.

use std::process::Command;

/// The browser's program; `None` where there is none. `PLATENOTE_CHROMIUM` names another, or says `needed`.
pub fn chromium() -> Option<String> {
    let wanted = std::env::var("PLATENOTE_CHROMIUM").unwrap_or_default();
    let is_there =
        |name: &str| Command::new(name).arg("--version").output().is_ok_and(|out| out.status.success());
    let names = [wanted.as_str(), "chromium", "chromium-browser", "google-chrome"];
    let found =
        names.into_iter().filter(|name| !name.is_empty() && *name != "needed").find(|name| is_there(name));
    if found.is_none() {
        assert_ne!(wanted, "needed", "no Chromium is there, and it is needed");
        eprintln!("left out: no Chromium is there; install `chromium`, or name one in PLATENOTE_CHROMIUM");
    }
    found.map(str::to_owned)
}
