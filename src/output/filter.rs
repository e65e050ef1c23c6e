//! PNG's filters: each row as differences from its neighbours (PNG 9.2), so that it can be compressed in parts, which crate `png`
//! doesn't do.

/// Which filter a row gets.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    /// One of the five types of PNG 9.2 for every row: None, Sub, Up, Average, Paeth.
    Fixed(u8),
    /// For each row the one with the least sum of sizes, as PNG 12.7 advises.
    Adaptive,
}

/// Appends a row filtered by Sub, its type before it; `back` bytes lie between a byte and that of the texel before.
pub(super) fn sub(row: &[u8], back: usize, out: &mut Vec<u8>) {
    out.push(1);
    out.extend_from_slice(&row[..back.min(row.len())]);
    out.extend(row.iter().zip(row.iter().skip(back)).map(|(left, byte)| byte.wrapping_sub(*left)));
}

/// Appends a row, its filter's type before it. `above` is the row over it, zeros over the first.
pub(super) fn row(kind: Kind, row: &[u8], above: &[u8], back: usize, out: &mut Vec<u8>) {
    if let Kind::Fixed(of) = kind {
        return fixed(of, row, above, back, out);
    }
    let from = out.len();
    let (mut least, mut other) = (u64::MAX, Vec::with_capacity(row.len() + 1));
    for of in 0..5 {
        other.clear();
        fixed(of, row, above, back, &mut other);
        let sum = other[1..].iter().map(|byte| u64::from(byte.cast_signed().unsigned_abs())).sum::<u64>();
        if sum < least {
            least = sum;
            out.truncate(from);
            out.extend_from_slice(&other);
        }
    }
}

fn fixed(of: u8, row: &[u8], above: &[u8], back: usize, out: &mut Vec<u8>) {
    if of == 1 {
        return sub(row, back, out);
    }
    out.push(of);
    let back = back.min(row.len());
    let (first, rest) = row.split_at(back);
    let (first_up, up) = above.split_at(back);
    // Left, above, and left of that.
    let beside = rest.iter().zip(row).zip(up.iter().zip(above));
    match of {
        0 => out.extend_from_slice(row),
        2 => out.extend(row.iter().zip(above).map(|(byte, up)| byte.wrapping_sub(*up))),
        3 => {
            out.extend(first.iter().zip(first_up).map(|(byte, up)| byte.wrapping_sub(up / 2)));
            out.extend(beside.map(|((byte, left), (up, _))| {
                byte.wrapping_sub(((u16::from(*left) + u16::from(*up)) / 2) as u8)
            }));
        }
        _ => {
            // Nothing to the left: the byte above is nearest.
            out.extend(first.iter().zip(first_up).map(|(byte, up)| byte.wrapping_sub(*up)));
            out.extend(
                beside.map(|((byte, left), (up, corner))| byte.wrapping_sub(paeth(*left, *up, *corner))),
            );
        }
    }
}

/// Of left, above and the corner between them the nearest to left + above - corner (PNG 9.4).
fn paeth(left: u8, up: u8, corner: u8) -> u8 {
    let [a, b, c] = [left, up, corner].map(i16::from);
    let (to_a, to_b, to_c) = ((b - c).abs(), (a - c).abs(), (a + b - 2 * c).abs());
    if to_a <= to_b && to_a <= to_c {
        left
    } else if to_b <= to_c {
        up
    } else {
        corner
    }
}
