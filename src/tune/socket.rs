//! A page's socket (RFC 6455): edits in, pictures and the state out.

use crate::base::fault::{Class, Fault, Result};
use crate::tune::blocks::NewSlot;
use crate::tune::hub::{Hub, Message as Outgoing, Tab, locked};
use crate::tune::lamps;
use crate::tune::places;
use crate::tune::recovery;
use crate::tune::session::{Session, Stroke};
use crate::tune::state;
use crate::tune::view::View;
use serde::Deserialize;
use serde_json::{Value as Json, json};
use std::collections::BTreeMap;
use std::io::{self, Read, Write};
use std::net::TcpStream;
use std::sync::atomic::Ordering;
use std::sync::{Arc, Mutex};
use std::time::Duration;
use tungstenite::Message;
use tungstenite::protocol::frame::FrameHeader;
use tungstenite::protocol::frame::coding::{Data, OpCode};
use tungstenite::protocol::{Role, WebSocket, WebSocketConfig};

/// Most bytes of a page's message.
const MESSAGE_MAX: usize = 64 << 10;
/// How long a page may leave what it is sent untaken, once the system's buffers are full.
const WRITE_TIMEOUT: Duration = Duration::from_secs(30);

/// What a page asks for.
#[derive(Debug, Deserialize)]
#[serde(tag = "do", rename_all = "lowercase", deny_unknown_fields)]
enum Ask {
    /// A value, as JSON.
    Set { slot: Option<String>, key: String, value: Json, gesture: Option<String>, stamp: u64 },
    /// No value of its own.
    Unset { slot: Option<String>, key: String, stamp: u64 },
    /// No value of its own in any slot.
    Clear { key: String, stamp: u64 },
    /// A slot is removed.
    Remove { slot: String, stamp: u64 },
    /// A slot is called otherwise.
    Rename { slot: String, name: String, stamp: u64 },
    /// A slot without a picture.
    Add { name: String, depth: f64, stamp: u64 },
    /// A slot is hidden, or shown again.
    Hide { slot: String, hidden: bool, stamp: u64 },
    /// Which mood is tuned; none: the scene itself.
    Mood { name: Option<String>, stamp: u64 },
    /// A mood is made, and tuned.
    Make { mood: String, stamp: u64 },
    /// A mood is removed.
    Unmake { mood: String, stamp: u64 },
    /// The last saved value.
    Restore { slot: Option<String>, key: String, stamp: u64 },
    /// Numbers or the colour of a lamp, by their keys.
    Lamp { at: usize, values: BTreeMap<String, Json>, gesture: Option<String>, stamp: u64 },
    /// A lamp in a slot, at a place of its strip.
    #[serde(rename = "add-lamp")]
    AddLamp { slot: String, at: [f64; 2], stamp: u64 },
    /// A lamp is removed.
    #[serde(rename = "remove-lamp")]
    RemoveLamp { at: usize, stamp: u64 },
    /// A value of the place of this number in a slot; null takes it out.
    Place { slot: String, number: usize, key: String, value: Json, gesture: Option<String>, stamp: u64 },
    /// A place in a slot.
    #[serde(rename = "add-place")]
    AddPlace { slot: String, x: f64, stamp: u64 },
    /// A place is removed.
    #[serde(rename = "remove-place")]
    RemovePlace { slot: String, number: usize, stamp: u64 },
    /// A stroke into a slot's fog, as far as it is drawn; `held` until it ends.
    Stroke { held: bool, stroke: Stroke, stamp: u64 },
    /// A new seed for a slot.
    Reseed { slot: String, stamp: u64 },
    /// A step back.
    Undo { stamp: u64 },
    /// A step forth.
    Redo { stamp: u64 },
    /// The text into the file.
    Save { stamp: u64 },
    /// Which of two texts is to stand.
    Choose { mine: bool, stamp: u64 },
    /// Whether unsaved edits of an earlier run are taken over, or deleted.
    Recover { take: bool, stamp: u64 },
    /// What is to be seen.
    View { view: View, stamp: u64 },
    /// Which slots' pictures lie at a place of the view, shares of its width and height.
    Pick { at: [f64; 2], stamp: u64 },
    /// The presets as small pictures of the scene under each.
    Recipes { slot: Option<String>, stamp: u64 },
    /// A picture is on the page.
    Shown,
}

/// Both sides of a page's connection write whole frames, one after the other.
struct Wire {
    stream: TcpStream,
    writes: Arc<Mutex<TcpStream>>,
}

impl Read for Wire {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        self.stream.read(buffer)
    }
}

impl Write for Wire {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        locked(&self.writes).write_all(bytes)?;
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

/// Answers the handshake with `key` and serves the page until it goes.
pub(super) fn serve(hub: &Arc<Hub>, stream: TcpStream, key: &str) -> io::Result<()> {
    let stream = shake_hands(stream, key)?;
    let writes = Arc::new(Mutex::new(stream.try_clone()?));
    let tab = greet(hub);
    let sender = {
        let (tab, writes, stream) = (Arc::clone(&tab), Arc::clone(&writes), stream.try_clone()?);
        std::thread::Builder::new().spawn(move || {
            send_all(&tab, &writes);
            // Whoever reads from it sees the end.
            let _ = stream.shutdown(std::net::Shutdown::Both);
        })?
    };
    hub.join(&tab);
    receive_all(hub, &tab, Wire { stream, writes });
    hub.leave(&tab);
    let _ = sender.join();
    Ok(())
}

fn shake_hands(mut stream: TcpStream, key: &str) -> io::Result<TcpStream> {
    write!(
        stream,
        "HTTP/1.1 101 Switching Protocols\r\nUpgrade: websocket\r\nConnection: Upgrade\r\nSec-WebSocket-Accept: {key}\r\n\r\n"
    )?;
    stream.set_read_timeout(None)?;
    // A page that is frozen would hold its sender, and what waits for it, for ever.
    stream.set_write_timeout(Some(WRITE_TIMEOUT))?;
    stream.set_nodelay(true)?;
    Ok(stream)
}

/// A tab that is told how the session stands.
fn greet(hub: &Hub) -> Arc<Tab> {
    let tab = {
        let offered = hub.is_offered();
        let session = hub.session();
        let tab = Arc::new(Tab::new(session.current().reading.scene.travel.middle()));
        tab.tell(state::hello(&session).to_string());
        tab.tell(state::state(&session, offered).to_string());
        tab
    };
    if let Some(report) = &*locked(&hub.report) {
        tab.tell(json!({ "report": report }).to_string());
    }
    tab
}

/// Sends what a tab is told, until it is closed or the page is gone.
fn send_all(tab: &Tab, writes: &Mutex<TcpStream>) {
    while let Some(message) = tab.next() {
        if send(writes, &message).is_err() {
            break;
        }
    }
}

/// Acts on what a page asks for, until it goes.
fn receive_all(hub: &Hub, tab: &Tab, wire: Wire) {
    let config =
        WebSocketConfig::default().max_message_size(Some(MESSAGE_MAX)).max_frame_size(Some(MESSAGE_MAX));
    let mut socket = WebSocket::from_raw_socket(wire, Role::Server, Some(config));
    while let Ok(message) = socket.read() {
        match message {
            Message::Text(text) => match serde_json::from_str(&text) {
                Ok(ask) => act(hub, tab, ask),
                Err(error) => tab.tell(
                    json!({ "refused": { "message": format!("the page's message can't be read: {error}") } })
                        .to_string(),
                ),
            },
            Message::Close(_) => break,
            _ => {}
        }
    }
}

fn send(writes: &Mutex<TcpStream>, message: &Outgoing) -> io::Result<()> {
    let (code, parts): (Data, [&[u8]; 2]) = match message {
        Outgoing::Text(text) => (Data::Text, [text.as_bytes(), &[]]),
        Outgoing::Picture(frame) => (Data::Binary, [&frame.head, &frame.texels]),
    };
    let header = FrameHeader { opcode: OpCode::Data(code), ..FrameHeader::default() };
    let length = parts.iter().map(|part| part.len() as u64).sum();
    let mut head = Vec::with_capacity(64);
    header.format(length, &mut head).map_err(io::Error::other)?;
    let mut stream = locked(writes);
    head.extend_from_slice(parts[0]);
    stream.write_all(&head)?;
    stream.write_all(parts[1])
}

fn act(hub: &Hub, tab: &Tab, ask: Ask) {
    match ask {
        Ask::Shown => {
            tab.shown();
            hub.wake();
        }
        Ask::View { view, stamp } => {
            let is_new = view.is_sound() && tab.set_view(view);
            tab.stamp.store(stamp, Ordering::Release);
            hub.wake();
            if !is_new {
                tab.tell(json!({ "same": stamp, "turn": hub.revision() }).to_string());
            }
        }
        Ask::Pick { at, stamp } => {
            *locked(&tab.asked) = Some(at).filter(|at| at.iter().all(|share| share.is_finite()));
            tab.stamp.store(stamp, Ordering::Release);
            hub.wake();
        }
        Ask::Recipes { slot, stamp } => {
            let names: Vec<String> =
                hub.session().shelf().names().into_iter().map(|name| name.to_string()).collect();
            *locked(&tab.recipes) = Some((slot, names));
            tab.stamp.store(stamp, Ordering::Release);
            hub.wake();
        }
        other => change(hub, tab, other),
    }
}

/// Changes values.
fn change(hub: &Hub, tab: &Tab, ask: Ask) {
    match ask {
        Ask::Set { slot, key, value, gesture, stamp } => {
            let dragged = gesture.is_some();
            edit_while(hub, tab, stamp, Some(&key), dragged, |session| {
                session.set(slot.as_deref(), &key, &toml_of(&value)?, gesture)
            });
        }
        Ask::Lamp { at, values, gesture, stamp } => {
            edit_while(hub, tab, stamp, Some("lamp"), gesture.is_some(), |session| {
                let values: Result<Vec<(String, String)>> =
                    values.iter().map(|(key, value)| Ok((key.clone(), toml_of(value)?))).collect();
                lamps::set(session, at, &values?, gesture)
            });
        }
        Ask::Unset { slot, key, stamp } => {
            edit(hub, tab, stamp, Some(&key), |session| session.unset(slot.as_deref(), &key, None));
        }
        Ask::Clear { key, stamp } => edit(hub, tab, stamp, Some(&key), |session| session.clear(&key)),
        Ask::Restore { slot, key, stamp } => {
            edit(hub, tab, stamp, Some(&key), |session| session.restore(slot.as_deref(), &key));
        }
        Ask::Stroke { held, stroke, stamp } => {
            edit_while(hub, tab, stamp, Some("slot.strokes"), held, |session| session.stroke(&stroke));
        }
        Ask::Reseed { slot, stamp } => edit(hub, tab, stamp, Some("slot.seed"), |session| {
            let seed = getrandom::u32().map_err(|error| {
                Fault::new(Class::Usage, format!("the system provides no random numbers: {error}"))
            })?;
            // Short enough to be read out.
            session.set(Some(&slot), "slot.seed", &(seed % 100_000).to_string(), None)
        }),
        other => change_level(hub, tab, other),
    }
}

/// Changes slots and moods, goes a step back or forth, saves.
fn change_level(hub: &Hub, tab: &Tab, ask: Ask) {
    match ask {
        Ask::Remove { slot, stamp } => edit(hub, tab, stamp, None, |session| session.remove_slot(&slot)),
        Ask::Rename { slot, name, stamp } => {
            edit(hub, tab, stamp, Some("slot.name"), |session| session.rename_slot(&slot, &name));
        }
        Ask::Add { name, depth, stamp } => edit(hub, tab, stamp, None, |session| {
            let name = session.free_name(&name);
            session.add_slot(&NewSlot { name: &name, depth, x: None, art: None })
        }),
        Ask::Hide { slot, hidden, stamp } => {
            edit(hub, tab, stamp, None, |session| session.hide_slot(&slot, hidden));
        }
        Ask::AddLamp { slot, at, stamp } => {
            edit(hub, tab, stamp, Some("lamp"), |session| session.add_lamp(&slot, at));
        }
        Ask::RemoveLamp { at, stamp } => edit(hub, tab, stamp, None, |session| session.remove_lamp(at)),
        Ask::Place { slot, number, key, value, gesture, stamp } => {
            edit_while(hub, tab, stamp, Some(&key), gesture.is_some(), |session| {
                let value = if value.is_null() { None } else { Some(toml_of(&value)?) };
                places::set(session, (&slot, number), (&key, value.as_deref()), gesture)
            });
        }
        Ask::AddPlace { slot, x, stamp } => {
            edit(hub, tab, stamp, Some("place.x"), |session| places::add(session, &slot, x));
        }
        Ask::RemovePlace { slot, number, stamp } => {
            edit(hub, tab, stamp, None, |session| places::remove(session, &slot, number));
        }
        Ask::Mood { name, stamp } => edit(hub, tab, stamp, None, |session| session.choose_mood(name)),
        Ask::Make { mood, stamp } => edit(hub, tab, stamp, None, |session| session.make_mood(&mood)),
        Ask::Unmake { mood, stamp } => edit(hub, tab, stamp, None, |session| session.remove_mood(&mood)),
        Ask::Undo { stamp } => step(hub, tab, stamp, true),
        Ask::Redo { stamp } => step(hub, tab, stamp, false),
        Ask::Save { stamp } => edit(hub, tab, stamp, None, |session| session.save().map(drop)),
        Ask::Choose { mine, stamp } => edit(hub, tab, stamp, None, |session| {
            session.resolve(mine);
            Ok(())
        }),
        Ask::Recover { take, stamp } => recover(hub, tab, stamp, take),
        // The others were acted on before.
        _ => {}
    }
}

/// Goes a step back or forth.
fn step(hub: &Hub, tab: &Tab, stamp: u64, back: bool) {
    edit(hub, tab, stamp, None, |session| {
        session.step(back);
        Ok(())
    });
}

/// Takes the unsaved edits of an earlier run over, or deletes them.
fn recover(hub: &Hub, tab: &Tab, stamp: u64, take: bool) {
    let text = locked(&hub.recovery).text().filter(|_| take);
    if let Some(text) = text {
        hub.session().take_over(&text);
        // What was taken over must be on disk before its old file goes.
        if recovery::keep(hub).is_err() {
            return edit(hub, tab, stamp, None, |_| Ok(()));
        }
    }
    locked(&hub.recovery).close_offer();
    hub.set_offered(false);
    edit(hub, tab, stamp, None, |_| Ok(()));
}

/// Does something to the session; tells everybody how it stands then, and the asker what was refused.
fn edit(hub: &Hub, tab: &Tab, stamp: u64, key: Option<&str>, work: impl FnOnce(&mut Session) -> Result<()>) {
    edit_while(hub, tab, stamp, key, false, work);
}

/// As [`edit`], perhaps in the middle of a drag.
fn edit_while(
    hub: &Hub,
    tab: &Tab,
    stamp: u64,
    key: Option<&str>,
    dragged: bool,
    work: impl FnOnce(&mut Session) -> Result<()>,
) {
    let mut session = hub.session();
    let outcome = work(&mut session);
    let revision = session.current().revision;
    tab.stamp.store(stamp, Ordering::Release);
    hub.edited(revision);
    // Under the session's lock, so that all pages get the states in one order.
    if hub.is_state_due(dragged) {
        tell_state(hub, &session);
    }
    drop(session);
    let answer = match outcome {
        Ok(()) => json!({ "done": stamp, "turn": revision }),
        Err(faults) => json!({ "refused": { "stamp": stamp, "key": key, "faults": state::faults(&faults) } }),
    };
    tab.tell(answer.to_string());
}

/// Tells all pages how the session stands.
pub(super) fn tell_state(hub: &Hub, session: &Session) {
    let text: Arc<str> = state::state(session, hub.is_offered()).to_string().into();
    for tab in hub.tabs() {
        tab.tell_state(Arc::clone(&text));
    }
}

/// A value of JSON as TOML text.
fn toml_of(value: &Json) -> Result<String> {
    Ok(match value {
        Json::String(text) if text == "inf" => text.clone(),
        Json::String(text) => toml_edit::Value::from(text.as_str()).to_string(),
        Json::Number(_) | Json::Bool(_) => value.to_string(),
        Json::Array(items) if items.iter().all(is_number_or_list) => value.to_string(),
        _ => return Err(Fault::new(Class::Usage, "this is not a value that a scene can hold").into()),
    })
}

/// A number, or a list of numbers.
fn is_number_or_list(value: &Json) -> bool {
    value.is_number() || value.as_array().is_some_and(|items| items.iter().all(Json::is_number))
}
