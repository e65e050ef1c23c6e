//! What is asked of the moving picture.

use crate::base::fault::{Class, Fault, Result};
use crate::base::limits::Limits;
use crate::plan::Plan;

/// What is asked of the animation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pan {
    /// Most width in texels; the height follows the view.
    pub width: u32,
    /// Frames of the whole way, there and back.
    pub frames: u16,
    /// Time between frames, milliseconds, where fog is at rest; flowing fog takes the time of its loop.
    pub delay: u16,
    /// Whether the fog flows.
    pub flows: bool,
}

impl Default for Pan {
    /// Five seconds and a bit, small enough for a page.
    fn default() -> Pan {
        Pan { width: 480, frames: 64, delay: 80, flows: false }
    }
}

impl Pan {
    /// Width and height of a frame in texels, and how many there are: one where nothing moves.
    pub(super) fn size(&self, plan: &Plan, limits: &Limits) -> ([u32; 2], u16) {
        let [wide, tall] = plan.texels;
        let width = self.width.clamp(1, limits.side).min(wide);
        let height =
            ((u64::from(tall) * u64::from(width) + u64::from(wide) / 2) / u64::from(wide)).max(1) as u32;
        ([width, height], if self.flows || !plan.travel.is_none() { self.frames.max(1) } else { 1 })
    }

    /// Time between so many frames, milliseconds.
    pub(super) fn between(&self, plan: &Plan, frames: u16) -> u16 {
        if self.flows { (1000.0 * plan.loop_seconds / f64::from(frames)).round() as u16 } else { self.delay }
    }

    /// Texels of all frames.
    pub fn texels(&self, plan: &Plan, limits: &Limits) -> u64 {
        let ([width, height], frames) = self.size(plan, limits);
        u64::from(width) * u64::from(height) * u64::from(frames)
    }

    /// Whether all frames together are within the limits.
    ///
    /// # Errors
    /// Class `Limit`: they aren't.
    pub fn check(&self, plan: &Plan, limits: &Limits) -> Result<()> {
        let (texels, most) = (self.texels(plan, limits), limits.texels);
        if texels <= most {
            return Ok(());
        }
        let message = format!("the animation would have {texels} texels, over the limit of {most}");
        let remedy = format!("Use fewer or smaller frames, or raise the limit: --limit texels={texels}.");
        Err(Fault::new(Class::Limit, message).remedy(remedy).into())
    }
}
