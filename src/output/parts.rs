//! The compressed texels of a PNG in parts: each is compressed by itself, on any thread, and together they are one zlib stream.
//!
//! A part ends on a whole byte, by an empty stored block (RFC 1951, 3.2.4); nothing in it refers to what came before. The
//! stream's check is put together from those of the parts (RFC 1950, 2.2).

use ::png::chunk::IDAT;
use ::png::{EncodingError, Writer};
use flate2::{Compress, Compression, FlushCompress, Status};
use rayon::prelude::*;
use std::io::Write;
use std::sync::atomic::{AtomicUsize, Ordering};

/// A part of a stream.
pub(super) struct Part {
    deflated: Vec<u8>,
    /// Adler-32 of its bytes, and their number.
    check: u32,
    length: u64,
}

/// Compresses parts, one after the other.
pub(super) struct Press(Compress);

impl Press {
    /// At a level of deflate, 1 to 9.
    pub fn new(level: u8) -> Press {
        Press(Compress::new(Compression::new(u32::from(level)), false))
    }

    /// Compresses filtered rows; `last` ends the stream.
    pub fn part(&mut self, rows: &[u8], last: bool) -> Part {
        let deflate = &mut self.0;
        deflate.reset();
        let mut deflated = Vec::with_capacity(rows.len() / 8 + 64);
        let flush = if last { FlushCompress::Finish } else { FlushCompress::Sync };
        loop {
            let (taken, given) = (deflate.total_in() as usize, deflated.len());
            // Memory to memory, it can't fail.
            let status = deflate.compress_vec(&rows[taken..], &mut deflated, flush);
            let whole = match status {
                Ok(Status::StreamEnd) => true,
                // A flush is done where room is left.
                _ => {
                    !last && deflate.total_in() as usize == rows.len() && deflated.len() < deflated.capacity()
                }
            };
            if whole {
                break;
            }
            let stuck = deflated.len() == given && deflated.len() < deflated.capacity();
            assert!(!stuck, "deflate takes what it is given");
            deflated.reserve(deflated.capacity() / 2 + 64);
        }
        let mut check = simd_adler32::Adler32::new();
        check.write(rows);
        Part { deflated, check: check.finish(), length: rows.len() as u64 }
    }
}

/// Runs `work` for 0 to `count`, side by side, and gives what it made in order. Each thread takes the next as long as there is one,
/// and keeps something `fresh` from one to the next, which must not change what is made.
pub(super) fn side_by_side<K, T: Send>(
    count: usize,
    fresh: impl Fn() -> K + Sync,
    work: impl Fn(&mut K, usize) -> T + Sync,
) -> Vec<T> {
    let next = AtomicUsize::new(0);
    let some = |_| {
        let (mut kept, mut done) = (fresh(), Vec::new());
        loop {
            let at = next.fetch_add(1, Ordering::Relaxed);
            if at >= count {
                break done;
            }
            done.push((at, work(&mut kept, at)));
        }
    };
    let threads = rayon::current_num_threads().min(count);
    let mut all: Vec<(usize, T)> = (0..threads).into_par_iter().with_max_len(1).flat_map_iter(some).collect();
    all.sort_by_key(|(at, _)| *at);
    all.into_iter().map(|(_, made)| made).collect()
}

/// Writes the parts, in order, as the image data of a PNG.
pub(super) fn write<W: Write>(mut parts: Vec<Part>, writer: &mut Writer<W>) -> Result<(), EncodingError> {
    let check = parts.iter().fold(1, |check, part| joined(check, part.check, part.length));
    // 32 KiB of window, the quickest of levels, no dictionary; a multiple of 31.
    writer.write_chunk(IDAT, &[0x78, 0x01])?;
    if let Some(last) = parts.last_mut() {
        last.deflated.extend(check.to_be_bytes());
    }
    parts.iter().try_for_each(|part| writer.write_chunk(IDAT, &part.deflated))
}

/// Bytes that [`write`] adds to what stands before the image data, about.
pub(super) fn bytes(parts: &[Part]) -> usize {
    parts.iter().map(|part| part.deflated.len() + 12).sum::<usize>() + 64
}

/// Adler-32 of two runs of bytes from those of each; the second is `length` bytes long (RFC 1950, 8.2: two sums modulo 65521).
fn joined(first: u32, second: u32, length: u64) -> u32 {
    const BASE: u64 = 65_521;
    let parts = |check: u32| (u64::from(check & 0xffff), u64::from(check >> 16));
    let ((a, b), (c, d)) = (parts(first), parts(second));
    // Both sums of the second run began at 1 and 0; what it began with after the first is counted once for each of its bytes.
    let sum = (a + c + BASE - 1) % BASE;
    let sums = (b + d + (length % BASE) * ((a + BASE - 1) % BASE)) % BASE;
    (sums as u32) << 16 | sum as u32
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn checks_join() {
        let bytes: Vec<u8> =
            (0..200_000_u32).map(|at| (at.wrapping_mul(2_654_435_761) >> 24) as u8).collect();
        let whole = |bytes: &[u8]| {
            let mut check = simd_adler32::Adler32::new();
            check.write(bytes);
            check.finish()
        };
        for at in [0, 1, 65_521, 131_042, 199_999, 200_000] {
            let (first, second) = bytes.split_at(at);
            assert_eq!(joined(whole(first), whole(second), second.len() as u64), whole(&bytes), "at {at}");
        }
    }

    #[test]
    fn parts_of_any_size_come_back() {
        let noise: Vec<u8> = (0..300_000_u32).map(|at| (at.wrapping_mul(at) >> 7) as u8).collect();
        for rows in [&noise[..0], &noise[..1], &noise[..], &vec![7; 100_000][..]] {
            let mut press = Press::new(2);
            let (middle, end) = (press.part(rows, false), press.part(rows, true));
            let stream = [&middle.deflated[..], &end.deflated[..]].concat();
            let mut inflate = flate2::Decompress::new(false);
            let mut out = Vec::with_capacity(2 * rows.len() + 16);
            let status = inflate.decompress_vec(&stream, &mut out, flate2::FlushDecompress::Finish).unwrap();
            assert_eq!(status, Status::StreamEnd);
            assert_eq!(out, [rows, rows].concat());
        }
    }
}
