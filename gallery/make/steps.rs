//! One slot through the five steps.

use super::canvas::{DIM, LIGHT, MOUNT};
use super::{Canvas, scenes};
use fogweft::base::exp::opacity;
use fogweft::base::fault::Result;
use fogweft::base::limits::Limits;
use fogweft::base::seed;
use fogweft::plan::{FogJob, Job, Plan};
use fogweft::scene::pictures::Pictures;
use fogweft::steps::grid::{Grid, Plane};
use fogweft::steps::moment::Moment;
use fogweft::steps::{step1_bands, step2_falloff, step3_smear, step4_soften};
use std::path::Path;

const SCENE: &str = "salt-marsh";
const SLOT: &str = "reeds-far";
const WIDTH: u32 = 960;
/// Rows of the view that are shown, texels.
const ROWS: [u32; 2] = [230, 430];
const LABEL: u32 = 30;

/// Five panels: the density after each of the first four steps, light where it is dense, then the sheet over what stands behind it.
pub fn draw(root: &Path) -> Result<Canvas> {
    let limits = Limits::default();
    let scene = scenes::scene(root, SCENE, None, &[])?;
    let pictures = Pictures::open(&scene, &limits)?;
    let plan = Plan::new(&scene, &pictures.naturals(), f64::from(WIDTH) / scene.view[0].0, &limits)?;
    let fog = |job: &Job| matches!(job, Job::Fog(job) if job.placing.slot == SLOT);
    let last = plan.files.iter().position(fog).expect("the slot has a sheet");
    let Job::Fog(job) = &plan.files[last] else { unreachable!("found as fog") };

    let height = ROWS[1] - ROWS[0];
    let mut out = Canvas::new([WIDTH, 5 * (height + LABEL)], MOUNT);
    // As the still has it in the middle of the travel.
    let shift = (0.5 * plan.travel.right * job.placing.pan_rate * plan.scale).0.round() as u32;
    let densities = densities(job);
    let recipe = &job.spec.field.recipe;
    let unit = plan.scale.0 * job.placing.pan_rate;
    let px = |length: f64| (length / unit).round();
    let lines = [
        format!(
            "bands: layered noise in {} octaves, features {} px high and {} times as wide; it closes after a period",
            recipe.bands.octaves,
            px(recipe.bands.size.0),
            recipe.bands.stretch
        ),
        format!(
            "falloff: held to the ground; above its breathing top it thins by e every {} px",
            px(recipe.falloff.height.0)
        ),
        format!("smear: blurred along one direction, {} px", px(recipe.smear.length.0)),
        format!(
            "soften: a Gaussian, deviation {} px, {} times that along x",
            px(recipe.soften.sigma.0),
            recipe.soften.stretch
        ),
        format!(
            "grade: optical depth {:.2} on its line becomes opacity and the haze's colour; the sheet over what stands behind it",
            job.optical_depth
        ),
    ];
    for (at, line) in lines.iter().enumerate() {
        let top = at as u32 * (height + LABEL);
        let panel = match densities.get(at) {
            Some(plane) => Canvas::grey([WIDTH, height], |x, y| {
                let number = plane.row(y as usize)[((x + shift) as usize) % plane.cols];
                // Twice the mean is nearly white; the shade tells heaps from gaps at every step alike.
                (opacity(number) * 235.0 + 10.5) as u8
            }),
            None => {
                let (still, _) = scenes::drawn(&scene, f64::from(WIDTH), |index, _| index <= last)?;
                still.cut([0, ROWS[0]], [WIDTH, height])
            }
        };
        out.lay(&panel, [0, top]);
        let name = line.split(':').next().unwrap_or_default();
        out.write(name, 19.0, [8, top + height + 5], LIGHT);
        let rest = &line[name.len() + 2..];
        out.write(rest, 16.0, [84, top + height + 8], DIM);
    }
    Ok(out)
}

/// The density after each of the first four steps at every texel of the rows that are shown.
fn densities(job: &FogJob) -> Vec<Plane> {
    let spec = &job.spec.field;
    let recipe = &spec.recipe;
    // What the blurs reach beyond the rows.
    let margin = 80_u32;
    let grid = Grid {
        cols: spec.cols as usize,
        rows: (ROWS[1] - ROWS[0] + 2 * margin) as usize,
        step: [1.0, 1.0],
        top: f64::from(ROWS[0]) - f64::from(margin),
    };
    let mut plane = Plane::new(grid.cols, grid.rows);
    step1_bands::fill(
        &recipe.bands,
        seed::derive(spec.seed, "bands"),
        &Moment::REST,
        spec.line.0,
        None,
        &grid,
        &mut plane,
    );
    let mut all = vec![plane.clone()];
    let dice = seed::derive(spec.seed, "falloff");
    step2_falloff::apply(&recipe.falloff, dice, &Moment::REST, spec.line.0, spec.open, &grid, &mut plane);
    all.push(plane.clone());
    let plane = step3_smear::apply(plane.clone(), recipe.smear.length.0, recipe.smear.angle, grid.step);
    all.push(plane.clone());
    all.push(step4_soften::apply(
        plane,
        [recipe.soften.sigma.0 * recipe.soften.stretch, recipe.soften.sigma.0],
    ));
    for plane in &mut all {
        let cols = plane.cols;
        plane.data = plane.data[margin as usize * cols..][..(ROWS[1] - ROWS[0]) as usize * cols].to_vec();
    }
    all
}
