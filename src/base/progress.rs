//! What a run tells while it works.

use std::path::Path;

/// Listens to a run; called from several threads at once.
pub trait Progress: Sync {
    /// So many outputs are about to be made in `folder`; `work` is the sum of all texels that will be told of.
    fn begins(&self, folder: &Path, outputs: usize, work: u64) {
        let _ = (folder, outputs, work);
    }

    /// What an output is made from, or what the still shows, is worked out; so many texels of the work are done.
    fn worked(&self, path: &str, texels: u64) {
        let _ = (path, texels);
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
