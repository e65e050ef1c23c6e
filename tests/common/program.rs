//! The real binary.

use std::path::Path;
use std::process::{Command, Stdio};

/// The program in `folder`, with no user's shelf and nothing to read from.
pub fn program(folder: &Path, args: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_fogweft"));
    command.args(args).current_dir(folder).stdin(Stdio::null());
    command.env("XDG_CONFIG_HOME", folder.join("config")).env("NO_COLOR", "1");
    command
}
