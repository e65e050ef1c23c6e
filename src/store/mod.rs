//! The store and the maker on it, what is made again, and the run that leaves every file of a scene in its folder.

pub mod cache;
pub mod maker;
pub mod rerun;
pub mod run;
#[cfg(feature = "tune")]
pub mod watcher;
