//! What becomes of each output: kept, made, or made beside one that somebody painted on.

use crate::base::fault::{Class, Fault, Result};
use crate::base::files::why as cause;
use crate::base::stamp::{Seen, digest};
use crate::store::rerun::record::{Records, Written};
use crate::store::rerun::wanted::{Wanted, beside};
use crate::store::rerun::why::why;
use std::fs;
use std::path::Path;

/// How far a run may go.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Rerun {
    /// Rebuild everything, changed or not.
    pub again: bool,
    /// Overwrite outputs that somebody painted on.
    pub replace: bool,
    /// Remove untouched outputs of slots that are gone.
    pub prune: bool,
}

/// What becomes of an output.
#[derive(Clone, Debug, PartialEq)]
pub enum Act {
    /// It is what it should be.
    Keep(Written),
    /// It is made under its name.
    Make,
    /// Somebody painted on it, so it stays; nothing new is to be made.
    Spare(Written),
    /// Somebody painted on it, so it stays, and the new version is made under this name.
    Beside(Written, String),
    /// Another mood's folder has the same; nothing is to be made.
    Share(Shared),
}

/// A file in another mood's folder that is the same.
#[derive(Clone, Debug, PartialEq)]
pub struct Shared {
    /// Its path from the folder that names it.
    pub path: String,
    /// What was written there.
    pub written: Written,
    /// The new version beside it, where somebody painted on it and it was to change.
    pub newer: Option<String>,
    /// Whether somebody painted on it.
    pub touched: bool,
}

impl Decision {
    /// That of an output that another mood's folder has.
    pub fn share(shared: Shared) -> Decision {
        let why = match (&shared.newer, shared.touched) {
            (_, false) => String::new(),
            (None, true) => "edited since the last run".to_owned(),
            (Some(newer), true) => format!("edited since the last run; {newer} is up to date"),
        };
        Decision { act: Act::Share(shared), why, replace: false, besides: Vec::new() }
    }
}

/// A decision and its reason.
#[derive(Clone, Debug, PartialEq)]
pub struct Decision {
    /// What becomes of it.
    pub act: Act,
    /// Why, in a few words.
    pub why: String,
    /// Whether an existing file under the name may be replaced though it isn't what a run wrote.
    pub replace: bool,
    /// New versions beside it that are still wanted.
    pub besides: Vec<(String, Written)>,
}

/// What stands under a name.
pub(crate) enum Found {
    /// Nothing.
    Missing,
    /// Just what a run wrote.
    Ours(Box<Written>),
    /// Something else.
    Touched,
}

/// Looks at `folder/name` and tells whether it is one of `known`. With `closely` the content is read in any case.
pub(crate) fn look(folder: &Path, name: &str, known: &[Written], closely: bool) -> Result<Found> {
    let path = folder.join(name);
    let data = match fs::symlink_metadata(&path) {
        Ok(data) => data,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(Found::Missing),
        Err(error) => return Err(unreadable(&path, &error).into()),
    };
    if !data.is_file() {
        // Writing refuses it with a message of its own; whoever only looks must leave it alone.
        return Ok(Found::Touched);
    }
    if !closely
        && let Some(held) = known.iter().find(|known| known.seen.is_some_and(|seen| seen.holds(&data)))
    {
        return Ok(Found::Ours(Box::new(held.clone())));
    }
    if !known.iter().any(|known| known.bytes == data.len()) {
        return Ok(Found::Touched);
    }
    let seen = Seen::now(&data);
    let (hash, bytes) = digest(&path).map_err(|error| unreadable(&path, &error))?;
    let hash = hash.to_hex();
    let same = known.iter().find(|known| known.bytes == bytes && known.hash == hash.as_str());
    Ok(match same {
        Some(known) => {
            Found::Ours(Box::new(Written { seen: seen.filter(Seen::is_conclusive), ..known.clone() }))
        }
        None => Found::Touched,
    })
}

fn unreadable(path: &Path, error: &std::io::Error) -> Fault {
    Fault::new(
        Class::Output,
        format!("can't tell whether the file was edited since the last run: {}", cause(error)),
    )
    .in_file(path)
    .remedy("Give yourself read permission, or choose another output folder.")
}

/// Decides on one output.
///
/// # Errors
/// Class `Output`: a file stands there that no run made, or that can't be read.
pub(crate) fn decide(folder: &Path, wanted: &Wanted, records: &Records, rerun: Rerun) -> Result<Decision> {
    let own = records.of(&wanted.path);
    let besides = records.besides(&wanted.path);
    // Who moves the new version over the old one has accepted it.
    let mut known: Vec<Written> =
        own.iter().chain(besides.iter().map(|(_, written)| written)).cloned().collect();
    // Two makings may come to the same bytes: the one that is wanted counts.
    known.sort_by_key(|known| known.made_of != wanted.made_of);
    let plain = |act, why: String| Ok(Decision { act, why, replace: false, besides: Vec::new() });
    match look(folder, &wanted.path, &known, false)? {
        Found::Missing if known.is_empty() => plain(Act::Make, "new".into()),
        Found::Missing => plain(Act::Make, "missing".into()),
        Found::Ours(written) => {
            if rerun.again {
                plain(Act::Make, "rebuilt".into())
            } else if written.made_of == wanted.made_of {
                // The same was made of these settings, whatever the record knew.
                let settings = wanted.settings.clone();
                plain(Act::Keep(Written { beside: None, settings, ..*written }), String::new())
            } else {
                plain(Act::Make, why(&written.settings, &wanted.settings))
            }
        }
        Found::Touched => match own.first() {
            None => Err(Fault::new(Class::Output, "the file exists, but no earlier run made it")
                .in_file(folder.join(&wanted.path))
                .remedy("Move it away, or choose another output folder.")
                .into()),
            Some(_) if rerun.replace => Ok(Decision {
                act: Act::Make,
                why: "edited since the last run, replaced".into(),
                replace: true,
                besides: Vec::new(),
            }),
            Some(written) if written.made_of == wanted.made_of && !rerun.again => {
                plain(Act::Spare(written.clone()), "edited since the last run".into())
            }
            Some(written) => aside(folder, wanted, written, besides, rerun),
        },
    }
}

/// A decision to make an output, looked at again just before it is written: whoever painted on the file since then keeps it.
pub(crate) fn still_so(
    folder: &Path,
    wanted: &Wanted,
    records: &Records,
    decision: Decision,
) -> Result<Decision> {
    let own = records.of(&wanted.path);
    let besides = records.besides(&wanted.path);
    let anew = Rerun { again: true, ..Rerun::default() };
    let reason = decision.why.clone();
    let aside = |written: &Written, besides| {
        Ok(Decision { why: reason, ..aside(folder, wanted, written, besides, anew)? })
    };
    if let Act::Beside(written, _) = &decision.act {
        return aside(written, besides);
    }
    let known: Vec<Written> = own.iter().chain(besides.iter().map(|(_, written)| written)).cloned().collect();
    match (look(folder, &wanted.path, &known, true)?, own.first()) {
        (Found::Missing | Found::Ours(_), _) => Ok(decision),
        (Found::Touched, Some(written)) => aside(written, besides),
        (Found::Touched, None) => Err(Fault::new(Class::Output, "the file appeared during the run")
            .in_file(folder.join(&wanted.path))
            .remedy("Move it away, or choose another output folder.")
            .into()),
    }
}

/// Decides on the new version beside an output that somebody painted on.
fn aside(
    folder: &Path,
    wanted: &Wanted,
    written: &Written,
    known: Vec<(String, Written)>,
    rerun: Rerun,
) -> Result<Decision> {
    let mut why = why(&written.settings, &wanted.settings);
    if rerun.again {
        why = "rebuilt".to_owned();
    }
    let mut kept = Vec::new();
    let mut count = 0;
    loop {
        count += 1;
        let name = beside(&wanted.path, count);
        let own: Vec<Written> =
            known.iter().filter(|(known, _)| *known == name).map(|(_, written)| written.clone()).collect();
        match look(folder, &name, &own, false)? {
            Found::Missing => {
                return Ok(Decision {
                    act: Act::Beside(written.clone(), name),
                    why,
                    replace: false,
                    besides: kept,
                });
            }
            Found::Ours(there) if there.made_of == wanted.made_of && !rerun.again => {
                kept.push((name.clone(), *there));
                let why = format!("edited since the last run; {name} is up to date");
                return Ok(Decision { act: Act::Spare(written.clone()), why, replace: false, besides: kept });
            }
            Found::Ours(_) => {
                return Ok(Decision {
                    act: Act::Beside(written.clone(), name),
                    why,
                    replace: false,
                    besides: kept,
                });
            }
            // Somebody painted on that too, or it never was ours.
            Found::Touched => kept.extend(own.into_iter().map(|written| (name.clone(), written))),
        }
    }
}
