//! What is kept between runs of what takes long to work out: density fields and their bands, opacities, solved rims.
//!
//! The still shows every sheet, so a tweak of one would have all the others worked out again. Kept opacities, and how a sheet faces
//! the light, are all that is drawn from; kept fields serve where only the visibility or the light changes; kept bands, which take
//! most of a field's time, where a later step does. Bands and opacities are large: where those of a whole scene would take more room
//! than is given them, only the bands of the one slot that is being tweaked are kept.

use crate::base::picture::Picture;
use crate::base::units::Scale;
use crate::plan::{Job, Plan, RimJob};
use crate::rim::Rim;
use crate::steps::field::{BandsSpec, Field, FieldSpec, Sampling};
use crate::steps::grid::Plane;
use crate::steps::sheet::{Sheet, SheetSpec};
use crate::store::rerun::made_of::OUTPUT_VERSION;
use crate::store::rerun::seal::{little_endian, seal, seal_numbers, sealed};
use std::collections::BTreeSet;
use std::fmt::Debug;
use std::fs;
use std::path::{Path, PathBuf};

/// Name of the hidden folder in the output folder. Who removes it loses time, nothing else.
pub const FOLDER: &str = ".fogweft-fields";

/// Endings of the files in it.
const ENDING: &str = "field";
/// See [`ENDING`].
const RIM_ENDING: &str = "rim";
/// See [`ENDING`].
const BANDS_ENDING: &str = "bands";
/// See [`ENDING`].
const ALPHA_ENDING: &str = "alpha";
/// See [`ENDING`].
const FACING_ENDING: &str = "facing";

/// Largest field that is kept, in samples: fine fog on a large sheet is quicker worked out than read.
const MOST: usize = 4 << 20;

/// Largest bands that are kept, in samples.
const MOST_OF_BANDS: usize = 16 << 20;

/// Most samples of a scene's bands and opacities together.
const MOST_IN_ALL: usize = 32 << 20;

/// Most bytes of a rim that is kept.
const MOST_OF_RIM: usize = 64 << 20;

/// How much of a sheet is kept, besides what is kept already.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Keep {
    /// Its field.
    Field,
    /// Its field, and its bands in place of another's.
    ItsBands,
    /// Its field, its bands and what it is drawn from.
    All,
}

/// What is kept in an output folder.
#[derive(Clone, Debug, Default)]
pub struct Fields {
    folder: Option<PathBuf>,
}

impl Fields {
    /// Those of the output folder `folder`.
    pub fn in_folder(folder: &Path) -> Fields {
        let folder = folder.join(FOLDER);
        // Nothing is followed or replaced that isn't a folder of ours.
        let ours = match fs::symlink_metadata(&folder) {
            Ok(data) => data.is_dir(),
            Err(_) => fs::create_dir(&folder).is_ok() && mark(&folder),
        };
        Fields { folder: ours.then_some(folder) }
    }

    /// How much of `plan`'s sheets is kept, where `new` of them have no field here.
    pub fn room(&self, plan: &Plan, new: usize) -> Keep {
        let of_job = |job: &Job| match job {
            Job::Fog(job) => {
                let [cols, rows] = job.spec.field.bands(Sampling::Reduced).size();
                let grid = job.spec.field.sampled(Sampling::Reduced);
                cols * rows + 2 * grid.cols * grid.rows
            }
            Job::Rim(_) | Job::Art(_) => 0,
        };
        if plan.files.iter().map(of_job).sum::<usize>() <= MOST_IN_ALL {
            Keep::All
        } else if new == 1 {
            Keep::ItsBands
        } else {
            Keep::Field
        }
    }

    /// The sheet of `spec`. What is kept of it is read, the rest worked out and kept.
    pub fn sheet(&self, spec: &SheetSpec, keep: Keep) -> Sheet {
        if keep == Keep::All
            && let Some(sheet) = self.kept_sheet(spec)
        {
            return sheet;
        }
        let field = self.read(&spec.field).unwrap_or_else(|| {
            let bands = spec.field.bands(Sampling::Reduced);
            let bands = if keep == Keep::Field { bands.plane() } else { self.bands(&bands, keep) };
            let field = Field::on(&spec.field, Sampling::Reduced, bands);
            self.keep(&spec.field, &field);
            field
        });
        let sheet = Sheet::of_field(spec.clone(), field);
        if keep == Keep::All {
            self.keep_sheet(spec, &sheet);
        }
        sheet
    }

    /// Whether something is kept under the name of a field.
    pub fn has(&self, spec: &FieldSpec) -> bool {
        self.file(spec).is_some_and(|file| file.is_file())
    }

    /// The bands of `spec`: read if they are kept, else worked out and kept.
    fn bands(&self, spec: &BandsSpec, keep: Keep) -> Plane {
        let Some(folder) = &self.folder else { return spec.plane() };
        let path = folder.join(bands_name(spec));
        let [cols, rows] = spec.size();
        if let Some(data) = sealed(&path, MOST_OF_BANDS * 4).map(little_endian)
            && data.len() == cols * rows
        {
            return Plane { cols, data };
        }
        let plane = spec.plane();
        if keep == Keep::ItsBands {
            // In place of those that were.
            for (path, _) in kept(folder).filter(|(_, ending)| ending == BANDS_ENDING) {
                let _ = fs::remove_file(path);
            }
        }
        if plane.data.len() <= MOST_OF_BANDS {
            seal_numbers(&path, &[&plane.data]);
        }
        plane
    }

    fn kept_sheet(&self, spec: &SheetSpec) -> Option<Sheet> {
        let [alpha, facing] = sheet_names(spec).map(|name| Some(self.folder.as_ref()?.join(name)));
        let read = |path: PathBuf| sealed(&path, MOST_OF_BANDS * 4).map(little_endian);
        let alpha = read(alpha?)?;
        let facing = if spec.tones.lit > 0.0 { Some(read(facing?)?) } else { None };
        Sheet::of_kept(spec.clone(), alpha, facing)
    }

    fn keep_sheet(&self, spec: &SheetSpec, sheet: &Sheet) {
        let Some(folder) = &self.folder else { return };
        let [of_alpha, of_facing] = sheet_names(spec).map(|name| folder.join(name));
        let (alpha, steepest, facing) = sheet.kept();
        if alpha.len() < MOST_OF_BANDS {
            seal_numbers(&of_alpha, &[alpha, &[steepest]]);
            if let Some(facing) = facing {
                seal_numbers(&of_facing, &[facing]);
            }
        }
    }

    /// The rim of `job` that is made of what `made_of` says, if it is kept.
    pub fn rim(&self, made_of: &str, job: &RimJob, picture: &Picture, scale: Scale) -> Option<Rim> {
        let bytes: Vec<u8> = sealed(&self.rim_file(made_of)?, MOST_OF_RIM)?;
        Rim::decode(&bytes, job, picture, scale)
    }

    /// Keeps a solved rim.
    pub fn keep_rim(&self, made_of: &str, rim: &Rim) {
        if let Some(path) = self.rim_file(made_of) {
            seal(&path, &[&rim.encode()]);
        }
    }

    fn rim_file(&self, made_of: &str) -> Option<PathBuf> {
        Some(self.folder.as_ref()?.join(rim_name(made_of)))
    }

    fn file(&self, spec: &FieldSpec) -> Option<PathBuf> {
        Some(self.folder.as_ref()?.join(name(spec)))
    }

    fn read(&self, spec: &FieldSpec) -> Option<Field> {
        let numbers: Vec<f32> = sealed(&self.file(spec)?, MOST * 4)?;
        Field::of_numbers(spec, Sampling::Reduced, little_endian(numbers))
    }

    /// Whatever stands in the way: a field that isn't kept is worked out again.
    fn keep(&self, spec: &FieldSpec, field: &Field) {
        let numbers = &field.density.data;
        if let Some(path) = self.file(spec).filter(|_| numbers.len() <= MOST) {
            seal_numbers(&path, &[numbers]);
        }
    }

    /// Removes what no sheet of `plan` is made from or drawn from, and the rims that aren't made of one of `rims`.
    pub fn sweep(&self, plan: &Plan, rims: &[&str]) {
        let Some(folder) = &self.folder else { return };
        let used: BTreeSet<String> = plan
            .files
            .iter()
            .filter_map(|job| match job {
                Job::Fog(job) => Some(&job.spec),
                Job::Rim(_) | Job::Art(_) => None,
            })
            .flat_map(|spec| {
                let [alpha, facing] = sheet_names(spec);
                [name(&spec.field), bands_name(&spec.field.bands(Sampling::Reduced)), alpha, facing]
            })
            .chain(rims.iter().map(|made_of| rim_name(made_of)))
            .collect();
        for (path, _) in kept(folder) {
            let used =
                path.file_name().and_then(|name| name.to_str()).is_some_and(|name| used.contains(name));
            if !used {
                let _ = fs::remove_file(path);
            }
        }
    }
}

/// The files in `folder` that are ours by their endings.
fn kept(folder: &Path) -> impl Iterator<Item = (PathBuf, String)> {
    fs::read_dir(folder).into_iter().flatten().flatten().filter_map(|entry| {
        let path = entry.path();
        let ending = path.extension()?.to_str()?.to_owned();
        let ours = [ENDING, RIM_ENDING, BANDS_ENDING, ALPHA_ENDING, FACING_ENDING].contains(&ending.as_str());
        (ours && entry.file_type().is_ok_and(|kind| kind.is_file())).then_some((path, ending))
    })
}

/// Says of a new folder, to whom it may concern, that what is in it can be made again: backups leave it out by its tag (Cache
/// Directory Tagging Specification, B. Ford), version control by its list of what to ignore. Whether that could be written matters
/// to nobody.
fn mark(folder: &Path) -> bool {
    let tag = "Signature: 8a477f597d28d172789f06886806bc55\n# This folder is a cache of fogweft; deleting it only costs time.\n";
    for (name, text) in [("CACHEDIR.TAG", tag), (".gitignore", "*\n")] {
        let _ = fs::write(folder.join(name), text);
    }
    true
}

/// A rim is called after all that it is made from.
fn rim_name(made_of: &str) -> String {
    format!("{made_of}.{RIM_ENDING}")
}

/// A field is called after all that it is made from.
fn name(spec: &FieldSpec) -> String {
    named("fogweft: what a field is made of", spec, ENDING)
}

/// And so are bands.
fn bands_name(spec: &BandsSpec) -> String {
    named("fogweft: what bands are made of", spec, BANDS_ENDING)
}

/// Opacities, and how a sheet faces the light, are called after all that they are made from.
fn sheet_names(spec: &SheetSpec) -> [String; 2] {
    let SheetSpec { field, tau, light, .. } = spec;
    [
        named("fogweft: what opacities are made of", &(field, tau), ALPHA_ENDING),
        named("fogweft: what facing the light is made of", &(field, tau, light), FACING_ENDING),
    ]
}

fn named(context: &str, spec: &impl Debug, ending: &str) -> String {
    let mut hasher = blake3::Hasher::new_derive_key(context);
    hasher.update(format!("{OUTPUT_VERSION} {spec:?}").as_bytes());
    format!("{}.{ending}", hasher.finalize().to_hex())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::colour::Srgb;
    use crate::base::units::{Px, Texel};
    use crate::base::words::Anchor;
    use crate::scene::recipe::layers::Resolved;
    use crate::steps::step5_grade::Tones;
    use crate::store::rerun::seal::CHECK;

    #[test]
    fn a_kept_field_is_the_field_and_a_damaged_one_is_none() {
        let folder = tempfile::tempdir().expect("a folder");
        let recipe = Resolved::defaults().recipe().expect("whole");
        let spec = FieldSpec::new([64, 32], Anchor::Ground, Texel(20.0), Scale(0.1), &recipe, 7);
        let field = Field::new(&spec, Sampling::Reduced);
        let fields = Fields::in_folder(folder.path());
        assert!(fields.read(&spec).is_none());
        fields.keep(&spec, &field);
        let found = fields.read(&spec).expect("kept");
        assert_eq!((found.grid, found.density), (field.grid, field.density));
        assert!(fields.read(&FieldSpec { seed: 8, ..spec.clone() }).is_none());
        let path = fields.file(&spec).expect("a file");
        let good = fs::read(&path).expect("read");
        for bad in [&good[..good.len() - 4], &good[..CHECK], &good[..3], &[]] {
            fs::write(&path, bad).expect("written");
            assert!(fields.read(&spec).is_none());
        }
        let mut flipped = good.clone();
        flipped[CHECK + 5] ^= 1;
        fs::write(&path, flipped).expect("written");
        assert!(fields.read(&spec).is_none());
    }
    #[test]
    fn the_folder_says_that_it_is_a_cache() {
        let folder = tempfile::tempdir().expect("a folder");
        let _ = Fields::in_folder(folder.path());
        let tag = fs::read(folder.path().join(FOLDER).join("CACHEDIR.TAG")).expect("a tag");
        // The first 43 bytes, as the specification has them.
        assert_eq!(&tag[..43], b"Signature: 8a477f597d28d172789f06886806bc55");
        // What is there already is left as it is.
        fs::remove_file(folder.path().join(FOLDER).join(".gitignore")).expect("removed");
        let _ = Fields::in_folder(folder.path());
        assert!(!folder.path().join(FOLDER).join(".gitignore").exists());
    }

    #[test]
    fn a_sheet_of_what_is_kept_is_the_sheet_whatever_became_of_that() {
        let folder = tempfile::tempdir().expect("a folder");
        let recipe = Resolved::defaults().recipe().expect("whole");
        let of = |smear: f64, seed: u64| {
            let mut recipe = recipe.clone();
            recipe.smear.length = Px(smear);
            FieldSpec::new([256, 96], Anchor::Ground, Texel(60.0), Scale(0.5), &recipe, seed)
        };
        let fields = Fields::in_folder(folder.path());
        let sheet = |field: FieldSpec| SheetSpec {
            field,
            tau: 0.7,
            tones: Tones::new(Srgb([0.7; 3]), None, None, None, 0.5),
            light: 60.0,
        };
        let there = |ending: &str| -> Vec<PathBuf> {
            let folder = folder.path().join(FOLDER);
            let all = kept(&folder);
            all.filter(|(_, other)| other == ending).map(|(path, _)| path).collect()
        };
        let clean = |field: &FieldSpec| Sheet::new(sheet(field.clone()), Sampling::Reduced).eight(256);
        let (first, tweaked) = (of(40.0, 7), of(90.0, 7));
        assert_eq!(first.bands(Sampling::Reduced), tweaked.bands(Sampling::Reduced));
        assert_eq!(fields.sheet(&sheet(first.clone()), Keep::Field).eight(256), clean(&first));
        assert!(there(BANDS_ENDING).is_empty() && there(ALPHA_ENDING).is_empty());
        // Kept, read, damaged, worked out again: always the same sheet.
        for keep in [Keep::ItsBands, Keep::All] {
            for (at, ending) in [BANDS_ENDING, ALPHA_ENDING, FACING_ENDING].into_iter().enumerate() {
                for (harm, length) in [90.0, 91.0, 92.0, 93.0].into_iter().enumerate() {
                    let spec = of(length + 10.0 * at as f64, 7);
                    for _ in 0..3 {
                        assert_eq!(
                            fields.sheet(&sheet(spec.clone()), keep).eight(256),
                            clean(&spec),
                            "{length}"
                        );
                    }
                    for path in there(ending) {
                        let mut bytes = fs::read(&path).expect("read");
                        if bytes.len() < CHECK + 64 {
                            // Harmed before.
                            continue;
                        }
                        match harm {
                            0 => continue,
                            1 => bytes[CHECK + 9] ^= 1,
                            2 => bytes.truncate(CHECK + 4),
                            // Rightly sealed, but too few.
                            _ => {
                                seal(&path, &[&bytes[CHECK..CHECK + 64]]);
                                continue;
                            }
                        }
                        fs::write(path, bytes).expect("written");
                    }
                    assert_eq!(fields.sheet(&sheet(spec.clone()), keep).eight(256), clean(&spec), "{length}");
                }
            }
            assert_eq!(there(ALPHA_ENDING).is_empty(), keep == Keep::ItsBands);
        }
        // One slot's bands take another's place where there is no room for both.
        let (mine, other) = (there(BANDS_ENDING), of(90.0, 8));
        assert_eq!(mine.len(), 1);
        assert_eq!(fields.sheet(&sheet(other.clone()), Keep::ItsBands).eight(256), clean(&other));
        assert!(there(BANDS_ENDING).len() == 1 && there(BANDS_ENDING) != mine);
        // Other light is another sheet.
        let turned = SheetSpec { light: 200.0, ..sheet(other.clone()) };
        let clean = Sheet::new(turned.clone(), Sampling::Reduced).eight(256);
        for _ in 0..2 {
            assert_eq!(fields.sheet(&turned, Keep::All).eight(256), clean);
        }
        assert_ne!(clean, fields.sheet(&sheet(other), Keep::All).eight(256));
    }
}
