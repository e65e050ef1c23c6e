//! Pictures are read by processes of this program's own, which the system bounds.

use super::heap;
use fogweft::base::fault::{Class, Fault, Result};
use fogweft::scene::apart::{self, Program};
use std::path::PathBuf;
use std::process::ExitCode;

/// What this program is started with to read pictures. Nobody else is told of it: it is no command of [`super::args`].
const COMMAND: &str = "read-pictures";

/// Whether this process is to read pictures.
pub fn is_wanted() -> bool {
    std::env::args_os().skip(1).eq([COMMAND])
}

/// Lets this program read pictures in other processes of itself. Where it can't be found, it reads them itself.
pub fn switch_on() {
    // Also where the file has been replaced since.
    let own = PathBuf::from("/proc/self/exe");
    let file =
        if cfg!(target_os = "linux") && own.exists() { Some(own) } else { std::env::current_exe().ok() };
    if let Some(file) = file {
        apart::read_apart(Program { file, args: vec![COMMAND.into()] });
    }
}

/// Reads pictures for whoever started this process, until it ends.
///
/// # Errors
/// Class `Usage`: what comes isn't a request.
pub fn serve() -> Result<ExitCode> {
    heap::share();
    apart::serve(std::io::stdin().lock(), std::io::stdout().lock(), heap::trim)
        .map(|()| ExitCode::SUCCESS)
        .map_err(|error| Fault::new(Class::Usage, format!("no request could be read: {error}")).into())
}
