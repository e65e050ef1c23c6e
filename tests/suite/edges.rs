//! Edges of the delivered sheets: how much of them is drawn finer than their features.

use crate::util::{preset, presets, spec};
use fogweft::base::colour::Srgb;
use fogweft::steps::field::Sampling;
use fogweft::steps::grid::Plane;
use fogweft::steps::sheet::{Sheet, SheetSpec};
use fogweft::steps::step4_soften;
use fogweft::steps::step5_grade::Tones;

const SIZE: [u32; 2] = [1920, 1080];

/// A Gaussian of this many wavelengths halves the amplitude of a wave: sqrt(2 ln 2) / (2 pi).
const HALVES: f64 = 0.187;

/// Opacities of a preset's sheet of optical depth 1 as they are delivered, at 8 bits.
fn delivered(name: &str) -> Plane {
    let tones = Tones::new(Srgb::parse_hex("#c3c9cf").unwrap(), None, None, None, preset(name).1.grade.lit);
    let spec = SheetSpec { field: spec(name, SIZE, 5), tau: 1.0, clear: 0.0, tones, light: 150.0 };
    let texels = Sheet::new(spec, Sampling::Reduced).eight(SIZE[0]);
    let data = texels.chunks_exact(4).map(|texel| f32::from(texel[3])).collect();
    Plane { cols: SIZE[0] as usize, data }
}

/// The share of the edge, where opacity passes half of its most, around which waves shorter than `length` texels come to `codes` in the
/// root mean square over as far.
fn share_finer(alpha: &Plane, length: f64, codes: f32) -> f64 {
    let slow = step4_soften::apply(alpha.clone(), [HALVES * length; 2]);
    let squares = alpha.data.iter().zip(&slow.data).map(|(own, slow)| (own - slow) * (own - slow)).collect();
    let around = step4_soften::apply(Plane { cols: alpha.cols, data: squares }, [0.5 * length; 2]);
    let mut sorted = alpha.data.clone();
    sorted.sort_unstable_by(f32::total_cmp);
    let half = 0.5 * sorted[sorted.len() * 99 / 100];
    let (mut edge, mut finer) = (0.0, 0.0);
    for at in alpha.cols..alpha.data.len() {
        if (alpha.data[at] >= half) != (alpha.data[at - alpha.cols] >= half) {
            edge += 1.0;
            finer += f64::from(u8::from(around.data[at] >= codes * codes));
        }
    }
    assert!(edge > 500.0, "an edge of {edge} texels");
    finer / edge
}

/// Of every bank and deck at least a fifth of the edge's length shows detail finer than a quarter of a feature: 5 codes of 8 bits of it.
/// Blurred as much as such detail bears, no tenth of it does.
#[test]
fn edges_are_finer_than_features() {
    for name in presets() {
        let recipe = preset(&name).1;
        if recipe.falloff.firm <= 0.0 {
            continue;
        }
        let quarter = recipe.bands.size.0 / 4.0;
        let alpha = delivered(&name);
        let share = share_finer(&alpha, quarter, 5.0);
        let blurred = share_finer(&step4_soften::apply(alpha, [quarter; 2]), quarter, 5.0);
        println!("{name}: {:.0} % of its edge, blurred {:.0} %", 100.0 * share, 100.0 * blurred);
        assert!(share >= 0.2 && blurred < 0.1, "{name}: {share}, blurred {blurred}");
    }
}
