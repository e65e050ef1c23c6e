//! SVG files where the library is compiled without them: each is refused.

use crate::base::fault::{Class, Fault};
use crate::scene::pictures::Line;
use std::sync::Arc;

/// There is none.
pub(super) enum Tree {}

/// A parsed drawing, which there is none of either.
pub(super) struct Drawing {
    pub natural: [f64; 2],
    pub tree: Arc<Tree>,
    pub warnings: Vec<String>,
}

pub(super) fn parse(_: &[u8]) -> Result<Drawing, Fault> {
    Err(Fault::new(Class::Picture, "this is an SVG, which this program doesn't draw")
        .remedy("Save it as PNG, or compile fogweft with its feature `svg`."))
}

/// What was drawn, which is nothing.
pub(super) enum Drawn {}

impl Drawn {
    pub fn rows(&self, _: bool, _: &mut dyn FnMut(&mut [[u16; 4]])) {
        match *self {}
    }
}

pub(super) fn draw(tree: &Arc<Tree>, _: [u32; 2]) -> Result<Drawn, Fault> {
    match **tree {}
}

pub(super) fn line(_: &Line, _: [u32; 2], _: [f64; 2]) -> Result<Vec<u8>, Fault> {
    Err(Fault::new(Class::Picture, "this program draws no lines")
        .remedy("Compile fogweft with its feature `svg`."))
}
