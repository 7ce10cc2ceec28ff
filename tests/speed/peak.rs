//! The peak memory of a running program.

use std::process::Child;
use std::time::Duration;

/// Wait for `child`; the most memory it held at any time, in MB of 10⁶ bytes, as Linux counts it (`VmHWM`).
///
/// Read again and again while it runs, since nothing is left to read afterwards; the kernel's figure only grows.
pub fn peak_mb(child: &mut Child) -> f64 {
    let status = format!("/proc/{}/status", child.id());
    let mut peak = 0.0_f64;
    loop {
        if let Some(seen) = std::fs::read_to_string(&status).ok().and_then(|text| high_water_mb(&text)) {
            peak = peak.max(seen);
        }
        if child.try_wait().expect("platenote is ours to wait for").is_some() {
            assert!(peak > 0.0, "`{status}` gives the peak");
            return peak;
        }
        std::thread::sleep(Duration::from_micros(500));
    }
}

fn high_water_mb(status: &str) -> Option<f64> {
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"))?;
    let kib: f64 = line.trim().strip_suffix("kB")?.trim().parse().ok()?;
    Some(kib * 1024e-6)
}
