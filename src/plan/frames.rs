//! Smaller frames: what changes where a game shows less than the view at once.
//!
//! A smaller frame is the same camera with less to see: its left top is the camera's place, and it goes on until it meets the right end and the
//! foot of what the view shows of the play plane. Its travel is so much longer as it is narrower, and so much farther down as it is lower.

use crate::base::law;
use crate::base::placing::Kind;
use crate::base::units::{Px, Travel};
use crate::plan::{End, Job, Plan};

/// How much of a picture must be missing to be told, scene px.
const LEAST: f64 = 0.5;

/// Something that a smaller frame shows and the view doesn't, or the other way round.
#[derive(Clone, Debug, PartialEq)]
pub struct Change {
    /// The frame, scene px.
    pub frame: [Px; 2],
    /// The slot.
    pub slot: String,
    /// What is the matter.
    pub message: String,
    /// What to do.
    pub remedy: String,
}

impl Change {
    /// All of it but what to do, in one line.
    pub fn line(&self) -> String {
        format!("{}: {}", self.slot, self.told())
    }

    /// What is the matter, and in which frame.
    pub fn told(&self) -> String {
        let [width, height] = self.frame;
        format!("at {width} x {height}, {}", self.message)
    }
}

impl Plan {
    /// The same jobs as a smaller frame shows them.
    pub fn in_frame(&self, frame: [Px; 2]) -> Plan {
        let Travel { right, down } = self.travel;
        Plan {
            view: frame,
            texels: frame.map(|side| super::slot::texels(side, self.scale)),
            travel: Travel {
                right: right + (self.view[0] - frame[0]),
                down: down + (self.view[1] - frame[1]),
            },
            also_view: Vec::new(),
            solved_by: None,
            ..self.clone()
        }
    }

    /// What changes at the smaller frames; `ends` are where pictures end inside the view.
    pub fn frame_changes(&self, ends: &[End]) -> Vec<Change> {
        let mut changes = Vec::new();
        for frame in &self.also_view {
            let plan = self.in_frame(*frame);
            changes.extend(plan.new_ends(ends));
            changes.extend(self.files.iter().flat_map(|job| plan.of_job(job, self)));
        }
        changes
    }

    fn change(&self, slot: &str, message: String, remedy: &str) -> Change {
        Change { frame: self.view, slot: slot.to_owned(), message, remedy: remedy.to_owned() }
    }

    /// Pictures that end inside this frame and not, or not as much, inside the view.
    fn new_ends(&self, ends: &[End]) -> Vec<Change> {
        let known = |end: &End| {
            let same = |other: &&End| {
                (&other.slot, other.kind, other.place, other.side)
                    == (&end.slot, end.kind, end.place, end.side)
            };
            ends.iter().find(same).is_some_and(|other| end.missing <= other.missing + LEAST)
        };
        let all = self.ends().into_iter().filter(|end| !known(end));
        let remedy = "Make it longer there, or let it repeat.";
        all.map(|end| self.change(&end.slot, end.message(), remedy)).collect()
    }

    /// What changes of a job's picture in this frame against the whole view.
    fn of_job(&self, job: &Job, whole: &Plan) -> Vec<Change> {
        match job {
            Job::Fog(fog) => {
                let mut changes: Vec<Change> = self.sheet_ends(job, whole).into_iter().collect();
                changes.extend(if fog.moves() { None } else { self.comes_round(job, whole) });
                changes
            }
            Job::Art(art) | Job::Own(art) => {
                let strip = |plan: &Plan| law::strip(plan.view, plan.travel, art.placing.pan_rate);
                let seen = |[wide, tall]: [Px; 2], run: &super::places::Run| {
                    let across = art.placing.period.is_some() || run.rect.x < wide;
                    across && run.rect.y < tall
                };
                let runs = art.runs().into_iter();
                let gone = runs.filter(|run| seen(strip(whole), run) && !seen(strip(self), run));
                let message = |run: super::places::Run| match run.ends {
                    Some([first, last]) if first != last => format!(
                        "{} to {} never come into view",
                        super::places::called(first),
                        super::places::called(last)
                    ),
                    Some([number, _]) => format!("{} never comes into view", super::places::called(number)),
                    None if art.placing.kind == Kind::Fog => "its own sheet never comes into view".to_owned(),
                    None => "its picture never comes into view".to_owned(),
                };
                let remedy = "Move it to the left, or leave it to wider frames.";
                gone.map(|run| self.change(&art.placing.slot, message(run), remedy)).collect()
            }
            Job::Rim(_) | Job::Lamp(_) => Vec::new(),
        }
    }

    /// A sheet that ends above the foot of this frame.
    fn sheet_ends(&self, job: &Job, whole: &Plan) -> Option<Change> {
        let placing = job.placing();
        let missing = |plan: &Plan| {
            let [_, tall] = law::strip(plan.view, plan.travel, placing.pan_rate);
            (tall - placing.rect.y - placing.rect.height).0
        };
        let (here, there) = (missing(self), missing(whole));
        (here > LEAST && there <= LEAST).then(|| {
            let message = format!(
                "its sheet ends {here:.0} px above the frame's foot where the camera is farthest down"
            );
            self.change(
                &placing.slot,
                message,
                "Make `travel` reach as far down, or hold the camera up there.",
            )
        })
    }

    /// A sheet that is meant for its places and begins again within what this frame comes to see.
    fn comes_round(&self, job: &Job, whole: &Plan) -> Option<Change> {
        let placing = job.placing();
        let period = placing.period?;
        let over = |plan: &Plan| law::strip(plan.view, plan.travel, placing.pan_rate)[0] - period;
        let (here, there) = (over(self), over(whole));
        (here.0 > LEAST && there.0 <= LEAST).then(|| {
            let message = format!(
                "its sheet, which is drawn for its places, begins again over the last {:.0} px",
                here.0
            );
            self.change(&placing.slot, message, "Give the slot a longer `period`.")
        })
    }
}
