//! Step 5: grade. From optical depth to the haze's colour and opacity.

use crate::base::colour::Srgb;
use crate::base::exp::opacity;
use crate::base::simd::{advance, blend, truncate};

/// The colours of one slot's fog.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tones {
    /// The haze.
    pub haze: Srgb,
    /// What the haze turns into away from the line.
    pub aloft: Option<Srgb>,
    /// What the side toward the light is mixed with.
    pub glow: Srgb,
    /// What the side away from the light is mixed with.
    pub shade: Srgb,
    /// How much the sides take of these, 0..1.
    pub lit: f64,
}

/// How much lighter and darker than the haze its lit and its far side are, in Oklab lightness, where the scene names no colours.
/// Chosen by eye.
const LIFT: f64 = 0.13;

impl Tones {
    /// Fills in glow and shade from the haze where they aren't given.
    pub fn new(haze: Srgb, aloft: Option<Srgb>, glow: Option<Srgb>, shade: Option<Srgb>, lit: f64) -> Tones {
        let [l, a, b] = haze.oklab();
        let [lighter, darker] = [LIFT, -LIFT].map(|by| Srgb::from_oklab([(l + by).clamp(0.0, 1.0), a, b]));
        Tones { haze, aloft, glow: glow.unwrap_or(lighter), shade: shade.unwrap_or(darker), lit }
    }

    /// Whether every texel has the one colour of the haze.
    pub fn plain(&self) -> bool {
        self.lit <= 0.0 && self.aloft.is_none()
    }

    /// The colours of a row from the side away from the light to the side toward it; `aloft` is the haze's share of its colour aloft.
    fn colours(&self, aloft: f64) -> Colours {
        let haze = self.aloft.map_or(self.haze, |colour| self.haze.mix(colour, aloft));
        // Each of the three is turned into Oklab once, not for every colour between them.
        let [middle, shade, glow] = [haze, self.shade, self.glow].map(Srgb::oklab);
        std::array::from_fn(|at| {
            let facing = at as f64 / HALF as f64 - 1.0;
            let share = facing.abs() * self.lit;
            let (side, end) = if facing < 0.0 { (shade, self.shade) } else { (glow, self.glow) };
            let [r, g, b] = if share <= 0.0 {
                haze.0
            } else if share >= 1.0 {
                end.0
            } else {
                Srgb::interpolate(middle, side, share).0
            };
            [r, g, b, 0.0]
        })
    }

    /// The colours of all rows.
    pub fn ramps(&self) -> Ramps {
        let steps = if self.aloft.is_some() { ALOFT_STEPS } else { 0 };
        Ramps { colours: (0..=steps).map(|at| self.colours(at as f64 / ALOFT_STEPS as f64)).collect() }
    }
}

/// Steps from the haze to each side of a ramp; colours between them are mixed evenly.
const HALF: usize = 16;

/// Steps from the haze to what it is aloft; colours between them are mixed evenly, which is a fortieth of a code off at most.
const ALOFT_STEPS: usize = 16;

/// The colours of a row, evenly spaced, from the side away from the light to the side toward it.
type Colours = [[f32; 4]; 2 * HALF + 1];

/// Ramps by the haze's share of its colour aloft.
#[derive(Clone, Debug)]
pub struct Ramps {
    colours: Vec<Colours>,
}

impl Ramps {
    /// The ramp of a row whose haze has this share of its colour aloft, 0..1; where it has none, the one there is.
    pub fn at(&self, aloft: f64) -> Ramp {
        if self.colours.len() == 1 {
            return Ramp::new(&self.colours[0]);
        }
        let position = aloft.clamp(0.0, 1.0) * (self.colours.len() - 1) as f64;
        let base = (position as usize).min(self.colours.len() - 1);
        let (low, high) = (&self.colours[base], &self.colours[(base + 1).min(self.colours.len() - 1)]);
        let share = (position - base as f64) as f32;
        Ramp::new(&std::array::from_fn(|at| blend(low[at], high[at], share)))
    }
}

/// Colours by facing; the haze stands in the middle, exactly. Encoded sRGB; the fourth number is 0 and fills a register.
#[derive(Clone, Debug)]
pub struct Ramp {
    /// Each colour but the last, and the difference of the next from it.
    steps: [[[f32; 4]; 2]; 2 * HALF],
}

impl Ramp {
    fn new(colours: &Colours) -> Ramp {
        Ramp {
            steps: std::array::from_fn(|at| {
                let (own, next) = (colours[at], colours[at + 1]);
                [own, std::array::from_fn(|channel| next[channel] - own[channel])]
            }),
        }
    }

    /// The colour of a place facing the light by -1..1.
    #[inline(always)]
    pub fn at(&self, facing: f32) -> [f32; 4] {
        let (base, share) = position(facing);
        self.interpolate(base, share)
    }

    #[inline(always)]
    fn interpolate(&self, base: i32, share: f32) -> [f32; 4] {
        // Places are within the ramp; the mask tells the compiler so.
        let [low, difference] = self.steps[base as usize & (2 * HALF - 1)];
        advance(low, difference, share)
    }

    /// Gives each of `targets` to `put`, with the colour of its place, facing the light by -1..1 or a hair more, and its opacity.
    #[inline(always)]
    pub fn paint<T>(
        &self,
        facing: &[f32],
        alphas: &[f32],
        targets: &mut [T],
        mut put: impl FnMut(&mut T, [f32; 4], f32),
    ) {
        // The places of a few at a time, in wide registers; then a colour after the other. Of all but the last few the number is known.
        const FEW: usize = 64;
        let (mut bases, mut shares) = ([0_i32; FEW], [0.0_f32; FEW]);
        let (blocks, rest) = facing.as_chunks::<FEW>();
        let (of_blocks, of_rest) = targets.as_chunks_mut::<FEW>();
        for ((facing, alphas), targets) in blocks.iter().zip(alphas.as_chunks::<FEW>().0).zip(of_blocks) {
            for at in 0..FEW {
                (bases[at], shares[at]) = position(facing[at].clamp(-1.0, 1.0));
            }
            for at in 0..FEW {
                put(&mut targets[at], self.interpolate(bases[at], shares[at]), alphas[at]);
            }
        }
        for ((facing, alpha), target) in rest.iter().zip(&alphas[facing.len() - rest.len()..]).zip(of_rest) {
            let (base, share) = position(facing.clamp(-1.0, 1.0));
            put(target, self.interpolate(base, share), *alpha);
        }
    }
}

/// The colour of a ramp before a place facing the light by -1..1, and how far that place is on the way to the next.
#[inline(always)]
fn position(facing: f32) -> (i32, f32) {
    let steps = (facing + 1.0) * HALF as f32;
    let base = truncate(steps).min(2 * HALF as i32 - 1);
    (base, steps - base as f32)
}

/// Turns densities into opacities: 1 - exp(-(clear + tau * density)), in place.
#[inline(always)]
pub fn opacities(density: &mut [f32], tau: f32, clear: f32) {
    for value in density.iter_mut() {
        // A cubic may stray a hair below 0 beside an edge.
        *value = opacity(clear + tau * value.max(0.0));
    }
}
