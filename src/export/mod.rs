//! The whole stack in forms that other programs open: consumers of a plan and its stack.

mod apng;
mod gltf;
mod html;
mod openraster;

pub(crate) use openraster::{AGAIN, BACKDROP};

use crate::fault::Result;
use crate::limits::Limits;
use crate::out::Effort;
use crate::render::Stack;

/// A form of the whole stack.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Also {
    /// OpenRaster, for painters.
    Ora,
    /// glTF 2.0, for viewers of scenes.
    Glb,
    /// An animated PNG of the camera over the travel.
    Pan,
    /// A page to pan and look through.
    Preview,
}

impl Also {
    /// All forms.
    pub const ALL: [Also; 4] = [Also::Ora, Also::Glb, Also::Pan, Also::Preview];

    /// The word for it on the command line.
    pub fn word(self) -> &'static str {
        match self {
            Also::Ora => "ora",
            Also::Glb => "glb",
            Also::Pan => "pan",
            Also::Preview => "preview",
        }
    }

    /// Name of its file in the output folder.
    pub fn file(self) -> &'static str {
        match self {
            Also::Ora => "scene.ora",
            Also::Glb => "scene.glb",
            Also::Pan => "pan.apng",
            Also::Preview => "preview.html",
        }
    }
}

/// The stack in one form.
///
/// # Errors
/// Class `Limit`: the form can't hold a stack of this size.
pub fn bytes(stack: &Stack<'_>, form: Also, effort: Effort, limits: &Limits) -> Result<Vec<u8>> {
    match form {
        Also::Ora => openraster::bytes(stack, effort),
        Also::Glb => gltf::bytes(stack, effort),
        Also::Pan => apng::bytes(stack, &apng::Pan::default(), limits),
        Also::Preview => html::bytes(stack),
    }
}
