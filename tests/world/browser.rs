//! A browser without a window, driven by the WebDriver protocol (W3C).

use crate::outside::{node_modules, skipped};
use serde_json::{Value, json};
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

pub struct Browser {
    driver: Child,
    port: u16,
    session: String,
    _profile: tempfile::TempDir,
}

impl Drop for Browser {
    fn drop(&mut self) {
        let _ = self.call("DELETE", "", &Value::Null);
        let _ = self.driver.kill();
        let _ = self.driver.wait();
    }
}

impl Browser {
    /// Starts one; `calm` asks pages for less motion.
    pub fn start(calm: bool) -> Option<Browser> {
        let chromium = ["/usr/bin/chromium", "/usr/bin/chromium-browser"]
            .into_iter()
            .find(|path| Path::new(path).exists());
        let Some(chromium) = chromium else { return skipped("chromium isn't here") };
        let started =
            Command::new("chromedriver").arg("--port=0").stdout(Stdio::piped()).stderr(Stdio::null()).spawn();
        let Ok(mut driver) = started else { return skipped("chromedriver isn't here") };
        let mut lines = BufReader::new(driver.stdout.take().unwrap()).lines();
        let port = lines.by_ref().map_while(Result::ok).find_map(|line| {
            line.contains("started successfully")
                .then(|| line.trim_end_matches('.').rsplit(' ').next()?.parse().ok())?
        });
        let port = port.expect("chromedriver says its port");
        std::thread::spawn(move || lines.for_each(drop));
        let profile = tempfile::tempdir().unwrap();
        let mut browser = Browser { driver, port, session: String::new(), _profile: profile };
        let mut arguments: Vec<String> = [
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-quic",
            "--no-first-run",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            "--disable-dev-shm-usage",
            "--window-size=1000,900",
        ]
        .map(str::to_owned)
        .to_vec();
        arguments.push(format!("--user-data-dir={}", browser._profile.path().display()));
        if calm {
            arguments.push("--force-prefers-reduced-motion".into());
        }
        let wanted = json!({"capabilities": {"alwaysMatch": {
            "goog:chromeOptions": {"binary": chromium, "args": arguments},
            "goog:loggingPrefs": {"browser": "ALL"}
        }}});
        let made = browser.post("", &wanted);
        browser.session = made["sessionId"].as_str().unwrap_or_else(|| panic!("{made}")).to_owned();
        Some(browser)
    }

    fn call(&self, method: &str, path: &str, body: &Value) -> std::io::Result<Value> {
        let body = if body.is_null() { String::new() } else { body.to_string() };
        let session = if self.session.is_empty() { String::new() } else { format!("/{}", self.session) };
        let mut stream = TcpStream::connect(("127.0.0.1", self.port))?;
        stream.set_read_timeout(Some(Duration::from_secs(60)))?;
        write!(
            stream,
            "{method} /session{session}{path} HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\nContent-Length: {}\r\nConnection: close\r\n\r\n{body}",
            body.len()
        )?;
        let mut reader = BufReader::new(stream);
        let mut length = 0;
        for line in reader.by_ref().lines() {
            let line = line?.to_ascii_lowercase();
            if line.is_empty() {
                break;
            }
            if let Some(count) = line.strip_prefix("content-length:") {
                length = count.trim().parse().unwrap();
            }
        }
        let mut content = vec![0; length];
        reader.read_exact(&mut content)?;
        let answer: Value = serde_json::from_slice(&content)?;
        Ok(answer["value"].clone())
    }

    fn post(&self, path: &str, body: &Value) -> Value {
        let value = self.call("POST", path, body).unwrap();
        assert!(value.get("error").is_none(), "{path}: {value}");
        value
    }

    /// A hash of what the canvas called `id` shows, and the number of colours in it.
    pub fn look(&self, id: &str) -> Value {
        self.run(&format!(
            "
const shown = document.getElementById('{id}');
const canvas = document.createElement('canvas');
[canvas.width, canvas.height] = [shown.width, shown.height];
const pen = canvas.getContext('2d');
pen.drawImage(shown, 0, 0);
const data = pen.getImageData(0, 0, canvas.width, canvas.height).data;
let hash = 0; const colours = new Set();
for (let at = 0; at < data.length; at += 4) {{
  const colour = data[at] << 16 | data[at + 1] << 8 | data[at + 2];
  hash = (Math.imul(hash, 31) + colour) | 0; colours.add(colour);
}}
return [hash, colours.size];"
        ))
    }

    /// Opens a file.
    pub fn open(&self, path: &Path) {
        self.post("/url", &json!({"url": format!("file://{}", path.display())}));
    }

    /// Goes to an address.
    pub fn goto(&self, address: &str) {
        self.post("/url", &json!({"url": address}));
    }

    /// Gives the page so many px to stand in.
    pub fn size(&self, width: u32, height: u32) {
        let wanted = json!({"width": width, "height": height, "deviceScaleFactor": 1, "mobile": false});
        self.post(
            "/goog/cdp/execute",
            &json!({"cmd": "Emulation.setDeviceMetricsOverride", "params": wanted}),
        );
    }

    /// Makes the page's surroundings: `("prefers-color-scheme", "dark")`.
    pub fn surroundings(&self, features: &[(&str, &str)]) {
        let features: Vec<Value> =
            features.iter().map(|(name, value)| json!({"name": name, "value": value})).collect();
        let wanted = json!({"cmd": "Emulation.setEmulatedMedia", "params": {"features": features}});
        self.post("/goog/cdp/execute", &wanted);
    }

    /// Presses keys wherever the focus is; each after the other, `shift` and `control` held by their letters.
    pub fn press(&self, held: &str, key: &str) {
        let down = |key: &str| json!({"type": "keyDown", "value": key});
        let up = |key: &str| json!({"type": "keyUp", "value": key});
        let mut all: Vec<Value> = held.chars().map(|key| down(&key.to_string())).collect();
        all.extend([down(key), up(key)]);
        all.extend(held.chars().map(|key| up(&key.to_string())));
        self.post("/actions", &json!({"actions": [{"type": "key", "id": "keys", "actions": all}]}));
    }

    /// Presses a key down or lets it go.
    pub fn hold(&self, key: &str, down: bool) {
        let kind = if down { "keyDown" } else { "keyUp" };
        let actions = json!([{"type": "key", "id": "keys", "actions": [{"type": kind, "value": key}]}]);
        self.post("/actions", &json!({"actions": actions}));
    }

    /// Drags what a selector finds by so many px, in as many moves of 16 ms.
    pub fn pull(&self, selector: &str, by: [i64; 2], moves: i64) {
        self.pull_by("mouse", selector, by, moves);
    }

    /// Clicks what a selector finds, and again at the same place, whatever is there then; `rest` ms between.
    pub fn clicks(&self, selector: &str, count: usize, rest: u32) {
        let origin = self.post("/element", &json!({"using": "css selector", "value": selector}));
        let mut all = vec![json!({"type": "pointerMove", "duration": 0, "x": 0, "y": 0, "origin": origin})];
        for _ in 0..count {
            all.push(json!({"type": "pointerDown", "button": 0}));
            all.push(json!({"type": "pointerUp", "button": 0}));
            all.push(json!({"type": "pause", "duration": rest}));
        }
        let pointer =
            json!({"type": "pointer", "id": "mouse", "parameters": {"pointerType": "mouse"}, "actions": all});
        self.post("/actions", &json!({"actions": [pointer]}));
    }

    /// Presses the mouse on a place of the page, in px, or lets it go there.
    pub fn mouse(&self, kind: &str, [x, y]: [i64; 2]) {
        let mut all =
            vec![json!({"type": "pointerMove", "duration": 0, "x": x, "y": y, "origin": "viewport"})];
        let (down, up) =
            (json!({"type": "pointerDown", "button": 0}), json!({"type": "pointerUp", "button": 0}));
        match kind {
            "down" => all.push(down),
            "up" => all.push(up),
            "click" => all.extend([down, up]),
            "double" => all.extend([down.clone(), up.clone(), down, up]),
            _ => {}
        }
        let pointer =
            json!({"type": "pointer", "id": "mouse", "parameters": {"pointerType": "mouse"}, "actions": all});
        self.post("/actions", &json!({"actions": [pointer]}));
    }

    /// Turns the mouse's wheel over a place of the page by so many px.
    pub fn wheel(&self, [x, y]: [i64; 2], by: [i64; 2]) {
        let turn = json!({"type": "scroll", "duration": 0, "x": x, "y": y, "deltaX": by[0], "deltaY": by[1], "origin": "viewport"});
        self.post("/actions", &json!({"actions": [{"type": "wheel", "id": "wheel", "actions": [turn]}]}));
    }

    /// Two fingers that begin so many px apart about a place of the page, and end so many.
    pub fn pinch(&self, [x, y]: [i64; 2], [from, to]: [i64; 2]) {
        let finger = |id: &str, way: i64| {
            let at = |away: i64, duration: u32| json!({"type": "pointerMove", "duration": duration, "x": x + way * away / 2, "y": y, "origin": "viewport"});
            json!({"type": "pointer", "id": id, "parameters": {"pointerType": "touch"}, "actions": [
                at(from, 0), {"type": "pointerDown", "button": 0}, at(to, 200), {"type": "pointerUp", "button": 0}
            ]})
        };
        self.post("/actions", &json!({"actions": [finger("one", -1), finger("other", 1)]}));
    }

    /// Drags what a selector finds by so many px, holds it there for `rest` ms, and drags it as far again.
    pub fn pull_resting(&self, selector: &str, [x, y]: [i64; 2], rest: u32) {
        let origin = self.post("/element", &json!({"using": "css selector", "value": selector}));
        let to = |origin: &Value, x: i64, y: i64| json!({"type": "pointerMove", "duration": 0, "x": x, "y": y, "origin": origin});
        let on = to(&"pointer".into(), x, y);
        let all = json!([
            to(&origin, 0, 0),
            {"type": "pointerDown", "button": 0},
            on,
            {"type": "pause", "duration": rest},
            on,
            {"type": "pointerUp", "button": 0}
        ]);
        let pointer =
            json!({"type": "pointer", "id": "mouse", "parameters": {"pointerType": "mouse"}, "actions": all});
        self.post("/actions", &json!({"actions": [pointer]}));
    }

    /// As [`Browser::pull`], by `mouse` or `touch`.
    pub fn pull_by(&self, kind: &str, selector: &str, by: [i64; 2], moves: i64) {
        let origin = self.post("/element", &json!({"using": "css selector", "value": selector}));
        let mut all = vec![
            json!({"type": "pointerMove", "duration": 0, "x": 0, "y": 0, "origin": origin}),
            json!({"type": "pointerDown", "button": 0}),
        ];
        for _ in 0..moves {
            all.push(json!({"type": "pointerMove", "duration": 16, "x": by[0] / moves, "y": by[1] / moves, "origin": "pointer"}));
        }
        all.push(json!({"type": "pointerUp", "button": 0}));
        let pointer =
            json!({"type": "pointer", "id": kind, "parameters": {"pointerType": kind}, "actions": all});
        self.post("/actions", &json!({"actions": [pointer]}));
    }

    /// Runs a script that ends by calling `done`.
    pub fn later(&self, script: &str) -> Value {
        self.post("/timeouts", &json!({"script": 55_000}));
        let script = format!("const done = arguments[0]; {script}");
        self.post("/execute/async", &json!({"script": script, "args": []}))
    }

    /// Runs a script in the page.
    pub fn run(&self, script: &str) -> Value {
        self.post("/execute/sync", &json!({"script": script, "args": []}))
    }

    /// Waits until a script says true.
    pub fn until(&self, script: &str) {
        let start = Instant::now();
        while self.run(script) != true {
            assert!(start.elapsed() < Duration::from_secs(30), "{script}");
            std::thread::sleep(Duration::from_millis(50));
        }
    }

    /// Waits until what was asked for is drawn.
    pub fn settle(&self) {
        let script =
            "const done = arguments[0]; requestAnimationFrame(() => requestAnimationFrame(() => done(1)));";
        self.post("/execute/async", &json!({"script": script, "args": []}));
    }

    fn element(&self, id: &str) -> Value {
        self.post("/element", &json!({"using": "css selector", "value": format!("#{id}")}))
    }

    /// Presses keys.
    pub fn keys(&self, id: &str, keys: &str) {
        let element = self.element(id);
        let name = element.as_object().unwrap().values().next().unwrap().as_str().unwrap();
        self.post(&format!("/element/{name}/value"), &json!({"text": keys}));
    }

    /// Drags an element sideways.
    pub fn drag(&self, id: &str, by: i64, kind: &str) {
        let origin = self.element(id);
        let actions = json!({"actions": [{"type": "pointer", "id": kind, "parameters": {"pointerType": kind}, "actions": [
            {"type": "pointerMove", "duration": 0, "x": 0, "y": 0, "origin": origin},
            {"type": "pointerDown", "button": 0},
            {"type": "pointerMove", "duration": 100, "x": by / 2, "y": 0, "origin": origin},
            {"type": "pointerMove", "duration": 100, "x": by, "y": 0, "origin": origin},
            {"type": "pointerUp", "button": 0}
        ]}]});
        self.post("/actions", &actions);
    }

    /// The screen as PNG in base64.
    pub fn shot(&self) -> String {
        self.call("GET", "/screenshot", &Value::Null).unwrap().as_str().unwrap().to_owned()
    }

    /// What the console holds.
    pub fn console(&self) -> Value {
        self.post("/se/log", &json!({"type": "browser"}))
    }

    /// Serious and critical findings of axe-core; none if it isn't here.
    pub fn axe(&self) -> Option<Value> {
        self.axe_of("['serious', 'critical']")
    }

    /// All findings of axe-core; none if it isn't here.
    pub fn axe_all(&self) -> Option<Value> {
        self.axe_of("['minor', 'moderate', 'serious', 'critical']")
    }

    fn axe_of(&self, impacts: &str) -> Option<Value> {
        let Ok(source) = std::fs::read_to_string(format!("{}/axe-core/axe.min.js", node_modules())) else {
            return skipped("axe-core isn't here");
        };
        self.run(&format!("{source}; window.axe = axe; return 0"));
        let script = format!(
            "const done = arguments[0]; axe.run().then((found) => done(found.violations.filter((one) => {impacts}.includes(one.impact)).map((one) => one.id + ': ' + one.nodes.map((node) => node.html).join(' '))), (error) => done(String(error)));"
        );
        Some(self.post("/execute/async", &json!({"script": script, "args": []})))
    }
}
