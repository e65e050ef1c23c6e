//! Worked-out layers kept in memory, each by what it is made of: a tweak of one slot works out that slot alone.

use crate::base::fault::{Faults, Result};
use crate::base::limits::Limits;
use crate::base::picture::Picture;
use crate::base::words::Blending;
use crate::plan::treatment::Treatment;
use crate::plan::{ArtJob, Job, Plan};
use crate::scene::pictures::Arts;
use crate::stack::Made;
use crate::steps::field::{BandsSpec, Field, FieldSpec, Sampling};
use crate::steps::grid::Plane;
use crate::steps::sheet::{Sheet, SheetSpec};
use crate::store::maker::drawn;
use rayon::prelude::*;
use std::sync::Arc;

/// How many turns a layer is kept that nobody asks for.
const TURNS: u64 = 3;

/// A field with the mean of each row.
pub(super) struct Baked {
    pub field: Field,
    pub means: Vec<f32>,
}

impl Baked {
    fn new(spec: &FieldSpec, bands: Plane) -> Baked {
        let field = Field::on(spec, Sampling::Reduced, bands);
        let mean = |row: usize| {
            let row = field.density.row(row);
            // Sums side by side: one after the other each waits for the last.
            let (eights, rest) = row.as_chunks::<8>();
            let mut sums = [0.0_f32; 8];
            for eight in eights {
                for (sum, number) in sums.iter_mut().zip(eight) {
                    *sum += number;
                }
            }
            sums.iter().chain(rest).sum::<f32>() / row.len() as f32
        };
        let means = (0..field.grid.rows).map(mean).collect();
        Baked { field, means }
    }

    /// Mean density at height `y`, texels from the sheet's top.
    pub fn at(&self, y: f64) -> f32 {
        let place = (y - self.field.grid.top) / self.field.grid.step[1] - 0.5;
        let last = self.means.len() - 1;
        let low = place.floor().clamp(0.0, last as f64);
        let (a, b) = (self.means[low as usize], self.means[(low as usize + 1).min(last)]);
        a + (b - a) * (place - low).clamp(0.0, 1.0) as f32
    }
}

/// What a picture is drawn from.
#[derive(Clone, PartialEq)]
struct Drawn {
    hash: String,
    texels: [u32; 2],
    flip: bool,
    wraps: bool,
    blending: Blending,
}

impl Drawn {
    fn of(job: &ArtJob, plan: &Plan, arts: &Arts) -> Drawn {
        Drawn {
            hash: arts.hash(&job.placing.slot),
            texels: job.placing.texels,
            flip: job.flip,
            wraps: job.wraps,
            blending: plan.blending,
        }
    }
}

/// Values by what they are made of, the least used going first.
struct Shelf<K, V> {
    kept: Vec<(K, Arc<V>, u64)>,
}

impl<K: PartialEq, V> Shelf<K, V> {
    fn get(&mut self, key: &K, turn: u64) -> Option<Arc<V>> {
        let kept = self.kept.iter_mut().find(|(other, ..)| other == key)?;
        kept.2 = turn;
        Some(Arc::clone(&kept.1))
    }

    /// A value whose key is like what is wanted.
    fn like(&self, is: impl Fn(&K) -> bool) -> Option<Arc<V>> {
        self.kept.iter().find(|(key, ..)| is(key)).map(|(_, value, _)| Arc::clone(value))
    }

    fn put(&mut self, key: K, value: Arc<V>, turn: u64) {
        if self.get(&key, turn).is_none() {
            self.kept.push((key, value, turn));
        }
    }

    fn sweep(&mut self, turn: u64, spare_most: usize) {
        let mut spare: Vec<u64> = self.kept.iter().map(|kept| kept.2).filter(|used| *used < turn).collect();
        spare.sort_unstable_by(|a, b| b.cmp(a));
        let oldest = spare.get(spare_most).copied().unwrap_or(0).max(turn.saturating_sub(TURNS));
        self.kept.retain(|kept| kept.2 == turn || kept.2 > oldest);
    }
}

/// A plan's layers without its rims.
pub(super) struct Layers {
    /// In the plan's order; none where a rim belongs.
    pub made: Vec<Option<Made>>,
    /// The fields of the sheets.
    pub baked: Vec<Option<Arc<Baked>>>,
    /// The arts before they are treated.
    pub bare: Vec<Option<Arc<Picture>>>,
}

/// The kept layers of one thread.
pub(super) struct Kitchen {
    turn: u64,
    /// Most layers of a kind that are kept though nobody asks for them.
    spare: usize,
    /// Of drafts: while a falloff or a blur is moved, the noise stays.
    bands: Shelf<BandsSpec, Plane>,
    fields: Shelf<FieldSpec, Baked>,
    sheets: Shelf<SheetSpec, Sheet>,
    drawn: Shelf<Drawn, Picture>,
    treated: Shelf<(Drawn, Treatment), Picture>,
}

impl Kitchen {
    pub fn new(spare: usize) -> Kitchen {
        Kitchen {
            turn: 0,
            spare,
            bands: Shelf { kept: Vec::new() },
            fields: Shelf { kept: Vec::new() },
            sheets: Shelf { kept: Vec::new() },
            drawn: Shelf { kept: Vec::new() },
            treated: Shelf { kept: Vec::new() },
        }
    }

    /// Works out what isn't kept; none if that got `stale` meanwhile.
    ///
    /// # Errors
    /// With all pictures that can't be drawn.
    pub fn make(
        &mut self,
        plan: &Plan,
        arts: &Arts,
        limits: &Limits,
        stale: &(dyn Fn() -> bool + Sync),
    ) -> Result<Option<Layers>> {
        self.turn += 1;
        let turn = self.turn;
        let count = plan.files.len();
        let mut layers =
            Layers { made: vec![None; count], baked: vec![None; count], bare: vec![None; count] };
        enum Known {
            /// With a sheet of the same opacities, where there is one.
            Field(Arc<Baked>, Option<Arc<Sheet>>),
            Bands(Arc<Plane>),
            Nothing,
        }
        enum Due<'a> {
            Fog(usize, &'a SheetSpec, Known),
            Art(usize, &'a ArtJob, Option<Arc<Picture>>),
        }
        enum Done {
            Fog(usize, Arc<Baked>, Arc<Sheet>, Option<Arc<Plane>>),
            Art(usize, Arc<Picture>, Arc<Picture>),
            Stale,
        }
        let mut due = Vec::new();
        for (at, job) in plan.files.iter().enumerate() {
            match job {
                Job::Fog(job) => {
                    let baked = self.fields.get(&job.spec.field, turn);
                    match (self.sheets.get(&job.spec, turn), baked) {
                        (Some(sheet), Some(baked)) => {
                            layers.made[at] = Some(Made::Sheet(sheet));
                            layers.baked[at] = Some(baked);
                        }
                        (_, Some(baked)) => {
                            let same = |other: &SheetSpec| {
                                other.tau == job.spec.tau && other.field == job.spec.field
                            };
                            let like = self.sheets.like(same);
                            due.push(Due::Fog(at, &job.spec, Known::Field(baked, like)));
                        }
                        (_, None) => {
                            let bands = self.bands.get(&job.spec.field.bands(Sampling::Reduced), turn);
                            due.push(Due::Fog(at, &job.spec, bands.map_or(Known::Nothing, Known::Bands)));
                        }
                    }
                }
                Job::Art(job) => {
                    let from = Drawn::of(job, plan, arts);
                    let bare = self.drawn.get(&from, turn);
                    let key = (from, job.treatment.clone());
                    match (self.treated.get(&key, turn), bare) {
                        (Some(treated), Some(bare)) => {
                            layers.made[at] = Some(Made::Picture(treated));
                            layers.bare[at] = Some(bare);
                        }
                        (_, bare) => due.push(Due::Art(at, job, bare)),
                    }
                }
                Job::Rim(_) => {}
            }
        }
        let keeps = self.spare > 0;
        let work = |due: &Due<'_>| -> Result<Done> {
            if stale() {
                return Ok(Done::Stale);
            }
            Ok(match due {
                Due::Fog(at, spec, known) => {
                    let (baked, bands) = match known {
                        Known::Field(baked, _) => (Arc::clone(baked), None),
                        Known::Bands(bands) => {
                            (Arc::new(Baked::new(&spec.field, (**bands).clone())), Some(Arc::clone(bands)))
                        }
                        Known::Nothing => {
                            let bands = spec.field.bands(Sampling::Reduced).plane();
                            let kept = keeps.then(|| Arc::new(bands.clone()));
                            (Arc::new(Baked::new(&spec.field, bands)), kept)
                        }
                    };
                    let relit = match known {
                        Known::Field(baked, Some(like)) => like.relit((*spec).clone(), &baked.field),
                        _ => None,
                    };
                    let sheet =
                        relit.unwrap_or_else(|| Sheet::of_field((*spec).clone(), baked.field.clone()));
                    Done::Fog(*at, baked, Arc::new(sheet), bands)
                }
                Due::Art(at, job, bare) => {
                    let bare = match bare {
                        Some(bare) => Arc::clone(bare),
                        None => Arc::new(drawn(job, plan.blending, arts, limits)?),
                    };
                    let treated = if job.treatment.nothing() {
                        Arc::clone(&bare)
                    } else {
                        Arc::new(job.treatment.apply((*bare).clone(), plan.blending))
                    };
                    Done::Art(*at, bare, treated)
                }
            })
        };
        let done: Vec<Result<Done>> = due.par_iter().map(work).collect();
        let mut whole = true;
        for done in Faults::gather(done)? {
            match done {
                Done::Stale => whole = false,
                Done::Fog(at, baked, sheet, bands) => {
                    if let Job::Fog(job) = &plan.files[at] {
                        if let Some(bands) = bands {
                            self.bands.put(job.spec.field.bands(Sampling::Reduced), bands, turn);
                        }
                        self.fields.put(job.spec.field.clone(), Arc::clone(&baked), turn);
                        self.sheets.put(job.spec.clone(), Arc::clone(&sheet), turn);
                    }
                    layers.made[at] = Some(Made::Sheet(sheet));
                    layers.baked[at] = Some(baked);
                }
                Done::Art(at, bare, treated) => {
                    if let Job::Art(job) = &plan.files[at] {
                        let from = Drawn::of(job, plan, arts);
                        self.drawn.put(from.clone(), Arc::clone(&bare), turn);
                        self.treated.put((from, job.treatment.clone()), Arc::clone(&treated), turn);
                    }
                    layers.made[at] = Some(Made::Picture(treated));
                    layers.bare[at] = Some(bare);
                }
            }
        }
        if !whole {
            return Ok(None);
        }
        // As many as another scene of as many slots has: the last saved, drawn beside it.
        let spare = if self.spare > 0 { self.spare.max(count) } else { 0 };
        self.bands.sweep(turn, spare);
        self.fields.sweep(turn, spare);
        self.sheets.sweep(turn, spare);
        self.drawn.sweep(turn, spare);
        self.treated.sweep(turn, spare);
        Ok(Some(layers))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_nobody_asks_for_goes_and_no_more_than_some_is_spared() {
        let mut shelf = Shelf { kept: Vec::new() };
        for key in 0..40 {
            shelf.put(key, Arc::new(key), 1);
        }
        assert_eq!(shelf.get(&3, 2).as_deref(), Some(&3));
        shelf.sweep(2, 12);
        assert!(shelf.kept.len() <= 12 + 1, "{}", shelf.kept.len());
        assert!(shelf.get(&3, 2).is_some());
        shelf.sweep(2 + TURNS, 12);
        assert_eq!(shelf.kept.len(), 0);
    }
}
