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
    Draw(Drawn),
    /// What a `stack.xml` says; its text follows.
    Stack,
    /// The same of a layered file; its path follows.
    Layered,
    /// The picture of a layer; the file's path follows.
    Layer { name: String },
}

/// How a picture is to be drawn.
#[derive(Clone, Copy, Serialize, Deserialize)]
pub(crate) struct Drawn {
    pub texels: [u32; 2],
    pub flip: bool,
    pub wraps: bool,
    pub blending: Blending,
    /// Whether colours are to bleed into where nothing is, where they don't anyway.
    pub bleeds: bool,
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
    /// Texels: samples of 16 bits if it is deep, else of 8.
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
    send_head(to, head, bytes.len())?;
    to.write_all(bytes)?;
    to.flush()
}

fn send_head(to: &mut impl Write, head: &impl Serialize, length: usize) -> io::Result<()> {
    let head = serde_json::to_vec(head)?;
    to.write_all(&(head.len() as u64).to_le_bytes())?;
    to.write_all(&head)?;
    to.write_all(&(length as u64).to_le_bytes())
}

/// Texels that are received at once, and sent.
const TOGETHER: usize = 1 << 14;

/// Writes a picture while its rows come.
pub(super) struct Sender<'a, W> {
    to: &'a mut W,
    area: usize,
    codes: Vec<u8>,
    /// What came of writing so far; none before the first row.
    written: Option<io::Result<()>>,
}

impl<'a, W: Write> Sender<'a, W> {
    /// Of a picture of `size` texels.
    pub fn new(to: &'a mut W, size: [u32; 2]) -> Sender<'a, W> {
        Sender { to, area: size[0] as usize * size[1] as usize, codes: Vec::new(), written: None }
    }

    /// Takes rows as [`TakeRows`] does; nothing more is written once that failed.
    pub fn take(&mut self, deep: bool, rows: &[[u16; 4]]) {
        let before = self
            .written
            .take()
            .unwrap_or_else(|| send_head(self.to, &Answer::Picture { deep }, self.area * bytes_of(deep)));
        self.written = Some(before.and_then(|()| self.write(deep, rows)));
    }

    fn write(&mut self, deep: bool, rows: &[[u16; 4]]) -> io::Result<()> {
        for texels in rows.chunks(TOGETHER) {
            if deep {
                self.to.write_all(bytemuck::cast_slice(texels))?;
            } else {
                self.codes.clear();
                // Each sample is a code times 257.
                self.codes.extend(texels.as_flattened().iter().map(|sample| (sample >> 8) as u8));
                self.to.write_all(&self.codes)?;
            }
        }
        Ok(())
    }

    /// Whether nothing was written yet.
    pub fn is_new(&self) -> bool {
        self.written.is_none()
    }

    /// Once all rows were taken.
    pub fn finish(self) -> io::Result<()> {
        self.written.unwrap_or(Ok(()))?;
        self.to.flush()
    }
}

/// Bytes of a texel on its way.
pub(super) fn bytes_of(deep: bool) -> usize {
    if deep { 8 } else { 4 }
}

/// Takes rows of a picture, whole ones, the next from the top, and whether its source had 16 bits per sample.
pub(crate) type TakeRows<'a> = dyn FnMut(bool, &mut [[u16; 4]]) + 'a;

/// Reads a picture of which `length` bytes follow, some rows at a time. False if that isn't its length.
pub(super) fn receive_picture(
    from: &mut impl Read,
    length: u64,
    (deep, size): (bool, [u32; 2]),
    take: &mut TakeRows<'_>,
) -> io::Result<bool> {
    let (width, area) = (size[0] as usize, size[0] as usize * size[1] as usize);
    if length != (area * bytes_of(deep)) as u64 {
        return Ok(false);
    }
    let part = (TOGETHER / width).max(1) * width;
    let (mut texels, mut codes) = (vec![[0; 4]; part.min(area)], Vec::new());
    let mut left = area;
    while left > 0 {
        let texels = &mut texels[..part.min(left)];
        if deep {
            from.read_exact(bytemuck::cast_slice_mut(texels))?;
        } else {
            codes.resize(texels.len() * 4, 0);
            from.read_exact(&mut codes)?;
            let samples = texels.as_flattened_mut().iter_mut().zip(&codes);
            samples.for_each(|(sample, code)| *sample = u16::from(*code) * 257);
        }
        take(deep, texels);
        left -= texels.len();
    }
    Ok(true)
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
