//! Several pictures on one plane: which of them come into view, and where each lies on the one picture that is made of them.

use crate::base::fault::{Class, Fault};
use crate::base::law;
use crate::base::units::{Px, Rect, Scale, Texel};
use crate::plan::jobs::ArtJob;
use crate::plan::slot::texels;
use crate::scene::pictures::Part;
use crate::scene::{ArtPlace, Repeat, Scene};
use serde::Serialize;

/// A picture among several on one plane.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Place {
    /// The number of its `[[slot.place]]`, from 1 on; 0 for the slot's own.
    pub number: usize,
    /// Its file's name, with the layer of a layered file.
    pub art: String,
    /// Where it stands with the camera at the start of the travel, on whole texels.
    pub rect: Rect,
    /// Mirrored left to right.
    pub flip: bool,
    /// Width and height of its file, px.
    #[serde(skip)]
    pub natural: [f64; 2],
    /// Its texels on the whole.
    #[serde(skip)]
    pub part: Part,
}

/// What decides where the pictures of a slot stand.
pub(super) struct Ground<'a> {
    pub scene: &'a Scene,
    pub scale: Scale,
    /// Pan rate.
    pub rate: f64,
}

impl Ground<'_> {
    /// The rectangle of a picture, scene px, and its texels.
    pub fn stand(&self, place: &ArtPlace, natural: [f64; 2]) -> (Rect, [u32; 2]) {
        let width = place.width.unwrap_or(Px(natural[0]));
        let size = [width, width * natural[1] / natural[0]].map(|side| texels(side, self.scale));
        let [width, height] = size.map(|side| Texel(f64::from(side)) / self.scale);
        // Without a place of its own the foot stands on the ground that the slot stands on.
        let ground = law::line_at(self.scene.horizon, self.scene.ground, self.rate);
        (Rect { x: place.x, y: place.y.unwrap_or(ground - height), width, height }, size)
    }

    /// The places of a slot's pictures and the rectangle of them all. What never comes into view is left out, unless nothing else is there.
    pub fn together(&self, places: &[&ArtPlace], naturals: &[[f64; 2]]) -> (Vec<Place>, Rect) {
        let repeats = places.iter().any(|place| place.repeat != Repeat::No);
        let [wide, tall] = law::strip(self.scene.view, self.scene.travel, self.rate);
        let mut stands: Vec<(usize, Rect, [u32; 2])> = Vec::new();
        for (at, (place, natural)) in places.iter().zip(naturals).enumerate() {
            let (rect, size) = self.stand(place, *natural);
            let seen = |from: Px, length: Px, strip: Px| from < strip && from + length > Px(0.0);
            let across = repeats || seen(rect.x, rect.width, wide);
            if across && seen(rect.y, rect.height, tall) {
                stands.push((at, rect, size));
            }
        }
        if stands.is_empty() {
            let first = places.iter().zip(naturals).take(1);
            stands.extend(
                first.map(|(place, natural)| self.stand(place, *natural)).map(|(rect, size)| (0, rect, size)),
            );
        }
        let least = |start: fn(&Rect) -> Px| {
            stands.iter().map(|(_, rect, _)| start(rect)).fold(Px(f64::INFINITY), Px::min)
        };
        let origin = [least(|rect| rect.x), least(|rect| rect.y)];
        let mut all = Vec::with_capacity(stands.len());
        let mut whole = [1_u32; 2];
        for (at, rect, size) in stands {
            let offset = [rect.x - origin[0], rect.y - origin[1]];
            // Saturates, and is then over any limit.
            let corner = offset.map(|offset| (offset * self.scale).0.round() as u32);
            whole = [0, 1].map(|axis| whole[axis].max(corner[axis].saturating_add(size[axis])));
            let [x, y] = corner.map(|corner| Texel(f64::from(corner)) / self.scale);
            let ArtPlace { number, flip, .. } = *places[at];
            all.push(Place {
                number,
                art: named(places[at]),
                rect: Rect { x: origin[0] + x, y: origin[1] + y, ..rect },
                flip,
                natural: naturals[at],
                part: Part { source: at, corner, texels: size, flip },
            });
        }
        let [width, height] = whole.map(|side| Texel(f64::from(side)) / self.scale);
        (all, Rect { x: origin[0], y: origin[1], width, height })
    }
}

/// A picture as the scene names it, without the way to it.
fn named(place: &ArtPlace) -> String {
    let file = place.file.file_name().unwrap_or_default().to_string_lossy();
    match &place.layer {
        Some(layer) => format!("{file}#{layer}"),
        None => file.into_owned(),
    }
}

impl ArtJob {
    /// What of it stands together, each with the numbers of its leftmost and its rightmost place: pictures that touch or overlap along x are
    /// one thing. A slot's only picture is one.
    pub(crate) fn runs(&self) -> Vec<Run> {
        if self.places.is_empty() {
            return vec![Run { rect: self.placing.rect, ends: None, more: [false; 2] }];
        }
        let mut places: Vec<&Place> = self.places.iter().collect();
        places.sort_by(|a, b| a.rect.x.0.total_cmp(&b.rect.x.0));
        let mut runs: Vec<Run> = Vec::new();
        for Place { number, rect, .. } in places {
            match runs.last_mut() {
                Some(run) if rect.x.0 <= run.rect.x.0 + run.rect.width.0 + TOUCHING => {
                    run.extend(rect, *number)
                }
                _ => runs.push(Run { rect: *rect, ends: Some([*number; 2]), more: [!runs.is_empty(), true] }),
            }
        }
        if let Some(last) = runs.last_mut() {
            last.more[1] = false;
        }
        runs
    }
}

/// The gap between two pictures that still touch, scene px.
const TOUCHING: f64 = 0.5;

/// Pictures that touch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Run {
    /// The rectangle around them.
    pub rect: Rect,
    /// The numbers of the places at its left and right end; none where there is one picture alone.
    pub ends: Option<[usize; 2]>,
    /// Whether more pictures of the slot stand to the left, and to the right.
    pub more: [bool; 2],
}

impl Run {
    fn extend(&mut self, other: &Rect, number: usize) {
        let far = |rect: &Rect| [rect.x + rect.width, rect.y + rect.height];
        let ([right, foot], [other_right, other_foot]) = (far(&self.rect), far(other));
        if let Some(ends) = self.ends.as_mut().filter(|_| other_right > right) {
            ends[1] = number;
        }
        let (x, y) = (self.rect.x.min(other.x), self.rect.y.min(other.y));
        self.rect = Rect { x, y, width: right.max(other_right) - x, height: foot.max(other_foot) - y };
    }
}

impl Place {
    /// Its number, as tables show it.
    pub fn name(&self) -> String {
        if self.number == 0 { "own".to_owned() } else { self.number.to_string() }
    }
}

/// How a message calls a place.
pub(super) fn called(number: usize) -> String {
    match number {
        0 => "the slot's own".to_owned(),
        number => format!("place {number}"),
    }
}

/// What is left out of a slot's picture, because it never comes into view.
pub(super) fn note(job: &ArtJob, places: &[&ArtPlace]) -> Option<String> {
    let left = |place: &&&ArtPlace| job.places.iter().all(|there| there.number != place.number);
    let out: Vec<String> = places.iter().filter(left).map(|place| called(place.number)).collect();
    let name = &job.placing.slot;
    match &out[..] {
        [] => None,
        [one] => Some(format!("{name}: {one} never comes into view and is left out")),
        all => Some(format!("{name}: {} never come into view and are left out", some(all))),
    }
}

/// The first few of a list.
fn some(all: &[String]) -> String {
    const MOST: usize = 8;
    let more = all.len().saturating_sub(MOST);
    let told = all[..all.len().min(MOST)].join(", ");
    if more > 0 { format!("{told} and {more} more") } else { told }
}

/// Most pictures of a plane that may lie over each other on average: drawing them takes as long as so many whole pictures. As for copies of
/// one that repeats.
const OVERLAPPING: f64 = 64.0;

/// Places so close that drawing their pictures would take the time of hundreds.
pub(super) fn crowded(job: &ArtJob) -> Option<Fault> {
    let area = |[width, height]: [u32; 2]| f64::from(width) * f64::from(height);
    let all: f64 = job.places.iter().map(|place| area(place.part.texels)).sum();
    let often = all / area(job.placing.texels);
    (often > OVERLAPPING).then(|| {
        let message = format!(
            "slot {}: its {} pictures would lie over each other {often:.0} times; the limit is {OVERLAPPING}",
            job.placing.slot,
            job.places.len()
        );
        Fault::new(Class::Limit, message).remedy("Move its places apart, or draw several into one picture.")
    })
}
