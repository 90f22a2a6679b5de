//! `rundown watch` as a child process, and its page's requests.

#![allow(
    dead_code,
    reason = "not every test that shares this file uses all of it"
)]

use serde_json::{Value, json};
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::thread::sleep;
use std::time::{Duration, Instant};

/// A state that does not come within this time will not come.
const PATIENCE: Duration = Duration::from_secs(60);

/// A capture of a public motor.
pub fn capture_of(motor: &str, file: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures")
        .join(motor)
        .join(file)
}

/// A folder with some captures of a public motor and no sheet.
pub fn sheetless(motor: &str, files: &[&str]) -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    for file in files {
        std::fs::copy(capture_of(motor, file), dir.path().join(file)).unwrap();
    }
    dir
}

/// The status with which a request as it is typed is answered.
pub fn status(port: u16, request: &str) -> u16 {
    let mut stream = TcpStream::connect(("127.0.0.1", port)).unwrap();
    // A server that refuses early may close before all is sent.
    let _ = stream.write_all(request.as_bytes());
    let mut line = String::new();
    let _ = BufReader::new(&stream).read_line(&mut line);
    let status = line.split(' ').nth(1).and_then(|s| s.parse().ok());
    status.unwrap_or_else(|| panic!("no answer to {request:.90}"))
}

pub struct Watched {
    child: Child,
    address: String,
}

impl Watched {
    pub fn start(folder: &Path, more: &[&str]) -> Watched {
        let mut child = Command::new(env!("CARGO_BIN_EXE_rundown"))
            .arg("watch")
            .arg(folder)
            .args(more)
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
        let address = lines
            .find_map(|line| line.ok().filter(|l| l.starts_with("http://")))
            .expect("an address");
        Watched { child, address }
    }

    pub fn port(&self) -> u16 {
        let host = self.address.split('/').nth(2).unwrap();
        host.rsplit(':').next().unwrap().parse().unwrap()
    }

    pub fn token(&self) -> &str {
        self.address.split('/').nth(3).unwrap()
    }

    fn send(&self, method: &str, path: &str, body: &str) -> (u16, String, String) {
        let mut stream = TcpStream::connect(("127.0.0.1", self.port())).unwrap();
        write!(
            stream,
            "{method} /{}/{path} HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nContent-Type: application/json\r\nContent-Length: {}\r\nConnection: close\r\n\r\n{body}",
            self.token(),
            self.port(),
            body.len()
        )
        .unwrap();
        let mut text = String::new();
        stream.read_to_string(&mut text).unwrap();
        let (head, body) = text.split_once("\r\n\r\n").unwrap();
        let status = head.split(' ').nth(1).unwrap().parse().unwrap();
        (status, head.to_owned(), body.to_owned())
    }

    pub fn head(&self, path: &str) -> String {
        self.send("GET", path, "").1
    }

    pub fn get(&self, path: &str) -> (u16, Value) {
        let (status, _, body) = self.send("GET", path, "");
        (status, serde_json::from_str(&body).unwrap_or(Value::Null))
    }

    pub fn post(&self, path: &str, body: &Value) -> (u16, Value) {
        let (status, _, body) = self.send("POST", path, &body.to_string());
        (status, serde_json::from_str(&body).unwrap_or(Value::Null))
    }

    pub fn post_edit(&self, edits: Value) -> (u16, Value) {
        self.post("edit", &json!({"what": "a test", "edits": edits}))
    }

    /// An edit that must be made.
    pub fn edit(&self, edits: Value) {
        let (status, answer) = self.post_edit(edits);
        assert_eq!(status, 200, "{answer}");
    }

    pub fn state(&self) -> Value {
        self.get("state?after=0").1
    }

    /// Waits for a state.
    pub fn until(&self, what: &str, fits: impl Fn(&Value) -> bool) -> Value {
        let begun = Instant::now();
        loop {
            let state = self.state();
            if fits(&state) {
                return state;
            }
            assert!(begun.elapsed() < PATIENCE, "{what} did not come: {state:#}");
            sleep(Duration::from_millis(30));
        }
    }

    /// Ctrl-C, and the exit status that follows.
    pub fn interrupt(self) -> Option<i32> {
        let signal = Command::new("kill")
            .args(["-INT", &self.child.id().to_string()])
            .status()
            .unwrap();
        assert!(signal.success());
        self.end()
    }

    /// The exit status, awaited.
    pub fn end(mut self) -> Option<i32> {
        let begun = Instant::now();
        while begun.elapsed() < PATIENCE {
            if let Some(status) = self.child.try_wait().unwrap() {
                return status.code();
            }
            sleep(Duration::from_millis(20));
        }
        panic!("it does not end");
    }
}

impl Drop for Watched {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
