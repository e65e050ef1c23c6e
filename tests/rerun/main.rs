//! Tweak, rerun, never lose anything: the real binary, each test in a folder of its own.

mod builds;
mod caches;
mod clean;
#[path = "../common/dice.rs"]
mod dice;
mod moods;
#[path = "../common/program.rs"]
mod program;
mod projects;
mod rims;
mod schemas;
mod shared;
mod sheets;
mod shelves;
mod stills;
mod strokes;
mod times;
mod touched;
mod tweaks;
mod util;
mod variations;
#[cfg(unix)]
mod watching;
