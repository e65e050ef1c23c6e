//! Scenes: the still bare, with sheets, with rims; its values; a clear evening.

use super::Canvas;
use super::canvas::{LIGHT, MOUNT};
use fogweft::base::bitmap::Bytes;
use fogweft::base::fault::Result;
use fogweft::base::limits::Limits;
use fogweft::base::raster::Owned;
use fogweft::base::words::Bits;
use fogweft::plan::{Job, Plan};
use fogweft::scene::pictures::{Held, Pictures};
use fogweft::scene::recipe::shelf::Shelf;
use fogweft::scene::{Scene, Source, read};
use fogweft::stack::Stack;
use fogweft::store::cache::Store;
use fogweft::store::maker::{Maker, Request};
use std::path::Path;

/// Width of a still in texels.
const WIDTH: f64 = 1280.0;
/// Width of a mood's still and of other views of a scene.
pub const LESS: f64 = 960.0;

/// What of a stack is drawn.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Show {
    /// The pictures alone.
    Bare,
    /// Pictures and sheets.
    Sheets,
    /// Rims, too.
    All,
}

impl Show {
    /// Whether a job is.
    pub fn has(self, job: &Job) -> bool {
        match job {
            Job::Art(_) => true,
            Job::Fog(_) | Job::Own(_) | Job::Lamp(_) => self != Show::Bare,
            Job::Rim(_) => self == Show::All,
        }
    }
}

/// The presets as the repository holds them.
pub fn presets(root: &Path, limits: &Limits) -> Shelf {
    let mut shelf = Shelf::default();
    shelf.put_folder(&root.join("presets"), limits);
    shelf
}

/// A scene of the repository, in a mood, with overrides.
pub fn scene(root: &Path, name: &str, mood: Option<&str>, sets: &[String]) -> Result<Scene> {
    let limits = Limits::default();
    let source = Source::load(&root.join("presets").join(name).join("scene.toml"), &limits)?;
    of_text(root, &source.file, &source.text, mood, sets)
}

/// A scene from a text that stands in for that of `file`.
pub fn of_text(root: &Path, file: &Path, text: &str, mood: Option<&str>, sets: &[String]) -> Result<Scene> {
    let limits = Limits::default();
    let shelf = presets(root, &limits);
    let options = read::Options { sets, limits: &limits, shelf: &shelf, check_art: true, held: None };
    read::read_mood(file, text, options, mood).map(|reading| reading.scene)
}

/// The still of `scene` at `width` texels in the middle of the travel, and its value view.
pub fn composed(scene: &Scene, width: f64, show: Show) -> Result<(Canvas, Vec<u8>)> {
    drawn(scene, width, |_, job| show.has(job))
}

/// The still of the jobs that `shown` lets through, by their place in the plan.
pub fn drawn(
    scene: &Scene,
    width: f64,
    shown: impl Fn(usize, &Job) -> bool + Sync,
) -> Result<(Canvas, Vec<u8>)> {
    held(scene, width, shown, &Held::new())
}

/// The same with drawings that are held in memory.
pub fn held(
    scene: &Scene,
    width: f64,
    shown: impl Fn(usize, &Job) -> bool + Sync,
    drawings: &Held,
) -> Result<(Canvas, Vec<u8>)> {
    let limits = Limits::default();
    let pictures = Pictures::open_held(scene, &limits, drawings)?;
    let scene = &*fogweft::plan::haze::sampled(scene, &pictures, &limits)?;
    let plan = Plan::new(scene, &pictures.naturals(), width / scene.view[0].0, &limits)?;
    let (store, cameras) = (Store::default(), [plan.travel.middle()]);
    let mut stack = Stack::empty(&plan);
    let request = Request {
        bits: Bits::Eight,
        needed: plan.files.iter().enumerate().map(|(at, job)| shown(at, job)).collect(),
        ..Request::all(&plan, &pictures, &cameras)
    };
    Maker::new(&store, &limits).fill(&mut stack, &request)?;
    let shown = stack.shown(cameras[0], Bits::Eight);
    let values = stack.values(&Bytes::new(stack.plan().texels[0] as usize, &shown.greys));
    Ok((canvas(shown.texels), values))
}

/// Texels of 8 bits.
pub fn canvas(texels: Owned) -> Canvas {
    let Owned::Eight { size, samples } = texels else { unreachable!("8 bits were asked for") };
    Canvas::of(size, samples)
}

/// A scene's still.
pub fn still(root: &Path, name: &str, mood: Option<&str>, show: Show) -> Result<Canvas> {
    let width = if mood.is_none() && show == Show::All { WIDTH } else { LESS };
    Ok(composed(&scene(root, name, mood, &[])?, width, show)?.0)
}

/// The marsh, at the left its pictures alone, at the right with all of its fog.
pub fn wipe(root: &Path) -> Result<Canvas> {
    let scene = scene(root, "salt-marsh", None, &[])?;
    let (mut out, _) = composed(&scene, LESS, Show::All)?;
    let (bare, _) = composed(&scene, LESS, Show::Bare)?;
    let half = out.size[0] / 2;
    out.lay(&bare.cut([0, 0], [half - 1, out.size[1]]), [0, 0]);
    out.lay(&Canvas::new([2, out.size[1]], LIGHT), [half - 1, 0]);
    Ok(out)
}

/// The lamps of the quay in air of three visibilities, side by side.
pub fn lamps(root: &Path) -> Result<Canvas> {
    const AIRS: [(&str, &str); 3] = [("9000", "thin air"), ("2000", "mist"), ("500", "thick fog")];
    let size = [420, 420];
    let mut out = Canvas::new([3 * (size[0] + 8) - 8, size[1] + 30], MOUNT);
    for (at, (visibility, name)) in (0..).zip(AIRS) {
        let scene = scene(root, "night-quay", None, &[format!("air.visibility={visibility}")])?;
        let (still, _) = composed(&scene, WIDTH, Show::All)?;
        let left = at * (size[0] + 8);
        out.lay(&still.cut([300, 210], size), [left, 0]);
        out.write(&format!("{name}: visibility {visibility}"), 18.0, [left + 8, size[1] + 5], LIGHT);
    }
    Ok(out)
}

/// A world by its recipe alone: one recipe and one air, without a number of a slot's own.
pub fn alone(root: &Path, name: &str) -> Result<Canvas> {
    Ok(composed(&super::shelf::alone(root, name)?, LESS, Show::All)?.0)
}

/// How the marsh's day breaks into its blue hour: both stills, mixed as a game mixes the files that the manifest says may fade.
pub fn fade(root: &Path) -> Result<Canvas> {
    const STEPS: u32 = 5;
    let (size, from) = ([244, 420], [596, 90]);
    let [day, night] = ["daybreak", "blue-hour"].map(|mood| still(root, "salt-marsh", Some(mood), Show::All));
    let (day, night) = (day?.cut(from, size), night?.cut(from, size));
    let mut out = Canvas::new([STEPS * (size[0] + 8) - 8, size[1] + 30], MOUNT);
    for step in 0..STEPS {
        let share = step * 100 / (STEPS - 1);
        let mix =
            |(a, b): (&u8, &u8)| ((u32::from(*a) * (100 - share) + u32::from(*b) * share + 50) / 100) as u8;
        let texels = day.texels.iter().zip(&night.texels).map(mix).collect();
        let left = step * (size[0] + 8);
        out.lay(&Canvas { size, texels }, [left, 0]);
        out.write(&format!("{share} % blue-hour"), 18.0, [left + 8, size[1] + 5], LIGHT);
    }
    Ok(out)
}

/// A scene's value view.
pub fn values(root: &Path, name: &str) -> Result<Canvas> {
    Ok(opened(&composed(&scene(root, name, None, &[])?, LESS, Show::All)?.1))
}

/// A PNG of our own.
pub fn opened(png: &[u8]) -> Canvas {
    let view = image::load_from_memory(png).expect("a PNG of our own").into_rgba8();
    Canvas::of([view.width(), view.height()], view.into_raw())
}

/// The marsh on a clear evening, when little air parts its silhouettes.
fn clear(root: &Path) -> Result<Scene> {
    scene(root, "salt-marsh", None, &["air.visibility=30000".to_owned()])
}

/// Its still.
pub fn evening(root: &Path, rims: bool) -> Result<Canvas> {
    Ok(composed(&clear(root)?, LESS, if rims { Show::All } else { Show::Sheets })?.0)
}

/// Its value view.
pub fn evening_values(root: &Path) -> Result<Canvas> {
    Ok(opened(&composed(&clear(root)?, LESS, Show::All)?.1))
}
