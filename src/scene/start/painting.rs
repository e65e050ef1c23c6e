//! A painting that a scene is made of: a layered file, or a folder of exported layers.

use crate::base::fault::{Class, Fault, Result};
use crate::base::limits::Limits;
use crate::base::words::Blending;
use crate::scene::layered::{self, Layer, Layered};
use crate::scene::pictures::Source;
use crate::scene::start::exported;
use std::cell::OnceCell;
use std::path::{Path, PathBuf};

/// A painting.
pub(super) struct Painting {
    /// The layered file or the folder.
    pub file: PathBuf,
    /// Width and height of its canvas, px.
    pub size: [u32; 2],
    /// Its layers, topmost first.
    pub layers: Vec<Painted>,
    /// What isn't taken over.
    pub notes: Vec<String>,
}

/// A layer of a painting.
pub(super) struct Painted {
    /// Its name, without the depth.
    pub name: String,
    pub depth: Option<f64>,
    /// The fingerprint of what was made, where its name holds one.
    pub made: Option<String>,
    /// Left and top edge on the canvas, px.
    pub at: [i64; 2],
    pub picture: Picture,
    /// The picture's width, px, once it was asked for: a group is put together for it.
    width: OnceCell<f64>,
}

impl Painted {
    /// A layer of this name.
    pub fn new(name: &str, depth: Option<f64>, at: [i64; 2], picture: Picture) -> Painted {
        Painted { name: name.to_owned(), depth, made: None, at, picture, width: OnceCell::new() }
    }

    /// The same, whose whole name is `whole`.
    pub fn called(self, whole: &str) -> Painted {
        Painted { made: layered::without_made(whole).1.map(str::to_owned), ..self }
    }
}

/// Where a layer's picture is.
pub(super) enum Picture {
    /// In the layered file, under this name; where it lies on the canvas is read from there.
    Layer(String),
    /// A file of this path in the folder.
    File(String),
}

impl Picture {
    /// How a scene names it, with the painting at the path `at`.
    pub fn reference(&self, at: &str) -> String {
        match self {
            Picture::Layer(name) => format!("{at}#{name}"),
            Picture::File(path) if at.is_empty() => path.clone(),
            Picture::File(path) => format!("{at}/{path}"),
        }
    }
}

impl Painting {
    /// Reads a painting: with `ungroup`, a layered file's groups become a slot for each of their layers.
    ///
    /// # Errors
    /// Class `Picture`: it can't be used. Class `Limit`: it is too large.
    pub fn open(file: &Path, ungroup: bool, limits: &Limits) -> Result<Painting> {
        if file.is_dir() {
            return exported::open(file, limits);
        }
        let layered = Layered::open(file, limits)?;
        let mut painting =
            Painting { file: file.to_path_buf(), size: layered.size, layers: Vec::new(), notes: Vec::new() };
        let leaves = layered.leaves();
        let layers: Vec<&Layer> = if ungroup { leaves } else { layered.layers.iter().collect() };
        for layer in layers {
            painting
                .notes
                .extend(layer.unlike.iter().map(|what| format!("{}: {what}, is ignored", layer.name)));
            let (name, depth) = layer.named();
            let own = layered.find(name).is_ok_and(|found| std::ptr::eq(found, layer));
            if !own {
                // Told here rather than by the scene, which would be written by then.
                layered.find(&layer.name).map_err(|fault| fault.in_file(file))?;
            }
            let picture = Picture::Layer(if own { name } else { &layer.name }.to_owned());
            painting.layers.push(Painted::new(name, depth, [layer.x, layer.y], picture).called(&layer.name));
        }
        Ok(painting)
    }

    /// The picture of a layer.
    ///
    /// # Errors
    /// As [`Source::open`].
    pub fn source(&self, layer: &Painted, limits: &Limits) -> Result<Source> {
        match &layer.picture {
            Picture::Layer(name) => Source::open_layer(&self.file, name, limits),
            Picture::File(path) => Source::open(self.file.join(path), limits),
        }
    }

    /// The width of a layer's picture, px; it is read once.
    ///
    /// # Errors
    /// As [`Source::open`].
    pub fn width_of(&self, layer: &Painted, limits: &Limits) -> Result<f64> {
        if let Some(width) = layer.width.get() {
            return Ok(*width);
        }
        let width = self.source(layer, limits)?.natural[0];
        Ok(*layer.width.get_or_init(|| width))
    }

    /// Whether a layer is another than its fingerprint says; none where it has none.
    ///
    /// # Errors
    /// As [`Source::open`].
    pub fn painted_on(&self, layer: &Painted, limits: &Limits) -> Result<Option<bool>> {
        let Some(made) = &layer.made else { return Ok(None) };
        let source = self.source(layer, limits)?;
        let size = source.natural.map(|side| side as u32);
        let picture = source.draw(size, false, false, Blending::Encoded, limits)?;
        Ok(Some(layered::fingerprint(size[0], &picture.eight()) != *made))
    }

    /// The fault of a painting that has nothing to make slots of.
    pub fn empty(&self) -> Fault {
        Fault::new(Class::Picture, "there are no layers that could become slots")
            .in_file(&self.file)
            .remedy("Paint each plane of the level on a layer of its own.")
    }
}
