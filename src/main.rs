//! The command line of fogweft: a thin face of the library.

#![forbid(unsafe_code)]

mod cli;

use std::process::ExitCode;

fn main() -> ExitCode {
    cli::main()
}
