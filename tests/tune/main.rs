//! The tuning page, asked through the program itself: who gets in, what an edit does, that nothing is lost, and what a browser makes of it.

mod along;
#[allow(dead_code)]
#[path = "../world/browser.rs"]
mod browser;
mod client;
mod controls;
mod door;
mod edits;
mod equal;
mod inherited;
mod lamps;
mod latency;
mod level;
mod long;
mod memory;
mod mends;
#[allow(dead_code)]
#[path = "../world/outside.rs"]
mod outside;
mod page;
mod places;
mod recovery;
mod strokes;
mod wire;
mod zoom;
