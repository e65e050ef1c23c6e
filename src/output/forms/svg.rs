//! The stack as a vector drawing, for documents and vector programs: every picture an image of its own, in drawing order, named after
//! its slot, from the middle of the travel.
//!
//! Source: Scalable Vector Graphics (SVG) 2 (W3C Candidate Recommendation, 4 October 2018); images embedded by data URLs (RFC 2397).

use crate::base::fault::Result;
use crate::base::words::{Bits, Blending};
use crate::output::forms::escaped;
use crate::output::{Effort, encode};
use crate::stack::Stack;
use crate::stack::compositor::Place;
use data_encoding::BASE64;
use rayon::prelude::*;

/// The drawing; its user units are texels of the view, which is all that it shows.
pub fn bytes(stack: &Stack<'_>, effort: Effort) -> Result<Vec<u8>> {
    let plan = stack.plan();
    let [width, height] = plan.texels;
    let images: Vec<String> =
        (0..plan.files.len()).into_par_iter().map(|at| image(stack, at, effort)).collect();
    // Viewers blend stored values; the few that can do otherwise are told.
    let space = match plan.blending {
        Blending::Encoded => "sRGB",
        Blending::Linear => "linearRGB",
    };
    let text = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"{height}\" viewBox=\"0 0 {width} {height}\" \
         color-interpolation=\"{space}\">\n<title>{}</title>\n<rect id=\"backdrop\" width=\"{width}\" height=\"{height}\" \
         fill=\"{}\"/>\n{}</svg>\n",
        escaped(&plan.name),
        plan.backdrop.to_hex(),
        images.concat()
    );
    Ok(text.into_bytes())
}

/// The picture of a job, with its repeats that reach into the view as uses of the first.
fn image(stack: &Stack<'_>, at: usize, effort: Effort) -> String {
    let plan = stack.plan();
    let placing = stack.placing(at);
    let place = Place::new(placing, placing.texels, plan.scale, plan.travel.middle());
    let mut copies = place.copies(plan.texels[0] as usize);
    let Some(first) = copies.next() else { return String::new() };
    let id = escaped(placing.path.trim_end_matches(".png"));
    let data = BASE64.encode(&encode(stack.texels(at, Bits::Eight).raster(), effort));
    let [width, height] = [placing.rect.width, placing.rect.height].map(|side| (side * plan.scale).0);
    let (left, top) = (place.left(first), place.top());
    let mut text = format!(
        "<image id=\"{id}\" x=\"{left}\" y=\"{top}\" width=\"{width}\" height=\"{height}\" \
         preserveAspectRatio=\"none\" href=\"data:image/png;base64,{data}\"/>\n"
    );
    for copy in copies {
        text += &format!("<use href=\"#{id}\" x=\"{}\"/>\n", place.left(copy) - left);
    }
    text
}
