//! The whole stack in forms that other programs open: consumers of a plan and its stack.

mod apng;
mod gltf;
mod html;
mod openraster;
mod svg;

pub use apng::Pan;

use crate::base::fault::Result;
use crate::base::limits::Limits;
use crate::output::Effort;
use crate::output::texture::Shape;
use crate::stack::Stack;

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
    /// SVG, for documents and vector programs.
    Svg,
}

impl Also {
    /// All forms.
    pub const ALL: [Also; 5] = [Also::Ora, Also::Glb, Also::Pan, Also::Preview, Also::Svg];

    /// The word for it on the command line.
    pub fn word(self) -> &'static str {
        match self {
            Also::Ora => "ora",
            Also::Glb => "glb",
            Also::Pan => "pan",
            Also::Preview => "preview",
            Also::Svg => "svg",
        }
    }

    /// Name of its file in the output folder.
    pub fn file(self) -> &'static str {
        match self {
            Also::Ora => "scene.ora",
            Also::Glb => "scene.glb",
            Also::Pan => "pan.apng",
            Also::Preview => "preview.html",
            Also::Svg => "scene.svg",
        }
    }
}

/// How a form is made.
#[derive(Clone, Copy)]
pub struct How<'a> {
    /// Bounds of the moving picture.
    pub pan: &'a Pan,
    /// The shapes of all textures with 8 bits, if they are known.
    pub shapes: Option<&'a [Shape]>,
    /// How hard to squeeze.
    pub effort: Effort,
    /// Bounds.
    pub limits: &'a Limits,
}

/// The stack in one form.
///
/// # Errors
/// Class `Limit`: the form can't hold a stack of this size.
pub fn bytes(stack: &Stack<'_>, form: Also, how: &How<'_>) -> Result<Vec<u8>> {
    let How { effort, limits, .. } = *how;
    match form {
        Also::Ora => openraster::bytes(stack, effort),
        Also::Glb => gltf::bytes(stack, how.shapes, effort),
        Also::Pan => apng::bytes(stack, how.pan, limits),
        Also::Preview => html::bytes(stack),
        Also::Svg => svg::bytes(stack, effort),
    }
}

/// Text for an element or an attribute of XML or HTML.
fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}
