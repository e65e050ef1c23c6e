//! A picture that is dropped on the page: it is copied beside the scene and becomes a slot.

use crate::base::fault::{Class, Fault, Result};
use crate::base::files::{self, Over, Placed};
use crate::tune::blocks::NewSlot;
use crate::tune::http::{self, Answer, Upload};
use crate::tune::hub::Hub;
use crate::tune::{socket, state};
use serde_json::json;
use std::io::Read;
use std::net::TcpStream;
use std::path::PathBuf;
use std::time::Duration;

/// Most bytes of a picture.
const MOST: u64 = 256 << 20;
/// How long a page may pause in sending one.
const PATIENCE: Duration = Duration::from_secs(20);
/// Endings of pictures that a scene can hold.
const ENDINGS: [&str; 2] = ["png", "svg"];
/// Most files of one name beside a scene.
const COPIES: u32 = 100;

/// Reads the picture, adds its slot, and answers with the slot's name or with what is wrong.
pub(super) fn receive(hub: &Hub, mut stream: TcpStream, upload: Upload) -> std::io::Result<Answer> {
    let mut bytes = upload.begun;
    let answer = if upload.length > MOST {
        let what = format!("the picture has {} MB, over the limit of {}", upload.length >> 20, MOST >> 20);
        Err(Fault::new(Class::Limit, what).remedy("Copy it beside the scene by hand.").into())
    } else {
        stream.set_read_timeout(Some(PATIENCE))?;
        let left = upload.length.saturating_sub(bytes.len() as u64);
        (&mut stream).take(left).read_to_end(&mut bytes)?;
        if bytes.len() as u64 != upload.length {
            return Err(std::io::ErrorKind::UnexpectedEof.into());
        }
        add(hub, &upload.query, &bytes)
    };
    let (code, word, body) = match answer {
        Ok(name) => (200, "OK", json!({ "slot": name })),
        Err(faults) => (422, "Unprocessable Content", json!({ "faults": state::faults(&faults) })),
    };
    http::send(&mut stream, code, word, "application/json", body.to_string().as_bytes(), upload.port)
}

/// Copies the picture beside the scene and adds its slot; the slot's name.
fn add(hub: &Hub, query: &str, bytes: &[u8]) -> Result<String> {
    let field = |name: &str| {
        let mut all = query.split('&').filter_map(|pair| pair.split_once('='));
        all.find(|(key, _)| *key == name).map(|(_, value)| decoded(value))
    };
    let number = |name: &str| field(name).and_then(|text| text.parse::<f64>().ok()).filter(|x| x.is_finite());
    let wanted = field("name").unwrap_or_default();
    let (stem, ending) = wanted.rsplit_once('.').unwrap_or((&wanted, ""));
    let ending = ending.to_ascii_lowercase();
    if !ENDINGS.contains(&ending.as_str()) {
        let what = format!("a picture that is called {wanted:?} can't be drawn");
        return Err(Fault::new(Class::Usage, what).remedy("Drop a PNG or an SVG file.").into());
    }
    // Names of files that any system takes, and that need no quotes in a scene.
    let stem: String =
        stem.chars().map(|c| if c.is_alphanumeric() || c == '-' || c == '_' { c } else { '-' }).collect();
    let stem = stem.trim_matches('-').chars().take(60).collect::<String>();
    let stem = if stem.is_empty() { "picture".to_owned() } else { stem };
    let scene = hub.session().file().to_path_buf();
    let (file, is_new) = place(|name| scene.with_file_name(name), &stem, &ending, bytes)?;
    let art = file.file_name().unwrap_or_default().to_string_lossy().into_owned();
    let mut session = hub.session();
    let name = session.free_name(&stem);
    let slot =
        NewSlot { name: &name, depth: number("depth").unwrap_or(0.0), x: number("x"), art: Some(&art) };
    let added = session.add_slot(&slot);
    let revision = session.current().revision;
    hub.edited(revision);
    socket::tell_state(hub, &session);
    drop(session);
    if added.is_err() && is_new {
        // What is no picture doesn't stay.
        let _ = files::remove(&file, &[blake3::hash(bytes).to_hex().to_string()]);
    }
    added.map(|()| name)
}

/// Writes the picture under its name, or under one with a number where another file has that; whether it is new.
fn place(at: impl Fn(String) -> PathBuf, stem: &str, ending: &str, bytes: &[u8]) -> Result<(PathBuf, bool)> {
    let own = blake3::hash(bytes);
    for count in 1..=COPIES {
        let name = if count == 1 { format!("{stem}.{ending}") } else { format!("{stem}-{count}.{ending}") };
        let file = at(name);
        if std::fs::read(&file).is_ok_and(|there| blake3::hash(&there) == own) {
            return Ok((file, false));
        }
        if std::fs::symlink_metadata(&file).is_err()
            && files::put(&file, bytes, Over::Nothing)? == Placed::Written
        {
            return Ok((file, true));
        }
    }
    Err(Fault::new(Class::Output, format!("{COPIES} files are called {stem}.{ending} already"))
        .remedy("Rename the picture.")
        .into())
}

/// Percent-encoding (RFC 3986) undone.
fn decoded(text: &str) -> String {
    let (bytes, mut out, mut at) = (text.as_bytes(), Vec::new(), 0);
    while at < bytes.len() {
        let hex = (bytes[at] == b'%').then(|| text.get(at + 1..at + 3)).flatten();
        match hex.and_then(|hex| u8::from_str_radix(hex, 16).ok()) {
            Some(byte) => {
                out.push(byte);
                at += 3;
            }
            None => {
                out.push(bytes[at]);
                at += 1;
            }
        }
    }
    String::from_utf8_lossy(&out).into_owned()
}
