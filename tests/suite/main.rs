//! The checks that run the whole program or its library from outside; see `tests/README.md` for where a new one belongs.
//!
//! One crate for all of them: each further test binary would be linked anew.

#![allow(clippy::approx_constant, clippy::type_complexity, clippy::needless_range_loop)] // Published values stand as printed.

mod along;
mod blur;
mod body;
mod colour;
mod commands;
mod edges;
mod fast;
mod field;
mod flow;
mod frames;
mod goldens;
mod keys;
mod lamps;
mod law;
mod looks;
mod periods;
mod rims;
mod run;
mod scale;
mod slope;
mod spectrum;
mod stack;
mod strokes;
mod texels;
mod util;
