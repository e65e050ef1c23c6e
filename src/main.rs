//! The command line of fogweft: a thin face of the library.

// Denied but for two calls that `cli::heap` gives the reason for; the library forbids it.
#![deny(unsafe_code)]

mod cli;

use std::process::ExitCode;

fn main() -> ExitCode {
    cli::main()
}
