//! A browser without a screen, driven over its own debugging socket.

use std::io::{BufRead, BufReader};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::{Value, json};
use tungstenite::{Message, WebSocket};

/// The browser; ended when this is dropped.
pub struct Browser {
    child: Child,
    socket: WebSocket<TcpStream>,
    asked: u64,
    /// Everything the page's console and log called an error.
    pub errors: Vec<String>,
}

impl Browser {
    pub fn new(program: &str, profile: &Path) -> Self {
        let mut child = Command::new(program)
            .args([
                "--headless=new",
                "--no-sandbox",
                "--disable-gpu",
                "--no-first-run",
                "--disable-background-networking",
            ])
            .args([
                "--remote-debugging-port=0",
                "--autoplay-policy=no-user-gesture-required",
                "--disable-dev-shm-usage",
            ])
            .arg(format!("--user-data-dir={}", profile.display()))
            .arg("about:blank")
            .stderr(Stdio::piped())
            .stdout(Stdio::null())
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(child.stderr.take().unwrap()).lines();
        let address =
            lines.find_map(|line| Some(line.ok()?.strip_prefix("DevTools listening on ws://")?.to_owned()));
        let address = address.expect("the browser opens its socket");
        std::thread::spawn(move || lines.for_each(drop));
        let host = address.split('/').next().unwrap().to_owned();
        // The page's own socket stands in the list of targets.
        let begun = Instant::now();
        let page = loop {
            if let Some(page) = page_of(&host) {
                break page;
            }
            assert!(begun.elapsed() < Duration::from_secs(10), "the browser opens a page");
            std::thread::sleep(Duration::from_millis(50));
        };
        let stream = TcpStream::connect(&host).unwrap();
        let (socket, _) = tungstenite::client(page.as_str(), stream).unwrap();
        let mut browser = Self { child, socket, asked: 0, errors: Vec::new() };
        for domain in ["Page", "Runtime", "Log", "Network"] {
            browser.call(&format!("{domain}.enable"), json!({}));
        }
        browser
    }

    /// Ask the browser something and wait for its answer.
    pub fn call(&mut self, method: &str, parameters: Value) -> Value {
        self.asked += 1;
        let id = self.asked;
        let text = json!({"id": id, "method": method, "params": parameters}).to_string();
        self.socket.send(Message::text(text)).unwrap();
        loop {
            let Message::Text(text) = self.socket.read().unwrap() else { continue };
            let answer: Value = serde_json::from_str(&text).unwrap();
            if answer["id"] == id {
                assert!(answer["error"].is_null(), "{method}: {answer}");
                return answer["result"].clone();
            }
            self.notice(&answer);
        }
    }

    fn notice(&mut self, event: &Value) {
        let parameters = &event["params"];
        let is_error = match event["method"].as_str().unwrap_or_default() {
            "Runtime.exceptionThrown" => true,
            "Runtime.consoleAPICalled" => {
                matches!(parameters["type"].as_str(), Some("error" | "warning" | "assert"))
            }
            "Log.entryAdded" => parameters["entry"]["level"] == "error",
            _ => false,
        };
        if is_error {
            self.errors.push(parameters.to_string());
        }
    }

    /// The value of an expression in the page; promises are waited for.
    pub fn value(&mut self, script: &str) -> Value {
        let asked =
            json!({"expression": script, "awaitPromise": true, "returnByValue": true, "userGesture": true});
        let answer = self.call("Runtime.evaluate", asked);
        assert!(answer["exceptionDetails"].is_null(), "{script}: {answer}");
        answer["result"]["value"].clone()
    }

    /// Wait until an expression is true.
    pub fn wait_for(&mut self, script: &str) {
        self.wait_while(script, || std::thread::sleep(Duration::from_millis(40)));
    }

    /// The same, doing something meanwhile.
    pub fn wait_while(&mut self, script: &str, mut meanwhile: impl FnMut()) {
        let begun = Instant::now();
        while self.value(&format!("Boolean({script})")) != true {
            if begun.elapsed() > Duration::from_secs(15) {
                let shown = self.value("document.body.innerText");
                panic!(
                    "`{script}` did not come true; errors: {:?}; the page:\n{}",
                    self.errors,
                    shown.as_str().unwrap_or("")
                );
            }
            meanwhile();
        }
    }

    pub fn open(&mut self, address: &str) {
        self.call("Page.navigate", json!({"url": address}));
        self.wait_for("document.readyState === 'complete'");
    }

    /// Press a key where the focus is.
    pub fn press(&mut self, key: &str, code: u32, text: &str) {
        for kind in ["keyDown", "keyUp"] {
            let mut event = json!({"type": kind, "key": key, "windowsVirtualKeyCode": code});
            if kind == "keyDown" && !text.is_empty() {
                event["text"] = text.into();
            }
            self.call("Input.dispatchKeyEvent", event);
        }
    }

    /// Type into the element with the focus.
    pub fn write(&mut self, text: &str) {
        self.call("Input.insertText", json!({"text": text}));
    }

    pub fn size(&mut self, width: u32, height: u32, is_dark: bool) {
        let scheme = if is_dark { "dark" } else { "light" };
        self.call(
            "Emulation.setDeviceMetricsOverride",
            json!({"width": width, "height": height, "deviceScaleFactor": 1, "mobile": false}),
        );
        self.call(
            "Emulation.setEmulatedMedia",
            json!({"features": [{"name": "prefers-color-scheme", "value": scheme}]}),
        );
    }

    /// A picture of what is seen, as base64 of a PNG.
    pub fn picture(&mut self) -> String {
        self.call("Page.captureScreenshot", json!({"format": "png"}))["data"].as_str().unwrap().to_owned()
    }
}

/// The address of the first page's own socket.
fn page_of(host: &str) -> Option<String> {
    use std::io::{Read, Write};
    let mut stream = TcpStream::connect(host).ok()?;
    write!(stream, "GET /json/list HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n").ok()?;
    stream.set_read_timeout(Some(Duration::from_secs(2))).ok()?;
    let mut text = String::new();
    let _ = stream.read_to_string(&mut text);
    let list: Value = serde_json::from_str(text.split_once("\r\n\r\n")?.1.trim()).ok()?;
    let page = list.as_array()?.iter().find(|target| target["type"] == "page")?;
    Some(page["webSocketDebuggerUrl"].as_str()?.to_owned())
}

impl Drop for Browser {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
