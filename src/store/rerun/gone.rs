//! Outputs that no slot asks for any more.

use crate::base::fault::{Class, Fault, Result};
use crate::base::files::{self, why};
use crate::output;
use crate::store::rerun::decide::{Found, look};
use crate::store::rerun::record::{Records, Written};
use std::collections::BTreeSet;
use std::path::Path;

/// A file that an earlier run left and that this one has no use for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Gone {
    /// Its name in the output folder.
    pub path: String,
    /// Whether somebody painted on it.
    pub touched: bool,
    /// Whether it was removed.
    pub removed: bool,
}

/// Records of files that are still there.
pub(crate) type Left = Vec<(String, Written)>;

/// The files in `folder` that are in `records` but not in `wanted`, and the records to keep of them. Untouched ones that `prune` names are
/// removed.
///
/// # Errors
/// Class `Output`: a file can't be read or removed.
pub(crate) fn gone(
    folder: &Path,
    records: &Records,
    wanted: &BTreeSet<String>,
    prune: &dyn Fn(&str) -> bool,
) -> Result<(Vec<Gone>, Left)> {
    let (mut gone, mut keep) = (Vec::new(), Vec::new());
    for name in
        records.names().into_iter().filter(|name| name != output::manifest::NAME && !wanted.contains(name))
    {
        let (known, goes) = (records.of(&name), prune(&name));
        match look(folder, &name, &known, goes)? {
            Found::Missing => {}
            Found::Ours(_) if goes => {
                let path = folder.join(&name);
                let hashes: Vec<String> = known.into_iter().map(|known| known.hash).collect();
                let removed = files::remove(&path, &hashes).map_err(|error| {
                    Fault::new(Class::Output, format!("the file can't be deleted: {}", why(&error)))
                        .in_file(path)
                        .remedy("Change the folder's permissions, or delete it by hand.")
                })?;
                gone.push(Gone { path: name, touched: !removed, removed });
            }
            Found::Ours(written) => {
                gone.push(Gone { path: name.clone(), touched: false, removed: false });
                keep.push((name, *written));
            }
            Found::Touched => {
                gone.push(Gone { path: name.clone(), touched: true, removed: false });
                keep.extend(known.into_iter().next().map(|written| (name, written)));
            }
        }
    }
    Ok((gone, keep))
}
