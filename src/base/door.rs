//! The door for single files that a command is asked to write: none replaces what this program didn't write, or what was edited since,
//! unless that is asked for; and none ever what the same command reads.

use crate::base::fault::{Class, Fault, Result};
use crate::base::files::{self, Over, Placed};
use crate::base::mark::{self, Form};
use crate::base::same;
use std::path::{Path, PathBuf};

/// What a command may do with files that stand where it writes.
#[derive(Clone, Debug, Default)]
pub struct Door {
    /// Whether files may be replaced that this program didn't write.
    pub replace: bool,
    /// What the command reads.
    pub inputs: Vec<PathBuf>,
}

impl Door {
    /// Looks at `path` before any work is done.
    ///
    /// # Errors
    /// Class `Output`: an input stands there, or something that mustn't be replaced.
    pub fn look(&self, path: &Path) -> Result<()> {
        spare_inputs(path, &self.inputs)?;
        files::refuse_special(path)?;
        if path.symlink_metadata().is_err() || files::is_over(path, self.over()) {
            Ok(())
        } else {
            refused(path)
        }
    }

    /// Writes a file with its mark.
    ///
    /// # Errors
    /// As for [`Door::look`]; and where the file can't be written.
    pub fn write(&self, path: &Path, form: Form, content: &[u8]) -> Result<()> {
        spare_inputs(path, &self.inputs)?;
        match files::put(path, &mark::marked(form, content), self.over())? {
            Placed::Written => Ok(()),
            Placed::Stands => refused(path),
        }
    }

    fn over(&self) -> Over<'static> {
        if self.replace { Over::Any } else { Over::Marked }
    }
}

fn refused(path: &Path) -> Result<()> {
    let message = "the file exists, but fogweft didn't write it, or it was edited since";
    let fault = Fault::new(Class::Output, message).in_file(path);
    Err(fault.remedy("Choose another name, or overwrite it with --replace.").into())
}

/// Checks that what is to be written at `path` is none of the `inputs`.
///
/// # Errors
/// Class `Output`: it is.
pub fn spare_inputs(path: &Path, inputs: &[PathBuf]) -> Result<()> {
    match inputs.iter().find(|input| same::is_same(path, input)) {
        None => Ok(()),
        Some(input) => {
            let what = format!("the output would replace {}, which the same command reads", input.display());
            let fault = Fault::new(Class::Output, what).in_file(path);
            Err(fault.remedy("Choose another name or folder for the output.").into())
        }
    }
}
