//! How a layer tells whether it was painted on: its name ends in a fingerprint of what was made.

/// What comes before the fingerprint in a layer's name.
pub const MADE: &str = " made ";

/// What stands there of a sheet that somebody painted.
pub const BY_HAND: &str = "by hand";

/// Digits of a fingerprint: 40 bits.
const DIGITS: usize = 10;

/// A layer's name without its fingerprint, and the fingerprint: `reeds.fog depth 120 made 0123456789`.
pub fn without_made(whole: &str) -> (&str, Option<&str>) {
    let is_digit = |digit: u8| matches!(digit, b'0'..=b'9' | b'a'..=b'f');
    let found = whole
        .trim_end()
        .rsplit_once(MADE)
        .filter(|(_, made)| *made == BY_HAND || made.len() == DIGITS && made.bytes().all(is_digit));
    found.map_or((whole, None), |(rest, digits)| (rest, Some(digits)))
}

/// The fingerprint of a picture's straight RGBA: of all that shows, whatever margins of nothing a program cuts off or adds, and whatever
/// colour it leaves where nothing shows.
pub fn fingerprint(width: u32, samples: &[u8]) -> String {
    let rows: Vec<&[[u8; 4]]> = samples.as_chunks().0.chunks_exact(width.max(1) as usize).collect();
    let shows = |texel: &[u8; 4]| texel[3] > 0;
    let ends = |row: &&[[u8; 4]]| Some([row.iter().position(shows)?, row.iter().rposition(shows)? + 1]);
    let widest = |[a, b]: [usize; 2], [c, d]: [usize; 2]| [a.min(c), b.max(d)];
    let [left, right] = rows.iter().filter_map(ends).reduce(widest).unwrap_or_default();
    let filled = |row: &&[[u8; 4]]| row.iter().any(shows);
    let top = rows.iter().position(filled).unwrap_or_default();
    let foot = rows.iter().rposition(filled).map_or(0, |last| last + 1);
    let mut hasher = blake3::Hasher::new();
    hasher.update(&((right - left) as u64).to_le_bytes());
    let mut line = Vec::with_capacity(4 * (right - left));
    for row in &rows[top..foot] {
        line.clear();
        line.extend(row[left..right].iter().flat_map(|texel| if shows(texel) { *texel } else { [0; 4] }));
        hasher.update(&line);
    }
    hasher.finalize().to_hex()[..DIGITS].to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_may_end_in_a_fingerprint() {
        let name = "reeds.fog depth 120 made 0123456abc";
        assert_eq!(without_made(name), ("reeds.fog depth 120", Some("0123456abc")));
        assert_eq!(without_made("reeds.fog made by hand"), ("reeds.fog", Some(BY_HAND)));
        for plain in ["well made 0123", "made 0123456abc", "a made 0123456ABC", "a made by hands"] {
            assert_eq!(without_made(plain), (plain, None));
        }
    }

    #[test]
    fn a_fingerprint_is_that_of_what_shows() {
        let (one, other, gone) = ([9, 8, 7, 200], [1, 2, 3, 4], [50, 60, 70, 0]);
        let bare = fingerprint(2, [one, other].as_flattened());
        let margins = [[gone; 4], [gone, one, other, [0; 4]], [[0; 4]; 4]];
        assert_eq!(fingerprint(4, margins.as_flattened().as_flattened()), bare);
        for unlike in [[other, one], [one, gone], [[9, 8, 6, 200], other], [[9, 8, 7, 201], other]] {
            assert_ne!(fingerprint(2, unlike.as_flattened()), bare);
        }
        // The same texels in another shape.
        assert_ne!(fingerprint(1, [one, other].as_flattened()), bare);
        assert_eq!(fingerprint(3, [gone; 3].as_flattened()), fingerprint(0, &[]));
    }
}
