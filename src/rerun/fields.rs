//! Density fields and solved rims kept between runs.
//!
//! The still shows every sheet, so a tweak of one would have all the others' fields worked out again; and a tweak of a colour or of
//! the visibility changes no field at all. Fields are small beside the sheets that are stretched from them.

use super::made_of::OUTPUT_VERSION;
use crate::art::Picture;
use crate::field::{Field, FieldSpec, Sampling};
use crate::plan::{Job, Plan, RimJob};
use crate::rim::Rim;
use crate::sheet::{Sheet, SheetSpec};
use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// Name of the hidden folder in the output folder. Who removes it loses time, nothing else.
pub const FOLDER: &str = ".fogweft-fields";

/// Endings of the files in it.
const ENDING: &str = "field";
/// See [`ENDING`].
const RIM_ENDING: &str = "rim";

/// Largest field that is kept, in samples: fine fog on a large sheet is quicker worked out than read.
const MOST: usize = 4 << 20;

/// Most bytes of a rim that is kept.
const MOST_OF_RIM: usize = 64 << 20;

/// Length of the hash that each file begins with.
const HASH: usize = blake3::OUT_LEN;

/// The fields kept in an output folder.
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
            Err(_) => fs::create_dir(&folder).is_ok(),
        };
        Fields { folder: ours.then_some(folder) }
    }

    /// The sheet of `spec`; its field is read if it is kept, else worked out and kept.
    pub fn sheet(&self, spec: &SheetSpec) -> Sheet {
        let field = self.read(&spec.field).unwrap_or_else(|| {
            let field = Field::new(&spec.field, Sampling::Reduced);
            self.keep(&spec.field, &field);
            field
        });
        Sheet::of_field(spec.clone(), field)
    }

    /// The rim of `job` that is made of what `made_of` says, if it is kept.
    pub fn rim(&self, made_of: &str, job: &RimJob, picture: &Picture, scale: f64) -> Option<Rim> {
        let bytes = sealed(&self.rim_file(made_of)?, MOST_OF_RIM)?;
        Rim::of_kept(&bytes, job, picture, scale)
    }

    /// Keeps a solved rim.
    pub fn keep_rim(&self, made_of: &str, rim: &Rim) {
        if let Some(path) = self.rim_file(made_of) {
            seal(&path, &rim.kept());
        }
    }

    fn rim_file(&self, made_of: &str) -> Option<PathBuf> {
        Some(self.folder.as_ref()?.join(rim_name(made_of)))
    }

    fn file(&self, spec: &FieldSpec) -> Option<PathBuf> {
        Some(self.folder.as_ref()?.join(name(spec)))
    }

    fn read(&self, spec: &FieldSpec) -> Option<Field> {
        let numbers = sealed(&self.file(spec)?, MOST * 4)?;
        let number = |bytes: &[u8]| f32::from_le_bytes([bytes[0], bytes[1], bytes[2], bytes[3]]);
        Field::of_numbers(spec, Sampling::Reduced, numbers.chunks_exact(4).map(number).collect())
    }

    /// Whatever stands in the way: a field that isn't kept is worked out again.
    fn keep(&self, spec: &FieldSpec, field: &Field) {
        let Some(path) = self.file(spec) else { return };
        let numbers = &field.density.data;
        if numbers.len() > MOST {
            return;
        }
        let bytes: Vec<u8> = numbers.iter().flat_map(|number| number.to_le_bytes()).collect();
        seal(&path, &bytes);
    }

    /// Removes the fields that no sheet of `plan` is made from, and the rims that aren't made of one of `rims`.
    pub fn sweep(&self, plan: &Plan, rims: &[&str]) {
        let Some(folder) = &self.folder else { return };
        let used: BTreeSet<String> = plan
            .files
            .iter()
            .filter_map(|job| match job {
                Job::Fog(job) => Some(name(&job.spec.field)),
                Job::Rim(_) | Job::Art(_) => None,
            })
            .chain(rims.iter().map(|made_of| rim_name(made_of)))
            .collect();
        for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
            let ours =
                entry.path().extension().is_some_and(|ending| ending == ENDING || ending == RIM_ENDING);
            let used = entry.file_name().to_str().is_some_and(|name| used.contains(name));
            if ours && !used && entry.file_type().is_ok_and(|kind| kind.is_file()) {
                let _ = fs::remove_file(entry.path());
            }
        }
    }
}

/// A rim is called after all that it is made from.
fn rim_name(made_of: &str) -> String {
    format!("{made_of}.{RIM_ENDING}")
}

/// Writes `content` behind its hash. Whatever stands in the way: what isn't kept is worked out again.
fn seal(path: &Path, content: &[u8]) {
    let mut bytes = blake3::hash(content).as_bytes().to_vec();
    bytes.extend_from_slice(content);
    let _ = fs::write(path, bytes);
}

/// Reads what [`seal`] wrote; none if it is no longer that, or longer than `most`.
fn sealed(path: &Path, most: usize) -> Option<Vec<u8>> {
    let data = fs::symlink_metadata(path).ok()?;
    if !data.is_file() || data.len() > (most + HASH) as u64 {
        return None;
    }
    let mut bytes = fs::read(path).ok()?;
    let content = bytes.split_off(HASH.min(bytes.len()));
    (blake3::hash(&content).as_bytes().as_slice() == bytes).then_some(content)
}

/// A field is called after all that it is made from.
fn name(spec: &FieldSpec) -> String {
    let mut hasher = blake3::Hasher::new_derive_key("fogweft: what a field is made of");
    hasher.update(format!("{OUTPUT_VERSION} {spec:?}").as_bytes());
    format!("{}.{ENDING}", hasher.finalize().to_hex())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recipe::Anchor;
    use crate::recipe::layers::Resolved;

    #[test]
    fn a_kept_field_is_the_field_and_a_damaged_one_is_none() {
        let folder = tempfile::tempdir().expect("a folder");
        let recipe = Resolved::defaults().recipe().expect("whole");
        let spec = FieldSpec::new([64, 32], Anchor::Ground, 20.0, 0.1, &recipe, 7);
        let field = Field::new(&spec, Sampling::Reduced);
        let fields = Fields::in_folder(folder.path());
        assert!(fields.read(&spec).is_none());
        fields.keep(&spec, &field);
        let found = fields.read(&spec).expect("kept");
        assert_eq!((found.grid, found.density), (field.grid, field.density));
        assert!(fields.read(&FieldSpec { seed: 8, ..spec.clone() }).is_none());
        let path = fields.file(&spec).expect("a file");
        let good = fs::read(&path).expect("read");
        for bad in [&good[..good.len() - 4], &good[..HASH], &good[..3], &[]] {
            fs::write(&path, bad).expect("written");
            assert!(fields.read(&spec).is_none());
        }
        let mut flipped = good.clone();
        flipped[HASH + 5] ^= 1;
        fs::write(&path, flipped).expect("written");
        assert!(fields.read(&spec).is_none());
    }
}
