//! Recipes as files hold them: layers of numbers, and the shelf of presets.

pub mod layers;
pub mod shelf;
