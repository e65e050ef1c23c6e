//! A sheet from close by, at 8 bits.

use super::Canvas;
use super::canvas::{DIM, LIGHT, MOUNT};
use super::scenes;
use fogweft::base::colour::Srgb;
use fogweft::base::fault::Result;
use fogweft::base::limits::Limits;
use fogweft::base::units::{Scale, Texel};
use fogweft::base::words::Anchor;
use fogweft::scene::recipe::layers::Resolved;
use fogweft::steps::dither;
use fogweft::steps::field::{FieldSpec, Sampling};
use fogweft::steps::sheet::{Row, Sheet, SheetSpec};
use fogweft::steps::step5_grade::Tones;
use std::path::Path;

/// Opacities of dust haze at 8 bits, rounded and dithered, at true size with the contrast stretched, and both as an eye takes them in
/// from afar: the mean of 8 by 8 texels.
pub fn banding(root: &Path) -> Result<Canvas> {
    let size = [472, 264];
    let shelf = scenes::presets(root, &Limits::default());
    let recipe = Resolved::of_preset(&shelf.get("dust-haze")?).recipe().expect("a preset's recipe");
    let field = FieldSpec::new([1920, size[1]], Anchor::Ground, Texel(520.0), Scale(1.0), &recipe, 3);
    let haze = Srgb::parse_hex("#d9d0b8").expect("a colour");
    let tones = Tones::new(haze, None, None, None, 0.0);
    let sheet = Sheet::new(SheetSpec { field, tau: 0.3, clear: 0.0, tones, light: 135.0 }, Sampling::Reduced);
    let (mut alpha, mut row) = (Vec::new(), Row::default());
    for y in 0..size[1] as usize {
        sheet.opacities(y, 0, size[0] as usize, &mut row);
        alpha.extend_from_slice(&row.alpha);
    }
    let exact = |x: u32, y: u32| alpha[(y * size[0] + x) as usize];
    let spots = || (0..size[1]).flat_map(|y| (0..size[0]).map(move |x| (x, y)));
    let (low, high) = spots()
        .map(|(x, y)| exact(x, y) * 255.0)
        .fold((f32::MAX, 0.0_f32), |(low, high), value| (low.min(value), high.max(value)));
    let stretched = |code: f64| {
        ((code - f64::from(low) + 0.5) / f64::from(high - low + 1.0) * 255.0).clamp(0.0, 255.0) as u8
    };
    let rounded = |x: u32, y: u32| (exact(x, y) * 255.0 + 0.5) as u8;
    let dithered =
        |x: u32, y: u32| dither::code(exact(x, y), dither::row(y as usize)[x as usize % dither::SIDE]);
    let far = |code: &dyn Fn(u32, u32) -> u8, x: u32, y: u32| {
        let (left, top) = (x.saturating_sub(4).min(size[0] - 8), y.saturating_sub(4).min(size[1] - 8));
        let sum: u32 = (0..64).map(|at| u32::from(code(left + at % 8, top + at / 8))).sum();
        f64::from(sum) / 64.0
    };
    let panels = [
        ("8 bits, rounded", Canvas::grey(size, |x, y| stretched(f64::from(rounded(x, y))))),
        ("8 bits, dithered", Canvas::grey(size, |x, y| stretched(f64::from(dithered(x, y))))),
        ("rounded, from afar", Canvas::grey(size, |x, y| stretched(far(&rounded, x, y)))),
        ("dithered, from afar", Canvas::grey(size, |x, y| stretched(far(&dithered, x, y)))),
    ];
    let mut out = Canvas::new([2 * size[0] + 24, 2 * (size[1] + 30) + 32], MOUNT);
    let codes = (high - low).round();
    let times = (255.0 / (high - low + 1.0)).round();
    let title =
        format!("Opacity of a sheet of dust haze: {codes} codes of 255, contrast stretched {times} times");
    out.write(&title, 18.0, [8, 6], LIGHT);
    for (at, (label, panel)) in panels.iter().enumerate() {
        let place = [8 + at as u32 % 2 * (size[0] + 8), 32 + at as u32 / 2 * (size[1] + 30)];
        out.lay(panel, place);
        out.write(label, 17.0, [place[0], place[1] + size[1] + 4], DIM);
    }
    Ok(out)
}
