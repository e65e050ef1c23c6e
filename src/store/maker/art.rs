//! Pictures: drawn, treated, and packed a band at a time.

use super::{Maker, Request};
use crate::base::bitmap::{Bitmap, Packer};
use crate::base::fault::{Class, Fault, Faults, Result};
use crate::base::key::KeyWriter;
use crate::base::picture::{Picture, nearest};
use crate::base::placing::Kind;
use crate::base::words::{Bits, Blending};
use crate::plan::ArtJob;
use crate::plan::treatment::Treatment;
use crate::scene::pictures::{self, Drawn, Part, Pictures, Source};
use crate::stack::treat::Treater;
use std::path::PathBuf;
use std::sync::Arc;

impl Maker<'_> {
    /// The picture of an art before it is treated.
    ///
    /// # Errors
    /// Those of reading and drawing it.
    pub fn untreated(&self, job: &ArtJob, blending: Blending, pictures: &Pictures) -> Result<Arc<Picture>> {
        let placing = &job.placing;
        let key = job.untreated_key(&pictures.hash(&placing.slot, placing.kind), blending);
        if let Some(picture) = self.store.get(key) {
            return Ok(picture);
        }
        let picture = if job.places.is_empty() {
            let source = pictures.source(&placing.slot, placing.kind, 0, self.limits)?;
            source.drawn(drawn(job, blending), self.limits)?
        } else {
            let parts: Vec<Part> = job.places.iter().map(|place| place.part.clone()).collect();
            let whole = (placing.texels, job.wraps);
            pictures.assembled(&placing.slot, &parts, whole, blending, self.limits)?
        };
        if placing.kind == Kind::Fog && picture.texels.iter().all(|texel| texel[3] == 0) {
            return Err(self.shows_nothing(job, pictures)?);
        }
        let picture = Arc::new(picture);
        self.store.put(key, &picture);
        Ok(picture)
    }

    /// The fault of a sheet in which nothing is.
    fn shows_nothing(&self, job: &ArtJob, pictures: &Pictures) -> Result<Faults> {
        let placing = &job.placing;
        let file = &pictures.source(&placing.slot, placing.kind, 0, self.limits)?.file;
        let message = format!("slot {}: the picture that is its sheet shows nothing", placing.slot);
        let remedy = "Paint on it; or leave out `sheet`, and the sheet is made.";
        Ok(Fault::new(Class::Picture, message).in_file(file).remedy(remedy).into())
    }

    /// The picture of an art in the scene's light, without the air before it.
    ///
    /// # Errors
    /// As for [`Maker::untreated`].
    pub fn lit(&self, job: &ArtJob, blending: Blending, pictures: &Pictures) -> Result<Arc<Picture>> {
        let untreated = self.untreated(job, blending, pictures)?;
        let light = Treatment { light: job.treatment.light, ..Treatment::default() };
        if light.nothing() {
            return Ok(untreated);
        }
        let own = job.untreated_key(&pictures.hash(&job.placing.slot, job.placing.kind), blending);
        let key = KeyWriter::new("lit").part("picture", &own).part("light", &light.key()).key();
        if let Some(picture) = self.store.get(key) {
            return Ok(picture);
        }
        let picture = Arc::new(light.apply(Arc::unwrap_or_clone(untreated), blending));
        self.store.put(key, &picture);
        Ok(picture)
    }

    /// The treated picture of an art, as its file holds it.
    pub(super) fn picture(
        &self,
        job: &ArtJob,
        blending: Blending,
        request: &Request<'_>,
        file: Option<&(PathBuf, String)>,
    ) -> Result<Arc<Bitmap>> {
        let key =
            job.key(&request.pictures.hash(&job.placing.slot, job.placing.kind), blending, request.bits);
        if let Some(picture) = self.store.get(key) {
            return Ok(picture);
        }
        if let Some(picture) = file.and_then(|file| self.in_file(file, job)) {
            return Ok(Arc::new(picture));
        }
        let picture = Arc::new(self.treated(job, blending, request)?);
        self.store.put(key, &picture);
        Ok(picture)
    }

    fn treated(&self, job: &ArtJob, blending: Blending, request: &Request<'_>) -> Result<Bitmap> {
        let placing = &job.placing;
        if self.store.redraws() {
            let untreated = self.untreated(job, blending, request.pictures)?;
            let narrows = request.bits == Bits::Eight && (untreated.deep || !job.treatment.nothing());
            let mut treated = job.treatment.apply(Arc::unwrap_or_clone(untreated), blending);
            if narrows {
                treated.quantize_to_8_bits();
            }
            return Ok(Bitmap::plain(treated));
        }
        let mut band = Bands::new(job, blending, request.bits);
        if self.store.is_in_memory() || !job.places.is_empty() {
            let untreated = self.untreated(job, blending, request.pictures)?;
            let rows = BAND.div_ceil(untreated.size[0] as usize) * untreated.size[0] as usize;
            for rows in untreated.texels.chunks(rows) {
                band.take(untreated.deep, &mut rows.to_vec());
            }
            return Ok(band.finish());
        }
        let source = request.pictures.source(&placing.slot, placing.kind, 0, self.limits)?;
        let mut take = |deep: bool, rows: &mut [[u16; 4]]| band.take(deep, rows);
        source.draw_rows(drawn(job, blending), self.limits, &mut take)?;
        if placing.kind == Kind::Fog && !band.shows {
            return Err(self.shows_nothing(job, request.pictures)?);
        }
        Ok(band.finish())
    }

    /// The picture of a job as an earlier run left it in `file`; nothing if it isn't that any more.
    fn in_file(&self, (file, hash): &(PathBuf, String), job: &ArtJob) -> Option<Bitmap> {
        let bytes = pictures::content(file, self.limits).ok()?;
        if blake3::hash(&bytes).to_hex().as_str() != hash {
            return None;
        }
        let source = Source::from_bytes(file, bytes, self.limits).ok()?;
        let texels = job.placing.texels;
        // At its own size a PNG is handed on bit by bit, with the colours under alpha 0.
        if source.natural != texels.map(f64::from) {
            return None;
        }
        let mut packer = None;
        let mut take = |deep: bool, rows: &mut [[u16; 4]]| {
            packer.get_or_insert_with(|| Packer::new(texels, deep, !deep)).take(rows);
        };
        let drawn = Drawn { texels, flip: false, wraps: false, blending: Blending::Encoded, bleeds: false };
        source.draw_rows(drawn, self.limits, &mut take).ok()?;
        packer.map(Packer::finish)
    }
}

/// How the picture of a job with one place is drawn.
fn drawn(job: &ArtJob, blending: Blending) -> Drawn {
    let (texels, flip, wraps) = (job.placing.texels, job.flip, job.wraps);
    Drawn { texels, flip, wraps, blending, bleeds: true }
}

/// Texels of a whole picture that are treated at once.
const BAND: usize = 1 << 16;

/// A picture that is treated and packed while its rows come.
struct Bands<'a> {
    treater: Option<Treater<'a>>,
    bits: Bits,
    size: [u32; 2],
    /// Rows that came.
    rows: usize,
    /// Whether any of it is to be seen.
    shows: bool,
    packer: Option<Packer>,
}

impl<'a> Bands<'a> {
    fn new(job: &'a ArtJob, blending: Blending, bits: Bits) -> Bands<'a> {
        let (size, treatment) = (job.placing.texels, &job.treatment);
        let treater = (!treatment.nothing()).then(|| Treater::new(treatment, size[0], blending));
        Bands { treater, bits, size, rows: 0, shows: false, packer: None }
    }

    /// Takes whole rows; `deep`: they have 16 bits per sample.
    fn take(&mut self, deep: bool, rows: &mut [[u16; 4]]) {
        self.shows = self.shows || rows.iter().any(|texel| texel[3] > 0);
        if let Some(treater) = &self.treater {
            treater.apply(self.rows, rows);
        }
        self.rows += rows.len() / self.size[0] as usize;
        // What comes of a treatment lies between the codes of 8 bits.
        let deep = deep || self.treater.is_some();
        let narrows = deep && self.bits == Bits::Eight;
        if narrows {
            rows.as_flattened_mut().iter_mut().for_each(|sample| *sample = u16::from(nearest(*sample)) * 257);
        }
        let packer = || Packer::new(self.size, deep, narrows || !deep);
        self.packer.get_or_insert_with(packer).take(rows);
    }

    fn finish(self) -> Bitmap {
        let packer = self.packer.unwrap_or_else(|| Packer::new(self.size, false, true));
        packer.finish()
    }
}
