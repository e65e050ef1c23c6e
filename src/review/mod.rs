//! What a person looks at: the check, variations, contact sheets.

pub mod check;
pub mod contact;
mod head;
pub mod index;
pub mod lettering;
pub mod levels;
pub mod vary;
