//! Pictures as a page gets them.

use crate::stack::still::Still;
use crate::stack::values;
use crate::tune::board::Board;
use crate::tune::hub::{Frame, View};

/// Texels follow as RGBA.
const WHOLE: u8 = 0;
/// Texels follow as [`Board::lean`] has them: a browser takes longest over receiving a picture.
const LEAN: u8 = 1;

/// A draft of the scene as it stands (kind 0) or as it was last saved (kind 1).
pub(super) fn draft(board: Board, view: &View, kind: u8, stamp: u64, revision: u64) -> Frame {
    let size = board.size;
    let (form, texels) =
        if view.values { (WHOLE, values::view(&board.still())) } else { (LEAN, board.lean()) };
    Frame { head: head(size, view, [kind, 0, form], stamp, revision), texels }
}

/// A settled picture.
pub(super) fn settled(still: &Still, view: &View, stamp: u64, revision: u64) -> Frame {
    let texels = if view.values { values::view(still) } else { still.eight() };
    Frame { head: head(still.size, view, [0, 1, WHOLE], stamp, revision), texels }
}

/// `fogw`, kind, whether it is settled, how its texels follow, width, height, stamp, turn, camera place.
fn head(size: [u32; 2], view: &View, marks: [u8; 3], stamp: u64, revision: u64) -> [u8; 32] {
    let mut head = [0; 32];
    head[..4].copy_from_slice(b"fogw");
    head[4..7].copy_from_slice(&marks);
    head[8..12].copy_from_slice(&size[0].to_le_bytes());
    head[12..16].copy_from_slice(&size[1].to_le_bytes());
    head[16..20].copy_from_slice(&(stamp as u32).to_le_bytes());
    head[20..24].copy_from_slice(&(revision as u32).to_le_bytes());
    head[24..].copy_from_slice(&view.camera.0.0.to_le_bytes());
    head
}
