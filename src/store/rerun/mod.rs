//! Reruns: only what changed is made again, and what somebody painted on is never lost.
//!
//! Each output carries the hash of all that it was made from. A run works out those hashes first, without a pixel; where one equals
//! that of the file that stands there, and the file is byte for byte what was written, nothing is to be made.

pub mod decide;
pub mod gone;
pub mod lock;
pub mod record;
pub mod wanted;
pub mod why;

pub use decide::{Act, Decision, Rerun, Shared};
pub use gone::Gone;
pub use lock::Lock;
pub use record::{Records, State, Written};
pub use wanted::{Outputs, Packing, Wanted};
pub use why::SceneSettings;
