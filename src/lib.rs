//! fogweft makes the fog of layered 2D scenes.

#![forbid(unsafe_code)]

pub mod art;
pub mod arts;
pub mod colour;
pub mod contact;
pub mod exp;
pub mod fault;
pub mod field;
pub mod keys;
pub mod law;
pub mod lettering;
pub mod limits;
pub mod out;
pub mod plan;
pub mod progress;
pub mod recipe;
pub mod render;
pub mod report;
pub mod rerun;
pub mod scene;
pub mod schema;
pub mod seed;
pub mod sheet;
pub mod starter;
pub mod still;
