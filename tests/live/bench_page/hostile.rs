//! Clients that are not the page: what they get, and that nothing is touched.

use std::io::Write;
use std::time::{Duration, Instant};

use platenote::job::{Job, Template};

use super::client::{Served, read};

fn with_job() -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    Job::create(&dir.path().join("job"), &Template::Bass24.to_toml()).unwrap();
    std::fs::write(dir.path().join("secret.txt"), "nobody's business").unwrap();
    dir
}

#[test]
fn only_the_own_page_with_the_token_is_answered() {
    let dir = with_job();
    let served = Served::new(&dir.path().join("job"), &[]);
    let (host, token) = (served.host.clone(), served.token.clone());
    let (status, page) = served.own("");
    assert_eq!(status, 200, "{page}");
    assert!(
        page.to_lowercase().contains("content-security-policy: default-src 'none'; script-src 'self'"),
        "{page}"
    );
    for path in ["state", "events", "part/block", "do/report"] {
        let inside = format!("/{token}/{path}");
        let ask = |target: &str, host: &str, headers: &str| {
            let text = format!("GET {target} HTTP/1.1\r\n{host}Connection: close\r\n{headers}\r\n");
            served.send(text.as_bytes()).0
        };
        let own = format!("Host: {host}\r\n");
        // The names a page elsewhere can point at this address.
        for other in
            ["Host: localhost\r\n", "Host: evil.example\r\n", "", &format!("{own}Host: evil.example\r\n")]
        {
            assert!(matches!(ask(&inside, other, ""), 400 | 403), "{path} {other}");
        }
        for other in [
            "Origin: http://evil.example\r\n",
            "Origin: null\r\n",
            "Sec-Fetch-Site: cross-site\r\n",
            "Sec-Fetch-Site: same-site\r\n",
            "Sec-Fetch-Site: same-origin\r\nSec-Fetch-Site: cross-site\r\n",
            &format!("Origin: http://{host}\r\nOrigin: http://evil.example\r\n"),
        ] {
            assert_eq!(ask(&inside, &own, other), 403, "{path} {other}");
        }
        let wrong = if token.starts_with('0') { "1" } else { "0" };
        for target in [
            format!("/{path}"),
            format!("/{wrong}{}/{path}", &token[1..]),
            format!("/{}/{path}", &token[1..]),
            "/".into(),
        ] {
            assert_eq!(ask(&target, &own, ""), 404, "{target}");
        }
    }
    // Two starts have two tokens.
    let other = Served::new(&dir.path().join("job"), &[]);
    assert!(other.token != token && token.len() == 32, "{token}");
}

/// Another computer finds no open port: the system's own list says where the program listens.
#[test]
#[cfg(target_os = "linux")]
fn it_listens_on_this_computer_s_own_address_only() {
    let dir = with_job();
    let served = Served::new(&dir.path().join("job"), &[]);
    let port: u16 = served.host.rsplit(':').next().unwrap().parse().unwrap();
    // proc(5): the local address is the second field, in hexadecimal with the bytes turned; state 0A listens.
    let listens = |file: &str| -> Vec<String> {
        let list = std::fs::read_to_string(file).unwrap_or_default();
        let fields = list.lines().map(|line| line.split_whitespace().collect::<Vec<_>>());
        let own = fields.filter(|fields| fields.get(3) == Some(&"0A"));
        own.filter_map(|fields| Some(fields.get(1)?.strip_suffix(&format!(":{port:04X}"))?.to_owned()))
            .collect()
    };
    assert_eq!(listens("/proc/net/tcp"), ["0100007F"], "127.0.0.1");
    assert_eq!(listens("/proc/net/tcp6"), Vec::<String>::new());
}

#[test]
fn nothing_is_done_for_a_form_of_another_page() {
    let dir = with_job();
    let served = Served::new(&dir.path().join("job"), &[]);
    let mark = r#"{"places": "A1", "work": "lifted"}"#;
    let own = format!("Origin: http://{}\r\n", served.host);
    let json = "Content-Type: application/json\r\n";
    for headers in [
        json.to_owned(),
        own.clone(),
        format!("{own}Content-Type: text/plain\r\n"),
        format!("Origin: http://evil.example\r\n{json}"),
    ] {
        assert_eq!(served.post("do/mark", &headers, mark.as_bytes()).0, 403, "{headers}");
    }
    assert!(Job::open(&dir.path().join("job")).unwrap().marks().is_empty());
    // More than the lists of the tray take back.
    let count = r#"{"length":"38","count":10000,"material":"leather","condition":"flat","bin":""}"#;
    assert_eq!(served.act("count", count).0, 422);
    let (status, said) = served.act("mark", mark);
    assert!(
        status == 200 && said.contains("mark 1: lifted") && said.contains("Caution: clamp the block"),
        "{said}"
    );
    assert_eq!(Job::open(&dir.path().join("job")).unwrap().marks().len(), 1);
    // What is no work is refused with the workshop's own words.
    let (status, said) = served.act("mark", r#"{"places": "A1", "work": "licked"}"#);
    assert!(status == 422 && said.contains("`licked` is no work that can be marked"), "{said}");
}

#[test]
fn nothing_outside_the_takes_and_the_report_is_given() {
    let dir = with_job();
    let served = Served::new(&dir.path().join("job"), &[]);
    for path in [
        "sound/../../secret.txt",
        "sound/..%2f..%2fsecret.txt",
        "sound/%2e%2e/%2e%2e/secret.txt",
        "sound//etc/passwd",
        "sound/plan.toml",
        "sound/diary.jsonl",
        "sound/takes/../plan.toml",
        "report/../plan.toml",
        "report/..%2f..%2fsecret.txt",
        "report/%2fetc%2fpasswd",
        "page/bench.css",
        "part/../state",
    ] {
        let (status, text) = served.own(path);
        assert!(matches!(status, 400 | 404), "{path}: {text}");
        assert!(!text.contains("nobody's business") && !text.contains("root:"), "{path}: {text}");
    }
    // No job is made or opened elsewhere than in the folder that was given.
    for name in ["../elsewhere", "/tmp/elsewhere", "a/b", "", ".hidden", "con"] {
        let body = serde_json::json!({"name": name, "template": "bass24", "title": ""}).to_string();
        assert_eq!(served.act("new", &body).0, 422, "{name}");
        let body = serde_json::json!({"folder": name}).to_string();
        assert_eq!(served.act("open", &body).0, 422, "{name}");
    }
    // Nor is any folder opened that is in no list, though it may hold a job.
    let elsewhere = tempfile::tempdir().unwrap();
    Job::create(&elsewhere.path().join("job"), &Template::Empty.to_toml()).unwrap();
    let body = serde_json::json!({"folder": elsewhere.path().join("job")}).to_string();
    assert_eq!(served.act("open", &body).0, 422);
    // A job is made beside the one that is open.
    assert_eq!(served.act("new", r#"{"name": "Zweiter Baß 2", "template": "empty"}"#).0, 200);
    assert!(dir.path().join("Zweiter Baß 2/plan.toml").is_file());
}

#[test]
#[cfg(unix)]
fn a_link_out_of_the_job_is_not_followed() {
    let dir = with_job();
    let job = dir.path().join("job");
    std::fs::create_dir_all(job.join("report")).unwrap();
    std::os::unix::fs::symlink(dir.path().join("secret.txt"), job.join("report/report.html")).unwrap();
    let served = Served::new(&job, &[]);
    let (status, text) = served.own("report/report.html");
    assert!(status == 404 && !text.contains("nobody's business"), "{text}");
}

#[test]
fn too_much_and_too_slow_is_dropped_and_others_are_served_meanwhile() {
    let dir = with_job();
    let served = Served::new(&dir.path().join("job"), &[]);
    assert_eq!(served.act("mark", &"x".repeat(300 * 1024)).0, 413);
    let long = format!("X-Long: {}\r\n", "x".repeat(64 * 1024));
    let (status, text) = served.get(&format!("/{}/state", served.token), &long);
    assert!(matches!(status, 0 | 400 | 431), "{status} {text}");
    // Two that keep us waiting: one with its head, one with its body.
    let mut slow_head = served.connect();
    slow_head.write_all(format!("GET /{}/state HTTP/1.1\r\nHost:", served.token).as_bytes()).unwrap();
    let mut slow_body = served.connect();
    let head = format!(
        "POST /{}/do/mark HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\nContent-Type: application/json\r\nContent-Length: 99\r\n\r\n{{",
        served.token,
        host = served.host
    );
    slow_body.write_all(head.as_bytes()).unwrap();
    let begun = Instant::now();
    assert_eq!(served.own("state").0, 200);
    assert!(begun.elapsed() < Duration::from_secs(3), "{:?}", begun.elapsed());
    let (status, text) = read(slow_head);
    assert!(matches!(status, 0 | 408), "{text}");
    assert_eq!(read(slow_body).0, 408);
    assert!(begun.elapsed() < Duration::from_secs(11), "{:?}", begun.elapsed());
    // A crowd: those beyond the limit are dropped, and when it has gone the page is served.
    let crowd: Vec<_> = (0..80).map(|_| served.connect()).collect();
    drop(crowd);
    std::thread::sleep(Duration::from_millis(300));
    assert_eq!(served.own("state").0, 200);
    assert!(Job::open(&dir.path().join("job")).unwrap().marks().is_empty());
}

/// Strangers who ask and ask and read no answer keep no place: what they are told is short, and the last they hear.
#[test]
fn a_crowd_that_reads_nothing_keeps_nobody_out() {
    let dir = with_job();
    let served = Served::new(&dir.path().join("job"), &[]);
    let ask = format!("GET /nothing HTTP/1.1\r\nHost: {}\r\n\r\n", served.host).repeat(4_000);
    let crowd: Vec<_> = (0..40)
        .map(|_| {
            let mut stream = served.connect();
            stream.set_write_timeout(Some(Duration::from_millis(200))).unwrap();
            let _ = stream.write_all(ask.as_bytes());
            stream
        })
        .collect();
    std::thread::sleep(Duration::from_millis(300));
    assert_eq!(served.own("state").0, 200);
    drop(crowd);
}

/// A job from somebody else's hands, with a pipe in the place of a take.
#[test]
#[cfg(unix)]
fn a_take_that_is_a_pipe_holds_nobody_up() {
    let dir = with_job();
    let job = dir.path().join("job");
    let made = std::process::Command::new("mkfifo").arg(job.join("takes/a.wav")).status();
    assert!(made.unwrap().success());
    let line = r#"{"format":1,"at":"2026-04-30T10:00:00Z","what":"take","pass":"before","place":"bass A1 press","file":"takes/a.wav","n":1,"sha256":"00","bytes":1,"original":null,"why":"","lossy":false,"remarks":[]}"#;
    std::fs::write(job.join("diary.jsonl"), format!("{line}\n")).unwrap();
    let served = Served::new(&job, &[]);
    assert_eq!(served.own("sound/takes/a.wav").0, 404);
}

#[test]
fn no_bytes_end_the_program() {
    let dir = with_job();
    let served = Served::new(&dir.path().join("job"), &[]);
    let token = &served.token;
    let mut odd: Vec<Vec<u8>> =
        vec![b"\0\0\0\0\r\n\r\n".to_vec(), b"GET".to_vec(), b"\r\n\r\n".to_vec(), vec![0xff; 5_000]];
    odd.push(
        format!("GET /{token}/%ff%fe HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n\r\n", served.host)
            .into_bytes(),
    );
    odd.push(
        format!(
            "GET http://evil.example/{token}/state HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n\r\n",
            served.host
        )
        .into_bytes(),
    );
    for bytes in odd {
        let mut stream = served.connect();
        let _ = stream.write_all(&bytes);
        let _ = stream.shutdown(std::net::Shutdown::Write);
        let (status, text) = read(stream);
        assert!(!(200..300).contains(&status) || !text.contains("nobody"), "{text}");
    }
    for body in ["", "{", "[]", "null", r#"{"places": 7, "work": []}"#, r#"{"length":"38","count":-1}"#] {
        for what in [
            "mark",
            "unmark",
            "count",
            "check-plan",
            "keep-plan",
            "record",
            "new",
            "open",
            "place",
            "accept-sound",
            "hush",
        ] {
            assert_eq!(served.act(what, body).0, 422, "{what} {body}");
        }
    }
    assert_eq!(served.own("state").0, 200);
}

#[test]
fn a_photo_is_taken_only_from_the_page_and_only_if_it_is_one() {
    const JPEG: &[u8] = b"\xff\xd8\xff\xe0\0\x10JFIF\0 of a plate";
    let dir = with_job();
    let folder = dir.path().join("job");
    let served = Served::new(&folder, &[]);
    let own = format!("Origin: http://{}\r\n", served.host);
    let jpeg = "Content-Type: image/jpeg\r\n";
    for headers in [
        jpeg.to_owned(),
        own.clone(),
        format!("Origin: http://evil.example\r\n{jpeg}"),
        format!("{own}{jpeg}Sec-Fetch-Site: cross-site\r\n"),
        // Kinds a form can send, and kinds that may hold a script.
        format!("{own}Content-Type: multipart/form-data; boundary=x\r\n"),
        format!("{own}Content-Type: text/plain\r\n"),
        format!("{own}Content-Type: application/json\r\n"),
        format!("{own}Content-Type: image/svg+xml\r\n"),
    ] {
        assert_eq!(served.post("do/photo?places=A1&name=a.jpg", &headers, JPEG).0, 403, "{headers}");
    }
    for bytes in [b"<html><script>alert(1)</script>".as_slice(), b"<svg onload=x>", b"", b"RIFF....WAVE"] {
        let (status, said) = served.photo("places=A1&name=a.jpg", "image/jpeg", bytes);
        assert!(status == 422 && said.contains("that is no photo"), "{status} {said}");
    }
    assert_eq!(served.photo("name=a.jpg", "image/jpeg", &vec![0xff; 25 * 1024 * 1024]).0, 413);
    assert_eq!(served.photo("places=Z9&name=a.jpg", "image/jpeg", JPEG).0, 422);
    assert!(Job::open(&folder).unwrap().marks().is_empty());
    // Whatever it is called, it lies under `photos` with a plain name and the ending of what it is.
    let long = "x".repeat(3_000);
    let names = [
        "..%2f..%2f..%2fsecret.html",
        "..%5cplan.toml",
        "%2fetc%2fpasswd",
        "con",
        "%00%0a%0d.exe",
        "",
        &long,
    ];
    for (n, name) in names.into_iter().enumerate() {
        let bytes = [JPEG, &[n as u8]].concat();
        let (status, said) = served.photo(&format!("places=A1&name={name}"), "image/jpeg", &bytes);
        assert!(status == 200 && said.contains("kept as photos/photo"), "{name}: {status} {said}");
    }
    let job = Job::open(&folder).unwrap();
    assert_eq!(job.marks().len(), names.len());
    for mark in job.marks() {
        let file = mark.work.to_string().trim_start_matches("photo ").to_owned();
        let name = file.strip_prefix("photos/").unwrap();
        assert!(name.ends_with(".jpg") && name.len() < 60 && !name.contains(['/', '\\']), "{name}");
        assert!(folder.join(&file).is_file(), "{file}");
        let (status, shown) = served.own(&file);
        assert!(status == 200 && shown.contains("content-type: image/jpeg") && shown.contains("nosniff"));
    }
    assert_eq!(std::fs::read_to_string(dir.path().join("secret.txt")).unwrap(), "nobody's business");
    // What lies beside the photos, or beside the job, has no address.
    std::fs::write(folder.join("photos/unnamed.jpg"), JPEG).unwrap();
    for path in
        ["photos/unnamed.jpg", "photos/../plan.toml", "photos/..%2fplan.toml", "photos/..%2f..%2fsecret.txt"]
    {
        assert!(matches!(served.own(path).0, 400 | 404), "{path}");
    }
}

/// The page that is closed hears that it is, before the program ends.
#[test]
fn whoever_closes_the_page_is_told_so() {
    let dir = with_job();
    let mut served = Served::new(&dir.path().join("job"), &[]);
    let (status, said) = served.act("close", "");
    assert!(status == 200 && said.contains("has ended"), "{status} {said}");
    assert!(served.ends_within(Duration::from_secs(10)), "it still runs");
}

/// The address a browser is started with stands in the list of running programs, for every user to see.
#[test]
#[cfg(target_os = "linux")]
fn a_browser_is_started_with_a_ticket_that_is_good_once() {
    use std::os::unix::fs::PermissionsExt;
    let dir = with_job();
    let (programs, told) = (dir.path().join("programs"), dir.path().join("told"));
    std::fs::create_dir(&programs).unwrap();
    let browser = programs.join("xdg-open");
    let script = format!("#!/bin/sh\necho \"$@\" > '{0}.part' && mv '{0}.part' '{0}'\n", told.display());
    std::fs::write(&browser, script).unwrap();
    std::fs::set_permissions(&browser, std::fs::Permissions::from_mode(0o755)).unwrap();
    let path = format!("{}:{}", programs.display(), std::env::var("PATH").unwrap());
    let served = Served::with(&dir.path().join("job"), &[], &[("PATH", path.into())]);
    let begun = Instant::now();
    let started = loop {
        match std::fs::read_to_string(&told) {
            Ok(started) => break started.trim().to_owned(),
            Err(_) => assert!(begun.elapsed() < Duration::from_secs(10), "no browser is started"),
        }
        std::thread::sleep(Duration::from_millis(20));
    };
    assert!(!started.contains(&served.token), "{started}");
    let ticket = started.strip_prefix(&format!("http://{}", served.host)).unwrap().to_owned();
    assert!(ticket.starts_with("/start/") && ticket.len() > 32, "{ticket}");
    assert_eq!(served.get("/start/", "").0, 410);
    assert_eq!(served.get(&format!("/start/{}", "0".repeat(32)), "").0, 410);
    assert_eq!(served.get(&ticket, "Sec-Fetch-Site: cross-site\r\n").0, 403, "another site uses it up");
    // The browser is led to the page, which can be loaded again; the ticket cannot.
    let (status, answer) = served.get(&ticket, "Sec-Fetch-Site: none\r\n");
    assert!(status == 303 && answer.contains(&format!("location: /{}/\r\n", served.token)), "{answer}");
    let (status, answer) = served.get(&ticket, "Sec-Fetch-Site: none\r\n");
    assert!(status == 410 && !answer.contains(&served.token), "{answer}");
    assert_eq!((served.own("").0, served.own("").0), (200, 200));
}
