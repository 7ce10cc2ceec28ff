//! `record` against a real sound server without hardware: PulseAudio plays a session into a sink without a card, and the
//! program records the sink's monitor through ALSA's plugin, as it would a microphone behind a desktop's sound server.
//!
//! Needs the Debian packages `pulseaudio pulseaudio-utils libasound2-plugins`. Where they are missing this says so;
//! with `PLATENOTE_SOUND_SERVER=needed`, as `.ci/run` sets it, that is a failure.

use std::io::{Read, Write};
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use platenote::job::Job;
use serde_json::Value;

use super::session::{PLAYED_HZ, assert_pitch, reed, started, wait_for, with_job};
use crate::bench::played::LEAD_S;
use crate::microphone::RATE;

/// The server, what plays into it, and their folder.
struct Server {
    dir: tempfile::TempDir,
    server: Child,
    player: Option<Child>,
}

/// What is not installed.
fn missing() -> Vec<String> {
    let on_path = |name: &str| {
        let folders = std::env::var_os("PATH").unwrap_or_default();
        std::env::split_paths(&folders).any(|folder| folder.join(name).exists())
    };
    let programs = ["pulseaudio", "pactl", "pacat"].into_iter().filter(|name| !on_path(name));
    let mut missing: Vec<String> = programs.map(str::to_owned).collect();
    let plugin = "libasound_module_pcm_pulse.so";
    let is_there = |folder: &std::fs::DirEntry| folder.path().join("alsa-lib").join(plugin).exists();
    let libraries = ["/usr/lib", "/usr/lib64"].into_iter().flat_map(std::fs::read_dir).flatten().flatten();
    if !libraries.into_iter().any(|folder| is_there(&folder)) {
        missing.push(plugin.into());
    }
    missing
}

/// Whether the server can be started; where not, what is missing is said.
fn is_installed() -> bool {
    let missing = missing();
    if missing.is_empty() {
        return true;
    }
    let said = format!(
        "the sound server's test did not run; missing: {}. On Debian: apt-get install pulseaudio \
         pulseaudio-utils libasound2-plugins",
        missing.join(", ")
    );
    assert!(std::env::var("PLATENOTE_SOUND_SERVER").as_deref() != Ok("needed"), "{said}");
    // Past the test runner's own capture, so that it is seen.
    let _ = writeln!(std::io::stderr(), "{said}");
    false
}

impl Server {
    fn new() -> Self {
        let dir = with_job();
        let socket = dir.path().join("run/pulse/native");
        std::fs::create_dir_all(socket.parent().unwrap()).unwrap();
        let conf = "pcm.!default { type pulse hint { show on description \"Server microphone (test)\" } }\n";
        std::fs::write(dir.path().join("alsa.conf"), conf).unwrap();
        let mut command = Command::new("pulseaudio");
        command.args(["-n", "--daemonize=no", "--exit-idle-time=-1", "--use-pid-file=no"]);
        command.args(["--high-priority=no", "--realtime=no", "-L"]);
        command.arg(format!("module-native-protocol-unix socket={} auth-anonymous=1", socket.display()));
        command.args(["-L", "module-null-sink sink_name=bench format=float32le rate=48000 channels=2"]);
        let in_folder = Self::environment(dir.path());
        command.envs(in_folder).stdout(Stdio::null()).stderr(Stdio::null());
        let server = Self { server: command.spawn().unwrap(), player: None, dir };
        let begun = Instant::now();
        while !server.control(&["info"]) {
            assert!(begun.elapsed() < Duration::from_secs(10), "the sound server does not answer");
            std::thread::sleep(Duration::from_millis(50));
        }
        server
    }

    fn environment(folder: &std::path::Path) -> [(&'static str, PathBuf); 5] {
        let mut socket = std::ffi::OsString::from("unix:");
        socket.push(folder.join("run/pulse/native"));
        [
            ("XDG_RUNTIME_DIR", folder.join("run")),
            ("PULSE_SERVER", socket.into()),
            ("HOME", folder.to_owned()),
            ("ALSA_CONFIG_PATH", folder.join("alsa.conf")),
            ("PLATENOTE_CONFIG", folder.join("config")),
        ]
    }

    fn control(&self, words: &[&str]) -> bool {
        let mut command = Command::new("pactl");
        command.args(words).envs(Self::environment(self.dir.path()));
        command.stdout(Stdio::null()).stderr(Stdio::null()).status().unwrap().success()
    }

    /// What the server calls the one stream that records.
    fn recording_stream(&self) -> String {
        let mut command = Command::new("pactl");
        command.args(["list", "short", "source-outputs"]).envs(Self::environment(self.dir.path()));
        let listed = String::from_utf8(command.output().unwrap().stdout).unwrap();
        listed.split_whitespace().next().unwrap_or_else(|| panic!("nothing records")).to_owned()
    }

    /// Play samples on both channels; the server takes them as time passes.
    fn play(&mut self, samples: &[f32]) {
        let folder = self.dir.path();
        let player = self.player.get_or_insert_with(|| {
            let mut command = Command::new("pacat");
            command.args(["--playback", "--raw", "--device=bench", "--format=float32le", "--rate=48000"]);
            command.args(["--channels=2", "--latency-msec=50"]).envs(Self::environment(folder));
            command.stdin(Stdio::piped()).stderr(Stdio::null()).spawn().unwrap()
        });
        let bytes: Vec<u8> = samples.iter().flat_map(|x| [*x, 0.5 * *x]).flat_map(f32::to_le_bytes).collect();
        let _ = player.stdin.as_mut().unwrap().write_all(&bytes); // A killed server takes no more.
    }

    /// The server stands still for a moment: the source gives nothing, and what would have come is lost to time.
    fn stand_still(&self, pause: Duration) {
        assert!(self.control(&["suspend-sink", "bench", "1"]));
        std::thread::sleep(pause);
        assert!(self.control(&["suspend-sink", "bench", "0"]));
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        for child in [Some(&mut self.server), self.player.as_mut()].into_iter().flatten() {
            let _ = child.kill();
            let _ = child.wait();
        }
    }
}

/// The server gives the input another source, or takes its source away: the audio library reports nothing of use, or
/// reports it a million times. It is told once, soon, and what came before is kept.
#[test]
fn a_source_that_is_changed_or_taken_away_is_told_once() {
    if !is_installed() {
        return;
    }
    let mut server = Server::new();
    assert!(server.control(&["load-module", "module-null-sink", "sink_name=other"]));
    let tone: Vec<f32> = (0..RATE).map(|n| 0.1 * (0.0576 * n as f32).sin()).collect();
    server.play(&tone[..RATE / 2]);
    for way in ["changed", "taken away"] {
        let mut command = Command::new(env!("CARGO_BIN_EXE_platenote"));
        command.args(["devices", "--try", "20", "--json"]).envs(Server::environment(server.dir.path()));
        let (mut child, said) = started(&mut command);
        let mut heard = Vec::new();
        wait_for(&said, &mut heard, "listening to `Server microphone (test)`");
        server.play(&tone);
        server.play(&tone);
        if way == "changed" {
            let stream = server.recording_stream();
            assert!(server.control(&["move-source-output", &stream, "other.monitor"]));
        } else {
            assert!(server.control(&["unload-module", "module-null-sink"]));
        }
        let since = Instant::now();
        let mut out = String::new();
        child.stdout.take().unwrap().read_to_string(&mut out).unwrap();
        assert_eq!(child.wait().unwrap().code(), Some(1), "{way}: {out}");
        assert!(since.elapsed() < Duration::from_secs(4), "{way}: told after {:?}", since.elapsed());
        heard.extend(said.iter());
        let result: Value = serde_json::from_str(&out).unwrap();
        assert!(result["heard_s"].as_f64().unwrap() > 1.0, "{way}: {result}");
        assert!(result["stopped"].as_str().is_some_and(|how| how.contains("stopped: ")), "{way}: {result}");
        let told = heard.iter().filter(|line| line.starts_with("error: ")).count();
        assert_eq!(told, 1, "{way}: {heard:#?}");
    }
}

#[test]
fn a_session_is_recorded_from_a_real_server_and_outlives_it() {
    if !is_installed() {
        return;
    }
    let mut server = Server::new();
    let quiet: Vec<f32> = (0..RATE * 2).map(|n| 1e-4 * ((n * 7919) % 13) as f32).collect();
    // Sound first: the server wakes slowly.
    server.play(&quiet[..RATE / 2]);
    let mut command = Command::new(env!("CARGO_BIN_EXE_platenote"));
    command.args(["record", "job", "--pass", "before", "--json"]).current_dir(server.dir.path());
    let (mut child, said) = started(command.envs(Server::environment(server.dir.path())));
    let mut heard = Vec::new();
    wait_for(&said, &mut heard, "listening to `Server microphone (test)`");
    server.play(&quiet);
    let [a1_press, a1_draw, a2_press, a2_draw] = [0, 1, 2, 3].map(|n| reed(PLAYED_HZ[n], n as u64));
    server.play(&a1_press);
    server.play(&a1_draw);
    let middle = ((LEAD_S + 1.2) * RATE as f64) as usize;
    server.play(&a2_press[..middle]);
    server.stand_still(Duration::from_millis(300));
    server.play(&a2_press[middle..]);
    server.play(&a2_press);
    // The last one is cut off by the end of the server.
    server.play(&a2_draw[..middle]);
    server.server.kill().unwrap();
    let killed = Instant::now();
    let code = loop {
        if let Some(status) = child.try_wait().unwrap() {
            break status.code();
        }
        assert!(killed.elapsed() < Duration::from_secs(8), "the program did not end; said: {heard:#?}");
        std::thread::sleep(Duration::from_millis(10));
    };
    let ended_after = killed.elapsed();
    let mut out = String::new();
    child.stdout.take().unwrap().read_to_string(&mut out).unwrap();
    heard.extend(said.iter());
    let words = heard.concat();

    assert_eq!(code, Some(1), "{words}");
    assert!(words.contains("error: the input `Server microphone (test)` stopped: "), "{words}");
    assert!(words.contains("all takes so far are stored"), "{words}");
    assert!(ended_after < Duration::from_secs(4), "told after {ended_after:?}");
    let lines: Vec<Value> = out.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    let takes: Vec<&Value> = lines.iter().filter(|line| line["kind"] == "take").collect();
    let told: Vec<(&str, u64)> =
        takes.iter().map(|line| (line["place"].as_str().unwrap(), line["take"].as_u64().unwrap())).collect();
    let wanted = [
        ("treble A1 press", 1),
        ("treble A1 draw", 1),
        ("treble A2 press", 1),
        ("treble A2 press", 2),
        ("treble A2 draw", 1),
    ];
    assert_eq!(told, wanted, "{words}\n{out}");
    for (n, of) in [(0, 0), (1, 1), (3, 2)] {
        assert_eq!(takes[n]["again"], Value::Array(Vec::new()), "{}\n{words}", takes[n]);
        assert_pitch(takes[n], PLAYED_HZ[of]);
    }
    assert!(takes[2]["again"].to_string().contains("of sound were lost"), "{}\n{words}", takes[2]);

    let job = Job::open(&server.dir.path().join("job")).unwrap();
    let remarks: Vec<bool> = job
        .takes("before")
        .iter()
        .flat_map(|(_, takes)| takes)
        .map(|take| !take.facts.remarks.is_empty())
        .collect();
    assert_eq!(remarks, [false, false, true, false, true], "{words}");
    // What was stored before the end of the server is whole.
    let verified = Command::new(env!("CARGO_BIN_EXE_platenote"))
        .args(["verify", "job"])
        .current_dir(server.dir.path())
        .status()
        .unwrap();
    assert!(verified.success());
}
