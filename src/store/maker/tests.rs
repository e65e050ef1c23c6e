//! What is found in a store is what would be worked out, whatever became of it on disk.

use crate::base::colour::Srgb;
use crate::base::key::{Key, KeyWriter};
use crate::base::limits::Limits;
use crate::base::units::{Px, Scale, Texel};
use crate::base::words::Anchor;
use crate::scene::recipe::layers::Resolved;
use crate::steps::along::{Along, AlongSheet};
use crate::steps::field::{Field, FieldSpec, Sampling};
use crate::steps::grid::Plane;
use crate::steps::sheet::{Sheet, SheetSpec};
use crate::steps::step5_grade::Tones;
use crate::store::cache::{FOLDER, Stage, Store};
use crate::store::maker::stages::FieldStage;
use crate::store::maker::{Maker, Room};
use std::fs;
use std::path::{Path, PathBuf};

const ALL: Room = Room { bands: true, planes: true };

fn spec(smear: f64, seed: u64) -> SheetSpec {
    let mut recipe = Resolved::defaults().recipe().expect("whole");
    recipe.smear.length = Px(smear);
    SheetSpec {
        field: FieldSpec::new([256, 96], Anchor::Ground, Texel(60.0), Scale(0.5), &recipe, seed),
        tau: 0.7,
        clear: 0.05,
        tones: Tones::new(Srgb([0.7; 3]), None, None, None, 0.5),
        light: 60.0,
    }
}

fn clean(spec: &SheetSpec) -> Vec<u8> {
    Sheet::new(spec.clone(), Sampling::Reduced).eight(256)
}

fn made(store: &Store, spec: &SheetSpec, room: Room) -> Vec<u8> {
    Maker::new(store, &Limits::default()).sheet(spec, room).eight(256)
}

/// The store's files of a kind.
fn files(folder: &Path, kind: &str) -> Vec<PathBuf> {
    let all = fs::read_dir(folder.join(FOLDER)).into_iter().flatten().flatten().map(|entry| entry.path());
    all.filter(|path| path.extension().is_some_and(|ending| ending == kind)).collect()
}

/// The same content, but for its first 64 bytes all cut off, behind its right checksum.
fn shorten(folder: &Path, path: &Path) {
    let content: Vec<f32> = {
        let bytes = fs::read(path).expect("read");
        bytes[4..68].chunks_exact(4).map(|four| f32::from_ne_bytes(four.try_into().expect("four"))).collect()
    };
    let store = Store::in_folder(folder);
    let name = path.file_stem().and_then(|stem| stem.to_str()).expect("a name");
    let key =
        std::array::from_fn(|at| u8::from_str_radix(&name[2 * at..2 * at + 2], 16).expect("hexadecimal"));
    let kind = path.extension().and_then(|ending| ending.to_str()).expect("a kind");
    store.write(kind, crate::base::key::Key::new(key), &[&content]);
}

#[test]
fn a_sheet_from_the_store_is_the_sheet_whatever_became_of_that() {
    let folder = tempfile::tempdir().expect("a folder");
    let folder = folder.path();
    let store = Store::in_folder(folder);
    for (seed, kind) in (7..).zip(["bands", "field", "opacity", "facing"]) {
        for harm in 0..5 {
            // Nothing of it is there yet.
            let spec = spec(90.0 + f64::from(harm), seed);
            let wanted = clean(&spec);
            for _ in 0..2 {
                assert!(made(&store, &spec, ALL) == wanted, "{kind} {harm}");
            }
            assert!(!files(folder, kind).is_empty());
            for path in files(folder, kind) {
                let mut bytes = fs::read(&path).expect("read");
                match harm {
                    0 => continue,
                    1 => bytes[13] ^= 1,
                    2 => bytes.truncate(8),
                    3 => {
                        fs::remove_file(path).expect("removed");
                        continue;
                    }
                    _ => {
                        shorten(folder, &path);
                        continue;
                    }
                }
                fs::write(path, bytes).expect("written");
            }
            // Where its planes are whole nobody looks at its field: other light asks for that.
            let turned = SheetSpec { light: 200.0, ..spec.clone() };
            assert!(made(&store, &turned, ALL) == clean(&turned), "{kind} {harm}");
            assert!(made(&store, &spec, ALL) == wanted, "{kind} {harm}");
        }
    }
}

#[test]
fn a_stage_is_worked_out_once_for_all_that_read_it() {
    let folder = tempfile::tempdir().expect("a folder");
    let (folder, store) = (folder.path(), Store::in_folder(folder.path()));
    let count = |kind: &str| files(folder, kind).len();
    let counts = || ["bands", "field", "opacity", "facing"].map(count);
    let first = spec(40.0, 7);
    made(&store, &first, ALL);
    assert_eq!(counts(), [1, 1, 1, 1]);
    // Other colours are no work at all, other light is a plane of its own, other depth two.
    let tones = Tones::new(Srgb([0.2; 3]), Some(Srgb([0.9; 3])), None, None, 0.4);
    let mut coloured = SheetSpec { tones, ..first.clone() };
    coloured.field.recipe.grade.aloft = Texel(31.0);
    assert!(made(&store, &coloured, ALL) == clean(&coloured));
    assert_eq!(counts(), [1, 1, 1, 1]);
    made(&store, &SheetSpec { light: 10.0, ..first.clone() }, ALL);
    assert_eq!(counts(), [1, 1, 1, 2]);
    made(&store, &SheetSpec { tau: 0.3, ..first.clone() }, ALL);
    assert_eq!(counts(), [1, 1, 2, 3]);
    // Another falloff begins with the bands.
    let mut lower = first;
    lower.field.recipe.falloff.height.0 *= 0.5;
    assert!(made(&store, &lower, ALL) == clean(&lower));
    assert_eq!(counts(), [1, 2, 3, 4]);
}

#[test]
fn where_there_is_no_room_fields_alone_are_put_on_disk() {
    let folder = tempfile::tempdir().expect("a folder");
    let (folder, store) = (folder.path(), Store::in_folder(folder.path()));
    let count = |kind: &str| files(folder, kind).len();
    let (first, other) = (spec(40.0, 7), spec(40.0, 8));
    assert!(made(&store, &first, Room::default()) == clean(&first));
    assert_eq!(["bands", "field", "opacity", "facing"].map(count), [0, 1, 0, 0]);
    assert!(made(&store, &other, Room { bands: true, planes: false }) == clean(&other));
    assert_eq!(["bands", "field", "opacity", "facing"].map(count), [1, 2, 0, 0]);
}

#[test]
fn memory_gives_the_same_sheet_without_work() {
    let store = Store::in_memory(1 << 20);
    let (limits, spec) = (Limits::default(), spec(40.0, 7));
    let maker = Maker::new(&store, &limits);
    let sheet = maker.sheet(&spec, Room::default());
    assert!(std::sync::Arc::ptr_eq(&sheet, &maker.sheet(&spec, Room::default())));
    let relit = SheetSpec { light: 200.0, ..spec };
    assert!(made(&store, &relit, Room::default()) == clean(&relit));
}

#[test]
fn where_fog_is_thicker_along_the_travel_changes_without_the_rest_being_worked_out_anew() {
    let store = Store::in_memory(1 << 24);
    let field = |points: &[[f64; 2]]| FieldSpec {
        along: Some(AlongSheet { curves: vec![Along::new(points.to_vec())], seen: 200.0, period: 256.0 }),
        ..spec(40.0, 3).field
    };
    let curves = [
        field(&[[20.0, 0.2], [150.0, 2.0]]),
        field(&[[20.0, 3.0], [150.0, 0.0]]),
        // The points lie so near that the grid is another.
        field(&[[20.0, 3.0], [24.0, 0.0], [150.0, 0.5]]),
    ];
    let keys = curves.each_ref().map(|spec| spec.even_key().expect("a factor").hex());
    assert_eq!(keys[0], keys[1]);
    assert_ne!(keys[1], keys[2]);
    for spec in &curves {
        let found = Maker::new(&store, &Limits::default()).density(spec);
        let clean = Field::new(spec, Sampling::Reduced);
        assert!((found.grid, &found.density.data) == (clean.grid, &clean.density.data));
    }
}

#[test]
fn a_field_on_disk_is_bit_for_bit_what_was_worked_out() {
    let folder = tempfile::tempdir().expect("a folder");
    let spec = spec(40.0, 3).field;
    let made = Maker::new(&Store::in_folder(folder.path()), &Limits::default()).density(&spec);
    let found = Store::in_folder(folder.path()).find(&FieldStage(&spec)).expect("it was put there");
    let bits = |field: &Field| field.density.data.iter().map(|number| number.to_bits()).collect::<Vec<_>>();
    assert!(found.grid == made.grid && bits(&found) == bits(&made));
}

/// A value whose file would be dear to make.
struct Dear;

impl Stage for Dear {
    type Value = Plane;
    type Item = u8;
    const KIND: &'static str = "dear";

    fn key(&self) -> Key {
        KeyWriter::new("dear").key()
    }

    fn encode(&self, _: &Plane, _: impl FnOnce(&[&[u8]])) {
        panic!("nothing takes it");
    }

    fn decode(&self, _: Vec<u8>) -> Option<Plane> {
        None
    }
}

#[test]
fn nothing_is_packed_where_no_disk_takes_it() {
    let folder = tempfile::tempdir().expect("a folder");
    for store in [Store::in_memory(1 << 20), Store::in_folder(folder.path()).sealed()] {
        store.insert(&Dear, Plane::new(2, 2), true);
    }
}
