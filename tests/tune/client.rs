//! The program at work, plain requests to it, and a page's socket without a page.

use crate::outside::write_scene;
use serde_json::{Value, json};
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};
use tungstenite::client::IntoClientRequest;
use tungstenite::protocol::WebSocketConfig;
use tungstenite::{Message, WebSocket};

/// A small scene with every kind of table, comments beside its numbers.
pub const SCENE: &str = crate::outside::SCENE;

/// `fogweft tune` on a scene of its own.
pub struct Tune {
    pub child: Child,
    pub scene: PathBuf,
    pub address: String,
    pub port: u16,
    pub token: String,
    _folder: tempfile::TempDir,
}

impl Drop for Tune {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Tune {
    pub fn start(text: &str) -> Tune {
        Tune::with(text, &["--port", "0"])
    }

    pub fn with(text: &str, more: &[&str]) -> Tune {
        let folder = tempfile::tempdir().unwrap();
        let scene = write_scene(folder.path(), text);
        Tune::on(scene, folder, more)
    }

    /// On a copy of the demo.
    pub fn demo() -> Tune {
        let folder = tempfile::tempdir().unwrap();
        let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("presets/salt-marsh");
        for entry in std::fs::read_dir(demo).unwrap().flatten() {
            std::fs::copy(entry.path(), folder.path().join(entry.file_name())).unwrap();
        }
        Tune::on(folder.path().join("scene.toml"), folder, &["--port", "0"])
    }

    pub fn on(scene: PathBuf, folder: tempfile::TempDir, more: &[&str]) -> Tune {
        let mut child = Command::new(env!("CARGO_BIN_EXE_fogweft"))
            .arg("tune")
            .arg(&scene)
            .args(more)
            .env("XDG_STATE_HOME", folder.path().join("state"))
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
        let address = lines
            .by_ref()
            .map_while(Result::ok)
            .find(|line| line.starts_with("http://"))
            .expect("an address");
        std::thread::spawn(move || lines.for_each(drop));
        let rest = address.strip_prefix("http://127.0.0.1:").expect("loopback alone");
        let (port, token) = rest.trim_end_matches('/').split_once('/').unwrap();
        let (port, token) = (port.parse().unwrap(), token.to_owned());
        Tune { child, scene, address, port, token, _folder: folder }
    }

    /// Ends it, and starts it again on the same scene at the same port.
    pub fn again(mut self) -> Tune {
        let _ = self.child.kill();
        let _ = self.child.wait();
        let folder = std::mem::replace(&mut self._folder, tempfile::tempdir().unwrap());
        Tune::on(self.scene.clone(), folder, &["--port", &self.port.to_string()])
    }

    pub fn file(&self) -> String {
        std::fs::read_to_string(&self.scene).unwrap()
    }

    pub fn host(&self) -> String {
        format!("127.0.0.1:{}", self.port)
    }

    /// A request with these lines after its first; the status and the whole answer.
    pub fn request(&self, method: &str, path: &str, lines: &[String]) -> (u16, String) {
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(20))).unwrap();
        let head: String = lines.iter().map(|line| format!("{line}\r\n")).collect();
        // Whoever refuses it may not read it to its end.
        let _ = write!(stream, "{method} {path} HTTP/1.1\r\n{head}\r\n");
        let mut answer = Vec::new();
        // Of the way to the socket only the head comes at once.
        let mut some = [0; 4096];
        while let Ok(count) = stream.read(&mut some) {
            answer.extend_from_slice(&some[..count]);
            if count == 0 || (answer.starts_with(b"HTTP/1.1 101") && answer.ends_with(b"\r\n\r\n")) {
                break;
            }
        }
        let answer = String::from_utf8_lossy(&answer).into_owned();
        let code = answer.split(' ').nth(1).and_then(|code| code.parse().ok()).unwrap_or(0);
        (code, answer)
    }

    pub fn socket(&self) -> Socket {
        Socket::open(self)
    }

    /// What a page is greeted with.
    pub fn hello(&self) -> Value {
        self.socket().hello
    }
}

/// A page's socket. Pictures are shown as they come.
pub struct Socket {
    socket: WebSocket<TcpStream>,
    stamp: u64,
    /// The newest state.
    pub state: Value,
    /// What it was greeted with.
    pub hello: Value,
    /// Heads of the pictures, oldest first.
    pub pictures: Vec<Picture>,
    /// The picture of the scene as it stands as a page has it, if that is a draft.
    pub draft: Option<Draft>,
    /// How many drafts came in part.
    pub parts: usize,
    /// Whether the last that was told of a picture is that it can't be drawn.
    pub undrawn: bool,
}

/// A draft with its chroma subsampled: a byte of each texel, then one of every two by two for red, then for blue.
#[derive(Clone, Debug, PartialEq)]
pub struct Draft {
    pub size: [u32; 2],
    pub codes: Vec<u8>,
}

impl Draft {
    /// Where its three planes begin, and how wide they are.
    fn planes([width, height]: [u32; 2]) -> [(usize, usize); 3] {
        let [width, height] = [width, height].map(|side| side as usize);
        let half = (width.div_ceil(2), height.div_ceil(2));
        [(0, width), (width * height, half.0), (width * height + half.0 * half.1, half.0)]
    }

    /// Puts a part on it that begins at `left`, `top`.
    fn patch(&mut self, part: &Draft, [left, top]: [u32; 2]) {
        assert!(left % 2 == 0 && top % 2 == 0);
        let ends = |at: usize, all: &Draft| {
            Draft::planes(all.size).get(at + 1).map_or(all.codes.len(), |next| next.0)
        };
        for (at, ((own, wide), (from, width))) in
            Draft::planes(self.size).into_iter().zip(Draft::planes(part.size)).enumerate()
        {
            let [left, top] = [left, top].map(|edge| edge as usize / if at == 0 { 1 } else { 2 });
            for (y, row) in part.codes[from..ends(at, part)].chunks(width).enumerate() {
                let to = own + (top + y) * wide + left;
                assert!(
                    left + width <= wide && to + width <= ends(at, self),
                    "a part lies within its picture"
                );
                self.codes[to..to + width].copy_from_slice(row);
            }
        }
    }
}

#[derive(Clone, Debug)]
pub struct Picture {
    pub kind: u8,
    pub settled: bool,
    pub size: [u32; 2],
    pub stamp: u32,
    pub hash: blake3::Hash,
}

impl Socket {
    fn open(tune: &Tune) -> Socket {
        let stream = TcpStream::connect(("127.0.0.1", tune.port)).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(120))).unwrap();
        stream.set_nodelay(true).unwrap();
        let mut request =
            format!("ws://{}/{}/socket", tune.host(), tune.token).into_client_request().unwrap();
        request.headers_mut().insert("Origin", format!("http://{}", tune.host()).parse().unwrap());
        let config = WebSocketConfig::default().max_frame_size(None).max_message_size(None);
        let (socket, _) = tungstenite::client::client_with_config(request, stream, Some(config)).unwrap();
        let mut own = Socket {
            socket,
            stamp: 0,
            state: Value::Null,
            hello: Value::Null,
            pictures: Vec::new(),
            draft: None,
            parts: 0,
            undrawn: false,
        };
        own.hello = own.until("hello");
        own.until("state");
        own
    }

    /// Sends a message; its number.
    pub fn send(&mut self, mut message: Value) -> u64 {
        self.stamp += 1;
        message["stamp"] = self.stamp.into();
        self.socket.send(Message::text(message.to_string())).unwrap();
        self.stamp
    }

    pub fn raw(&mut self, message: Message) {
        let _ = self.socket.send(message);
    }

    /// Sends without ever reading what comes; false once the other side has gone.
    pub fn only_send(&mut self, message: &Value) -> bool {
        self.socket.send(Message::text(message.to_string())).is_ok()
    }

    /// The next message, or none once the other side has gone.
    pub fn next(&mut self) -> Option<Value> {
        loop {
            match self.socket.read().ok()? {
                Message::Text(text) => {
                    let value: Value = serde_json::from_str(&text).unwrap();
                    if let Some(state) = value.get("state") {
                        self.state = state.clone();
                    }
                    self.undrawn |= value.get("undrawn").is_some();
                    return Some(value);
                }
                Message::Binary(bytes) => {
                    let number = |at: usize| u32::from_le_bytes(bytes[at..at + 4].try_into().unwrap());
                    assert_eq!(&bytes[..4], b"fogw");
                    let size = [number(8), number(12)];
                    let [width, height] = size.map(|side| side as usize);
                    let quarter = width.div_ceil(2) * height.div_ceil(2);
                    let follows = match bytes[6] {
                        0 => 4 * width * height,
                        1 | 3 => width * height + 2 * quarter,
                        _ => width * height,
                    };
                    assert_eq!(bytes.len(), 48 + follows);
                    self.undrawn = false;
                    if bytes[4] == 0 {
                        self.keep(
                            bytes[6],
                            Draft { size, codes: bytes[48..].to_vec() },
                            [number(32), number(36)],
                        );
                    }
                    // A picture that came in part is the whole that it belongs to.
                    let whole = self.draft.as_ref().filter(|_| bytes[4] == 0);
                    self.pictures.push(Picture {
                        kind: bytes[4],
                        settled: bytes[5] == 1,
                        size: whole.map_or(size, |whole| whole.size),
                        stamp: number(16),
                        hash: blake3::hash(whole.map_or(&bytes[48..], |whole| &whole.codes)),
                    });
                    self.socket.send(Message::text("{\"do\":\"shown\"}")).unwrap();
                    return Some(json!({ "picture": self.pictures.len() }));
                }
                _ => {}
            }
        }
    }

    /// Keeps what the page has of the scene as it stands, after a picture that follows in `form`.
    fn keep(&mut self, form: u8, picture: Draft, at: [u32; 2]) {
        self.draft = match (form, self.draft.take()) {
            (1, _) => Some(picture),
            (3, Some(mut draft)) => {
                self.parts += 1;
                draft.patch(&picture, at);
                Some(draft)
            }
            (3, None) => panic!("a part of what isn't there"),
            _ => None,
        };
    }

    /// Reads on until a message under `word`; what stands there.
    pub fn until(&mut self, word: &str) -> Value {
        let start = Instant::now();
        loop {
            let value = self.next().unwrap_or_else(|| panic!("gone before {word}"));
            if let Some(found) = value.get(word) {
                return found.clone();
            }
            assert!(start.elapsed() < Duration::from_secs(120), "no {word}");
        }
    }

    /// Does something and waits for its answer: the refusal's message, if it was refused.
    pub fn act(&mut self, message: Value) -> Result<(), String> {
        let stamp = self.send(message);
        loop {
            let value = self.next().expect("still there");
            if value.get("done") == Some(&stamp.into()) {
                break;
            }
            if let Some(refused) = value.get("refused") {
                let first = &refused["faults"]["list"][0]["message"];
                return Err(first.as_str().or(refused["message"].as_str()).unwrap_or_default().to_owned());
            }
        }
        Ok(())
    }

    /// The state after all that was sent.
    pub fn now(&mut self) -> Value {
        // Answers go before states, of which only the newest is sent: it is here when none has come for a while.
        let (mut seen, mut last) = (self.state.clone(), Instant::now());
        while last.elapsed() < Duration::from_millis(200) {
            let _ = self
                .act(json!({ "do": "set", "slot": null, "key": "no-such-key", "value": 1, "gesture": null }));
            if self.state != seen {
                (seen, last) = (self.state.clone(), Instant::now());
            }
            std::thread::sleep(Duration::from_millis(5));
        }
        self.state.clone()
    }

    /// A picture that holds at least what `stamp` changed.
    pub fn picture(&mut self, stamp: u64, settled: bool) -> Picture {
        loop {
            let fits =
                |one: &&Picture| u64::from(one.stamp) >= stamp && one.kind == 0 && one.settled == settled;
            if let Some(found) = self.pictures.iter().rev().find(fits) {
                return found.clone();
            }
            self.until("picture");
        }
    }
}

pub fn set(slot: Option<&str>, key: &str, value: Value) -> Value {
    json!({ "do": "set", "slot": slot, "key": key, "value": value, "gesture": null })
}

/// A value of the newest state: `[value, who, given, old]`.
pub fn value(state: &Value, slot: Option<&str>, key: &str) -> Value {
    let values = match slot {
        None => &state["scene"],
        Some(name) => {
            let slots = state["slots"].as_array().unwrap();
            &slots.iter().find(|slot| slot["name"] == name).unwrap()["values"]
        }
    };
    values[key].clone()
}

/// The program's memory that is in use, kB.
pub fn memory(child: &Child) -> Option<u64> {
    let status =
        std::fs::read_to_string(Path::new("/proc").join(child.id().to_string()).join("status")).ok()?;
    let line = status.lines().find(|line| line.starts_with("VmRSS:"))?;
    line.split_whitespace().nth(1)?.parse().ok()
}
