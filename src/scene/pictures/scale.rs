//! Resampling by convolution, on premultiplied 16-bit integers.

use crate::base::fault::{Class, Fault};
use crate::base::picture::Picture;
use crate::base::room;
use crate::base::words::Blending;
use crate::scene::pictures::bleeding::{Doubt, Doubtful, Row, Trust, bled, is_sure};
use fast_image_resize::images::{TypedImage, TypedImageRef};
use fast_image_resize::pixels::U16x4;
use fast_image_resize::{FilterType, ResizeAlg, ResizeOptions, Resizer};
use std::sync::LazyLock;

/// Radius of the Catmull-Rom kernel, in texels of the coarser side.
const RADIUS: f64 = 2.0;

/// In doubt below an 8-bit step: under alphas that 8 bits can hardly tell from 0.
const TRUST: Trust = Trust { known: 257, blind: 257 };

/// Texels of a band of rows, about: what is held of a picture that is drawn at another size.
const BAND: usize = 1 << 18;

/// The picture at exactly `size`, which is not 0; as [`Target`] makes it.
pub(crate) fn resize(
    picture: Picture,
    size: [u32; 2],
    wraps: bool,
    blending: Blending,
) -> Result<Picture, Fault> {
    let mut target = Target::new(picture.size, size, picture.deep, wraps, blending)?;
    let rows = picture.size[0] as usize * target.band();
    picture.texels.chunks(rows).try_for_each(|rows| target.take(rows))?;
    drop(picture);
    target.finish()
}

/// A picture that is drawn at a size while its rows come in.
///
/// Where the size isn't its own: premultiplied 16-bit values, rounded in each of two passes, keep a colour to 1.5 / alpha of a 16-bit
/// step: half an 8-bit step where alpha is 3/255. Below that, colours mix with their neighbours (`bleeding`). Linear light costs near
/// black what it gains elsewhere: the darkest 8-bit code is kept to 1 part in 40.
///
/// Rows are resampled to the wanted width as they come in, and columns once all are there: the two passes of the library, so that the
/// bits don't depend on the bands.
pub(super) struct Target {
    own: [u32; 2],
    size: [u32; 2],
    deep: bool,
    wraps: bool,
    blending: Blending,
    /// At its own size: the texels.
    texels: Vec<[u16; 4]>,
    /// Else: rows of the wanted width, premultiplied.
    narrowed: Vec<U16x4>,
    resizer: Resizer,
}

impl Target {
    /// A picture of `own` texels at `size`; no side is 0.
    ///
    /// # Errors
    /// Class `Limit`: there is no memory for it.
    pub fn new(
        own: [u32; 2],
        size: [u32; 2],
        deep: bool,
        wraps: bool,
        blending: Blending,
    ) -> Result<Target, Fault> {
        let (mut texels, mut narrowed) = (Vec::new(), Vec::new());
        if own == size {
            room::reserve(&mut texels, own[0] as usize * own[1] as usize, WHAT)?;
        } else {
            room::reserve(&mut narrowed, size[0] as usize * own[1] as usize, WHAT)?;
        }
        Ok(Target { own, size, deep, wraps, blending, texels, narrowed, resizer: Resizer::new() })
    }

    /// Rows that are best taken together.
    pub fn band(&self) -> usize {
        (BAND / self.own[0] as usize).max(1)
    }

    /// Takes whole rows, the next from the top.
    pub fn take(&mut self, rows: &[[u16; 4]]) -> Result<(), Fault> {
        if self.own == self.size {
            self.texels.extend_from_slice(rows);
            return Ok(());
        }
        let (width, height) = (self.own[0], (rows.len() / self.own[0] as usize) as u32);
        if height == 0 {
            return Ok(());
        }
        if width == self.size[0] {
            self.narrowed.extend(premultiplied(rows, width as usize, 0, self.blending));
            return Ok(());
        }
        // The kernel reads beyond the crop: into the padding.
        let pad = if self.wraps { padding(width, self.size[0]) } else { 0 };
        let source: Vec<U16x4> = premultiplied(rows, width as usize, pad as usize, self.blending).collect();
        let mut target = TypedImage::<U16x4>::new(self.size[0], height);
        let crop = [pad, 0, width, height].map(f64::from);
        resample(&mut self.resizer, &source, [width + 2 * pad, height], crop, &mut target)?;
        self.narrowed.extend_from_slice(target.pixels());
        Ok(())
    }

    /// The picture, once all rows were taken.
    pub fn finish(mut self) -> Result<Picture, Fault> {
        let Target { size, deep, wraps, blending, .. } = self;
        if self.own == size {
            return Ok(Picture { size, deep, texels: self.texels });
        }
        let pixels = if self.own[1] == size[1] {
            self.narrowed
        } else {
            let area = size[0] as usize * size[1] as usize;
            let mut pixels: Vec<U16x4> = Vec::new();
            room::reserve(&mut pixels, area, WHAT)?;
            pixels.resize(area, U16x4::new([0; 4]));
            let from = [size[0], self.own[1]];
            let mut target = TypedImage::from_pixels_slice(size[0], size[1], &mut pixels).map_err(refused)?;
            let crop = [0, 0, from[0], from[1]].map(f64::from);
            resample(&mut self.resizer, &self.narrowed, from, crop, &mut target)?;
            drop(target);
            drop(self.narrowed);
            pixels
        };
        straightened(&pixels, size, deep, wraps, blending)
    }
}

/// What has no room where a fault says so.
const WHAT: &str = "a picture";

/// One pass of the library.
fn resample(
    resizer: &mut Resizer,
    source: &[U16x4],
    [width, height]: [u32; 2],
    [left, top, across, down]: [f64; 4],
    target: &mut TypedImage<'_, U16x4>,
) -> Result<(), Fault> {
    let options = ResizeOptions::new()
        .resize_alg(ResizeAlg::Convolution(FilterType::CatmullRom))
        .use_alpha(false)
        .crop(left, top, across, down);
    let source = TypedImageRef::new(width, height, source).map_err(refused)?;
    resizer.resize_typed(&source, target, &options).map_err(refused)
}

fn refused(error: impl std::fmt::Display) -> Fault {
    Fault::new(Class::Picture, format!("the picture can't be resized: {error}")).remedy("Save it again.")
}

/// Texels from premultiplied values; colours under low alpha are taken from around.
fn straightened(
    pixels: &[U16x4],
    size: [u32; 2],
    deep: bool,
    wraps: bool,
    blending: Blending,
) -> Result<Picture, Fault> {
    let mut texels = Vec::new();
    room::reserve(&mut texels, pixels.len(), WHAT)?;
    let tables = (blending == Blending::Linear).then(|| &*TABLES);
    let resampled = Resampled { size: size.map(|side| side as usize), pixels, tables };
    bled(&resampled, TRUST, wraps, &mut |_, row| texels.extend_from_slice(row));
    Ok(Picture { size, deep, texels })
}

/// Premultiplied values, in linear light where there are tables.
struct Resampled<'a> {
    size: [usize; 2],
    pixels: &'a [U16x4],
    tables: Option<&'a Tables>,
}

impl Resampled<'_> {
    fn encode(&self, value: u16) -> u16 {
        self.tables.map_or(value, |tables| tables.encode[usize::from(value)])
    }

    /// Two passes round once each.
    fn doubt_of(&self, pixel: U16x4) -> Doubt {
        let [r, g, b, alpha] = pixel.0;
        Doubt::new([r, g, b], alpha, 1).encoded(|value| self.encode(value))
    }

    /// The straight colour of a value, and whether it is known.
    fn texel(&self, pixel: U16x4) -> ([u16; 4], bool) {
        let [r, g, b, alpha] = pixel.0;
        let (colour, sure) = match alpha {
            0 => ([0; 3], false),
            // To three steps, of which not even the steepest part of the curve makes 257.
            u16::MAX => ([r, g, b], true),
            _ => ([r, g, b].map(|value| straight(value, alpha)), is_sure(self.doubt_of(pixel), TRUST)),
        };
        let [r, g, b] = colour.map(|value| self.encode(value));
        ([r, g, b, alpha], sure)
    }
}

impl Doubtful for Resampled<'_> {
    fn size(&self) -> [usize; 2] {
        self.size
    }

    fn row(&self, y: usize, row: &mut Row) {
        let pixels = &self.pixels[y * self.size[0]..][..self.size[0]];
        row.fill(pixels.iter().map(|pixel| self.texel(*pixel)));
    }

    fn doubt(&self, at: usize) -> Doubt {
        self.doubt_of(self.pixels[at])
    }
}

/// Texels to add on each side so that the kernel sees the next period.
fn padding(from: u32, to: u32) -> u32 {
    let shrink = (f64::from(from) / f64::from(to)).max(1.0);
    (RADIUS * shrink).ceil() as u32 + 1
}

/// Premultiplied values of rows of `width` texels, each with `pad` texels of its other end on both sides.
fn premultiplied(
    texels: &[[u16; 4]],
    width: usize,
    pad: usize,
    blending: Blending,
) -> impl Iterator<Item = U16x4> {
    let tables = (blending == Blending::Linear).then(|| &*TABLES);
    let value = move |value: u16, alpha: u16| {
        let value = tables.map_or(value, |tables| tables.decode[usize::from(value)]);
        ((u64::from(value) * u64::from(alpha) + 32767) / 65535) as u16
    };
    let start = (width - pad % width) % width;
    let padded = move |row| <[[u16; 4]]>::iter(row).cycle().skip(start).take(width + 2 * pad);
    texels
        .chunks_exact(width)
        .flat_map(padded)
        .map(move |&[r, g, b, alpha]| U16x4::new([value(r, alpha), value(g, alpha), value(b, alpha), alpha]))
}

/// PNG 12.3: divided by alpha, rounded; 0 where alpha is.
fn straight(value: u16, alpha: u16) -> u16 {
    let (value, alpha) = (u32::from(value), u32::from(alpha));
    (value * 65535 + alpha / 2).checked_div(alpha).map_or(0, |code| code.min(65535) as u16)
}

struct Tables {
    decode: Vec<u16>,
    encode: Vec<u16>,
}

/// IEC 61966-2-1 on 16-bit codes.
static TABLES: LazyLock<Tables> = LazyLock::new(|| {
    let table = |curve: fn(f64) -> f64| {
        (0..=u16::MAX).map(|code| (curve(f64::from(code) / 65535.0) * 65535.0 + 0.5) as u16).collect()
    };
    Tables {
        decode: table(|v| if v <= 0.04045 { v / 12.92 } else { libm::pow((v + 0.055) / 1.055, 2.4) }),
        encode: table(|v| if v <= 0.003_130_8 { v * 12.92 } else { 1.055 * libm::pow(v, 1.0 / 2.4) - 0.055 }),
    }
});
