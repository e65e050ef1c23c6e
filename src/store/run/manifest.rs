//! The manifest of what stands in the folder after a run.

use crate::base::placing::Kind;
use crate::base::units::{Camera, Rect};
use crate::output::forms::Also;
use crate::output::manifest::{Left, Original, Standing};
use crate::output::texture::{Shape, Tile};
use crate::output::{self, Entry, Export, Manifest, Still};
use crate::plan::{Job, Place, Plan};
use crate::store::rerun::Written;
use crate::store::run::painted::Edit;
use crate::store::run::textures::Of;
use crate::store::run::{STILL, VALUES};
use std::collections::BTreeMap;
use std::path::Path;

/// What an output of the plan turned out as.
#[derive(Clone, Debug)]
pub(super) enum Outcome {
    /// It is as the plan says.
    AsMeant(Written),
    /// Somebody painted on what an earlier run made.
    Painted(Written),
    /// The run wasn't asked for it.
    Aside,
}

impl Outcome {
    fn written(&self) -> Option<&Written> {
        match self {
            Outcome::AsMeant(written) | Outcome::Painted(written) => Some(written),
            Outcome::Aside => None,
        }
    }
}

/// What all outputs turned out as.
pub(super) struct Outcomes<'a> {
    /// The files that somebody painted on.
    pub edits: &'a BTreeMap<String, Edit>,
    /// The textures that the run was asked for, each with its path.
    pub textures: BTreeMap<Of, (String, Outcome)>,
    /// The other forms that the run was asked for.
    pub exports: Vec<(Also, Outcome)>,
    /// The still.
    pub still: Outcome,
    /// Its value view.
    pub values: Outcome,
    /// The camera place of both.
    pub camera: Camera,
    /// What earlier runs left, with new versions beside edited files.
    pub left: Vec<(String, Written)>,
}

/// The manifest.
pub(super) fn manifest(
    plan: &Plan,
    shapes: &[Shape],
    outcomes: &Outcomes<'_>,
    earlier: Option<&Manifest>,
    folder: &Path,
) -> Manifest {
    let (mut files, mut order) = (Vec::new(), 0);
    for (at, job) in plan.files.iter().enumerate() {
        let group = group(plan, job, at, &shapes[at], outcomes, earlier, folder);
        // Tiles take places of their own in the order.
        let places = group.len().max(1) as u32;
        files.extend(group.into_iter().zip(order..).map(|(entry, order)| Entry { order, ..entry }));
        order += places;
    }
    let animated = files.iter().any(|entry| !entry.frames.is_empty());
    Manifest {
        version: output::manifest::VERSION,
        generator: concat!("fogweft ", env!("CARGO_PKG_VERSION")).to_owned(),
        view: plan.view.map(|side| side.0),
        travel: plan.travel.into(),
        scale: plan.scale.0,
        blending: plan.blending,
        alpha: plan.texture.alpha,
        loop_seconds: animated.then_some(plan.loop_seconds),
        still: of_whole(
            STILL,
            &outcomes.still,
            plan,
            outcomes.camera,
            earlier.and_then(|earlier| earlier.still.as_ref()),
        ),
        values: of_whole(
            VALUES,
            &outcomes.values,
            plan,
            outcomes.camera,
            earlier.and_then(|earlier| earlier.values.as_ref()),
        ),
        files,
        exports: exports(outcomes, earlier, folder),
        left: outcomes.left.iter().map(left).collect(),
    }
}

/// Bytes of all files of a manifest, the still included, but for what earlier runs left and what stands in other folders.
pub(super) fn bytes(manifest: &Manifest) -> u64 {
    let stills = manifest.still.iter().chain(&manifest.values).map(|still| still.bytes);
    let frames = manifest.files.iter().filter(|entry| !entry.is_shared()).flat_map(|entry| &entry.frames);
    let exports = manifest.exports.iter().chain(frames).map(|export| export.bytes);
    manifest.own_files().1 + stills.chain(exports).sum::<u64>()
}

/// A picture of the whole stack.
fn of_whole(
    path: &str,
    outcome: &Outcome,
    plan: &Plan,
    camera: Camera,
    earlier: Option<&Still>,
) -> Option<Still> {
    let (written, camera) = match outcome {
        Outcome::AsMeant(written) => (written, camera),
        Outcome::Painted(written) => (written, earlier.map_or(camera, |still| still.camera.into())),
        Outcome::Aside => return None,
    };
    Some(Still {
        path: path.to_owned(),
        camera: camera.into(),
        backdrop: plan.backdrop.to_hex(),
        hash: written.hash.clone(),
        bytes: written.bytes,
        made_of: written.made_of.clone(),
    })
}

/// The other forms: those of this run, and what earlier ones left.
fn exports(outcomes: &Outcomes<'_>, earlier: Option<&Manifest>, folder: &Path) -> Vec<Export> {
    let of = |also: Also| {
        let made = outcomes.exports.iter().find(|(made, _)| *made == also);
        match made.and_then(|(_, outcome)| outcome.written()) {
            Some(written) => Some(export(also.file(), written)),
            None => {
                let old = earlier?.exports.iter().find(|old| old.path == also.file())?;
                folder.join(&old.path).is_file().then(|| old.clone())
            }
        }
    };
    Also::ALL.into_iter().filter_map(of).collect()
}

fn left((path, written): &(String, Written)) -> Left {
    Left {
        path: path.clone(),
        beside: written.beside.clone(),
        slot: written.slot.clone(),
        bits: written.bits,
        opaque: written.opaque,
        hash: written.hash.clone(),
        bytes: written.bytes,
        made_of: written.made_of.clone(),
    }
}

fn export(path: &str, written: &Written) -> Export {
    Export {
        path: path.to_owned(),
        hash: written.hash.clone(),
        bytes: written.bytes,
        made_of: written.made_of.clone(),
    }
}

/// The entries of one job's textures.
fn group(
    plan: &Plan,
    job: &Job,
    at: usize,
    shape: &Shape,
    outcomes: &Outcomes<'_>,
    earlier: Option<&Manifest>,
    folder: &Path,
) -> Vec<Entry> {
    let placing = job.placing();
    let old = || earlier.iter().flat_map(|earlier| &earlier.files);
    let mut entries = Vec::new();
    let mut asked = false;
    for (number, tile) in shape.tiles.iter().enumerate() {
        let of = |frame| Of { job: at, frame, tile: number };
        let Some((path, outcome)) = outcomes.textures.get(&of(0)) else { continue };
        asked = true;
        let Some(written) = outcome.written() else { continue };
        let mut entry = Entry { path: path.clone(), ..entry(plan, job, tile, written) };
        if let Outcome::Painted(_) = outcome
            && let Some(old) = old().find(|old| old.path == *path)
            && (old.texels != tile.texels() || placing.kind == Kind::Rim)
        {
            // The picture keeps the place that it was painted for.
            entry = Entry {
                rect: old.rect,
                texels: old.texels,
                stretch: old.stretch,
                part: old.part,
                strip: old.strip,
                period: old.period,
                repeat: old.repeat,
                optical_depth: old.optical_depth,
                clear_depth: old.clear_depth,
                ..entry
            };
        }
        if let Some(edit) = outcomes.edits.get(path) {
            entry = edited(entry, edit);
        }
        let frames = outcomes.textures.range(of(1)..).take_while(|(of, _)| of.job == at);
        let frames = frames.filter(|(of, _)| of.tile == number);
        entry.frames =
            frames.filter_map(|(_, (path, outcome))| Some(export(path, outcome.written()?))).collect();
        entries.push(entry);
    }
    if !asked {
        let same = |old: &&Entry| old.slot == placing.slot && old.kind == placing.kind;
        entries = old().filter(same).filter(|old| folder.join(&old.path).is_file()).cloned().collect();
        for entry in &mut entries {
            *entry = match outcomes.edits.get(&entry.path) {
                Some(edit) => edited(entry.clone(), edit),
                None => as_made(entry.clone()),
            };
        }
    }
    entries
}

/// The entry of a file that somebody painted on.
fn edited(entry: Entry, edit: &Edit) -> Entry {
    let original = entry.original.clone().unwrap_or_else(|| Original {
        hash: entry.hash.clone(),
        bytes: entry.bytes,
        bits: entry.bits,
        opaque: entry.opaque,
    });
    Entry {
        hash: edit.hash.clone(),
        bytes: edit.bytes,
        bits: edit.bits,
        opaque: edit.opaque,
        original: Some(original),
        ..entry
    }
}

/// The entry of a file as the program wrote it.
fn as_made(mut entry: Entry) -> Entry {
    if let Some(Original { hash, bytes, bits, opaque }) = entry.original.take() {
        (entry.hash, entry.bytes, entry.bits, entry.opaque) = (hash, bytes, bits, opaque);
    }
    entry
}

/// The pictures that a tile of the job shows.
fn standing(job: &Job, tile: &Rect) -> Vec<Standing> {
    let Job::Art(art) = job else { return Vec::new() };
    let meets = |rect: &Rect| {
        let across = rect.x < tile.x + tile.width && rect.x + rect.width > tile.x;
        across && rect.y < tile.y + tile.height && rect.y + rect.height > tile.y
    };
    let there = art.places.iter().filter(|place| meets(&place.rect));
    let one = |place: &Place| Standing {
        place: place.number as u32,
        art: place.art.clone(),
        rect: place.rect.into(),
        flip: place.flip,
    };
    there.map(one).collect()
}

fn entry(plan: &Plan, job: &Job, tile: &Tile, written: &Written) -> Entry {
    let placing = job.placing();
    let texels = tile.texels();
    Entry {
        slot: placing.slot.clone(),
        kind: placing.kind,
        path: tile.path.clone(),
        order: placing.order as u32,
        depth: placing.depth,
        pan_rate: placing.pan_rate,
        rect: tile.rect.into(),
        texels,
        stretch: [tile.rect.width.0 / f64::from(texels[0]), tile.rect.height.0 / f64::from(texels[1])],
        part: tile.part,
        strip: tile.strip.map(Into::into),
        places: standing(job, &tile.rect),
        period: placing.period.map(|period| period.0),
        repeat: tile.repeat,
        blending: plan.blending,
        alpha: plan.texture.alpha,
        bits: if written.bits == 0 { 8 } else { written.bits },
        frames: Vec::new(),
        fades: Vec::new(),
        drift: plan.drift_of(job),
        optical_depth: match job {
            Job::Fog(job) => Some(job.optical_depth),
            Job::Own(_) | Job::Rim(_) | Job::Art(_) | Job::Lamp(_) => None,
        },
        clear_depth: match job {
            Job::Fog(job) => Some(job.clear_depth),
            Job::Own(_) | Job::Rim(_) | Job::Art(_) | Job::Lamp(_) => None,
        },
        opaque: written.opaque,
        hash: written.hash.clone(),
        bytes: written.bytes,
        made_of: written.made_of.clone(),
        original: None,
    }
}
