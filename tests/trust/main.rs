//! What must hold whatever comes: hostile input, faults at any moment, the same bytes everywhere, long runs. Each is sampled here and
//! done in full where `FOGWEFT_THOROUGH` is set; `DEVELOPERS.md` has the figures of the last recorded run.

mod faults;
mod inputs;
mod long;
mod paths;
mod same;
mod util;
