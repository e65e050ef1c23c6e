//! What the program and its reader processes say to each other: a length and JSON, then a length and plain bytes.

use crate::base::fault::{Class, Fault};
use crate::base::limits::Limits;
use crate::base::words::Blending;
use crate::scene::layered::Layered;
use crate::scene::pictures::Kind;
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use std::io::{self, Error, ErrorKind, Read, Write};
use std::path::Path;

/// Most bytes of JSON: an answer that lists every layer of the largest stack is far below.
const LONGEST: u64 = 256 << 20;

/// What is asked for, within which limits.
#[derive(Serialize, Deserialize)]
pub(super) struct Request {
    pub limits: Limits,
    /// Processor time, whole seconds.
    pub seconds: u64,
    pub job: Job,
}

/// What is to be read; its bytes follow.
#[derive(Serialize, Deserialize)]
pub(super) enum Job {
    /// Kind and size of a picture; its content follows.
    Head,
    /// Its texels at a size; its content follows.
    Draw { texels: [u32; 2], flip: bool, wraps: bool, blending: Blending },
    /// What a `stack.xml` says; its text follows.
    Stack,
    /// The same of a layered file; its path follows.
    Layered,
    /// The picture of a layer; the file's path follows.
    Layer { name: String },
}

/// What a picture is.
#[derive(Serialize, Deserialize)]
pub struct Head {
    /// PNG or SVG.
    pub kind: Kind,
    /// Its own width and height, px.
    pub natural: [f64; 2],
    /// What of it isn't drawn.
    pub warnings: Vec<String>,
}

/// What was read; for the last two, bytes follow.
#[derive(Serialize, Deserialize)]
pub(super) enum Answer {
    Refused(Vec<Told>),
    Head(Head),
    Layered(Layered),
    /// A layer's picture, as a file would hold it.
    Layer(Head),
    /// Texels.
    Picture {
        deep: bool,
    },
}

/// A fault, without its place.
#[derive(Serialize, Deserialize)]
pub(super) struct Told {
    code: u8,
    message: String,
    remedy: String,
    /// Whether it is of the picture of a layer, rather than of the whole file.
    layer: bool,
}

impl Told {
    pub fn of(fault: Fault, file: &Path) -> Told {
        let layer = fault.file.as_deref().is_some_and(|place| place != file);
        Told { code: fault.class.exit_code(), message: fault.message, remedy: fault.remedy, layer }
    }

    /// The fault, of `file` or of its layer.
    pub fn fault(self, file: &Path, layer: &Path) -> Fault {
        let class = if self.code == Class::Limit.exit_code() { Class::Limit } else { Class::Picture };
        Fault::new(class, self.message).in_file(if self.layer { layer } else { file }).remedy(self.remedy)
    }
}

/// Writes JSON and bytes.
pub(super) fn send(to: &mut impl Write, head: &impl Serialize, bytes: &[u8]) -> io::Result<()> {
    let head = serde_json::to_vec(head)?;
    to.write_all(&(head.len() as u64).to_le_bytes())?;
    to.write_all(&head)?;
    to.write_all(&(bytes.len() as u64).to_le_bytes())?;
    to.write_all(bytes)?;
    to.flush()
}

/// Reads JSON and how many bytes follow. `None` where nothing comes any more.
pub(super) fn receive<T: DeserializeOwned>(from: &mut impl Read) -> io::Result<Option<(T, u64)>> {
    let length = match length(from) {
        Err(error) if error.kind() == ErrorKind::UnexpectedEof => return Ok(None),
        other => other?,
    };
    if length > LONGEST {
        return Err(Error::from(ErrorKind::InvalidData));
    }
    let mut head = Vec::new();
    from.take(length).read_to_end(&mut head)?;
    Ok(Some((serde_json::from_slice(&head)?, self::length(from)?)))
}

fn length(from: &mut impl Read) -> io::Result<u64> {
    let mut length = [0; 8];
    from.read_exact(&mut length)?;
    Ok(u64::from_le_bytes(length))
}
