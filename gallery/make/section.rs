//! A scene's section: depth against height, the density of its fog drawn.

use super::canvas::{DIM, LIGHT, MOUNT};
use super::{Canvas, scenes};
use fogweft::base::colour::Srgb;
use fogweft::base::exp::opacity;
use fogweft::base::fault::Result;
use fogweft::base::limits::Limits;
use fogweft::plan::{FogJob, Job, Plan};
use fogweft::scene::pictures::Pictures;
use fogweft::steps::field::{Field, Sampling};
use std::path::Path;

const SIZE: [u32; 2] = [1200, 560];
const LEFT: f64 = 76.0;
const TOP: f64 = 64.0;
const WIDE: f64 = 1104.0;
const HIGH: f64 = 450.0;
/// Texels of the plan to a texel of the section, down.
const SCALE: f64 = 0.25;

/// Scene px between two marks of the scale of heights.
const MARK: f64 = 200.0;

/// The section: from the eye on the left to the sky on the right, distance on a logarithmic scale; heights as in the view. The air
/// between two slots has the mean opacity of the sheet that stands for it; a slot is a line, and a bar as high as its picture.
pub fn draw(root: &Path, name: &str) -> Result<Canvas> {
    let limits = Limits::default();
    let scene = scenes::scene(root, name, None, &[])?;
    let pictures = Pictures::open(&scene, &limits)?;
    let plan = Plan::new(&scene, &pictures.naturals(), SCALE, &limits)?;
    let camera = plan.camera;
    let nearest = plan.files.iter().map(|job| job.placing().depth).fold(f64::INFINITY, f64::min);
    let farthest = plan.files.iter().map(|job| job.placing().depth).fold(0.0, f64::max);
    let (from, to) = (libm::log(0.85 * (camera + nearest)), libm::log(1.15 * (camera + farthest)));
    let column = |depth: f64| LEFT + WIDE * (libm::log(camera + depth) - from) / (to - from);

    let mut out = Canvas::new(SIZE, MOUNT);
    let title =
        format!("{name}: depth against height. The eye is on the left; distance from it is logarithmic");
    out.write(&title, 20.0, [LEFT as u32, 10], LIGHT);
    let ground = Srgb::parse_hex("#2a2d38").expect("a colour").to_codes();
    out.tint([LEFT as i64, TOP as i64, WIDE as i64, HIGH as i64], ground, 1.0);
    let jobs: Vec<&FogJob> = plan
        .files
        .iter()
        .filter_map(|job| if let Job::Fog(job) = job { Some(job.as_ref()) } else { None })
        .collect();
    for job in &jobs {
        let end = (job.placing.depth + job.gap).min(1.15 * (camera + farthest) - camera);
        let (left, right) = (column(job.placing.depth).round() as i64, column(end).round() as i64);
        let haze = Srgb::parse_hex(&job.haze).expect("a colour").to_codes();
        for (row, share) in profile(job).into_iter().enumerate() {
            out.tint([left, TOP as i64 + row as i64, right - left, 1], haze, f64::from(share));
        }
        // The line that the fog is held to.
        let line = (TOP + (job.spec.field.line.0 / SCALE) * HIGH / plan.view[1].0).round() as i64;
        if line >= TOP as i64 && line < (TOP + HIGH) as i64 {
            for x in (left..right).step_by(8) {
                out.tint([x, line, 4, 1], LIGHT, 0.8);
            }
        }
    }
    let mut last: Option<(f64, u32)> = None;
    for job in &plan.files {
        let Job::Art(art) = job else { continue };
        let place = &art.placing;
        let x = column(place.depth);
        out.tint([x as i64, TOP as i64, 1, HIGH as i64], DIM, 0.6);
        let source = pictures.source(&place.slot, place.kind, 0, &limits)?;
        let picture = source.draw(place.texels, art.flip, art.wraps, plan.blending, &limits)?;
        let across = picture.size[0] as usize;
        // Rows that it fills by more than a wire or a mast do.
        let stands = |row: &[[u16; 4]]| row.iter().filter(|texel| texel[3] > 0x7fff).count() * 25 > across;
        let rows: Vec<usize> = picture
            .texels
            .chunks_exact(across)
            .enumerate()
            .filter_map(|(at, row)| stands(row).then_some(at))
            .collect();
        if let (Some(first), Some(last)) = (rows.first(), rows.last()) {
            let height = |row: usize| {
                let y = (row as f64 / SCALE + place.rect.y.0) * HIGH / plan.view[1].0;
                y.clamp(0.0, HIGH) as i64
            };
            let (top, foot) = (height(*first), height(last + 1));
            out.tint([x as i64 - 3, TOP as i64 + top, 7, foot - top], LIGHT, 0.55);
        }
        let label = format!("{} {}", place.slot, place.depth);
        let row = match last {
            Some((near, 0)) if near - x < 104.0 => 1,
            _ => 0,
        };
        last = Some((x, row));
        out.centre(&label, 15.0, x, (TOP + HIGH) as u32 + 6 + row * 18, LIGHT);
    }
    scale(&mut out, scene.ground.0, plan.view[1].0);
    let foot = "bars: pictures; air between two slots: mean opacity of the sheet that stands for it; dashes: the line it is held to";
    out.write(foot, 15.0, [LEFT as u32, 40], DIM);
    Ok(out)
}

/// The scale of heights at the left: scene px over the ground on the play plane.
fn scale(out: &mut Canvas, ground: f64, view: f64) {
    // Less than nothing rounds up to -0, which isn't what a scale says.
    let mut height = MARK * ((ground - view) / MARK).ceil() + 0.0;
    while height <= ground {
        let y = TOP + (ground - height) * HIGH / view;
        out.tint([LEFT as i64 - 8, y as i64, 8, 1], LIGHT, 0.8);
        out.centre(&format!("{height:.0}"), 15.0, LEFT - 34.0, (y - 9.0).max(TOP - 9.0) as u32, LIGHT);
        height += MARK;
    }
    out.write("px", 15.0, [24, TOP as u32 - 26], DIM);
}

/// Mean opacity of a sheet at each row of the section.
fn profile(job: &FogJob) -> Vec<f32> {
    let field = Field::new(&job.spec.field, Sampling::Reduced);
    let tau = job.optical_depth as f32;
    let mean = |row: usize| {
        let numbers = field.density.row(row);
        numbers.iter().map(|number| opacity(tau * number)).sum::<f32>() / numbers.len() as f32
    };
    let means: Vec<f32> = (0..field.grid.rows).map(mean).collect();
    let rows = f64::from(job.spec.field.rows);
    (0..HIGH as usize)
        .map(|row| {
            let y = (row as f64 + 0.5) / HIGH * rows;
            let place = ((y - field.grid.top) / field.grid.step[1] - 0.5).max(0.0);
            let (at, share) = (place as usize, place.fract() as f32);
            let (a, b) = (means[at.min(means.len() - 1)], means[(at + 1).min(means.len() - 1)]);
            a + (b - a) * share
        })
        .collect()
}
