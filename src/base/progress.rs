//! What a run tells while it works.

use std::path::Path;

/// A part of a run's work.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Stage {
    /// Looking for the shapes of textures that only their texels tell.
    Shapes,
    /// Working out all layers.
    Layers,
    /// Working out one layer: a sheet, a picture, a glow of lamps.
    Layer,
    /// Looking at outlines, and solving the rims there.
    Rims,
    /// Composing the still.
    Still,
    /// Making all files.
    Files,
    /// Making one file, or the files of one layer.
    File,
    /// Looking at the whole stack for somebody else.
    Inspection,
    /// Writing the files.
    Writing,
}

/// Listens to a run; called from several threads at once.
pub trait Progress: Sync {
    /// A stage begins on this thread, of the file `path` if it is named. Within it others may begin, which end before it does.
    fn enters(&self, stage: Stage, path: &str) {
        let _ = (stage, path);
    }

    /// The stage that began last on this thread ends.
    fn leaves(&self, stage: Stage) {
        let _ = stage;
    }

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

/// Does `work` as a stage of the run that `progress` listens to.
pub fn stage<T>(progress: &dyn Progress, stage: Stage, path: &str, work: impl FnOnce() -> T) -> T {
    progress.enters(stage, path);
    let made = work();
    progress.leaves(stage);
    made
}

/// Hears nothing and lets every run come to its end.
#[derive(Clone, Copy, Debug, Default)]
pub struct Silent;

impl Progress for Silent {}
