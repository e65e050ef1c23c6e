//! Where a picture stands in a scene.

use crate::base::units::{Camera, Px, Rect};
use serde::{Deserialize, Serialize};

/// What a file holds.
#[cfg_attr(feature = "scene", derive(schemars::JsonSchema))]
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Kind {
    /// Fog between a slot and the next farther one.
    Fog,
    /// Fog gathered behind one silhouette.
    Rim,
    /// A slot's picture as it is drawn.
    Art,
    /// Light that the air before a slot's art scatters around its lamps.
    Lamp,
}

/// A picture among several on one plane.
#[cfg_attr(feature = "scene", derive(schemars::JsonSchema))]
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Standing {
    /// The number of its place in the slot, from 1 on; 0 for the slot's own picture.
    pub place: u32,
    /// Name of its file in the scene, with the layer of a layered file.
    pub art: String,
    /// Left, top, width, height with the camera at the start of the travel. Unit: scene px.
    pub rect: [f64; 4],
    /// Whether it is mirrored left to right.
    #[serde(default)]
    pub flip: bool,
}

/// Where a picture stands, for any renderer.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Placing {
    /// The slot's name.
    pub slot: String,
    /// What it is.
    pub kind: Kind,
    /// File name in the output folder.
    pub path: String,
    /// Place in the drawing order, far to near.
    pub order: usize,
    /// The slot's depth.
    pub depth: f64,
    /// How far it moves for one unit of camera travel, in both directions.
    pub pan_rate: f64,
    /// Its place with the camera at the start of the travel.
    pub rect: Rect,
    /// Width and height in texels.
    pub texels: [u32; 2],
    /// Distance after which it repeats along x.
    pub period: Option<Px>,
}

impl Placing {
    /// Its left edge in the view from a camera place.
    pub fn left(&self, camera: Camera) -> Px {
        camera.left(self.rect.x, self.pan_rate)
    }

    /// Its top edge there.
    pub fn top(&self, camera: Camera) -> Px {
        camera.top(self.rect.y, self.pan_rate)
    }
}
