//! What a painter's hand does: drawn lines beside the fog they became, and a level's strip from end to end.

use super::Canvas;
use super::canvas::LIGHT;
use super::scenes::{LESS, Show, drawn, held, scene};
use fogweft::base::fault::Result;
use fogweft::base::limits::Limits;
use fogweft::base::units::Px;
use fogweft::base::words::Blending;
use fogweft::output::Effort;
use fogweft::output::forms::{self, Also, Pan};
use fogweft::plan::{Plan, haze};
use fogweft::scene::StrokesPlace;
use fogweft::scene::pictures::{Held, Pictures, Source};
use fogweft::stack::Stack;
use std::path::Path;

/// Lines in the middle of the marsh: width in px, and points in the view.
const LINES: [(u32, &str); 4] = [
    (28, "334 738L460 715L601 738L765 720"),
    (34, "900 678L1011 639L1116 671L1239 620L1450 678L1600 648L1750 669"),
    (20, "1178 580L1260 555L1362 569L1433 541"),
    (20, "1559 541L1682 522L1802 536"),
];

/// The lines as a drawing as large as the view.
fn lines(colour: &str) -> String {
    let path = |(width, points): (u32, &str)| {
        format!(
            "<path d=\"M{points}\" stroke-width=\"{width}\" stroke=\"{colour}\" fill=\"none\" stroke-linecap=\"round\" stroke-linejoin=\"round\"/>"
        )
    };
    let all: String = LINES.into_iter().map(path).collect();
    format!("<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"1920\" height=\"1080\">{all}</svg>")
}

/// The marsh with lines drawn over it, above the marsh with the fog that they became.
pub fn strokes(root: &Path) -> Result<Canvas> {
    let mut scene = scene(root, "salt-marsh", None, &[])?;
    let file = root.join("presets/salt-marsh/lines.svg");
    // The play plane's slot, which has moved as far as the camera.
    let place = StrokesPlace { x: Px(0.5 * scene.travel.right.0), weight: 4.0, ..StrokesPlace::of(&file) };
    let (mut above, _) = drawn(&scene, LESS, |_, job| Show::All.has(job))?;
    if let Some(slot) = scene.slots.iter_mut().find(|slot| slot.name == "reeds-near") {
        slot.strokes = Some(place);
    }
    let fog = Held::from([(file, lines("#fff").into())]);
    let (below, _) = held(&scene, LESS, |_, job| Show::All.has(job), &fog)?;
    over(&mut above, &lines("#ff4a2e"))?;
    // What of the view the lines lie in.
    let (top, height) = (above.size[1] / 4, above.size[1] / 2);
    let mut out = Canvas::new([above.size[0], 2 * height + 4], LIGHT);
    out.lay(&above.cut([0, top], [above.size[0], height]), [0, 0]);
    out.lay(&below.cut([0, top], [below.size[0], height]), [0, height + 4]);
    Ok(out)
}

/// Draws an SVG as large as the canvas over it.
fn over(canvas: &mut Canvas, svg: &str) -> Result<()> {
    let limits = Limits::default();
    let source = Source::from_bytes("lines.svg", svg.as_bytes().to_vec(), &limits)?;
    let picture = source.draw(canvas.size, false, false, Blending::Encoded, &limits)?;
    for (texel, [r, g, b, a]) in canvas.texels.chunks_exact_mut(4).zip(picture.texels) {
        for (code, drawn) in texel.iter_mut().zip([r, g, b]) {
            let share = u32::from(a);
            *code = ((u32::from(*code) * 257 * (65535 - share) / 65535 + u32::from(drawn) * share / 65535)
                / 257) as u8;
        }
    }
    Ok(())
}

/// The whole marsh from end to end, thin at its beginning and thick at its end.
pub fn strip(root: &Path) -> Result<Canvas> {
    let limits = Limits::default();
    let sets = ["air.along=[[0, 0.3], [1600, 0.8], [3840, 2.5]]".to_owned()];
    let scene = scene(root, "salt-marsh", None, &sets)?;
    let pictures = Pictures::open(&scene, &limits)?;
    let scene = &*haze::sampled(&scene, &pictures, &limits)?;
    let plan = Plan::new(scene, &pictures.naturals(), 0.25, &limits)?;
    let stack = Stack::new(&plan, &pictures, &limits)?;
    let how = forms::How { pan: &Pan::default(), shapes: None, effort: Effort::default(), limits: &limits };
    let png = forms::bytes(&stack, Also::Strip, &how)?;
    Ok(super::scenes::opened(&png))
}
