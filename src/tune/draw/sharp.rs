//! The settled texels of a part in view: what of it was in view just before is taken over, the rest is drawn.

use crate::steps::dither;
use crate::tune::frame::Part;
use crate::tune::view::{Ground, View};

/// Bytes of a texel.
const TEXEL: usize = 4;

/// A part as it was drawn.
pub(super) struct Sharp {
    revision: u64,
    view: View,
    part: Part,
    /// RGBA.
    pub texels: Vec<u8>,
}

impl Sharp {
    /// The `part` of a view, which begins where the dither's pattern does, as all its parts do that `draw` is asked for; `before` is what was
    /// drawn last.
    pub fn new(
        before: Option<&Sharp>,
        revision: u64,
        view: &View,
        part: Part,
        draw: impl Fn(Part) -> Vec<u8>,
    ) -> Sharp {
        let made = |texels| Sharp { revision, view: view.clone(), part, texels };
        // The squares of a checkerboard stay where they are while the part moves.
        let alike = |before: &&Sharp| {
            before.revision == revision
                && before.view.is_drafted_as(view)
                && view.ground != Ground::Checkerboard
        };
        let Some(before) = before.filter(alike) else { return made(draw(part)) };
        let Some(common) = common(before.part, part) else { return made(draw(part)) };
        let mut texels = vec![0; part.1[0] as usize * part.1[1] as usize * TEXEL];
        copy((&mut texels, part), (&before.texels, before.part), common);
        for rest in around(part, common) {
            copy((&mut texels, part), (&draw(rest), rest), rest);
        }
        made(texels)
    }
}

/// What two parts have in common; it ends where the dither's pattern does.
fn common((one, one_size): Part, (other, other_size): Part) -> Option<Part> {
    let side = dither::SIDE as u32;
    let (mut at, mut size) = ([0; 2], [0; 2]);
    for axis in 0..2 {
        at[axis] = one[axis].max(other[axis]);
        let end = (one[axis] + one_size[axis]).min(other[axis] + other_size[axis]);
        size[axis] = (end / side * side).checked_sub(at[axis]).filter(|length| *length > 0)?;
    }
    Some((at, size))
}

/// What of a part lies around another within it: above, below, left and right.
fn around((at, size): Part, (inner, inner_size): Part) -> Vec<Part> {
    let end = [at[0] + size[0], at[1] + size[1]];
    let [right, below] = [inner[0] + inner_size[0], inner[1] + inner_size[1]];
    let all = [
        (at, [size[0], inner[1] - at[1]]),
        ([at[0], below], [size[0], end[1] - below]),
        ([at[0], inner[1]], [inner[0] - at[0], inner_size[1]]),
        ([right, inner[1]], [end[0] - right, inner_size[1]]),
    ];
    all.into_iter().filter(|(_, size)| size[0] > 0 && size[1] > 0).collect()
}

/// Copies the texels of `what`, which lies in both parts, from one to the other.
fn copy((to, of): (&mut [u8], Part), (from, own): (&[u8], Part), (at, size): Part) {
    let place = |(begin, whole): Part, y: u32| {
        ((at[1] - begin[1] + y) as usize * whole[0] as usize + (at[0] - begin[0]) as usize) * TEXEL
    };
    let length = size[0] as usize * TEXEL;
    for y in 0..size[1] {
        to[place(of, y)..][..length].copy_from_slice(&from[place(own, y)..][..length]);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::cell::RefCell;

    #[test]
    fn only_what_was_not_in_view_is_drawn_and_every_texel_is_that_of_its_place() {
        let drawn = RefCell::new(Vec::new());
        let draw = |part: Part| {
            drawn.borrow_mut().push(part);
            let ([left, top], [width, height]) = part;
            let texel = |at: u32| [(left + at % width) as u8, (top + at / width) as u8, 7, 255];
            (0..width * height).flat_map(texel).collect::<Vec<u8>>()
        };
        let view = View::default();
        let first = Sharp::new(None, 1, &view, ([16, 24], [50, 37]), draw);
        for (part, parts) in [
            (([16, 24], [50, 37]), 2),
            (([24, 32], [50, 37]), 2),
            (([8, 8], [50, 37]), 4),
            (([8, 8], [90, 90]), 4),
            (([24, 32], [8, 8]), 0),
            (([96, 24], [50, 37]), 1),
        ] {
            drawn.borrow_mut().clear();
            let next = Sharp::new(Some(&first), 1, &view, part, draw);
            let parts_drawn = drawn.borrow().clone();
            assert_eq!(parts_drawn.len(), parts, "{part:?}");
            assert!(parts_drawn.iter().all(|(at, _)| at.iter().all(|edge| edge % 8 == 0)));
            assert_eq!(next.texels, draw(part), "{part:?}");
        }
        // Of another scene, or another view, all is drawn.
        let other = View { values: true, ..View::default() };
        for (revision, view) in [(2, &view), (1, &other)] {
            drawn.borrow_mut().clear();
            Sharp::new(Some(&first), revision, view, ([24, 32], [50, 37]), draw);
            assert_eq!(*drawn.borrow(), [([24, 32], [50, 37])]);
        }
    }
}
