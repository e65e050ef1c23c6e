//! What somebody painted on an output: from then on it is the picture of its job, in the still and in every other form.

use crate::base::bitmap::Bitmap;
use crate::base::fault::Result;
use crate::base::key::KeyWriter;
use crate::base::picture::Picture;
use crate::base::raster::Owned;
use crate::base::units::Rect;
use crate::base::words::{Alpha, Blending};
use crate::output::Entry;
use crate::output::texture::drawn::{self, Piece};
use crate::output::texture::{Shape, Tile};
use crate::scene::pictures::{self, Source};
use crate::stack::survey::{Ready, Survey};
use crate::stack::{Made, Stack};
use crate::store::rerun::{Outputs, decide};
use crate::store::run::folder::Run;
use crate::store::run::output::Output;
use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

/// A file that somebody painted on.
pub(super) struct Edit {
    /// BLAKE3 of what it holds now.
    pub hash: String,
    /// Its length now.
    pub bytes: u64,
    pub bits: u8,
    pub opaque: bool,
    /// Straight alpha.
    picture: Picture,
}

/// Where a texture stands.
#[derive(Clone, Copy)]
struct Stand {
    rect: Rect,
    texels: [u32; 2],
    part: Option<[u32; 4]>,
    repeat: bool,
}

/// A texture of a job that somebody painted on.
struct Part {
    stand: Stand,
    path: String,
    /// Its place among the tiles that this run would make of the job; none where the run isn't asked for them.
    tile: Option<usize>,
}

/// All that was painted on.
#[derive(Default)]
pub(super) struct Painted {
    /// The files, by their names in the folder.
    pub files: BTreeMap<String, Edit>,
    /// Of the jobs that are drawn from their files, the textures.
    jobs: BTreeMap<usize, Vec<Part>>,
    /// What can't be shown, and why.
    pub notes: Vec<String>,
}

impl Stand {
    fn of_tile(tile: &Tile) -> Stand {
        Stand { rect: tile.rect, texels: tile.texels(), part: tile.part, repeat: tile.repeat }
    }

    fn of_entry(entry: &Entry) -> Stand {
        Stand { rect: entry.rect.into(), texels: entry.texels, part: entry.part, repeat: entry.repeat }
    }
}

impl Painted {
    /// Whether nothing was.
    pub fn is_empty(&self) -> bool {
        self.jobs.is_empty()
    }

    /// Makes what is drawn of the whole stack follow from what was painted.
    pub fn tell(&self, outputs: &mut Outputs<'_>) {
        for (job, parts) in &self.jobs {
            let mut key = KeyWriter::new("painted").part("recipe", &outputs.stands[*job]);
            for edit in parts.iter().filter_map(|part| self.files.get(&part.path)) {
                key = key.part("content", edit.hash.as_str());
            }
            outputs.stands[*job] = key.key();
        }
    }
}

impl Run<'_> {
    /// What was painted on of the textures that were decided on, and of those that the run isn't asked for.
    pub fn painted(&self, outputs: &[Output], shapes: &[Shape]) -> Result<Painted> {
        let mut painted = Painted::default();
        for (job, shape) in shapes.iter().enumerate() {
            let parts = if self.asks(&self.jobs[job].slot) {
                self.asked_parts(&mut painted, outputs, job, shape)
            } else {
                self.other_parts(&mut painted, job)?
            };
            if parts.iter().any(|part| painted.files.contains_key(&part.path)) {
                painted.jobs.insert(job, parts);
            }
        }
        Ok(painted)
    }

    /// The textures of a job that the run is asked for.
    fn asked_parts(&self, painted: &mut Painted, outputs: &[Output], job: usize, shape: &Shape) -> Vec<Part> {
        let mut parts = Vec::new();
        let own = outputs.iter().filter_map(|output| Some((output.texture()?, output)));
        for (of, output) in own.filter(|(of, _)| of.job == job && of.frame == 0) {
            let path = output.path().to_owned();
            let mut stand = Stand::of_tile(&shape.tiles[of.tile]);
            if output.is_edited() {
                // It keeps the place that it was painted for.
                let kept = self.listed(&path).map(Stand::of_entry);
                stand = kept.filter(|kept| kept.texels != stand.texels || self.is_rim(job)).unwrap_or(stand);
                self.look_at(painted, &path, stand);
            }
            parts.push(Part { stand, path, tile: Some(of.tile) });
        }
        parts
    }

    /// The textures that an earlier run left of a job that this one isn't asked for, if one of them was painted on.
    fn other_parts(&self, painted: &mut Painted, job: usize) -> Result<Vec<Part>> {
        let placing = self.plan.files[job].placing();
        let listed = self.records.manifest.iter().flat_map(|manifest| &manifest.files);
        let mut parts = Vec::new();
        for entry in listed.filter(|entry| entry.slot == placing.slot && entry.kind == placing.kind) {
            let (path, known) = (entry.path.clone(), self.records.of(&entry.path));
            let stand = Stand::of_entry(entry);
            if matches!(decide::look(&self.folder, &path, &known, false)?, decide::Found::Touched) {
                self.look_at(painted, &path, stand);
            }
            parts.push(Part { stand, path, tile: None });
        }
        Ok(parts)
    }

    fn listed(&self, path: &str) -> Option<&Entry> {
        let own = self.records.manifest.iter().flat_map(|manifest| &manifest.files);
        own.into_iter().find(|entry| entry.path == path).or_else(|| self.listed_by_lenders(path))
    }

    /// Takes up a file that was painted on, or notes why it can't be shown.
    fn look_at(&self, painted: &mut Painted, path: &str, stand: Stand) {
        match self.edit(&self.folder.join(path), stand) {
            Ok(edit) => drop(painted.files.insert(path.to_owned(), edit)),
            Err(why) => painted.notes.push(format!(
                "{path}: it was edited but can't be shown: {why}. The still and the other forms show it as it was made"
            )),
        }
    }

    fn edit(&self, file: &Path, stand: Stand) -> std::result::Result<Edit, String> {
        let bytes = pictures::content(file, self.limits()).map_err(first)?;
        let (hash, length) = (blake3::hash(&bytes).to_hex().to_string(), bytes.len() as u64);
        let source = Source::from_bytes(file, bytes, self.limits()).map_err(first)?;
        if source.kind != pictures::Kind::Png || source.natural != stand.texels.map(f64::from) {
            let [width, height] = stand.texels;
            return Err(format!("it is no PNG of {width} x {height} texels any more"));
        }
        let mut picture =
            source.draw(stand.texels, false, false, Blending::Encoded, self.limits()).map_err(first)?;
        if self.plan.texture.alpha == Alpha::Premultiplied {
            picture.texels.iter_mut().for_each(straighten);
        }
        let opaque = picture.texels.iter().all(|texel| texel[3] == u16::MAX);
        let bits = if picture.deep { 16 } else { 8 };
        Ok(Edit { hash, bytes: length, bits, opaque, picture })
    }

    /// The stack with what was painted; none where nothing was.
    pub fn as_painted<'p>(
        &self,
        stack: &Stack<'p>,
        shapes: &[Shape],
        painted: &Painted,
    ) -> Result<Option<Stack<'p>>> {
        if painted.is_empty() {
            return Ok(None);
        }
        let mut made = stack.made.clone();
        for (job, parts) in &painted.jobs {
            made[*job] = Some(Made::Picture(Arc::new(Bitmap::plain(self.drawn(
                stack,
                shapes,
                painted,
                (*job, parts),
            )?))));
        }
        let ready: Vec<Ready<'_>> =
            made.iter().map(|made| made.as_ref().map_or(Ready::Aside, Made::ready)).collect();
        let cameras = std::slice::from_ref(&self.camera);
        let survey = Survey::part(self.plan, &ready, &[], cameras, &|| self.progress.stopped());
        let survey = survey.ok_or_else(|| self.stopped())?;
        Ok(Some(Stack::of(stack.plan(), made, survey)))
    }

    /// The picture of a job, drawn from its textures.
    fn drawn(
        &self,
        stack: &Stack<'_>,
        shapes: &[Shape],
        painted: &Painted,
        (job, parts): (usize, &[Part]),
    ) -> Result<Picture> {
        let is_painted = |part: &Part| painted.files.contains_key(&part.path);
        let makes = parts.iter().any(|part| part.tile.is_some() && !is_painted(part));
        let tiles =
            if makes { shapes[job].make(stack, job, self.options.bits, Alpha::Straight) } else { Vec::new() };
        let mut held = Vec::new();
        for part in parts.iter().filter(|part| !is_painted(part)) {
            held.push((
                &part.path,
                match part.tile {
                    Some(tile) => in_memory(&tiles[tile]),
                    None => self.edit(&self.folder.join(&part.path), part.stand).map_or_else(
                        |_| Picture { size: [1, 1], deep: false, texels: vec![[0; 4]] },
                        |edit| edit.picture,
                    ),
                },
            ));
        }
        let piece = |part: &Part| {
            let Stand { rect, part: drawn, repeat, .. } = part.stand;
            let own = painted.files.get(&part.path).map(|edit| &edit.picture);
            let other = || held.iter().find(|(path, _)| **path == part.path).map(|(_, picture)| picture);
            let picture = own.or_else(other)?;
            // What is no longer there is nothing, and nowhere.
            (picture.size == part.stand.texels).then_some(Piece { rect, part: drawn, repeat, picture })
        };
        let pieces: Vec<Piece<'_>> = parts.iter().filter_map(piece).collect();
        Ok(drawn::picture(self.plan.files[job].placing(), self.plan.blending, &pieces))
    }
}

fn in_memory(texels: &Owned) -> Picture {
    let (size, samples) = (
        texels.size(),
        match texels {
            Owned::Eight { samples, .. } => samples.iter().map(|code| u16::from(*code) * 257).collect(),
            Owned::Sixteen { samples, .. } => samples.clone(),
        },
    );
    Picture { size, deep: texels.bits() == 16, texels: samples.as_chunks().0.to_vec() }
}

/// The first of what is wrong, in words.
fn first(faults: crate::base::fault::Faults) -> String {
    faults.list.into_iter().next().map(|fault| fault.message).unwrap_or_default()
}

/// From premultiplied to straight alpha.
fn straighten(texel: &mut [u16; 4]) {
    let alpha = u32::from(texel[3]);
    if let [r, g, b, _] = texel
        && alpha > 0
    {
        for value in [r, g, b] {
            *value = ((u32::from(*value) * 65535 + alpha / 2) / alpha).min(65535) as u16;
        }
    }
}
