//! What a person looks at: the check, variations, contact sheets.

pub mod check;
#[cfg(feature = "cli")]
pub mod contact;
#[cfg(feature = "cli")]
mod head;
#[cfg(feature = "cli")]
pub mod index;
#[cfg(feature = "cli")]
pub mod lettering;
#[cfg(feature = "cli")]
pub mod levels;
#[cfg(feature = "cli")]
pub mod vary;
