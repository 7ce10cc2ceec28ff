//! Requests to the bench page of the real program: none ends it, gets out of the job, or is served without the token.

use std::fs;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use platenote::job::{DiscrepancyKind, Job, JobWriter, NewTake, Template, verify};

use super::fuzz;

/// What lies beside the job, and no request may read or change.
const SECRET: &str = "nobody's business";
/// A job that has been marked so often is slow to read; then a new one is taken.
const MOST_DIARY: u64 = 60_000;
/// An answer that is not there by then is none: the request asks for more than it brings.
const PATIENCE: Duration = Duration::from_millis(400);

/// A job with one take, served by the program.
struct Served {
    dir: tempfile::TempDir,
    child: Child,
    host: String,
    token: String,
}

impl Served {
    fn new() -> Self {
        let dir = tempfile::tempdir().unwrap();
        let job = dir.path().join("job");
        Job::create(&job, &Template::Bass24.to_toml()).unwrap();
        let mut writer = JobWriter::open(&job).unwrap();
        writer.open_pass("before", &Default::default()).unwrap();
        let place = writer.instrument().reed_place("bass A1 press").unwrap();
        let take = platenote::take::Take::new((0..9_000).map(|i| (i as f32 * 0.02).sin()).collect(), 8_000);
        let new = NewTake {
            pass: "before".into(),
            place,
            original: None,
            extension: "wav".into(),
            why: String::new(),
            lossy: false,
            remarks: Vec::new(),
            clock: None,
            recorded: None,
        };
        writer.store_bytes(new, &platenote::audio::wav_bytes(&take).unwrap()).unwrap();
        fs::write(dir.path().join("secret.txt"), SECRET).unwrap();
        let mut command = Command::new(env!("CARGO_BIN_EXE_platenote"));
        command.arg("bench").arg(&job).arg("--no-open").env("PLATENOTE_CONFIG", dir.path().join("job"));
        // No microphone of this computer is opened.
        command.env("ALSA_CONFIG_PATH", "/dev/null");
        let words = fs::File::create(dir.path().join("words.txt")).unwrap();
        let mut child = command.stdout(Stdio::piped()).stderr(words).spawn().unwrap();
        let mut address = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut address).unwrap();
        let (host, token) = address.trim().strip_prefix("http://").unwrap().split_once('/').unwrap();
        let (host, token) = (host.to_owned(), token.trim_end_matches('/').to_owned());
        Self { dir, child, host, token }
    }

    /// Send these bytes; status 0 where no answer comes.
    fn ask(&self, bytes: &[u8]) -> (u16, String) {
        let Ok(mut stream) = TcpStream::connect(&self.host) else { return (0, String::new()) };
        stream.set_read_timeout(Some(PATIENCE)).unwrap();
        let _ = stream.write_all(bytes);
        let (mut answer, mut buffer) = (Vec::new(), [0; 65_536]);
        while !is_whole(&answer) {
            match stream.read(&mut buffer) {
                Ok(0) | Err(_) => break,
                Ok(count) => answer.extend_from_slice(&buffer[..count]),
            }
        }
        let text = String::from_utf8_lossy(&answer).into_owned();
        (text.split(' ').nth(1).and_then(|status| status.parse().ok()).unwrap_or(0), text)
    }

    /// Every file in the folder that holds the job, with its length; the job alone, or what lies beside it.
    fn files(&self, inside: bool) -> Vec<(PathBuf, u64)> {
        let mut files = Vec::new();
        let mut folders = vec![self.dir.path().to_owned()];
        while let Some(folder) = folders.pop() {
            for entry in fs::read_dir(folder).unwrap().flatten() {
                let is_job = entry.path().starts_with(self.dir.path().join("job"));
                if entry.path().is_dir() {
                    folders.push(entry.path());
                } else if is_job == inside && entry.file_name() != "words.txt" {
                    files.push((entry.path(), entry.metadata().map_or(0, |facts| facts.len())));
                }
            }
        }
        files.sort();
        files
    }

    /// These are refused, and nothing is written for them. What was asked for before, and nobody waited for, may still
    /// be written: then once more, when that is over.
    fn check_strangers(&self, requests: &[Vec<u8>]) {
        for attempt in 0..4 {
            let before = self.files(true);
            for request in requests {
                let (status, answer) = self.ask(request);
                assert!(status == 0 || (400..500).contains(&status), "{answer}");
            }
            if self.files(true) == before {
                return;
            }
            std::thread::sleep(Duration::from_secs(1 + attempt));
        }
        panic!("something is written for a stranger each time");
    }

    /// It lives, or was asked to end and did so in order; it never panicked.
    fn check_alive(&mut self) -> bool {
        let words = fs::read_to_string(self.dir.path().join("words.txt")).unwrap();
        assert!(!words.contains("panicked"), "{words}");
        match self.child.try_wait().unwrap() {
            None => true,
            Some(status) => {
                assert!(status.success(), "{status} {words}");
                false
            }
        }
    }

    fn check_folder(&self) {
        // Whoever knows the token may make jobs beside this one; nothing else may be written there.
        let in_a_job = |file: &Path| file.ancestors().any(|folder| folder.join("plan.toml").is_file());
        let strange: Vec<_> = self.files(false).into_iter().filter(|(file, _)| !in_a_job(file)).collect();
        assert_eq!(strange.len(), 1, "{strange:?}");
        assert_eq!(fs::read_to_string(self.dir.path().join("secret.txt")).unwrap(), SECRET);
        let found = verify(&self.dir.path().join("job")).unwrap();
        // A plan without a plate that was marked is the page's right.
        let troubles = found.troubles.iter().filter(|trouble| trouble.kind != DiscrepancyKind::NoPlace);
        assert_eq!(troubles.collect::<Vec<_>>(), Vec::<&_>::new());
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Whether a whole answer is there, as far as its own head tells; a stream of events never ends.
fn is_whole(answer: &[u8]) -> bool {
    let text = String::from_utf8_lossy(answer);
    let Some((head, _)) = text.split_once("\r\n\r\n") else { return false };
    let head = head.to_lowercase();
    let length = head.split("content-length: ").nth(1).and_then(|rest| rest.lines().next()?.parse().ok());
    let body = answer.len() - answer.windows(4).position(|four| four == b"\r\n\r\n").unwrap_or(0) - 4;
    head.contains("event-stream") || length.is_some_and(|length: usize| body >= length)
}

/// Every kind of request the page makes, with `{token}`, `{host}` and `{length}` to be filled in.
fn corpus(plan: &str) -> Vec<Vec<u8>> {
    let asked = [
        "",
        "state",
        "inputs",
        "plan",
        "events",
        "part/block?pass=before",
        "part/takes",
        "part/work?pass=x",
        "part/notes",
        "part/tray",
        "report/report.html",
        "sound/takes/before/bass-A1-press-1.wav",
        "bench.js",
    ];
    let plan: serde_json::Value = serde_json::from_str(plan).unwrap();
    let kept = serde_json::json!({"table": plan["table"], "seen": plan["seen"]}).to_string();
    let checked = plan["table"].to_string();
    let acts = [
        ("mark", r#"{"places": "A1, A2..A4 outer", "work": "valve off 38 mm curled bin 2"}"#),
        ("mark", r#"{"places": "", "work": "note a word"}"#),
        ("unmark", r#"{"n": 1}"#),
        ("count", r#"{"length":"38 mm","count":3,"material":"leather","condition":"flat","bin":"2"}"#),
        ("new", r#"{"name": "other", "template": "bass24", "title": "A \"title\""}"#),
        ("open", r#"{"name": "other"}"#),
        ("record", r#"{"pass":"before","input":"","temperature":"19,5","places":"B1..B12"}"#),
        ("check-plan", &checked),
        ("keep-plan", &kept),
        ("again", "{}"),
        ("skip", "{}"),
        ("there", "{}"),
        ("stop", "{}"),
        ("report", "{}"),
        ("close", "{}"),
        ("nothing", "[]"),
    ];
    let gets = asked.map(|path| {
        format!("GET /{{token}}/{path} HTTP/1.1\r\nHost: {{host}}\r\nSec-Fetch-Site: same-origin\r\n\r\n")
    });
    let posts = acts.map(|(what, body)| {
        format!(
            "POST /{{token}}/do/{what} HTTP/1.1\r\nHost: {{host}}\r\nOrigin: http://{{host}}\r\n\
             Content-Type: application/json\r\nContent-Length: {{length}}\r\n\r\n{body}"
        )
    });
    gets.into_iter().chain(posts).map(String::into_bytes).collect()
}

fn replaced(bytes: &[u8], what: &str, by: &str) -> Vec<u8> {
    let (mut out, mut rest) = (Vec::new(), bytes);
    while let Some(at) = rest.windows(what.len()).position(|there| there == what.as_bytes()) {
        out.extend_from_slice(&rest[..at]);
        out.extend_from_slice(by.as_bytes());
        rest = &rest[at + what.len()..];
    }
    out.extend_from_slice(rest);
    out
}

fn filled_in(input: &[u8], host: &str, token: &str) -> Vec<u8> {
    let body = input.windows(4).position(|four| four == b"\r\n\r\n").map_or(0, |at| input.len() - at - 4);
    let request = replaced(input, "{length}", &body.to_string());
    replaced(&replaced(&request, "{host}", host), "{token}", token)
}

#[test]
fn bench_requests() {
    let served = Served::new();
    let ask = format!("GET /{}/plan HTTP/1.1\r\nHost: {}\r\n\r\n", served.token, served.host);
    let (status, plan) = served.ask(ask.as_bytes());
    assert_eq!(status, 200, "{plan}");
    let corpus = corpus(plan.split_once("\r\n\r\n").unwrap().1);
    let words = [
        "{token}",
        "{host}",
        "{length}",
        "POST",
        "DELETE",
        "HEAD",
        "OPTIONS",
        "\r\n",
        "\r\n\r\n",
        "%2e%2e%2f",
        "../",
        "%00",
        "//",
        "do/mark",
        "sound/",
        "report/",
        "part/",
        "?pass=",
        "Transfer-Encoding: chunked\r\n",
        "Origin: http://{host}\r\n",
        "Host: localhost\r\n",
        "Expect: 100-continue\r\n",
        "null",
        "[",
        "{",
        "\"",
        "\\u0000",
        "1e400",
        "../../secret.txt",
        "secret.txt",
        "A1..A12",
        "Last-Event-ID: 9\r\n",
    ];
    let served = std::cell::RefCell::new((served, 0_u64));
    fuzz("bench_requests", &corpus, &words, Duration::from_secs(20), |input| {
        let (served, n_cases) = &mut *served.borrow_mut();
        *n_cases += 1;
        let request = filled_in(input, &served.host, &served.token);
        let has_token = replaced(&request, &served.token, "") != request;
        let (status, answer) = served.ask(&request);
        assert!(status < 500, "{answer}");
        assert!(!answer.contains(SECRET) && !answer.contains("was broken off"), "{answer}");
        assert!(has_token || status == 0 || status >= 400, "{answer}");
        // The same once more by somebody who does not know the token, or comes from another page.
        if n_cases.is_multiple_of(4) && served.check_alive() {
            let other = if served.token.starts_with('0') { "1" } else { "0" };
            let guessed = filled_in(input, &served.host, &format!("{other}{}", &served.token[1..]));
            let is_named = input.windows(6).any(|six| six == b"{host}");
            let elsewhere =
                if is_named { filled_in(input, "evil.example", &served.token) } else { Vec::new() };
            served.check_strangers(&[guessed, elsewhere]);
        }
        let is_alive = served.check_alive();
        if !is_alive || n_cases.is_multiple_of(16) {
            served.check_folder();
        }
        let diary = Path::new("job/diary.jsonl");
        let is_long = fs::metadata(served.dir.path().join(diary)).is_ok_and(|facts| facts.len() > MOST_DIARY);
        if !is_alive || is_long {
            *served = Served::new();
        }
    });
}
