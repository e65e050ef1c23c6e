//! Pictures that repeat edge to edge although their edges don't meet.

use crate::base::bitmap::Bitmap;
use crate::base::placing::Kind;
use crate::base::units::Camera;
use crate::plan::{Job, Plan};
use crate::stack::{Made, Stack};
use rayon::prelude::*;

/// How much more must change across the edges than between columns inside, to be told; chosen by eye.
const MORE: f64 = 4.0;
/// How many of the columns inside change less than what is compared with: a picture has outlines of its own.
const SHARE: f64 = 0.95;
/// Least mean change across the edges that is told, 8-bit codes.
const LEAST: f64 = 1.5;
/// How far from the edges of the view a seam must stand to be seen, scene px.
const INSIDE: f64 = 1.0;

/// A seam of a picture that repeats.
#[derive(Clone, Debug, PartialEq)]
pub struct Seam {
    /// The slot.
    pub slot: String,
    /// Whether it is the slot's art, or its own sheet.
    pub kind: Kind,
    /// How far the picture changes across its edges, mean over its height, 8-bit codes.
    pub change: f64,
    /// A camera place from which it is seen.
    pub camera: Camera,
    /// Where it stands in the view from there, scene px.
    pub x: f64,
    /// Distance to the next one, scene px.
    pub period: f64,
}

impl Seam {
    /// What shows and where, in one line.
    pub fn message(&self) -> String {
        let what = if self.kind == Kind::Fog { "its own sheet" } else { "its picture" };
        let Seam { change, camera, x, period, .. } = self;
        format!(
            "{what} repeats, but its left and right edges don't meet: they differ by {change:.0} 8-bit steps, and a seam shows {x:.0} px from \
             the left of the view at camera place {camera}, and every {period:.0} px from there"
        )
    }
}

impl Plan {
    /// The jobs whose pictures repeat edge to edge.
    pub fn repeating(&self) -> Vec<bool> {
        let repeats = |job: &Job| matches!(job, Job::Art(art) | Job::Own(art) if art.wraps);
        self.files.iter().map(repeats).collect()
    }
}

impl Stack<'_> {
    /// The seams that are seen from some camera place, of the pictures that are worked out.
    pub fn seams(&self) -> Vec<Seam> {
        let repeating = self.plan.repeating();
        let jobs = self.plan.files.iter().zip(&self.made).zip(repeating).filter(|(_, repeats)| *repeats);
        jobs.filter_map(|((job, made), _)| match made {
            Some(Made::Picture(picture)) => self.seam(job, picture),
            _ => None,
        })
        .collect()
    }

    fn seam(&self, job: &Job, picture: &Bitmap) -> Option<Seam> {
        let placing = job.placing();
        let period = placing.period?.0;
        let (travel, view) = (self.plan.travel.right.0, self.plan.view[0].0);
        // The first seam within the view at the start of the travel, or beyond it.
        let first = (placing.rect.x.0 - INSIDE).rem_euclid(period) + INSIDE;
        let right = ((first - 0.5 * view) / placing.pan_rate).clamp(0.0, travel).floor();
        let x = first - right * placing.pan_rate;
        if x > view - INSIDE {
            return None;
        }
        let change = change(picture)?;
        let (slot, kind) = (placing.slot.clone(), placing.kind);
        Some(Seam { slot, kind, change, camera: Camera::new(right, 0.0), x, period })
    }
}

/// How far a picture changes from its last column to its first, mean over its height, in 8-bit codes; none where that is about what it does
/// inside.
fn change(picture: &Bitmap) -> Option<f64> {
    let [width, height] = picture.size.map(|side| side as usize);
    if width < 3 {
        return None;
    }
    // Whole numbers: their sum is the same in any order.
    let rows = picture.bands().fold(
        || vec![0_u64; width],
        |mut sums, (_, band)| {
            for row in band.chunks(width) {
                for (at, sum) in sums.iter_mut().enumerate() {
                    *sum += u64::from(difference(row[at], row[(at + 1) % width]));
                }
            }
            sums
        },
    );
    let mut sums = rows.reduce(
        || vec![0_u64; width],
        |mut all, sums| {
            all.iter_mut().zip(sums).for_each(|(all, sum)| *all += sum);
            all
        },
    );
    let codes = |sum: u64| sum as f64 / height as f64 / 257.0;
    let across = codes(sums.pop()?);
    let at = ((sums.len() - 1) as f64 * SHARE) as usize;
    let inside = codes(*sums.select_nth_unstable(at).1);
    (across > LEAST && across > MORE * inside).then_some(across)
}

/// The largest difference of two texels, each as it would lie over black, or of their alphas.
fn difference(one: [u16; 4], other: [u16; 4]) -> u16 {
    let laid = |[r, g, b, alpha]: [u16; 4]| {
        let over = |value: u16| (u32::from(value) * u32::from(alpha) / 65535) as u16;
        [over(r), over(g), over(b), alpha]
    };
    let pairs = laid(one).into_iter().zip(laid(other));
    pairs.map(|(a, b)| a.abs_diff(b)).max().unwrap_or(0)
}
