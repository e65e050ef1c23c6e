//! Pictures that end inside the view: those that fill it along a direction at one place of the camera and not at another.

use crate::base::placing::{Kind, Placing};
use crate::base::units::Camera;
use crate::plan::places::Run;
use crate::plan::{Job, Plan};

/// How much of a picture must be missing to be told, scene px.
const LEAST: f64 = 0.5;

/// A side on which a picture ends inside the view.
#[derive(Clone, Debug, PartialEq)]
pub struct End {
    /// The slot.
    pub slot: String,
    /// Whether it is the slot's art, or its own sheet.
    pub kind: Kind,
    /// The number of the place, where the slot has several: 0 for its own picture.
    pub place: Option<usize>,
    /// The side, in words.
    pub side: &'static str,
    /// How much is missing at most, scene px.
    pub missing: f64,
    /// The camera place from which most is missing.
    pub camera: Camera,
    /// How far the camera pans toward that side before anything is missing, scene px.
    pub from: f64,
}

impl End {
    /// What is missing, in one line.
    pub fn message(&self) -> String {
        let End { side, missing, camera, from, place, .. } = self;
        let what = match place {
            Some(number @ 1..) => format!("the picture of its place {number}"),
            _ if self.kind == Kind::Fog => "its own sheet".to_owned(),
            _ => "its picture".to_owned(),
        };
        let since = if *from > 0.0 { format!(", from {from:.0} px of travel on") } else { String::new() };
        format!(
            "{what} ends inside the view: {missing:.0} px are missing {side} at camera place {camera}{since}"
        )
    }
}

impl Plan {
    /// Where pictures that fill the view from somewhere end inside it. One that is smaller than the view is meant to end, and so is
    /// one that dissolves there; its upper edge is a silhouette. What ends on both sides stands in the level as one thing.
    pub fn ends(&self) -> Vec<End> {
        let mut ends = Vec::new();
        for job in &self.files {
            if let Job::Art(art) | Job::Own(art) = job {
                for run in art.runs() {
                    self.ends_across(&art.placing, &run, &mut ends);
                    if art.treatment.fade.is_none() {
                        self.ends_down(&art.placing, &run, &mut ends);
                    }
                }
            }
        }
        ends
    }

    fn ends_across(&self, art: &Placing, run: &Run, ends: &mut Vec<End>) {
        let (left, right) = (run.rect.x.0, (run.rect.x + run.rect.width).0);
        let view = self.view[0].0;
        if art.period.is_some() || right - left < view {
            return;
        }
        let far = self.travel.right.0;
        let missing = view + far * art.pan_rate - right;
        // A gap with more pictures beyond it is meant.
        if (run.more[0] && left > LEAST) || (run.more[1] && missing > LEAST) {
            return;
        }
        self.tell(
            (art, run),
            [Some("on the left"), Some("on the right")],
            [left, right, view, far],
            ends,
            |at| Camera::new(at, 0.0),
        );
    }

    fn ends_down(&self, art: &Placing, run: &Run, ends: &mut Vec<End>) {
        let (top, foot) = (run.rect.y.0, (run.rect.y + run.rect.height).0);
        let view = self.view[1].0;
        // Without a way down a picture's heights are as they were painted.
        if self.travel.down.0 <= 0.0 || foot - top < view {
            return;
        }
        let far = self.travel.down.0;
        self.tell((art, run), [None, Some("at the foot")], [top, foot, view, far], ends, |at| {
            Camera::new(0.0, at)
        });
    }

    /// Tells the sides of a picture from `first` to `last` that end inside a view of length `view` over a way of `far`; a side without a
    /// name may.
    fn tell(
        &self,
        (art, run): (&Placing, &Run),
        sides: [Option<&'static str>; 2],
        [first, last, view, far]: [f64; 4],
        ends: &mut Vec<End>,
        place: fn(f64) -> Camera,
    ) {
        let (kind, slot) = (art.kind, || art.slot.clone());
        let number = |end: usize| run.ends.map(|ends| ends[end]);
        let missing = view + far * art.pan_rate - last;
        if sides[0].is_some() && first > LEAST && missing > LEAST {
            return;
        }
        if let Some(side) = sides[0].filter(|_| first > LEAST) {
            ends.push(End {
                kind,
                slot: slot(),
                place: number(0),
                side,
                missing: first,
                camera: place(0.0),
                from: 0.0,
            });
        }
        if let Some(side) = sides[1].filter(|_| missing > LEAST) {
            let from = ((last - view) / art.pan_rate).max(0.0);
            ends.push(End { slot: slot(), kind, place: number(1), side, missing, camera: place(far), from });
        }
    }
}
