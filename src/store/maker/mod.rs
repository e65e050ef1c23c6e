//! The maker: works out the layers of a plan, or finds them in the store. Runs, checks, variations, single rims and the tuning page ask
//! it for the same things; a draft is the same request for a plan of a smaller scale.

mod art;
mod rims;
mod stages;

use crate::base::fault::{Faults, Result};
use crate::base::key::KeyWriter;
use crate::base::limits::Limits;
use crate::base::picture::Picture;
use crate::base::placing::Placing;
use crate::base::progress::{Progress, Silent, Stage, stage};
use crate::base::threads;
use crate::base::units::Camera;
use crate::base::words::Bits;
use crate::plan::{Job, LampSpec, Plan};
use crate::scene::pictures::Pictures;
use crate::stack::{Made, Stack, lamp};
use crate::steps::field::{Field, FieldSpec, Sampling};
use crate::steps::grid::Plane;
use crate::steps::sheet::{self, Opacity, Sheet, SheetSpec};
use crate::store::cache::Store;
use stages::{BandsStage, FacingStage, Factor, FieldStage, OpacityStage};
use std::cmp::Reverse;
use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::Arc;

/// Largest field that is put on disk, in samples: fine fog on a large sheet is quicker worked out than read.
const MOST_OF_FIELD: usize = 4 << 20;

/// Most bytes of a scene's bands and opacities together that are put on disk.
const MOST_IN_ALL: u64 = 128 << 20;

/// Which layers of a plan are asked for, and how.
pub struct Request<'a> {
    /// The scene's pictures.
    pub pictures: &'a Pictures,
    /// Bits of the outputs. Pictures stand in the stack as their files hold them.
    pub bits: Bits,
    /// Of each job, by its place in the plan, whether it is needed; with a rim, its art and all that stands behind it.
    pub needed: Vec<bool>,
    /// Files that hold the pictures of jobs already, with their hashes; reading is quicker than drawing.
    pub files: BTreeMap<usize, (PathBuf, String)>,
    /// Camera places that the outlines are looked at from.
    pub cameras: &'a [Camera],
}

impl<'a> Request<'a> {
    /// Every job of `plan`, for outputs of 16 bits.
    pub fn all(plan: &Plan, pictures: &'a Pictures, cameras: &'a [Camera]) -> Request<'a> {
        let needed = vec![true; plan.files.len()];
        Request { pictures, bits: Bits::Sixteen, needed, files: BTreeMap::new(), cameras }
    }

    /// The same but for rims, and no outlines are looked at: what is soon there.
    pub fn without_rims(plan: &Plan, pictures: &'a Pictures) -> Request<'a> {
        let needed = plan.files.iter().map(|job| !matches!(job, Job::Rim(_))).collect();
        Request { needed, ..Request::all(plan, pictures, &[]) }
    }
}

/// Which planes are put on disk besides small fields.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct Room {
    bands: bool,
    /// Opacities, and how sheets face the light.
    planes: bool,
}

/// Works layers out, or finds them in its store.
#[derive(Clone, Copy)]
pub struct Maker<'a> {
    /// What was worked out before.
    pub store: &'a Store,
    /// Bounds.
    pub limits: &'a Limits,
    /// Told of each job that is there, with its texels; work ends early once it says so.
    pub progress: &'a dyn Progress,
    /// Most jobs that are worked on at once.
    pub at_once: usize,
}

impl<'p> Stack<'p> {
    /// Works out every job of the plan, for outputs of 16 bits; the outlines are looked at from [`Plan::cameras`] along the travel.
    ///
    /// # Errors
    /// Those of drawing the pictures.
    pub fn new(plan: &'p Plan, pictures: &Pictures, limits: &Limits) -> Result<Stack<'p>> {
        Maker::new(&Store::default(), limits).stack(plan, pictures)
    }
}

impl<'a> Maker<'a> {
    /// One that tells nobody.
    pub fn new(store: &'a Store, limits: &'a Limits) -> Maker<'a> {
        Maker { store, limits, progress: &Silent, at_once: rayon::current_num_threads() }
    }

    /// As [`Stack::new`].
    ///
    /// # Errors
    /// Those of drawing the pictures.
    pub fn stack<'p>(&self, plan: &'p Plan, pictures: &Pictures) -> Result<Stack<'p>> {
        let mut stack = Stack::empty(plan);
        self.fill(&mut stack, &Request::all(plan, pictures, &plan.cameras()))?;
        Ok(stack)
    }

    /// Brings into `stack` what is asked for and isn't there yet, and looks at the outlines. False if it was stopped before the end.
    ///
    /// # Errors
    /// With all pictures that can't be drawn.
    pub fn fill(&self, stack: &mut Stack<'_>, request: &Request<'_>) -> Result<bool> {
        let plan = stack.plan();
        let due: Vec<usize> =
            (0..plan.files.len()).filter(|at| request.needed[*at] && !stack.has(*at)).collect();
        let room = self.room(plan, &due);
        let Some(smaller) = self.smaller_rims(plan, &due, request)? else { return Ok(false) };
        let work = |at: &usize| {
            let path = &plan.files[*at].placing().path;
            stage(self.progress, Stage::Layer, path, || self.layer(plan, *at, request, room))
        };
        // Lamps after the sheets that they shine on.
        let is_lamp = |at: &usize| matches!(plan.files[*at], Job::Lamp(_));
        let (lamps, others): (Vec<usize>, Vec<usize>) = due.iter().partition(|at| is_lamp(at));
        for mut part in [others, lamps] {
            // Once for each: what a sheet takes follows from its grids.
            part.sort_by_cached_key(|at| Reverse(weight(&plan.files[*at])));
            let each = || threads::each_of(part, self.at_once, |at| (at, work(&at)));
            let mut results: Vec<(usize, Result<Option<Made>>)> =
                stage(self.progress, Stage::Layers, "", each);
            results.sort_by_key(|(at, _)| *at);
            for (at, made) in Faults::gather(results.into_iter().map(|(at, made)| Ok((at, made?))))? {
                if made.is_some() {
                    stack.made[at] = made;
                }
            }
        }
        if due.is_empty() && stack.survey.cameras == request.cameras {
            return Ok(!self.progress.stopped());
        }
        let rims = || self.rims(stack, &due, request, smaller);
        Ok(!self.progress.stopped() && stage(self.progress, Stage::Rims, "", rims)?)
    }

    /// The layer of a job; none for a rim, which is solved when all behind it is there, and none once the work was stopped.
    fn layer(&self, plan: &Plan, at: usize, request: &Request<'_>, room: Room) -> Result<Option<Made>> {
        if self.progress.stopped() {
            return Ok(None);
        }
        let made = match &plan.files[at] {
            Job::Fog(job) => Made::Sheet(self.sheet(&job.spec, room)),
            Job::Rim(_) => return Ok(None),
            Job::Lamp(job) => Made::Lamp(self.lamp(&job.spec, room)),
            Job::Art(job) | Job::Own(job) => {
                Made::Picture(self.picture(job, plan.blending, request, request.files.get(&at))?)
            }
        };
        self.tell(plan.files[at].placing());
        Ok(Some(made))
    }

    fn tell(&self, placing: &Placing) {
        self.progress.worked(&placing.path, work_of(placing));
    }

    /// What of the jobs `due` there is room for on disk. Where the planes of the whole plan would take more than is given them, or than the
    /// store keeps, those of no sheet are put there, but the bands of one that is tweaked by itself.
    fn room(&self, plan: &Plan, due: &[usize]) -> Room {
        if !self.store.is_on_disk() {
            return Room::default();
        }
        let bytes = |job: &Job| match job {
            Job::Fog(job) => {
                let field = &job.spec.field;
                let [cols, rows] = field.bands(Sampling::Reduced).size();
                (size_of::<f32>() * cols * rows) as u64 + field.bytes()[0] as u64
            }
            Job::Own(_) | Job::Rim(_) | Job::Art(_) | Job::Lamp(_) => 0,
        };
        let is_new = |at: &&usize| match &plan.files[**at] {
            Job::Fog(job) => !self.store.has(&FieldStage(&job.spec.field)),
            Job::Own(_) | Job::Rim(_) | Job::Art(_) | Job::Lamp(_) => false,
        };
        let most = MOST_IN_ALL.min(self.store.most_on_disk());
        let planes = plan.files.iter().map(bytes).sum::<u64>() <= most;
        Room { bands: planes || due.iter().filter(is_new).count() == 1, planes }
    }

    fn sheet(&self, spec: &SheetSpec, room: Room) -> Arc<Sheet> {
        let key = spec.key();
        if let Some(sheet) = self.store.get::<Sheet>(key) {
            return sheet;
        }
        let facing = spec.facing_key().map(|key| FacingStage { spec, key });
        let mut opacity = self.store.find(&OpacityStage(spec));
        let mut faces = facing.as_ref().and_then(|facing| self.store.find(facing));
        if opacity.is_none() || (facing.is_some() && faces.is_none()) {
            let field = self.field(&spec.field, room);
            faces = faces.or_else(|| {
                Some(self.store.insert(facing.as_ref()?, sheet::facing(spec, &field), room.planes))
            });
            // Last: where nobody else holds the field, they take its place.
            opacity = opacity.or_else(|| {
                let made = Opacity::new(spec, Arc::unwrap_or_clone(field));
                Some(self.store.insert(&OpacityStage(spec), made, room.planes))
            });
        }
        let sheet = match opacity {
            Some(opacity) => Arc::new(Sheet::assemble(spec.clone(), opacity, faces)),
            None => unreachable!("it was found or worked out"),
        };
        self.store.put(key, &sheet);
        sheet
    }

    /// The glow of lamps.
    fn lamp(&self, spec: &LampSpec, room: Room) -> Arc<Picture> {
        let key = spec.key();
        if let Some(picture) = self.store.get::<Picture>(key) {
            return picture;
        }
        let sheet = spec.fog.as_ref().map(|fog| self.sheet(fog, room));
        let picture = Arc::new(lamp::draw(spec, sheet.as_deref()));
        self.store.put(key, &picture);
        picture
    }

    /// A density field.
    pub fn density(&self, spec: &FieldSpec) -> Arc<Field> {
        self.field(spec, Room::default())
    }

    fn field(&self, spec: &FieldSpec, room: Room) -> Arc<Field> {
        self.store.find(&FieldStage(spec)).unwrap_or_else(|| {
            let bands = spec.bands(Sampling::Reduced);
            let found = self.store.find(&BandsStage(&bands));
            let bands =
                found.unwrap_or_else(|| self.store.insert(&BandsStage(&bands), bands.plane(), room.bands));
            let field = self.on_bands(spec, bands);
            let to_disk = spec.is_rounded() && field.density.data.len() <= MOST_OF_FIELD;
            self.store.insert(&FieldStage(spec), field, to_disk)
        })
    }

    /// A field on its bands. Where it is thicker in some places of the travel than in others, what it is without that stays while somebody
    /// changes where.
    fn on_bands(&self, spec: &FieldSpec, bands: Arc<Plane>) -> Field {
        let Some((key, along)) = spec.even_key().zip(spec.along.as_ref()) else {
            let factor = spec.undrawn().map_or(1.0, |undrawn| self.factor(&undrawn, &bands));
            return Field::on_with(spec, Sampling::Reduced, Arc::unwrap_or_clone(bands), factor);
        };
        let even = self.store.get::<Field>(key).unwrap_or_else(|| {
            let even = Field::with_ends(spec, Sampling::Reduced, Arc::unwrap_or_clone(bands), 1.0);
            let even = Arc::new(even);
            self.store.put(key, &even);
            even
        });
        let mut field = Arc::unwrap_or_clone(even);
        field.times_along(along);
        field.round(spec);
        field
    }

    /// What brings a field's mean to 1 into which something is drawn: it stays the same while somebody draws.
    fn factor(&self, undrawn: &FieldSpec, bands: &Arc<Plane>) -> f32 {
        let key = KeyWriter::new("factor").part("field", &undrawn.key()).key();
        if let Some(factor) = self.store.get::<Factor>(key) {
            return factor.0;
        }
        let factor = Field::factor(undrawn, Sampling::Reduced, Plane::clone(bands));
        self.store.put(key, &Arc::new(Factor(factor)));
        factor
    }
}

/// The order of jobs, the first at its most, for `threads::each_of`: from one end those that take most bytes besides what stays of them come
/// one after the other, while little has stayed yet, from the other the largest pictures, lest the last job be a long one.
fn weight(job: &Job) -> (u64, u64) {
    let texels = work_of(job.placing());
    match job {
        Job::Fog(job) => (job.spec.field.bytes()[1] as u64, texels),
        // Pictures are drawn elsewhere.
        Job::Own(_) | Job::Art(_) | Job::Lamp(_) => (0, u64::MAX - texels),
        Job::Rim(_) => (0, 0),
    }
}

/// Texels of a job's picture, as a measure of the work.
pub(crate) fn work_of(placing: &Placing) -> u64 {
    placing.texels.map(u64::from).iter().product()
}

#[cfg(test)]
mod tests;
