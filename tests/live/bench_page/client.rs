//! The program serving its page, and a client that may say anything.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::Duration;

/// The program; ended when this is dropped.
pub struct Served {
    child: Child,
    /// The person's own settings, away from those of whoever runs the tests.
    _config: tempfile::TempDir,
    /// `127.0.0.1:43210`
    pub host: String,
    pub token: String,
}

impl Served {
    pub fn new(folder: &Path, environment: &[(&str, PathBuf)]) -> Self {
        Self::with(folder, &["--no-open"], environment)
    }

    pub fn with(folder: &Path, arguments: &[&str], environment: &[(&str, PathBuf)]) -> Self {
        let mut command = Command::new(env!("CARGO_BIN_EXE_platenote"));
        let config = tempfile::tempdir().unwrap();
        command
            .env("PLATENOTE_CONFIG", config.path())
            .arg("bench")
            .arg(folder)
            .args(arguments)
            .envs(environment.iter().map(|(name, value)| (name, value)));
        let mut child = command.stdout(Stdio::piped()).stderr(Stdio::null()).spawn().unwrap();
        let mut address = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut address).unwrap();
        let (host, token) = address.trim().strip_prefix("http://").unwrap().split_once('/').unwrap();
        let (host, token) = (host.to_owned(), token.trim_end_matches('/').to_owned());
        Self { child, _config: config, host, token }
    }

    pub fn address(&self) -> String {
        format!("http://{}/{}/", self.host, self.token)
    }

    pub fn connect(&self) -> TcpStream {
        let stream = TcpStream::connect(&self.host).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(12))).unwrap();
        stream
    }

    /// Send these bytes and take the whole answer: its status and all of it as text.
    pub fn send(&self, bytes: &[u8]) -> (u16, String) {
        let mut stream = self.connect();
        // The program may hang up before it has read all of it.
        let _ = stream.write_all(bytes);
        read(stream)
    }

    pub fn get(&self, path: &str, headers: &str) -> (u16, String) {
        let host = &self.host;
        self.send(
            format!("GET {path} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n{headers}\r\n").as_bytes(),
        )
    }

    /// As the page itself asks.
    pub fn own(&self, path: &str) -> (u16, String) {
        self.get(&format!("/{}/{path}", self.token), "Sec-Fetch-Site: same-origin\r\n")
    }

    pub fn post(&self, path: &str, headers: &str, body: &[u8]) -> (u16, String) {
        let (host, token, length) = (&self.host, &self.token, body.len());
        let head = format!(
            "POST /{token}/{path} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\nContent-Length: {length}\r\n{headers}\r\n"
        );
        self.send(&[head.as_bytes(), body].concat())
    }

    /// As the page itself does something.
    pub fn act(&self, what: &str, body: &str) -> (u16, String) {
        let headers = format!("Origin: http://{}\r\nContent-Type: application/json\r\n", self.host);
        self.post(&format!("do/{what}"), &headers, body.as_bytes())
    }

    /// Whether the program ends by itself.
    pub fn ends_within(&mut self, time: Duration) -> bool {
        let begun = std::time::Instant::now();
        while begun.elapsed() < time {
            if self.child.try_wait().unwrap().is_some() {
                return true;
            }
            std::thread::sleep(Duration::from_millis(20));
        }
        false
    }

    /// As the page itself brings a photo.
    pub fn photo(&self, asked: &str, kind: &str, bytes: &[u8]) -> (u16, String) {
        let headers = format!("Origin: http://{}\r\nContent-Type: {kind}\r\n", self.host);
        self.post(&format!("do/photo?{asked}"), &headers, bytes)
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// What comes until the program hangs up; status 0 where that is nothing.
pub fn read(mut stream: TcpStream) -> (u16, String) {
    let mut bytes = Vec::new();
    let _ = stream.read_to_end(&mut bytes);
    let text = String::from_utf8_lossy(&bytes).into_owned();
    let status = text.split(' ').nth(1).and_then(|status| status.parse().ok()).unwrap_or(0);
    (status, text)
}
