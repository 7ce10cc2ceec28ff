//! `record` on a terminal: the real program in a pseudo terminal of 80 by 24, played to through the audio library.

use std::io::{Read, Write};
use std::num::NonZero;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use platenote::job::Job;
use portable_pty::{Child, CommandBuilder, MasterPty, PtySize, native_pty_system};

use super::session::{PLAN, reed};
use crate::microphone::{Microphone, Plug, environment};

struct Terminal {
    master: Box<dyn MasterPty + Send>,
    child: Box<dyn Child + Send + Sync>,
    keys: Box<dyn Write + Send>,
    screen: Arc<Mutex<vt100::Parser>>,
}

impl Terminal {
    fn recording(folder: &std::path::Path, plug: &Plug) -> Self {
        let size = PtySize { rows: 24, cols: 80, pixel_width: 0, pixel_height: 0 };
        let pair = native_pty_system().openpty(size).unwrap();
        let mut command = CommandBuilder::new(env!("CARGO_BIN_EXE_platenote"));
        command.args(["record", "job", "--pass", "before"]);
        command.cwd(folder);
        command.env("TERM", "vt100");
        for (name, value) in environment(&plug.path) {
            command.env(name, value);
        }
        let child = pair.slave.spawn_command(command).unwrap();
        drop(pair.slave);
        let mut reader = pair.master.try_clone_reader().unwrap();
        let keys = pair.master.take_writer().unwrap();
        let cells = |n| NonZero::new(n).unwrap();
        let screen = Arc::new(Mutex::new(vt100::Parser::new(cells(24), cells(80), 100)));
        let drawn = screen.clone();
        std::thread::spawn(move || {
            let mut bytes = [0; 4096];
            while let Ok(n) = reader.read(&mut bytes) {
                if n == 0 {
                    return;
                }
                drawn.lock().unwrap().process(&bytes[..n]);
            }
        });
        Self { master: pair.master, child, keys, screen }
    }

    fn text(&self) -> String {
        self.screen.lock().unwrap().screen().contents()
    }

    /// Wait until the screen shows `what`, the room being quiet meanwhile.
    fn wait_for(&self, what: &str, mut room: Option<&mut Microphone>) {
        let begun = Instant::now();
        while !self.text().contains(what) {
            assert!(
                begun.elapsed() < Duration::from_secs(10),
                "`{what}` is not on the screen:\n{}",
                self.text()
            );
            match &mut room {
                Some(room) => assert!(room.play_quiet()),
                None => std::thread::sleep(Duration::from_millis(10)),
            }
        }
    }

    fn press(&mut self, keys: &str) {
        self.keys.write_all(keys.as_bytes()).unwrap();
        self.keys.flush().unwrap();
    }

    fn is_alternate(&self) -> bool {
        self.screen.lock().unwrap().screen().alternate_screen()
    }

    /// Whether the terminal itself gathers lines and echoes, as it does for a shell.
    fn is_as_for_a_shell(&self) -> bool {
        use std::process::Command;
        let name = self.master.tty_name().unwrap();
        let said = Command::new("stty").arg("-a").arg("-F").arg(name).output().unwrap();
        let said = String::from_utf8_lossy(&said.stdout).into_owned();
        let has = |mode: &str| said.split_whitespace().any(|word| word.trim_end_matches(';') == mode);
        has("icanon") && has("echo")
    }

    fn end(&mut self, room: &mut Microphone) -> u32 {
        let begun = Instant::now();
        loop {
            if let Some(status) = self.child.try_wait().unwrap() {
                return status.exit_code();
            }
            assert!(begun.elapsed() < Duration::from_secs(8), "the program did not end:\n{}", self.text());
            room.play_quiet();
        }
    }
}

/// Rows that hold letters made of blocks.
fn large_rows(text: &str) -> usize {
    text.lines().filter(|row| row.chars().filter(|c| "█▀▄".contains(*c)).count() > 8).count()
}

#[test]
fn a_take_is_recorded_on_the_screen_and_the_terminal_is_given_back() {
    let dir = tempfile::tempdir().unwrap();
    Job::create(&dir.path().join("job"), PLAN).unwrap();
    let plug = Plug::new(dir.path());
    let mut terminal = Terminal::recording(dir.path(), &plug);
    terminal.wait_for("4 left", None);
    let mut microphone = plug.into_microphone();
    terminal.wait_for("| noise", Some(&mut microphone));
    // The pipe's own beginning is past before anything is played.
    (0..150).for_each(|_| assert!(microphone.play_quiet()));
    assert!(terminal.is_alternate() && !terminal.is_as_for_a_shell());
    let text = terminal.text();
    assert!(text.contains("A4, 440.00 Hz: block treble, row A, plate 1 of 2"), "{text}");
    assert!(large_rows(&text) >= 10, "{text}");
    microphone.play(&reed(440.9, 0));
    terminal.wait_for("treble A1 press: 440.9", Some(&mut microphone));
    terminal.wait_for("3 left", Some(&mut microphone));
    // A note with single keys, and the next reed skipped.
    terminal.press("nwax is brittle\r");
    terminal.wait_for("note 1 is written", Some(&mut microphone));
    terminal.press("s");
    terminal.wait_for("2 left", Some(&mut microphone));
    terminal.press("q");
    assert_eq!(terminal.end(&mut microphone), 0);
    terminal.wait_for("2 reeds are left", None);
    assert!(!terminal.is_alternate() && terminal.is_as_for_a_shell(), "{}", terminal.text());
    let text = terminal.text();
    assert!(text.contains("treble A1 press: 440.9") && text.contains("skipped: `treble A1 draw`"), "{text}");
    let diary = std::fs::read_to_string(dir.path().join("job/diary.jsonl")).unwrap();
    assert!(diary.contains("wax is brittle"), "{diary}");

    // Ctrl-C, and the system's own request to end, give the terminal back too.
    for ask in ["ctrl-c", "signal"] {
        let plug = Plug::new(dir.path());
        let mut terminal = Terminal::recording(dir.path(), &plug);
        terminal.wait_for("left", None);
        let mut microphone = plug.into_microphone();
        if ask == "ctrl-c" {
            terminal.press("\u{3}");
        } else {
            let id = terminal.child.process_id().unwrap().to_string();
            assert!(std::process::Command::new("kill").args(["-TERM", &id]).status().unwrap().success());
        }
        assert_eq!(terminal.end(&mut microphone), 0, "{ask}");
        terminal.wait_for("3 reeds are left", None);
        assert!(!terminal.is_alternate() && terminal.is_as_for_a_shell(), "{ask}");
    }
}
