//! Tint: air in front of a picture, moved into its own colours by the law.

use crate::base::law;
use crate::base::space::Space;
use crate::base::words::Blending;
use crate::plan::treatment::Tint;

/// The air of a tint before a picture.
pub(super) struct Air<'a> {
    tint: &'a Tint,
    space: Space,
    haze: [f32; 3],
    /// Columns of the picture, and the factor on the fog at each, where that isn't 1 all along.
    width: usize,
    factors: Option<Vec<f32>>,
}

impl<'a> Air<'a> {
    pub fn new(tint: &'a Tint, width: usize, blending: Blending) -> Air<'a> {
        let space = Space::new(blending);
        let haze = space.enter(tint.haze.0);
        let factors = tint.along.as_ref().map(|along| along.columns(width));
        Air { tint, space, haze, width, factors }
    }

    /// Moves the air into the colours of the rows from `first` on.
    pub fn apply(&self, first: usize, rows: &mut [[u16; 4]]) {
        for (y, texels) in (first..).zip(rows.chunks_mut(self.width)) {
            self.row(y, texels);
        }
    }

    fn row(&self, y: usize, texels: &mut [[u16; 4]]) {
        let Air { tint, space, haze, factors, .. } = self;
        let depths = |x: usize| tint.at([x as f64 + 0.5, y as f64 + 0.5]);
        let even = depths(0);
        let level = law::opacity(even[0] + even[1]) as f32;
        let sloped = tint.falloff.slope.is_some();
        let is_even = factors.is_none() && !sloped;
        let mut last: Option<([u16; 3], [u16; 3])> = None;
        for (x, texel) in texels.iter_mut().enumerate() {
            let codes = [texel[0], texel[1], texel[2]];
            // Art is flat for the most part.
            if let (true, Some((same, mixed))) = (is_even, last)
                && same == codes
            {
                texel[..3].copy_from_slice(&mixed);
                continue;
            }
            let opacity = if is_even {
                level
            } else {
                let [clear, fog] = if sloped { depths(x) } else { even };
                let factor = factors.as_ref().map_or(1.0, |factors| f64::from(factors[x]));
                law::opacity(clear + fog * factor) as f32
            };
            let own = space.enter(codes.map(|code| f32::from(code) / 65535.0));
            let mixed = std::array::from_fn(|at| own[at] + (haze[at] - own[at]) * opacity);
            let mixed = space.leave(mixed).map(|value| (value.clamp(0.0, 1.0) * 65535.0 + 0.5) as u16);
            texel[..3].copy_from_slice(&mixed);
            last = Some((codes, mixed));
        }
    }
}
