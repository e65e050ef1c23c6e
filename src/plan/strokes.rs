//! Strokes in the plan: where they lie on their sheet, and by how much they exceed the law.

use crate::base::units::{Px, Scale};
use crate::plan::jobs::FogJob;
use crate::scene::StrokesPlace;
use crate::steps::field::FieldSpec;
use crate::steps::step2_falloff;
use crate::steps::strokes::{Drawing, Strokes};
use std::sync::Arc;

/// By how many px a whole number of strokes may miss the period.
const TILES_WITHIN: f64 = 0.5;

/// Most strokes side by side: narrower ones are finer than any blur.
const MOST_COPIES: f64 = 4096.0;

/// A drawing and its natural size, px.
pub(super) type Drawn = ([f64; 2], Arc<Drawing>);

/// Strokes as they lie on a sheet that begins at the left top of the view; where a whole number of them fills the `period` that the scene
/// gives, they stand side by side.
pub(super) fn on_sheet(
    place: &StrokesPlace,
    (natural, drawing): &Drawn,
    period: Option<Px>,
    scale: Scale,
) -> Strokes {
    let width = place.width.unwrap_or(Px(natural[0]));
    let often = period.map_or(1.0, |period| period / width);
    let tiles = often >= 1.5 && (often - often.round()).abs() * width.0 < TILES_WITHIN;
    let copies = if tiles { often.round().min(MOST_COPIES) as u32 } else { 1 };
    let rect = [place.x, place.y, width, width * natural[1] / natural[0]].map(|side| (side * scale).0);
    Strokes { drawing: Arc::clone(drawing), rect, copies, weight: place.weight, only: place.only }
}

/// By how much the mean over the strokes exceeds the law, if it does.
pub(super) fn note(job: &FogJob) -> Option<String> {
    let [wanted, lawful] = densities(&job.spec.field)?;
    let name = &job.placing.slot;
    (wanted > 1.005 * lawful).then(|| {
        format!("{name}: over its strokes the mean density is {wanted:.2}; the law gives {lawful:.2} there")
    })
}

/// Mean density that the strokes ask for, and that of the law at the same heights; none where nothing is drawn.
fn densities(field: &FieldSpec) -> Option<[f64; 2]> {
    let strokes = field.strokes.as_ref()?;
    let [width, height] = strokes.drawing.size.map(|side| side as usize);
    let falloff = &field.recipe.falloff;
    let (mut wanted, mut lawful, mut cover) = (0.0, 0.0, 0.0);
    for (row, marks) in strokes.drawing.marks.chunks_exact(width).enumerate() {
        let y = strokes.rect[1] + (row as f64 + 0.5) * strokes.rect[3] / height as f64;
        let over = ((y - field.line.0) * field.open) as f32;
        let law = step2_falloff::density(over, falloff.height.0 as f32, falloff.beyond.0 as f32);
        let sum = |at: usize| marks.iter().map(|mark| f64::from(mark[at])).sum::<f64>();
        wanted += strokes.weight * sum(0);
        lawful += f64::from(law) * sum(1);
        cover += sum(1);
    }
    (cover > 0.0).then(|| [wanted / cover, lawful / cover])
}
