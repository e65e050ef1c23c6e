//! The checks that run the whole program or its library from outside; see `tests/README.md` for where a new one belongs.
//!
//! One crate for all of them: each further test binary would be linked anew.

mod blur;
mod colour;
mod field;
mod law;
mod spectrum;
mod stack;
mod util;
