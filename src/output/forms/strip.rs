//! The whole travel as one long still; where that is wider than a picture may be, its parts lie one below the other.

use crate::base::fault::{Class, Fault, Result};
use crate::base::limits::Limits;
use crate::base::raster::Owned;
use crate::output::{self, Effort};
use crate::stack::Stack;

/// Parts that a strip of `width` texels is cut into, and the width of each.
fn parts(width: u32, most: u32) -> (u32, u32) {
    let count = width.div_ceil(most.max(1)).max(1);
    (count, width.div_ceil(count))
}

/// The file.
pub(super) fn bytes(stack: &Stack<'_>, effort: Effort, limits: &Limits) -> Result<Vec<u8>> {
    let [width, height] = stack.plan().strip_size();
    let (count, part) = parts(width, limits.side);
    let size = [part, height.saturating_mul(count)];
    if let Some((broken, raised)) = limits.told(size) {
        let message = format!("the strip of the travel would be {width} x {height} texels; {broken}");
        let remedy = format!("Render at a smaller scale, or raise the limit: --limit {raised}.");
        return Err(Fault::new(Class::Limit, message).remedy(remedy).into());
    }
    let whole = stack.strip();
    let laid = if count > 1 { below(&whole, count, part) } else { whole };
    Ok(output::encode(laid.raster(), effort))
}

/// The parts of a strip, one below the other; what is left of the last row is black.
fn below(whole: &Owned, count: u32, part: u32) -> Owned {
    let [width, height] = whole.size();
    let size = [part, height * count];
    let Owned::Eight { samples, .. } = whole else { return whole.clone() };
    let mut out = Vec::with_capacity(size[0] as usize * size[1] as usize * 4);
    for at in 0..count {
        let (from, to) = (at * part, ((at + 1) * part).min(width));
        for row in samples.chunks_exact(width as usize * 4) {
            out.extend_from_slice(&row[from as usize * 4..to as usize * 4]);
            let black = (part - (to - from)) as usize;
            out.extend(std::iter::repeat_n([0, 0, 0, u8::MAX], black).flatten());
        }
    }
    Owned::Eight { size, samples: out }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_hold_the_whole_and_are_as_few_as_may_be() {
        assert_eq!(parts(1000, 1000), (1, 1000));
        assert_eq!(parts(1001, 1000), (2, 501));
        assert_eq!(parts(0, 1000), (1, 0));
        let samples: Vec<u8> = (0..5_u8).flat_map(|x| [x, x, x, 255]).cycle().take(40).collect();
        let laid = below(&Owned::Eight { size: [5, 2], samples }, 2, 3);
        let Owned::Eight { size, samples } = laid else { panic!("8 bits") };
        assert_eq!(size, [3, 4]);
        let greys: Vec<u8> = samples.iter().step_by(4).copied().collect();
        assert_eq!(greys, [0, 1, 2, 0, 1, 2, 3, 4, 0, 3, 4, 0]);
        assert!(samples.iter().skip(3).step_by(4).all(|alpha| *alpha == 255));
    }
}
