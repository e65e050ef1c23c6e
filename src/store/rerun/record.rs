//! What earlier runs left: by the manifest, and by a hidden file beside it that also knows why.
//!
//! The manifest alone is enough to tell what is whose; without the hidden file a run only can't name the number that changed.

use crate::base::fault::Result;
use crate::base::stamp::Seen;
use crate::output::{self, Manifest};
use crate::store::rerun::decide::{Found, look};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::io::Read;
use std::path::Path;

/// Name of the hidden file.
pub const NAME: &str = ".fogweft-run.json";

/// Version of its form.
const VERSION: u32 = 1;

/// Most bytes of it that are read; one of 256 slots has about 2 MB.
const MOST_BYTES: u64 = 64 << 20;

/// Most bytes of any text in it.
const LONGEST: usize = 8192;

/// What was written under a name.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Written {
    /// The slot it belongs to; empty where it belongs to all.
    pub slot: String,
    /// BLAKE3 of the file, in hexadecimal.
    pub hash: String,
    /// The file's length.
    pub bytes: u64,
    /// Hash of all that made it.
    pub made_of: String,
    /// Bits per channel; 0 where it isn't a picture of the stack.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub bits: u8,
    /// Whether every texel is opaque.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub opaque: bool,
    /// The output that this is a newer version of, where that one is kept because somebody painted on it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub beside: Option<String>,
    /// The settings that it was made with.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub settings: BTreeMap<String, String>,
    /// The file's stamp when it last held just that.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub seen: Option<Seen>,
}

fn is_zero(bits: &u8) -> bool {
    *bits == 0
}

/// The hidden file.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct State {
    /// Version of this form.
    version: u32,
    /// What the last run left, by name.
    pub files: BTreeMap<String, Written>,
    /// What a run was about to write when this was saved; empty once it is done.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub pending: BTreeMap<String, Written>,
}

/// All that is known of earlier runs in a folder.
#[derive(Clone, Debug, Default)]
pub struct Records {
    /// The hidden file's content.
    pub state: State,
    /// Its text as it stands.
    pub text: String,
    /// The manifest.
    pub manifest: Option<Manifest>,
    /// What to tell about the reading.
    pub notes: Vec<String>,
}

impl State {
    /// What a finished run leaves.
    pub fn new(files: BTreeMap<String, Written>) -> State {
        State { version: VERSION, files, pending: BTreeMap::new() }
    }

    /// Puts on record what is about to be written into `folder`. What a run that was ended half way has already put there becomes what
    /// the last run left, so that it stays known until it is replaced.
    pub fn intend(&mut self, folder: &Path, due: BTreeMap<String, Written>) {
        for (name, written) in due {
            let hash = written.hash.clone();
            if let Some(old) = self.pending.insert(name.clone(), written)
                && old.hash != hash
                && let Ok(Found::Ours(old)) = look(folder, &name, &[old], false)
            {
                self.files.insert(name, *old);
            }
        }
    }

    /// Puts on record that what was about to be written stands.
    pub fn settle(&mut self, done: BTreeMap<String, Written>) {
        self.pending.retain(|name, _| !done.contains_key(name));
        self.files.extend(done);
    }

    /// As text: one line for each file.
    pub fn text(&self) -> String {
        let mut text = format!("{{\"version\": {VERSION}");
        for (name, files) in [("files", &self.files), ("pending", &self.pending)] {
            text += &format!(",\n\"{name}\": {}", lines(files));
        }
        text + "}\n"
    }

    /// Reads the hidden file; whatever it holds, the worst is that nothing is known.
    fn read(folder: &Path) -> (State, String, Vec<String>) {
        let path = folder.join(NAME);
        let unknown = |why: &str| {
            let note = format!(
                "{}: the record of the last run {why}; edits are detected by the manifest, and changes are not explained",
                path.display()
            );
            (State::default(), String::new(), vec![note])
        };
        match std::fs::symlink_metadata(&path) {
            Err(_) => return Default::default(),
            Ok(data) if !data.is_file() => return unknown("is not an ordinary file"),
            Ok(data) if data.len() > MOST_BYTES => return unknown("is too long"),
            Ok(_) => {}
        }
        let mut text = String::new();
        let read =
            std::fs::File::open(&path).and_then(|file| file.take(MOST_BYTES).read_to_string(&mut text));
        if read.is_err() {
            return unknown("can't be read");
        }
        match serde_json::from_str::<State>(&text) {
            Ok(state) if state.sound() => (state, text, Vec::new()),
            Ok(state) if state.version != VERSION => unknown("has another version"),
            _ => unknown("is damaged"),
        }
    }

    /// Whether it could have been left by a run.
    fn sound(&self) -> bool {
        let short = |text: &str| text.len() <= LONGEST;
        let hash = |text: &str| text.len() == 64 && text.bytes().all(|byte| byte.is_ascii_hexdigit());
        let file = |(name, written): (&String, &Written)| {
            output::manifest::stays_inside(name)
                && short(name)
                && short(&written.slot)
                && hash(&written.hash)
                && hash(&written.made_of)
                && written
                    .beside
                    .as_ref()
                    .is_none_or(|name| output::manifest::stays_inside(name) && short(name))
                && written.settings.iter().all(|(key, value)| short(key) && short(value))
        };
        self.version == VERSION && self.files.iter().chain(&self.pending).all(file)
    }
}

/// JSON with a line for each member.
fn lines<T: Serialize>(map: &BTreeMap<String, T>) -> String {
    // Plain data with text for keys can always be written.
    let line = |(key, value): (&String, &T)| {
        let key = serde_json::to_string(key).unwrap_or_default();
        format!("\n{key}: {}", serde_json::to_string(value).unwrap_or_default())
    };
    format!("{{{}}}", map.iter().map(line).collect::<Vec<_>>().join(","))
}

impl Records {
    /// Reads what stands in `folder`.
    ///
    /// # Errors
    /// Class `Output`: the manifest can't be one that a run has left.
    pub fn read(folder: &Path) -> Result<Records> {
        let (mut state, text, notes) = State::read(folder);
        state.version = VERSION;
        Ok(Records { state, text, manifest: Manifest::read(folder)?, notes })
    }

    /// What may have been written under `name`, the likeliest first.
    pub fn of(&self, name: &str) -> Vec<Written> {
        let mut all: Vec<Written> = [&self.state.files, &self.state.pending]
            .into_iter()
            .filter_map(|map| map.get(name).cloned())
            .collect();
        if let Some(manifest) = &self.manifest {
            all.extend(listed(manifest, name));
            if name == output::manifest::NAME && all.is_empty() {
                // Without the hidden file, a manifest that reads back letter by letter is one that nobody edited.
                let text = manifest.text();
                all.push(Written {
                    hash: blake3::hash(text.as_bytes()).to_hex().to_string(),
                    bytes: text.len() as u64,
                    made_of: super::wanted::text_key("manifest", &text).hex(),
                    ..Written::default()
                });
            }
        }
        all
    }

    /// Every name that an earlier run may have left a file under.
    pub fn names(&self) -> Vec<String> {
        let listed = self.manifest.iter().flat_map(|manifest| manifest.names().map(str::to_owned));
        let mut names: Vec<String> =
            self.state.files.keys().chain(self.state.pending.keys()).cloned().chain(listed).collect();
        // What it names in the folders of other moods is theirs.
        names.retain(|name| output::manifest::stays_inside(name));
        names.sort();
        names.dedup();
        names
    }
}

/// What the manifest says was written under `name`.
fn listed(manifest: &Manifest, name: &str) -> Vec<Written> {
    let whole = manifest.still.iter().chain(&manifest.values).filter(|still| still.path == name);
    let whole = whole.map(|still| (&still.hash, still.bytes, &still.made_of, Written::default()));
    let files = manifest.files.iter().filter(|entry| entry.path == name).map(|entry| {
        let plain = || (&entry.hash, entry.bytes, entry.bits, entry.opaque);
        // Of a file that was painted on, what counts is what a run wrote there.
        let (hash, bytes, bits, opaque) =
            entry.original.as_ref().map_or_else(plain, |own| (&own.hash, own.bytes, own.bits, own.opaque));
        let more = Written { slot: entry.slot.clone(), bits, opaque, ..Written::default() };
        (hash, bytes, &entry.made_of, more)
    });
    let frames = manifest.files.iter().flat_map(|entry| entry.frames.iter().map(move |frame| (entry, frame)));
    let frames = frames.filter(|(_, frame)| frame.path == name).map(|(entry, frame)| {
        let more = Written { slot: entry.slot.clone(), bits: entry.bits, ..Written::default() };
        (&frame.hash, frame.bytes, &frame.made_of, more)
    });
    let exports = manifest.exports.iter().filter(|export| export.path == name);
    let exports = exports.map(|export| (&export.hash, export.bytes, &export.made_of, Written::default()));
    let left = manifest.left.iter().filter(|left| left.path == name).map(|left| {
        let more = Written {
            slot: left.slot.clone(),
            bits: left.bits,
            opaque: left.opaque,
            beside: left.beside.clone(),
            ..Written::default()
        };
        (&left.hash, left.bytes, &left.made_of, more)
    });
    let all = files.chain(frames).chain(whole).chain(exports).chain(left);
    all.map(|(hash, bytes, made_of, more)| Written {
        hash: hash.clone(),
        bytes,
        made_of: made_of.clone(),
        ..more
    })
    .collect()
}

impl Records {
    /// The new versions of `path` that earlier runs have put beside it.
    pub fn besides(&self, path: &str) -> Vec<(String, Written)> {
        let mut all: Vec<(String, Written)> = Vec::new();
        for name in self.names() {
            let own = self.of(&name).into_iter().filter(|written| written.beside.as_deref() == Some(path));
            all.extend(own.map(|written| (name.clone(), written)));
        }
        all
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn sample() -> State {
        let written = Written {
            slot: "reeds".into(),
            hash: "a".repeat(64),
            made_of: "b".repeat(64),
            bytes: 3,
            settings: [("smear.length".to_owned(), "220".to_owned())].into(),
            ..Written::default()
        };
        State::new([("reeds.fog.png".to_owned(), written)].into())
    }

    #[test]
    fn a_state_comes_back_from_its_text() {
        let folder = tempfile::tempdir().expect("a folder");
        std::fs::write(folder.path().join(NAME), sample().text()).expect("written");
        assert_eq!(State::read(folder.path()).0, sample());
    }

    #[test]
    fn what_a_run_wrote_before_it_was_ended_stays_known_when_the_next_one_begins() {
        let folder = tempfile::tempdir().expect("a folder");
        let written = |bytes: &[u8]| Written {
            hash: blake3::hash(bytes).to_hex().to_string(),
            bytes: bytes.len() as u64,
            made_of: "b".repeat(64),
            ..Written::default()
        };
        let due = |bytes: &[u8]| BTreeMap::from([("far.png".to_owned(), written(bytes))]);
        let mut state = State::new(due(b"first"));
        state.intend(folder.path(), due(b"second"));
        std::fs::write(folder.path().join("far.png"), b"second").expect("written");
        state.intend(folder.path(), due(b"third"));
        assert_eq!((state.files.clone(), state.pending.clone()), (due(b"second"), due(b"third")));
        // It stands, so the fourth replaces nothing of the third's.
        state.intend(folder.path(), due(b"fourth"));
        assert_eq!((state.files.clone(), state.pending.clone()), (due(b"second"), due(b"fourth")));
        state.pending.insert("near.png".to_owned(), written(b"near"));
        state.settle(due(b"fourth"));
        assert_eq!(state.files, due(b"fourth"));
        assert_eq!(state.pending.keys().collect::<Vec<_>>(), ["near.png"]);
    }

    #[test]
    fn what_older_programs_recorded_besides_is_passed_over() {
        let folder = tempfile::tempdir().expect("a folder");
        let text = sample().text().replacen("{", "{\"arts\": {\"/x\": 3}, ", 1);
        std::fs::write(folder.path().join(NAME), text).expect("written");
        assert_eq!(State::read(folder.path()).0, sample());
    }

    proptest! {
        #[test]
        fn hostile_content_is_never_believed_and_never_a_panic(at in 0_usize..400, junk in "\\PC{0,12}") {
            let folder = tempfile::tempdir().expect("a folder");
            let mut text = sample().text();
            let at = (0..=at.min(text.len())).rev().find(|at| text.is_char_boundary(*at)).unwrap_or(0);
            text.insert_str(at, &junk);
            std::fs::write(folder.path().join(NAME), &text).expect("written");
            let (state, _, _) = State::read(folder.path());
            prop_assert!(state == State::default() || state.sound());
        }
    }

    #[test]
    fn paths_that_leave_the_folder_are_not_believed() {
        for name in ["../x", "/etc/x", "a/../../x", ""] {
            let mut state = sample();
            let written = state.files.remove("reeds.fog.png").expect("there");
            state.files.insert(name.into(), written);
            assert!(!state.sound(), "{name}");
        }
    }
}
