//! An output of a run: what is wanted, what becomes of it, what it is recorded as.

use crate::base::files::Draft;
use crate::output::forms::Also;
use crate::store::rerun::{Act, Decision, Wanted, Written};
use crate::store::run::manifest::Outcome;
use crate::store::run::textures::{File, Of};

/// What an output is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum What {
    /// A texture of a job.
    Texture(Of),
    Still,
    /// The still's value view.
    Values,
    /// The stack in another form.
    Export(Also),
    Manifest,
}

/// An output of the run: what is wanted, what becomes of it, and, once it is made, its bytes.
pub(super) struct Output {
    pub what: What,
    pub wanted: Wanted,
    pub decision: Decision,
    pub made: Option<File>,
    /// What that held, once it lies on the disk.
    pub draft: Option<Draft>,
    /// Whether it was written already.
    pub placed: bool,
}

impl Output {
    /// One of which nothing is there yet.
    pub fn new((what, wanted): (What, Wanted), decision: Decision) -> Output {
        Output { what, wanted, decision, made: None, draft: None, placed: false }
    }

    /// Which texture it is, if it is one.
    pub fn texture(&self) -> Option<Of> {
        match self.what {
            What::Texture(of) => Some(of),
            What::Still | What::Values | What::Export(_) | What::Manifest => None,
        }
    }

    /// The path by which the manifest names it.
    pub fn path(&self) -> &str {
        match &self.decision.act {
            Act::Share(shared) => &shared.path,
            _ => &self.wanted.path,
        }
    }

    /// Whether somebody painted on it.
    pub fn is_edited(&self) -> bool {
        match &self.decision.act {
            Act::Spare(_) | Act::Beside(..) => true,
            Act::Share(shared) => shared.touched,
            Act::Keep(_) | Act::Make => false,
        }
    }

    /// The name under which something is to be made.
    pub fn target(&self) -> Option<&str> {
        match &self.decision.act {
            Act::Make => Some(&self.wanted.path),
            Act::Beside(_, name) => Some(name),
            Act::Keep(_) | Act::Spare(_) | Act::Share(_) => None,
        }
    }

    /// The record of what was made.
    pub fn written(&self) -> Option<Written> {
        let File { bytes: _, length, opaque, bits, hash } = self.made.as_ref()?;
        Some(Written {
            slot: self.wanted.slot.clone(),
            hash: hash.clone(),
            bytes: *length,
            made_of: self.wanted.made_of.clone(),
            opaque: *opaque,
            bits: *bits,
            beside: matches!(self.decision.act, Act::Beside(..)).then(|| self.wanted.path.clone()),
            settings: self.wanted.settings.clone(),
            seen: None,
        })
    }

    /// What became of it.
    pub fn outcome(&self) -> Outcome {
        match (&self.decision.act, self.written()) {
            (Act::Make, Some(written)) => Outcome::AsMeant(written),
            (Act::Make, None) => Outcome::Aside,
            (Act::Keep(written), _) => Outcome::AsMeant(written.clone()),
            (Act::Spare(written) | Act::Beside(written, _), _) => Outcome::Painted(written.clone()),
            (Act::Share(shared), _) if shared.touched => Outcome::Painted(shared.written.clone()),
            (Act::Share(shared), _) => Outcome::AsMeant(shared.written.clone()),
        }
    }

    /// The records to keep of it and of new versions beside it; none of what belongs to another folder.
    pub fn records(&self) -> Vec<(String, Written)> {
        if matches!(self.decision.act, Act::Share(_)) {
            return Vec::new();
        }
        let mut all = self.decision.besides.clone();
        if let Outcome::AsMeant(written) | Outcome::Painted(written) = self.outcome() {
            all.push((self.wanted.path.clone(), written));
        }
        if let (Act::Beside(_, name), Some(fresh)) = (&self.decision.act, self.written()) {
            all.push((name.clone(), fresh));
        }
        all
    }
}
