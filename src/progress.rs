//! What a run tells while it works.

use std::path::Path;

/// Listens to a run; called from several threads at once.
pub trait Progress: Sync {
    /// So many outputs, of this many texels in all, are about to be made in `folder`.
    fn begins(&self, folder: &Path, outputs: usize, texels: u64) {
        let _ = (folder, outputs, texels);
    }

    /// An output is being made.
    fn makes(&self, path: &str) {
        let _ = path;
    }

    /// It is made; it had this many texels.
    fn made(&self, path: &str, texels: u64) {
        let _ = (path, texels);
    }

    /// Everything in the folder is done, or the run has failed.
    fn ends(&self) {}

    /// Whether the run is to stop; it then leaves the outputs as they were.
    fn stopped(&self) -> bool {
        false
    }
}

/// Hears nothing and lets every run come to its end.
#[derive(Clone, Copy, Debug, Default)]
pub struct Silent;

impl Progress for Silent {}
