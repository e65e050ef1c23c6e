//! The game's frame on a painting's canvas.

use crate::base::fault::Fault;
use crate::scene::start::layered::too_small;

/// Width and height of the frame that a wide canvas is seen through, where none is given: common practice, no source.
const SHAPE: [f64; 2] = [16.0, 9.0];

/// The game's frame on a canvas, at its left top.
pub(super) struct Frame {
    /// Width and height, px.
    pub view: [u32; 2],
    /// What of the canvas's width lies beyond the frame, px: the travel. None where the frame is as wide as the canvas.
    pub rest: Option<f64>,
    /// What of its height lies below the frame, px: the travel down.
    pub down: f64,
    /// Whether the frame was chosen here.
    chosen: bool,
}

impl Frame {
    /// The frame of size `view`, or the one that fits a canvas of `size`.
    ///
    /// # Errors
    /// Class `Usage`: the frame is larger than the canvas.
    pub fn of(size: [u32; 2], view: Option<[u32; 2]>) -> Result<Frame, Fault> {
        let [width, height] = size;
        let wide = (f64::from(height) * SHAPE[0] / SHAPE[1]).round() as u32;
        let view = match view {
            Some(view) if view[0] > width || view[1] > height => return Err(too_small(view, size)),
            Some(view) => (view, false),
            None if wide < width => ([wide.max(1), height], true),
            None => (size, false),
        };
        let (view, chosen) = view;
        Ok(Frame {
            rest: (view[0] < width).then(|| f64::from(width - view[0])),
            down: f64::from(height - view[1]),
            view,
            chosen,
        })
    }

    /// The eye's distance from the play plane, depth units.
    pub fn camera(&self) -> f64 {
        f64::from(self.view[0]) / 2.0
    }

    /// Says what frame was chosen, and how to choose another.
    pub fn note(&self, [width, height]: [u32; 2]) -> Option<String> {
        let (true, Some(rest)) = (self.chosen, self.rest) else { return None };
        let [w, h] = self.view;
        Some(format!(
            "the canvas is {width} x {height} px: the view is {w} x {h} px, and the travel the other {rest} px; --view W,H gives another"
        ))
    }
}
