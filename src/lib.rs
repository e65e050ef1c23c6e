//! fogweft makes the fog of layered 2D scenes.

#![forbid(unsafe_code)]

pub mod air;
pub mod art;
pub mod check;
pub mod colour;
pub mod exp;
pub mod fault;
pub mod field;
pub mod keys;
pub mod law;
pub mod limits;
pub mod out;
pub mod plan;
pub mod recipe;
pub mod render;
pub mod report;
pub mod rim;
pub mod scene;
pub mod seed;
pub mod sheet;
pub mod starter;
pub mod still;
pub mod treat;
pub mod values;
