//! The layers of a scene at one scale, as the page's threads hold them.

use crate::base::fault::{Faults, Result};
use crate::base::key::{Key, KeyWriter};
use crate::base::limits::Limits;
use crate::base::picture::Picture;
use crate::base::placing::Placing;
use crate::base::words::Bits;
use crate::plan::{Job, Plan, RimJob};
use crate::rim::Rim;
use crate::stack::{Made, Stack};
use crate::store::cache::{Entry, Store};
use crate::store::maker::{Maker, Request};
use crate::tune::board::{Board, Easel, Laid, What};
use crate::tune::hub::View;
use crate::tune::row_means::RowMeans;
use crate::tune::session::Meant;
use rayon::prelude::*;
use std::sync::Arc;

/// Most texels of a draft along x and y; chosen by eye.
const DRAFT: [f64; 2] = [960.0, 540.0];
/// Scale of a draft's fog over that of its art: fog is smooth; chosen by eye.
const COARSE: f64 = 0.25;
/// Most texels of a settled picture; chosen by eye.
const FULL: f64 = 2560.0 * 1440.0;

/// The plan of a scene at `scale`.
pub(super) fn plan(meant: &Meant, scale: f64, limits: &Limits) -> Result<Plan> {
    Plan::new(&meant.reading.scene, &meant.arts.naturals(), scale, limits)
}

/// The scales of drafts, and of settled pictures.
pub(super) fn scales(meant: &Meant) -> [f64; 2] {
    let [width, height] = meant.reading.scene.view;
    let draft = (DRAFT[0] / width).min(DRAFT[1] / height).min(1.0);
    [draft, (FULL / (width * height)).sqrt().min(1.0)]
}

/// The pictures of a plan before they are treated: held, they are found again when only their treatment changes.
pub(super) fn bare(maker: &Maker<'_>, plan: &Plan, meant: &Meant) -> Result<Vec<Option<Arc<Picture>>>> {
    let drawn = |job: &Job| match job {
        Job::Art(job) => maker.untreated(job, plan.blending, &meant.arts).map(Some),
        Job::Fog(_) | Job::Rim(_) => Ok(None),
    };
    let all: Vec<Result<Option<Arc<Picture>>>> = plan.files.par_iter().map(drawn).collect();
    Faults::gather(all)
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

    /// The picture of a solved rim, found by the key `rim`. It is also put under its job's place: a draft shows the newest there until
    /// its own is solved.
    pub fn put(store: &Store, rim: &Key, job: &RimJob, solved: &Rim) {
        let picture = store.get(RimPicture::key(rim)).unwrap_or_else(|| {
            let texels = solved.sixteen().as_chunks::<4>().0.to_vec();
            let picture = Arc::new(Picture { size: solved.size(), deep: true, texels });
            Arc::new(RimPicture { picture, placing: solved.placing.clone() })
        });
        store.put(RimPicture::key(rim), &picture);
        store.put(job.place_key(), &picture);
    }

    fn find(store: &Store, rim: &Key, job: &RimJob) -> Option<Laid> {
        let found = store.get(RimPicture::key(rim)).or_else(|| store.get(job.place_key()));
        let found: Arc<RimPicture> = found?;
        Some(Laid { what: What::Picture(Arc::clone(&found.picture)), placing: found.placing.clone() })
    }
}

/// A scene as drafts show it.
pub(super) struct Draft {
    pub plan: Plan,
    made: Vec<Option<Made>>,
    bare: Vec<Option<Arc<Picture>>>,
    /// Keys of the layers as they are settled at this scale.
    keys: Vec<Key>,
}

impl Draft {
    /// Works out what isn't in the store.
    ///
    /// # Errors
    /// With all pictures that can't be drawn.
    pub fn new(store: &Store, meant: &Meant, limits: &Limits) -> Result<Draft> {
        let mut plan = plan(meant, scales(meant)[0], limits)?;
        let keys = plan.keys(&meant.arts, Bits::Sixteen);
        let coarse = self::plan(meant, plan.scale * COARSE, limits)?;
        for (job, coarse) in plan.files.iter_mut().zip(coarse.files) {
            if let (Job::Fog(job), Job::Fog(coarse)) = (job, coarse) {
                job.spec = coarse.spec;
            }
        }
        let maker = Maker::new(store, limits);
        let bare = bare(&maker, &plan, meant)?;
        let needed = plan.files.iter().map(|job| !matches!(job, Job::Rim(_))).collect();
        let mut stack = Stack::empty(&plan);
        maker.fill(&mut stack, &Request { needed, ..Request::all(&plan, &meant.arts, &[]) })?;
        let made = stack.made;
        Ok(Draft { plan, made, bare, keys })
    }

    /// The picture in a view, with the rims that the store has.
    pub fn board(&self, easel: &mut Easel, view: &View, store: &Store) -> Board {
        let laid: Vec<Laid> =
            (0..self.plan.files.len()).filter_map(|at| self.laid(at, view, store)).collect();
        easel.draw(&self.plan, &laid, view.camera.clamp(0.0, self.plan.travel))
    }

    fn laid(&self, at: usize, view: &View, store: &Store) -> Option<Laid> {
        let job = &self.plan.files[at];
        let what = match (job, &self.made[at]) {
            (Job::Fog(_) | Job::Rim(_), _) if view.bare => return None,
            (Job::Rim(job), _) => return RimPicture::find(store, &self.keys[at], job),
            (Job::Art(_), _) if view.bare => What::Picture(Arc::clone(self.bare[at].as_ref()?)),
            (_, Some(Made::Picture(picture))) => What::Picture(Arc::clone(picture)),
            (_, Some(Made::Sheet(sheet))) => What::Fog(Arc::clone(sheet)),
            _ => return None,
        };
        Some(Laid { what, placing: job.placing().clone() })
    }

    /// Mean densities over the height of each sheet, by its place in the plan, and the scale that they are of.
    pub fn means(&self, store: &Store, limits: &Limits) -> (Vec<Option<RowMeans>>, f64) {
        let maker = Maker::new(store, limits);
        let means = |job: &Job| match job {
            Job::Fog(job) => Some(RowMeans::new(&maker.density(&job.spec.field))),
            Job::Rim(_) | Job::Art(_) => None,
        };
        (self.plan.files.iter().map(means).collect(), self.plan.scale * COARSE)
    }
}
