//! Files that a later run believes only if they hold just what was written: content behind its checksum.
//!
//! It guards against halves and faults of a disk, as zlib guards its streams (Adler-32, RFC 1950); a stronger hash would take a
//! fifth of the time of reading.

use simd_adler32::Adler32;
use std::fs::{self, File};
use std::io::{Read, Write};
use std::path::Path;

/// Length of the checksum that each file begins with.
pub const CHECK: usize = 4;

/// From the machine's order of bytes to that of the files, or back.
pub fn little_endian(mut numbers: Vec<f32>) -> Vec<f32> {
    if cfg!(target_endian = "big") {
        numbers.iter_mut().for_each(|number| *number = f32::from_bits(number.to_bits().swap_bytes()));
    }
    numbers
}

/// [`seal`] for numbers.
pub fn seal_numbers(path: &Path, parts: &[&[f32]]) {
    if cfg!(target_endian = "little") {
        let parts: Vec<&[u8]> = parts.iter().map(|part| bytemuck::cast_slice(part)).collect();
        return seal(path, &parts);
    }
    let turned: Vec<f32> = parts.iter().flat_map(|part| little_endian(part.to_vec())).collect();
    seal(path, &[bytemuck::cast_slice(&turned)]);
}

/// Writes `parts`, one after the other, behind their checksum. Whatever stands in the way: what isn't kept is worked out again.
pub fn seal(path: &Path, parts: &[&[u8]]) {
    let mut check = Adler32::new();
    parts.iter().for_each(|part| check.write(part));
    // Half a file isn't believed, and is written anew by the next run.
    let _ = File::create(path).and_then(|mut file| {
        file.write_all(&check.finish().to_le_bytes())?;
        parts.iter().try_for_each(|part| file.write_all(part))
    });
}

/// Reads what [`seal`] wrote; none if it is no longer that, or longer than `most` bytes.
pub fn sealed<T: bytemuck::Pod>(path: &Path, most: usize) -> Option<Vec<T>> {
    let data = fs::symlink_metadata(path).ok()?;
    let length = usize::try_from(data.len()).ok()?.checked_sub(CHECK)?;
    if !data.is_file() || length > most || !length.is_multiple_of(size_of::<T>()) {
        return None;
    }
    let (mut check, mut content) = ([0; CHECK], vec![T::zeroed(); length / size_of::<T>()]);
    // Straight to where it is needed: what it holds is megabytes.
    let bytes = bytemuck::cast_slice_mut(&mut content);
    let mut file = File::open(path).ok()?;
    file.read_exact(&mut check).and_then(|()| file.read_exact(bytes)).ok()?;
    (simd_adler32::adler32(&&*bytes).to_le_bytes() == check).then_some(content)
}
