//! What must hold whatever comes: hostile input, faults at any moment, the same bytes everywhere, long runs. Each is sampled here and
//! done in full where `FOGWEFT_THOROUGH` is set; `DEVELOPERS.md` has the figures of the last recorded run.

mod apart;
// Linux alone tells how much memory a process holds, and bounds it.
#[cfg(target_os = "linux")]
mod corpus;
#[path = "../common/crc.rs"]
mod crc;
#[path = "../common/dice.rs"]
mod dice;
mod door;
mod faults;
mod inputs;
mod limits;
#[cfg(target_os = "linux")]
mod long;
#[cfg(target_os = "linux")]
mod memory;
mod moods;
#[allow(dead_code)]
#[path = "../world/outside.rs"]
mod outside;
mod paths;
#[path = "../common/pieces.rs"]
mod pieces;
mod pngsuite;
#[path = "../common/program.rs"]
mod program;
mod same;
mod shown;
mod util;
