//! Ground words: faults, limits, colours, the law, placement, seeds, registers, files. They know nothing of what uses them.

pub mod colour;
pub mod door;
pub mod exp;
pub mod fault;
pub mod files;
pub mod folder;
pub mod gate;
pub mod interpolate;
pub mod key;
pub mod law;
pub mod limits;
pub mod mark;
pub mod names;
pub mod picture;
pub mod placing;
pub mod progress;
pub mod raster;
pub mod report;
pub mod room;
pub mod seed;
pub(crate) mod simd;
pub(crate) mod space;
pub mod stamp;
pub mod units;
pub mod words;
