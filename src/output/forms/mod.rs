//! The whole stack in forms that other programs open: consumers of a plan and its stack.

#[cfg(feature = "forms")]
mod apng;
#[cfg(feature = "forms")]
mod gltf;
#[cfg(feature = "forms")]
mod html;
#[cfg(feature = "forms")]
mod openraster;
mod pan;
#[cfg(feature = "forms")]
mod strip;
#[cfg(feature = "forms")]
mod svg;

pub use pan::Pan;

use crate::base::fault::{Class, Fault, Result};
use crate::base::limits::Limits;
use crate::output::Effort;
use crate::output::texture::Shape;
use crate::plan::Plan;
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
    /// The whole travel as one long still.
    Strip,
}

impl Also {
    /// All forms.
    pub const ALL: [Also; 6] = [Also::Ora, Also::Glb, Also::Pan, Also::Preview, Also::Svg, Also::Strip];

    /// The word for it on the command line.
    pub fn word(self) -> &'static str {
        match self {
            Also::Ora => "ora",
            Also::Glb => "glb",
            Also::Pan => "pan",
            Also::Preview => "preview",
            Also::Svg => "svg",
            Also::Strip => "strip",
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
            Also::Strip => "strip.png",
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
#[cfg(feature = "forms")]
pub fn bytes(stack: &Stack<'_>, form: Also, how: &How<'_>) -> Result<Vec<u8>> {
    let How { effort, limits, .. } = *how;
    match form {
        Also::Ora => openraster::bytes(stack, effort),
        Also::Glb => gltf::bytes(stack, how.shapes, effort),
        Also::Pan => apng::bytes(stack, how.pan, limits),
        Also::Preview => html::bytes(stack),
        Also::Svg => svg::bytes(stack, effort),
        Also::Strip => strip::bytes(stack, effort, limits),
    }
}

/// The stack in one form, which there is no way to make here.
///
/// # Errors
/// As [`check`] has it.
#[cfg(not(feature = "forms"))]
pub fn bytes(_: &Stack<'_>, form: Also, _: &How<'_>) -> Result<Vec<u8>> {
    check(&[form]).map(|()| Vec::new())
}

/// Whether the library was compiled with what makes these.
///
/// # Errors
/// Class `Usage`: it wasn't.
pub fn check(forms: &[Also]) -> Result<()> {
    let unmade = if cfg!(feature = "forms") { None } else { forms.first() };
    unmade.map_or(Ok(()), |form| {
        let message = format!("`{}` is a form that this program doesn't make", form.word());
        Err(Fault::new(Class::Usage, message).remedy("Compile fogweft with its feature `forms`.").into())
    })
}

/// Texels of the strip of a plan's whole travel.
pub fn strip_texels(plan: &Plan) -> u64 {
    let [width, height] = plan.strip_size();
    u64::from(width) * u64::from(height)
}

/// Text for an element or an attribute of XML or HTML.
pub(crate) fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}
