//! A slot's picture: PNG or SVG files in, texels of any asked size out. Files are only ever read.

mod assembled;
mod bleeding;
#[cfg(feature = "svg")]
mod cost;
mod crowded;
mod group;
pub mod known;
mod memory;
mod raster;
mod read;
mod scale;
mod set;
mod strokes;
#[cfg(feature = "svg")]
mod vector;
#[cfg(not(feature = "svg"))]
#[path = "no_vector.rs"]
mod vector;

pub(crate) use crate::scene::apart::Drawn;
pub use assembled::Part;
pub(crate) use crowded::has_crowded_tag;
#[cfg(feature = "tune")]
pub(crate) use scale::resize;
pub use set::Pictures;
pub use strokes::{Detail, Held, HeldDrawing, LastLine, Line};

use crate::base::fault::{Class, Fault, Result};
use crate::base::limits::{Broken, Limits};
use crate::base::picture::{Picture, nearest};
use crate::base::room;
use crate::base::words::Blending;
use crate::scene::Slot;
use crate::scene::apart::{self, TakeRows};
use crate::steps::strokes::Drawing;
use serde::{Deserialize, Serialize};
use std::cell::Cell;
use std::collections::BTreeMap;
use std::fmt;
use std::path::{Path, PathBuf};
use std::sync::Arc;

impl Picture {
    /// The picture at exactly `size`, which has no side of 0; resampled as [`Source::draw`] does.
    ///
    /// # Errors
    /// Class `Picture`, where the library refuses.
    pub fn resized(self, size: [u32; 2], wraps: bool, blending: Blending) -> Result<Picture> {
        if self.size == size {
            return Ok(self);
        }
        Ok(scale::resize(self, size, wraps, blending)?)
    }

    /// Bleeds colours into where alpha is 0, so that neither filters nor mips of a renderer draw a fringe. With `wraps`, the left and
    /// right edges are neighbours.
    pub fn bleed(&mut self, wraps: bool) {
        bleeding::bleed(self, wraps);
        if !self.deep {
            self.quantize_to_8_bits();
        }
    }
}

/// The kind of an art file, told by its content.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Kind {
    /// Portable Network Graphics: 1 to 16 bits, grey, indexed or colour, interlaced or not.
    Png,
    /// Scalable Vector Graphics, without text and embedded pictures; drawn where the library has its feature `svg`.
    Svg,
}

/// An art file, read once, not yet drawn.
#[derive(Clone)]
pub struct Source {
    /// The file, for messages.
    pub file: PathBuf,
    /// Its content.
    pub bytes: Arc<[u8]>,
    /// What it is.
    pub kind: Kind,
    /// Its own width and height, px.
    pub natural: [f64; 2],
    /// BLAKE3 of its content.
    pub hash: [u8; 32],
    /// What of it is not drawn, or not as meant; each names the file.
    pub warnings: Vec<String>,
    tree: Option<Arc<vector::Tree>>,
}

impl fmt::Debug for Source {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Source")
            .field("file", &self.file)
            .field("kind", &self.kind)
            .field("natural", &self.natural)
            .field("warnings", &self.warnings)
            .finish_non_exhaustive()
    }
}

/// The content of a picture file, bounded; it is neither decoded nor even looked at.
///
/// # Errors
/// Class `Picture`: missing, unreadable, or no ordinary file. Class `Limit`: longer than `limits` allow.
pub fn content(file: &Path, limits: &Limits) -> Result<Vec<u8>> {
    Ok(read::whole(file, limits)?)
}

impl Source {
    /// Reads a picture file and finds out its kind and size; it is not drawn yet.
    ///
    /// # Errors
    /// Class `Picture`: missing, unreadable, no ordinary file, neither PNG nor SVG, broken, or of no size.
    /// Class `Limit`: larger than `limits` allow.
    pub fn open(file: impl AsRef<Path>, limits: &Limits) -> Result<Source> {
        let file = file.as_ref();
        let bytes = read::whole(file, limits)?;
        Source::from_bytes(file, bytes, limits)
    }

    /// As [`Source::open`], for a layer of an OpenRaster file; `layer` as [`crate::scene::layered::Layered::find`] takes it.
    ///
    /// # Errors
    /// As for [`Source::open`], and where there is no such layer.
    pub fn open_layer(file: impl AsRef<Path>, layer: &str, limits: &Limits) -> Result<Source> {
        let file = file.as_ref();
        let mut name = file.as_os_str().to_owned();
        name.push(format!("#{layer}"));
        let name = PathBuf::from(name);
        if apart::is_on() {
            let (head, bytes) = apart::layer(file, layer, &name, limits)?;
            let hash = *blake3::hash(&bytes).as_bytes();
            return Ok(Source::of(name, bytes, hash, head, None));
        }
        let (held, mut all) = crate::scene::layered::pictures(file, layer, limits)?;
        let bytes = match (&held.parts[..], all.pop()) {
            ([only], Some(bytes)) if only.opacity == 1.0 => bytes,
            (parts, last) => {
                all.extend(last);
                group::flatten(&name, parts, all, limits)?
            }
        };
        let mut source = Source::from_bytes(name, bytes, limits)?;
        let own = held.unlike.iter().map(|unlike| format!("{}: {unlike}, is ignored", source.file.display()));
        let own: Vec<String> = own.collect();
        source.warnings.extend(own);
        Ok(source)
    }

    /// As [`Source::open`], for content already at hand; `name` is for messages.
    ///
    /// # Errors
    /// As for [`Source::open`].
    pub fn from_bytes(name: impl AsRef<Path>, bytes: Vec<u8>, limits: &Limits) -> Result<Source> {
        let file = name.as_ref().to_path_buf();
        if bytes.len() as u64 > limits.file_bytes {
            return Err(read::too_long(&file, limits).into());
        }
        let hash = *blake3::hash(&bytes).as_bytes();
        if apart::is_on() {
            let head = apart::head(&file, &bytes, limits)?;
            return Ok(Source::of(file, bytes, hash, head, None));
        }
        let kind = read::kind(&bytes).map_err(|fault| fault.in_file(&file))?;
        let (natural, warnings, tree) = match kind {
            Kind::Png => {
                let head = raster::head(&bytes, limits).map_err(|fault| fault.in_file(&file))?;
                (head.size.map(f64::from), head.warnings, None)
            }
            Kind::Svg => {
                let drawing = vector::parse(&bytes).map_err(|fault| fault.in_file(&file))?;
                (drawing.natural, drawing.warnings, Some(drawing.tree))
            }
        };
        Ok(Source::of(file, bytes, hash, apart::Head { kind, natural, warnings }, tree))
    }

    fn of(
        file: PathBuf,
        bytes: Vec<u8>,
        hash: [u8; 32],
        head: apart::Head,
        tree: Option<Arc<vector::Tree>>,
    ) -> Source {
        let apart::Head { kind, natural, warnings } = head;
        let warnings = warnings.into_iter().map(|warning| format!("{}: {warning}", file.display())).collect();
        Source { file, bytes: bytes.into(), kind, natural, hash, warnings, tree }
    }

    /// Draws the picture at exactly `texels`, stretched as needed, mirrored left to right if `flip`. A source of 8 bits gives 8-bit
    /// codes times 257.
    ///
    /// A PNG at its own size is handed on bit by bit, with the colours under alpha 0. Otherwise it is resampled by
    /// convolution with the Catmull-Rom kernel, widened when shrinking, on premultiplied values in the space that
    /// the renderer mixes in; with `wraps`, as one period of a picture that repeats along x. Integer arithmetic
    /// gives the same texels on every processor. Colour where alpha is low: see `bleeding`.
    ///
    /// An SVG is drawn afresh at the asked size, 8 bits per sample.
    ///
    /// # Errors
    /// Class `Limit`: `texels` go over `limits`, or an SVG asks for more memory or work than is allowed.
    /// Class `Picture`: broken, or of a size that is 0.
    pub fn draw(
        &self,
        texels: [u32; 2],
        flip: bool,
        wraps: bool,
        blending: Blending,
        limits: &Limits,
    ) -> Result<Picture> {
        self.drawn(Drawn { texels, flip, wraps, blending, bleeds: false }, limits)
    }

    /// As [`Source::draw`], handed to `take` some whole rows at a time from the top, with whether the source is deep.
    ///
    /// # Errors
    /// As for [`Source::draw`]; some rows may have been taken then.
    pub(crate) fn draw_rows(&self, drawn: Drawn, limits: &Limits, take: &mut TakeRows<'_>) -> Result<()> {
        if apart::is_on() {
            self.check(drawn.texels, limits)?;
            return apart::draw_rows(&self.file, &self.bytes, self.natural, drawn, limits, take);
        }
        let Some(tree) = &self.tree else {
            let mut picture = self.decoded(drawn, limits)?;
            take(picture.deep, &mut picture.texels);
            return Ok(());
        };
        #[cfg(test)]
        DRAWN.set(DRAWN.get() + 1);
        self.check(drawn.texels, limits)?;
        apart::allow(self.drawing_bytes(drawn.texels));
        let shapes = vector::draw(tree, drawn.texels).map_err(|fault| fault.in_file(&self.file))?;
        let width = drawn.texels[0] as usize;
        let mut rows = Vec::with_capacity(TOGETHER + width);
        shapes.rows(drawn.wraps, &mut |row| {
            if drawn.flip {
                row.reverse();
            }
            rows.extend_from_slice(row);
            if rows.len() >= TOGETHER {
                take_eight(&mut rows, take);
            }
        });
        take_eight(&mut rows, take);
        Ok(())
    }

    fn check(&self, texels: [u32; 2], limits: &Limits) -> Result<()> {
        Ok(check_size(texels, "the picture would be drawn", limits)
            .map_err(|fault| fault.in_file(&self.file))?)
    }

    /// As [`Source::draw`].
    pub(crate) fn drawn(&self, drawn: Drawn, limits: &Limits) -> Result<Picture> {
        if apart::is_on() {
            self.check(drawn.texels, limits)?;
            return apart::draw(&self.file, &self.bytes, self.natural, drawn, limits);
        }
        if self.tree.is_none() {
            return self.decoded(drawn, limits);
        }
        self.check(drawn.texels, limits)?;
        let mut texels = Vec::new();
        let area = drawn.texels.map(|side| side as usize).iter().product();
        room::reserve(&mut texels, area, "a drawing").map_err(|fault| fault.in_file(&self.file))?;
        self.draw_rows(drawn, limits, &mut |_, rows| texels.extend_from_slice(rows))?;
        Ok(Picture { size: drawn.texels, deep: false, texels })
    }

    /// A PNG, drawn.
    fn decoded(&self, drawn: Drawn, limits: &Limits) -> Result<Picture> {
        #[cfg(test)]
        DRAWN.set(DRAWN.get() + 1);
        let Drawn { texels, flip, wraps, blending, bleeds } = drawn;
        self.check(texels, limits)?;
        apart::allow(self.drawing_bytes(texels));
        let picture = raster::draw(&self.bytes, texels, wraps, blending, limits);
        let mut picture = picture.map_err(|fault| fault.in_file(&self.file))?;
        if flip {
            picture.flip();
        }
        if !picture.deep {
            // What the file of it will hold: a still drawn from it is one of the files.
            picture.quantize_to_8_bits();
        }
        // Resampled ones have colours everywhere.
        if bleeds && self.natural == texels.map(f64::from) {
            picture.bleed(wraps);
        }
        Ok(picture)
    }
}

/// Texels of a drawing that are handed on at once, about.
const TOGETHER: usize = 1 << 14;

/// Hands rows on as a file of 8 bits holds them: a still drawn from them is one of the files.
fn take_eight(rows: &mut Vec<[u16; 4]>, take: &mut TakeRows<'_>) {
    rows.as_flattened_mut().iter_mut().for_each(|sample| *sample = u16::from(nearest(*sample)) * 257);
    if !rows.is_empty() {
        take(false, rows);
    }
    rows.clear();
}

impl Source {
    /// Bytes that drawing it at `texels` takes, besides what is read: texels with what is found out of each, and what of the file is held
    /// at once.
    fn drawing_bytes(&self, texels: [u32; 2]) -> u64 {
        let area = f64::from(texels[0]) * f64::from(texels[1]);
        let held = match self.kind {
            // Filters and masks have layers of their own.
            Kind::Svg => LAYERS * area,
            // PNG 11.2.1: an interlaced one is held as a whole.
            Kind::Png if self.bytes.get(28) == Some(&1) => TEXEL * self.natural[0] * self.natural[1],
            Kind::Png => 0.0,
        };
        // Saturates.
        (DRAWING * area + TEXEL * f64::from(texels[0]) * self.natural[1] + held) as u64
    }
}

/// Bytes of a texel in memory: 16 bits a channel.
pub(crate) const TEXEL: f64 = 8.0;

/// Bytes that drawing a picture takes for each of its texels: they themselves, premultiplied and straight, which of their colours are
/// known, and means of those around.
pub(crate) const DRAWING: f64 = 32.0;

/// Bytes for each texel of a drawing that its layers may take besides.
const LAYERS: f64 = 64.0;

/// Refuses sizes of 0 and those over a limit, before anything is allocated.
fn check_size([width, height]: [u32; 2], what: &str, limits: &Limits) -> std::result::Result<(), Fault> {
    if width == 0 || height == 0 {
        return Err(Fault::new(
            Class::Picture,
            format!("{what} {width} x {height} texels large, which is empty"),
        )
        .remedy("Give it a width and a height."));
    }
    let (bound, which) = match limits.broken([width, height]) {
        Some(Broken::Side(most)) => (format!("{most} to a side"), "side"),
        Some(Broken::Texels(most)) => (format!("{most} texels"), "texels"),
        None => return Ok(()),
    };
    let message = format!("{what} {width} x {height} texels large, over the limit of {bound}");
    Err(Fault::new(Class::Limit, message)
        .remedy(format!("Make it smaller, or raise the limit: --limit {which}=NUMBER.")))
}

#[cfg(test)]
thread_local! {
    /// How often this thread has drawn a picture.
    static DRAWN: Cell<usize> = const { Cell::new(0) };
}

thread_local! {
    static CONTAINED: Cell<bool> = const { Cell::new(false) };
}

/// Whether a panic on this thread is one of a decoder's, about to become a fault: a panic hook need not report it.
pub fn panic_is_contained() -> bool {
    CONTAINED.get()
}

/// Runs a decoder so that its panic becomes a fault.
fn contained<T>(run: impl FnOnce() -> std::result::Result<T, Fault>) -> std::result::Result<T, Fault> {
    let outer = CONTAINED.replace(true);
    // Nothing that the closure leaves behind is used after a panic.
    let outcome = std::panic::catch_unwind(std::panic::AssertUnwindSafe(run));
    CONTAINED.set(outer);
    outcome.unwrap_or_else(|_| {
        Err(Fault::new(Class::Picture, "the picture crashes the decoder; the file is probably damaged")
            .remedy("Save it again."))
    })
}

/// What a plan knows of the slots' pictures, by slot name.
#[derive(Clone, Debug, Default)]
pub struct Naturals {
    /// Natural sizes of their pictures, px, in the order of [`crate::scene::Slot::pictures`].
    pub arts: BTreeMap<String, Vec<[f64; 2]>>,
    /// What is drawn into their fog, with its natural size in px.
    pub strokes: BTreeMap<String, ([f64; 2], Arc<Drawing>)>,
    /// Natural sizes of the pictures that are sheets, px.
    pub sheets: BTreeMap<String, [f64; 2]>,
}

impl Naturals {
    /// Natural sizes of a slot's pictures; none where they aren't known.
    pub(crate) fn of(&self, slot: &Slot) -> &[[f64; 2]] {
        self.arts.get(&slot.name).map(Vec::as_slice).unwrap_or_default()
    }
}
