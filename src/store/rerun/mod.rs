//! Reruns: only what changed is made again, and what somebody painted on is never lost.
//!
//! Each output carries the hash of all that it was made from. A run works out those hashes first, without a pixel; where one equals
//! that of the file that stands there, and the file is byte for byte what was written, nothing is to be made.

pub mod decide;
pub mod fields;
pub mod gone;
pub mod lock;
pub mod made_of;
pub mod record;
mod seal;
pub mod why;

pub use decide::{Act, Decision, Rerun};
pub use fields::{Fields, Keep};
pub use gone::Gone;
pub use lock::Lock;
pub use made_of::{OUTPUT_VERSION, Packing, Wanted};
pub use record::{Records, Stands, State, Written, memory};
pub use why::Settled;
