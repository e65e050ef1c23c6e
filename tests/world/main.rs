//! Outputs in the world outside: each form by readers and validators that we did not write.

mod apng;
#[allow(dead_code)] // Some of it only the tuning page's tests use.
mod browser;
mod compose;
mod drift;
mod glb;
mod level;
mod levels;
mod openraster;
mod outside;
mod painted;
mod paintings;
mod places;
mod preview;
mod sheets;
mod strip;
mod svg;
mod texture;
