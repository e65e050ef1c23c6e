//! What a person looks at: the check, variations, contact sheets.

pub mod check;
pub mod contact;
pub mod index;
pub mod lettering;
pub mod levels;
pub mod vary;
