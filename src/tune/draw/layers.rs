//! The layers of a scene at one scale, as the page's threads hold them.

use crate::base::bitmap::Bitmap;
use crate::base::fault::{Faults, Result};
use crate::base::key::{Key, KeyWriter};
use crate::base::limits::Limits;
use crate::base::picture::Picture;
use crate::base::placing::Placing;
use crate::base::units::{Px, Rect, Scale};
use crate::base::words::Bits;
use crate::plan::{Job, Plan, RimJob};
use crate::rim::Rim;
use crate::scene::pictures::{Pictures, resize};
use crate::stack::compositor::Compositor;
use crate::stack::{Made, Source, Stack};
use crate::steps::field::{Field, Sampling};
use crate::steps::grid::Plane;
use crate::steps::sheet::Sheet;
use crate::store::cache::{Entry, Store};
use crate::store::maker::{Maker, Request};
use crate::tune::row_means::RowMeans;
use crate::tune::session::Version;
use crate::tune::view::{Ground, View};
use rayon::prelude::*;
use std::ops::Range;
use std::sync::Arc;

/// Most texels of a draft along x and y; chosen by eye.
const DRAFT: [f64; 2] = [960.0, 540.0];
/// Scale of a draft's fog over that of its art: fog is smooth; chosen by eye.
const COARSE: f64 = 0.25;
/// Most texels of a settled picture; chosen by eye.
const FULL: f64 = 2560.0 * 1440.0;

/// The plan of a scene with its pictures at `scale`.
pub(super) fn plan(version: &Version, pictures: &Pictures, scale: f64, limits: &Limits) -> Result<Plan> {
    Plan::new(&version.reading.scene, &pictures.naturals(), scale, limits)
}

/// The scale of the largest drafts.
pub(super) fn draft_scale(version: &Version) -> f64 {
    let [Px(width), Px(height)] = version.reading.scene.view;
    (DRAFT[0] / width).min(DRAFT[1] / height).min(1.0)
}

/// The scale of settled pictures: 1 where somebody is `zoomed` in.
pub(super) fn full_scale(version: &Version, zoomed: bool) -> f64 {
    let [Px(width), Px(height)] = version.reading.scene.view;
    if zoomed { 1.0 } else { (FULL / (width * height)).sqrt().min(1.0) }
}

/// The pictures of a plan without the air before them: held, they are found again when only that changes.
pub(super) fn bare(maker: &Maker<'_>, plan: &Plan, version: &Version) -> Result<Vec<Option<Arc<Picture>>>> {
    let drawn = |job: &Job| match job {
        Job::Art(job) => maker.lit(job, plan.blending, &version.pictures).map(Some),
        Job::Fog(_) | Job::Own(_) | Job::Rim(_) | Job::Lamp(_) => Ok(None),
    };
    let all: Vec<Result<Option<Arc<Picture>>>> = plan.files.par_iter().map(drawn).collect();
    Faults::gather(all)
}

/// What lies under the layers of a view.
pub(super) struct Under {
    ground: Ground,
    squares: Option<Picture>,
}

/// Greys of the light and the dark ground, and of a checkerboard's squares; chosen by eye.
const GREYS: [f32; 2] = [0.92, 0.11];
const SQUARES: [u16; 2] = [30_000, 39_000];
/// Squares of a checkerboard along the height of the picture.
const ACROSS: usize = 36;

impl Under {
    /// For a picture of `size` texels.
    pub fn new(ground: Ground, size: [u32; 2]) -> Under {
        let square = (size[1] as usize / ACROSS).max(4);
        let grey = |at: usize| {
            let (x, y) = (at % size[0] as usize / square, at / size[0] as usize / square);
            let grey = SQUARES[(x + y) % 2];
            [grey, grey, grey, u16::MAX]
        };
        let squares = (ground == Ground::Checkerboard).then(|| Picture {
            size,
            deep: true,
            texels: (0..size[0] as usize * size[1] as usize).map(grey).collect(),
        });
        Under { ground, squares }
    }

    /// Lays it under what `compositor` draws.
    pub fn lay<'a>(&'a self, compositor: Compositor<'a>) -> Compositor<'a> {
        match (self.ground, &self.squares) {
            (_, Some(squares)) => compositor.over_texels(squares),
            (Ground::Light, _) => compositor.over([GREYS[0]; 3]),
            (Ground::Dark, _) => compositor.over([GREYS[1]; 3]),
            _ => compositor,
        }
    }
}

/// A rim as a picture, which is drawn quickest, and where it stands.
pub(super) struct RimPicture {
    picture: Arc<Picture>,
    placing: Placing,
}

impl Entry for RimPicture {
    fn bytes(&self) -> usize {
        self.picture.bytes()
    }
}

impl RimPicture {
    fn key(rim: &Key) -> Key {
        KeyWriter::new("rim as a picture").part("rim", rim).key()
    }

    /// The pictures of a stack's solved rims for drafts of a plan that differs in its scale alone, found by the `keys` of its jobs. They are also
    /// put under their jobs' places: a draft shows the newest there until its own is solved.
    ///
    /// # Errors
    /// Where there is no memory for one.
    pub fn put_all(store: &Store, plan: &Plan, keys: &[Key], solved: &Stack<'_>) -> Result<()> {
        for ((job, key), made) in plan.files.iter().zip(keys).zip(&solved.made) {
            if let (Job::Rim(job), Some(Made::Rim(rim))) = (job, made) {
                let picture = match store.get(RimPicture::key(key)) {
                    Some(picture) => picture,
                    None => Arc::new(RimPicture::new(rim, solved.plan().scale, plan)?),
                };
                store.put(RimPicture::key(key), &picture);
                store.put(job.place_key(), &picture);
            }
        }
        Ok(())
    }

    /// Of a rim that was solved at one scale, for drafts of a plan.
    fn new(rim: &Rim, solved: Scale, plan: &Plan) -> Result<RimPicture> {
        let texels = rim.sixteen().as_chunks::<4>().0.to_vec();
        let picture = Picture { size: rim.size(), deep: true, texels };
        if plan.scale == solved {
            return Ok(RimPicture { picture: Arc::new(picture), placing: rim.placing.clone() });
        }
        let Rect { width, height, .. } = rim.placing.rect;
        let texels = [width, height].map(|side| (side * plan.scale).0.round().max(1.0) as u32);
        let picture = resize(picture, texels, rim.placing.period.is_some(), plan.blending)?;
        Ok(RimPicture { picture: Arc::new(picture), placing: Placing { texels, ..rim.placing.clone() } })
    }

    fn find(store: &Store, rim: &Key, job: &RimJob) -> Option<Arc<RimPicture>> {
        store.get(RimPicture::key(rim)).or_else(|| store.get(job.place_key()))
    }
}

/// A scene as drafts show it.
pub(super) struct Draft {
    pub plan: Plan,
    /// Its scale over that of the largest drafts.
    pub share: f64,
    made: Vec<Option<Made>>,
    bare: Vec<Option<Arc<Picture>>>,
    /// Keys of the layers as they are settled at this scale.
    pub keys: Vec<Key>,
    /// What its sheets are made of: held, it stays in the store, so that the first edit after a rest and the section find it there.
    _made_of: Vec<MadeOf>,
}

/// The bands and the density of a sheet.
type MadeOf = (Option<Arc<Plane>>, Option<Arc<Field>>);

/// What the sheets of a plan are made of, as far as it is in the store.
fn made_of(store: &Store, plan: &Plan) -> Vec<MadeOf> {
    let found = |job: &Job| match job {
        Job::Fog(job) => {
            let field = &job.spec.field;
            Some((store.get(field.bands(Sampling::Reduced).key()), store.get(field.key())))
        }
        Job::Own(_) | Job::Rim(_) | Job::Art(_) | Job::Lamp(_) => None,
    };
    plan.files.par_iter().filter_map(found).collect()
}

impl Draft {
    /// Works out what isn't in the store, at a `share` of the scale of the largest drafts.
    ///
    /// # Errors
    /// With all pictures that can't be drawn.
    pub fn new(store: &Store, version: &Version, share: f64, limits: &Limits) -> Result<Draft> {
        let pictures = &version.pictures;
        let scale = share * draft_scale(version);
        let (fine, coarse) = rayon::join(
            || -> Result<(Plan, Vec<Key>)> {
                let plan = plan(version, pictures, scale, limits)?;
                let keys = plan.keys(pictures, Bits::Sixteen);
                Ok((plan, keys))
            },
            || plan(version, pictures, scale * COARSE, limits),
        );
        let (mut plan, keys) = fine?;
        for (job, coarse) in plan.files.iter_mut().zip(coarse?.files) {
            if let (Job::Fog(job), Job::Fog(coarse)) = (job, coarse) {
                job.spec = coarse.spec;
            }
        }
        let maker = Maker::new(store, limits);
        let bare = bare(&maker, &plan, version)?;
        let mut stack = Stack::empty(&plan);
        maker.fill(&mut stack, &Request::without_rims(&plan, pictures))?;
        let (made, _made_of) = (stack.made, made_of(store, &plan));
        Ok(Draft { plan, share, made, bare, keys, _made_of })
    }

    /// The rims that the store has for it, by their jobs' places in the plan.
    pub fn rims(&self, store: &Store) -> Vec<Option<Arc<RimPicture>>> {
        let find = |(job, key): (&Job, &Key)| match job {
            Job::Rim(job) => RimPicture::find(store, key, job),
            Job::Fog(_) | Job::Own(_) | Job::Art(_) | Job::Lamp(_) => None,
        };
        self.plan.files.iter().zip(&self.keys).map(find).collect()
    }

    /// Whether there are as many jobs on a view of the same size, drawn over the same in the same way.
    pub fn is_as_large_as(&self, other: &Draft) -> bool {
        let whole = |plan: &Plan| {
            (plan.texels, plan.scale, plan.travel, plan.blending, plan.backdrop, plan.files.len())
        };
        whole(&self.plan) == whole(&other.plan)
    }

    /// Whether the same jobs stand at the same places, whatever their layers are.
    pub fn is_laid_out_as(&self, other: &Draft) -> bool {
        let mut jobs = self.plan.files.iter().zip(&other.plan.files);
        self.is_as_large_as(other) && jobs.all(|(one, other)| one.placing() == other.placing())
    }

    /// Whether a job of both, but for a rim, has the same layer at the same place.
    pub fn draws_as(&self, other: &Draft, at: usize) -> bool {
        let same = match (&self.made[at], &other.made[at]) {
            (None, None) => true,
            (Some(one), Some(other)) => one.is(other),
            _ => false,
        };
        same && self.plan.files[at].placing() == other.plan.files[at].placing()
    }

    /// The layer of a job, by its place in the plan.
    pub fn made(&self, at: usize) -> Option<&Made> {
        self.made[at].as_ref()
    }

    /// Its layers in a view: where fog has drifted for a while, it has flowed for as long, too.
    pub fn layers(&self, view: &View) -> Vec<Option<Made>> {
        if view.drift == 0.0 || view.bare {
            return self.made.clone();
        }
        let time = (view.drift / self.plan.loop_seconds).fract();
        let layer = |(job, made): (&Job, &Option<Made>)| match job {
            Job::Fog(job)
                if made.is_some()
                    && job.spec.field.recipe.bands.flow.0 != 0.0
                    && view.shows(&job.placing) =>
            {
                let (spec, _) = self.plan.sheet_at(job, time, 0.0);
                Some(Made::Sheet(Arc::new(Sheet::new(spec, Sampling::Reduced))))
            }
            _ => made.clone(),
        };
        self.plan.files.par_iter().zip(&self.made).map(layer).collect()
    }

    /// What is drawn of it in a view, with `layers` as [`Draft::layers`] gives them and `rims`, over `under`.
    pub fn compositor<'a>(
        &'a self,
        view: &View,
        layers: &'a [Option<Made>],
        rims: &'a [Option<Arc<RimPicture>>],
        under: &'a Under,
    ) -> Compositor<'a> {
        under.lay(self.some(0..self.plan.files.len(), view, layers, rims))
    }

    /// The same of some jobs, by their places in the plan, and over the scene's own ground.
    pub fn some<'a>(
        &'a self,
        jobs: Range<usize>,
        view: &View,
        layers: &'a [Option<Made>],
        rims: &'a [Option<Arc<RimPicture>>],
    ) -> Compositor<'a> {
        let shown = jobs.filter(|at| view.shows(self.plan.files[*at].placing()));
        let drawn = shown.filter_map(|at| Some((at, self.source(at, view, layers, rims)?)));
        let (places, sources): (Vec<usize>, Vec<_>) = drawn.unzip();
        let drift: Vec<f64> =
            places.iter().map(|at| view.drifted(&self.plan, &self.plan.files[*at])).collect();
        let camera = view.camera.within(self.plan.travel);
        Compositor::new(&self.plan, sources, camera).moved(&drift)
    }

    /// Pictures as they are drawn, far to near.
    pub fn arts(&self) -> impl DoubleEndedIterator<Item = (&Placing, &Arc<Bitmap>)> {
        self.plan.files.iter().zip(&self.made).filter_map(|(job, made)| match (job, made) {
            (Job::Art(job), Some(Made::Picture(picture))) => Some((&job.placing, picture)),
            _ => None,
        })
    }

    fn source<'a>(
        &'a self,
        at: usize,
        view: &View,
        layers: &'a [Option<Made>],
        rims: &'a [Option<Arc<RimPicture>>],
    ) -> Option<(&'a Placing, Source<'a>)> {
        let job = &self.plan.files[at];
        match job {
            Job::Fog(_) | Job::Own(_) | Job::Rim(_) | Job::Lamp(_) if view.bare => None,
            Job::Rim(_) => {
                let rim = rims.get(at)?.as_ref()?;
                Some((&rim.placing, Source::Picture(&rim.picture)))
            }
            Job::Art(_) if view.bare => Some((job.placing(), Source::Picture(self.bare[at].as_ref()?))),
            Job::Fog(_) | Job::Own(_) | Job::Art(_) | Job::Lamp(_) => {
                Some((job.placing(), layers[at].as_ref()?.source()))
            }
        }
    }

    /// Mean densities over the height of each sheet, by its place in the plan, and the scale that they are of.
    pub fn means(&self, store: &Store, limits: &Limits) -> (Vec<Option<RowMeans>>, Scale) {
        let maker = Maker::new(store, limits);
        let means = |job: &Job| match job {
            Job::Fog(job) => Some(RowMeans::new(&maker.density(&job.spec.field))),
            Job::Own(_) | Job::Rim(_) | Job::Art(_) | Job::Lamp(_) => None,
        };
        (self.plan.files.iter().map(means).collect(), COARSE * self.plan.scale)
    }
}
