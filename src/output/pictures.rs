//! The PNGs of a stack's pictures.

use crate::base::bitmap::Bytes;
use crate::base::fault::{Class, Fault, Result};
use crate::base::limits::Limits;
use crate::base::raster::Raster;
use crate::base::words::Bits;
use crate::output::{self, Effort};
use crate::rim::Rim;
use crate::stack::still::Still;
use crate::stack::values::Hatching;
use crate::stack::{Made, Stack};
use crate::steps::sheet::Sheet;

impl Stack<'_> {
    /// The PNG of the job `index` as it is drawn, and whether all of it is opaque. A sheet is never whole in memory. Empty texels if
    /// it wasn't needed. Effort has a say where texels aren't dithered.
    pub fn png(&self, index: usize, bits: Bits, effort: Effort) -> (Vec<u8>, bool) {
        if let Some(Made::Sheet(sheet)) = &self.made[index] {
            return (output::stream::sheet(sheet, sheet.size()[0], bits), false);
        }
        if let Some(Made::Rim(rim)) = &self.made[index] {
            return (rim_png(rim, bits, effort), false);
        }
        if let Some(Made::Picture(bitmap)) = &self.made[index]
            && !self.is_deep(index, bits)
        {
            return output::png::encode_bitmap(bitmap, effort);
        }
        let texels = self.texels(index, bits);
        (output::encode(texels.raster(), effort), texels.opaque())
    }

    /// The PNG of the value view, by its greys, of what is shown from a camera place, which must be the last of those that the stack was looked at
    /// from.
    pub fn values(&self, greys: &Bytes) -> Vec<u8> {
        let (size, place) = (self.plan.texels, self.survey.cameras.len().saturating_sub(1));
        let hatching = Hatching::new(size[1], &self.survey, place);
        let row = |y: usize| {
            let mut row = greys.row(y);
            hatching.row(y, &mut row);
            row
        };
        output::png::encode_greys(size, &|rows| rows.flat_map(row).collect(), Effort::Fast)
    }
}

/// The PNG of `count` moments of a sheet, one below the other; each `width` columns wide.
///
/// # Errors
/// Class `Limit`: the strip would be larger than `limits` allow.
pub fn frames_png(
    count: u32,
    width: u32,
    bits: Bits,
    effort: Effort,
    limits: &Limits,
    moment: impl Fn(u32) -> Sheet,
) -> Result<Vec<u8>> {
    let first = moment(0);
    let height = u64::from(first.size()[1]) * u64::from(count);
    // Saturates, and is then over any limit.
    let size = [width, u32::try_from(height).unwrap_or(u32::MAX)];
    if let Some((broken, raised)) = limits.told(size) {
        let message = format!("the strip would be {width} x {height} texels; {broken}");
        return Err(Fault::new(Class::Limit, message)
            .remedy(format!("Use fewer frames or numbered files, or raise the limit: --limit {raised}."))
            .into());
    }
    let rest = (1..count).map(moment);
    let sheets = std::iter::once(first).chain(rest);
    Ok(match bits {
        Bits::Eight => {
            let samples: Vec<u8> = sheets.flat_map(|sheet| sheet.eight(width)).collect();
            output::encode(Raster::Eight { size, samples: &samples }, effort)
        }
        Bits::Sixteen => {
            let samples: Vec<u16> = sheets.flat_map(|sheet| sheet.sixteen(width)).collect();
            output::encode(Raster::Sixteen { size, samples: &samples }, effort)
        }
    })
}

/// The PNG of a rim.
pub fn rim_png(rim: &Rim, bits: Bits, effort: Effort) -> Vec<u8> {
    if effort == Effort::Small {
        return raster_png(rim.size(), bits, effort, || rim.eight(), || rim.sixteen());
    }
    output::stream::rim(rim, bits)
}

/// The PNG of a still.
pub fn still_png(still: &Still, bits: Bits, effort: Effort) -> Vec<u8> {
    raster_png(still.size, bits, effort, || still.eight(), || still.sixteen())
}

/// The PNG of texels that come at either depth.
fn raster_png(
    size: [u32; 2],
    bits: Bits,
    effort: Effort,
    eight: impl FnOnce() -> Vec<u8>,
    sixteen: impl FnOnce() -> Vec<u16>,
) -> Vec<u8> {
    match bits {
        Bits::Eight => output::encode(Raster::Eight { size, samples: &eight() }, effort),
        Bits::Sixteen => output::encode(Raster::Sixteen { size, samples: &sixteen() }, effort),
    }
}
