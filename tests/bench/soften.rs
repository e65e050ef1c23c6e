//! Soften on its reduced grid against crate `libblur`'s exact Gaussian on every texel.

use crate::measure::{Table, best, pair, timed};
use fogweft::base::units::{Px, Scale, Texel};
use fogweft::base::words::Anchor;
use fogweft::scene::recipe::layers::Resolved;
use fogweft::steps::field::{Field, FieldSpec, Sampling};
use fogweft::steps::grid::Plane;
use fogweft::steps::step4_soften;
use fogweft::steps::upsample::Upsampler;
use libblur::{
    BlurImage, BlurImageMut, EdgeMode, EdgeMode2D, FastBlurChannels, GaussianBlurParams,
    IeeeBinaryConvolutionMode, ThreadingPolicy, gaussian_blur_f32,
};
use rayon::prelude::*;

const SIZE: [u32; 2] = [3840, 2160];

/// Adds soften's rows to the table.
pub fn rows(table: &mut Table) {
    let mut ours = Vec::new();
    for (sigma, bar) in [(10.0, 0.5), (40.0, 0.1), (120.0, 0.03)] {
        let spec = spec(sigma);
        let (reduced, grid) = spec.before_soften(Sampling::Reduced);
        let (full, _) = spec.before_soften(Sampling::Full);
        let rows = |plane: &Plane, out: &mut [f32]| {
            let (mut soft, grid) =
                step4_soften::reduce(plane.clone(), grid, [sigma, sigma], [f64::INFINITY; 2]);
            let upsampler = Upsampler::new(grid, SIZE[0] as usize);
            upsampler.prefilter(&mut soft);
            out.par_chunks_mut(SIZE[0] as usize).enumerate().for_each_init(Vec::new, |line, (y, row)| {
                upsampler.down(&soft, y as f64, [0, row.len()], line);
                upsampler.across(line, 0, row);
            });
        };
        let mut out = vec![0.0_f32; SIZE[0] as usize * SIZE[1] as usize];
        // Their plane has the rows beyond the sheet that the blur reaches, cut to the sheet's size: as much work.
        let source = &full.data[..out.len()];
        let kernel = 2 * (4.0 * sigma + 0.5) as u32 + 1;
        let params =
            GaussianBlurParams { x_kernel: kernel, x_sigma: sigma, y_kernel: kernel, y_sigma: sigma };
        let from = BlurImage::borrow(source, SIZE[0], SIZE[1], FastBlurChannels::Plane);
        let mut theirs = BlurImageMut::alloc(SIZE[0], SIZE[1], FastBlurChannels::Plane);
        let (mine, other) = pair(
            if sigma > 100.0 { 3 } else { 6 },
            || timed(|| rows(&reduced, &mut out)),
            || {
                timed(|| {
                    gaussian_blur_f32(
                        &from,
                        &mut theirs,
                        params,
                        EdgeMode2D::new(EdgeMode::Clamp),
                        ThreadingPolicy::Adaptive,
                        IeeeBinaryConvolutionMode::Normal,
                    )
                })
            },
        );
        table.raw(&format!("soften, sigma {sigma}, 3840x2160, stretched"), &mine);
        table.raw(&format!("libblur's Gaussian, sigma {sigma}, every texel"), &other);
        let ratio = mine.time.as_secs_f64() / other.time.as_secs_f64();
        table.row(&format!("soften, sigma {sigma} / libblur's Gaussian"), ratio, bar);
        table.row(&format!("soften, sigma {sigma}: error, steps of 8 bits"), error(&spec), 0.25);
        ours.push(best(6, || timed(|| rows(&reduced, &mut out))).time.as_secs_f64());
    }
    table.row("soften's time, sigma 120 / sigma 10", ours[2] / ours[0], 1.2);
}

/// Drifts a hundred texels high, softened, unsmeared.
fn spec(sigma: f64) -> FieldSpec {
    let mut recipe = Resolved::defaults().recipe().expect("the defaults are a recipe");
    recipe.bands.size = Px(100.0);
    recipe.smear.length = Px(0.0);
    recipe.soften.sigma = Px(sigma);
    recipe.soften.stretch = 1.0;
    FieldSpec::new(SIZE, Anchor::Ground, Texel(1800.0), Scale(1.0), &recipe, 1)
}

/// Largest difference in opacity between the reduced grid and every texel, in steps of 8 bits.
fn error(spec: &FieldSpec) -> f64 {
    let small = FieldSpec { cols: SIZE[0] / 4, ..spec.clone() };
    let [a, b] = [Sampling::Full, Sampling::Reduced].map(|sampling| {
        let mut field = Field::new(&small, sampling);
        let upsampler = Upsampler::new(field.grid, small.cols as usize);
        upsampler.prefilter(&mut field.density);
        let (mut line, mut out) = (Vec::new(), vec![0.0; small.cols as usize * small.rows as usize]);
        for (y, row) in out.chunks_exact_mut(small.cols as usize).enumerate() {
            upsampler.down(&field.density, y as f64, [0, row.len()], &mut line);
            upsampler.across(&mut line, 0, row);
        }
        out
    });
    let opacity = |density: f32| 255.0 * fogweft::base::law::opacity(f64::from(density));
    a.iter().zip(&b).map(|(a, b)| (opacity(*a) - opacity(*b)).abs()).fold(0.0, f64::max)
}
