//! Drafts drawn quickly: of a stack in which a few layers change, what lies under them and what lies over them is drawn once.

use crate::colour::Srgb;
use crate::plan::{Placing, Plan};
use crate::render::Made;
use crate::still::{Layer, Still};
use rayon::prelude::*;
use std::sync::Arc;

/// A layer and where it stands.
#[derive(Clone)]
pub(super) struct Placed {
    pub made: Made,
    pub placing: Placing,
}

impl Placed {
    fn layer(&self) -> Layer<'_> {
        match &self.made {
            Made::Sheet(sheet) if sheet.size() != self.placing.texels => Layer::Coarse(&self.placing, sheet),
            made => made.layer(&self.placing),
        }
    }

    fn is(&self, other: &Placed) -> bool {
        let same = match (&self.made, &other.made) {
            (Made::Sheet(a), Made::Sheet(b)) => Arc::ptr_eq(a, b),
            (Made::Rim(a), Made::Rim(b)) => Arc::ptr_eq(a, b),
            (Made::Picture(a), Made::Picture(b)) => Arc::ptr_eq(a, b),
            _ => false,
        };
        let (own, other) = (&self.placing, &other.placing);
        same && (own.pan_rate, own.rect, own.period) == (other.pan_rate, other.rect, other.period)
    }
}

/// What a frame is drawn on and from where.
#[derive(Clone, PartialEq)]
struct Ground {
    texels: [u32; 2],
    scale: f64,
    backdrop: Srgb,
    linear: bool,
    camera: f64,
}

/// The composites that were kept of the last frame.
#[derive(Default)]
pub(super) struct Easel {
    ground: Option<Ground>,
    layers: Vec<Placed>,
    /// So many layers from the farthest on, drawn.
    under: (usize, Vec<[f32; 3]>),
    /// So many layers up to the nearest, drawn on nothing: what they add, and what they leave of what is under them.
    over: (usize, Vec<[f32; 4]>),
    /// How many layers stayed the same at either end, the last time.
    same: [usize; 2],
}

impl Easel {
    /// Draws `layers`, far to near, at `camera`.
    pub fn draw(&mut self, plan: &Plan, layers: Vec<Placed>, camera: f64) -> Still {
        let ground = Ground {
            texels: plan.texels,
            scale: plan.scale,
            backdrop: plan.backdrop,
            linear: plan.blending == crate::scene::Blending::Linear,
            camera,
        };
        if self.ground.as_ref() != Some(&ground) {
            *self = Easel { ground: Some(ground), ..Easel::default() };
        }
        let pairs = || layers.iter().zip(&self.layers);
        let first = pairs().take_while(|(a, b)| a.is(b)).count();
        let from_end = layers.iter().rev().zip(self.layers.iter().rev());
        let most = layers.len().min(self.layers.len()) - first;
        let last = from_end.take_while(|(a, b)| a.is(b)).count().min(most);
        let seen: Vec<Layer<'_>> = layers.iter().map(Placed::layer).collect();
        let seen = &seen[..];
        // What is the same for the second time is worth keeping.
        let again = self.same == [first, last] && first + last < layers.len();
        if self.under.0 > first {
            self.under = (0, Vec::new());
        }
        if again && first > self.under.0 {
            let still = self.on(plan, &seen[self.under.0..first], camera);
            self.under = (first, still.colours);
        }
        if self.over.0 > last {
            self.over = (0, Vec::new());
        }
        if again && last > self.over.0 {
            self.over = (last, alone(plan, &seen[seen.len() - last..], camera));
        }
        let mut still = self.on(plan, &seen[self.under.0..seen.len() - self.over.0], camera);
        if self.over.0 > 0 {
            still.colours.par_iter_mut().zip(&self.over.1).for_each(|(colour, [r, g, b, left])| {
                *colour = [colour[0] * left + r, colour[1] * left + g, colour[2] * left + b];
            });
        }
        self.same = [first, last];
        self.layers = layers;
        still
    }

    fn on(&self, plan: &Plan, layers: &[Layer<'_>], camera: f64) -> Still {
        match self.under.0 {
            0 => Still::new(plan, layers, camera),
            _ => Still::onto(plan, layers, camera, self.under.1.clone()),
        }
    }
}

/// Layers drawn on nothing. On black stands what they add; what white gains over that is what they leave.
fn alone(plan: &Plan, layers: &[Layer<'_>], camera: f64) -> Vec<[f32; 4]> {
    let count = plan.texels.map(|side| side as usize).iter().product();
    let on = |value: f32| Still::onto(plan, layers, camera, vec![[value; 3]; count]).colours;
    let (black, white) = (on(0.0), on(1.0));
    black.into_par_iter().zip(white).map(|([r, g, b], white)| [r, g, b, white[1] - g]).collect()
}
