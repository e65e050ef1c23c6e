//! The shelf of presets: where they come from, and what one holds.

use crate::base::fault::{Class, Fault, Faults, Result};
use crate::base::limits::Limits;
use crate::base::words::Anchor;
use crate::scene::keys::{self, Entries, Key, Reader, Section, Value, key, shown};
#[cfg(feature = "scene")]
use crate::scene::project::Project;
use crate::scene::recipe::layers::{Layer, Resolved};
use crate::scene::source::Source;
use std::borrow::Cow;
use std::ops::Range;
use std::path::{Path, PathBuf};

/// The presets that come with the program: name and text.
macro_rules! embedded {
    ($($name:literal),* $(,)?) => {
        &[$(($name, include_str!(concat!("../../../presets/", $name, ".toml")))),*]
    };
}

/// Most presets that may be built on each other; more is a mistake, and each takes its share of the stack.
const LONGEST_CHAIN: usize = 32;

const EMBEDDED: &[(&str, &str)] = embedded![
    "advection-fog",
    "dust-haze",
    "fog-bank",
    "frontal-fog",
    "ground-fog",
    "haze-deck",
    "ice-fog",
    "low-stratus",
    "mist",
    "radiation-fog",
    "sea-fret",
    "smoke-layer",
    "steam-fog",
    "stratocumulus",
    "upslope-fog",
    "valley-fog",
];

/// A preset, with all that it takes over from those it is built on.
#[derive(Clone, Debug, PartialEq)]
pub struct Preset {
    /// Its name: that of its file.
    pub name: String,
    /// What lists call it.
    pub title: String,
    /// Weather word; bounds its visibility by [`visibility_of`].
    pub word: String,
    /// When to use it.
    pub about: String,
    /// What the word means to a meteorologist.
    pub definition: String,
    /// Where the definition comes from.
    pub source: String,
    /// Where its fog lies.
    pub anchor: Anchor,
    /// Visibility in metres; a depth unit is read as a metre.
    pub visibility: f64,
    /// Visibility outside the fog, in metres.
    pub clear: f64,
    /// The presets that it is built on, nearest first.
    pub built_on: Vec<String>,
    /// The numbers of the five steps that it or those it is built on give, each with the preset that did.
    pub numbers: Resolved,
    /// The keys of its head.
    head: Resolved,
}

impl Preset {
    /// The visibility outside its fog where that within it is `visibility`: as many times as much as it is by its own numbers, since a
    /// scene's depths needn't be metres.
    pub fn clear_at(&self, visibility: f64) -> f64 {
        let ratio = (self.clear / self.visibility).max(1.0);
        if ratio.is_finite() { (visibility * ratio).min(FARTHEST).max(visibility) } else { ratio }
    }
}

/// Farthest visibility that files may name.
const FARTHEST: f64 = 1e9;

impl Resolved {
    /// A preset over the defaults.
    pub fn of_preset(preset: &Preset) -> Resolved {
        let mut resolved = Resolved::defaults();
        resolved.settings.extend(preset.numbers.settings.clone());
        resolved
    }
}

/// One preset file.
#[derive(Clone, Debug)]
struct PresetFile {
    name: String,
    file: PathBuf,
    text: Cow<'static, str>,
    /// Why its text can't be had.
    broken: Option<Faults>,
    /// Whether it was read from a disk.
    on_disk: bool,
    /// What of the same name it hides; it may be built on that.
    hides: Option<Box<PresetFile>>,
}

/// Presets by name. What is put on the shelf later hides what has the same name.
#[derive(Clone, Debug, Default)]
pub struct Shelf {
    files: Vec<PresetFile>,
    /// What the project of the scene that sees it says, or what is wrong with that.
    #[cfg(feature = "scene")]
    project: Project,
    #[cfg(feature = "scene")]
    broken: Option<Faults>,
}

/// Visibility in metres that a weather word allows.
///
/// Fog and its classes, mist and haze follow the international visibility code and the limits of weather
/// reports: fog below 1000 m (dense below 50, thick to 200, moderate to 500, light to 1000), mist from 1000 to
/// 5000 m, haze and smoke up to 5000 m. A cloud has the bound of a haze: how thick one looks from outside is another matter.
pub fn visibility_of(word: &str) -> Option<Range<f64>> {
    Some(match word {
        "dense fog" => 0.0..50.0,
        "thick fog" => 50.0..200.0,
        "moderate fog" => 200.0..500.0,
        "light fog" => 500.0..1000.0,
        "mist" => 1000.0..5000.0,
        "haze" | "smoke" | "cloud" => 0.0..5000.0,
        _ => return None,
    })
}

impl Shelf {
    /// The presets that come with the program.
    pub fn embedded() -> Shelf {
        let own = |(name, text): &(&str, &'static str)| PresetFile {
            name: (*name).to_owned(),
            file: PathBuf::from(format!("presets/{name}.toml")),
            text: Cow::Borrowed(text),
            broken: None,
            on_disk: false,
            hides: None,
        };
        Shelf { files: EMBEDDED.iter().map(own).collect(), ..Shelf::default() }
    }

    /// Puts a preset's text on the shelf; `file` is for messages.
    pub fn put(&mut self, name: impl Into<String>, file: impl AsRef<Path>, text: impl Into<String>) {
        let (name, file) = (name.into(), file.as_ref().to_path_buf());
        self.put_file(PresetFile {
            name,
            file,
            text: Cow::Owned(text.into()),
            broken: None,
            on_disk: false,
            hides: None,
        });
    }

    /// Puts every `.toml` file of a folder on the shelf, each under its own name. A folder that isn't there holds none; what is wrong
    /// with a file comes out when it is asked for.
    pub fn put_folder(&mut self, folder: &Path, limits: &Limits) {
        let Ok(entries) = std::fs::read_dir(folder) else { return };
        let mut files: Vec<PathBuf> = entries.take(MOST_FILES).flatten().map(|entry| entry.path()).collect();
        files.sort();
        for file in files {
            let named = file.extension().is_some_and(|ending| ending == "toml");
            let Some(name) = file.file_stem().and_then(|stem| stem.to_str()).filter(|_| named) else {
                continue;
            };
            let (text, broken) = match Source::load(&file, limits) {
                Ok(source) => (source.text, None),
                Err(faults) => (String::new(), Some(faults)),
            };
            let name = name.to_owned();
            self.put_file(PresetFile {
                name,
                file,
                text: Cow::Owned(text),
                broken,
                on_disk: true,
                hides: None,
            });
        }
    }

    /// The shelf that a scene sees: the presets that come with the program, over them the user's own, over them the project's, over them
    /// those in `presets/` beside the scene file. What is wrong with the project comes out when a scene is read with it.
    #[cfg(feature = "scene")]
    pub fn of_scene(scene: Option<&Path>, limits: &Limits) -> Shelf {
        let mut shelf = Shelf::embedded();
        match scene.map_or_else(|| Ok(Project::default()), |scene| Project::of_scene(scene, limits)) {
            Ok(project) => shelf.project = project,
            Err(faults) => shelf.broken = Some(faults),
        }
        for folder in beside(scene, shelf.project.shelf.clone()) {
            shelf.put_folder(&folder, limits);
        }
        shelf
    }

    /// What the project of the scene says.
    ///
    /// # Errors
    /// As for [`Project::of_scene`].
    #[cfg(feature = "scene")]
    pub fn project(&self) -> Result<&Project> {
        self.broken.clone().map_or(Ok(&self.project), Err)
    }

    fn put_file(&mut self, mut own: PresetFile) {
        if let Some(at) = self.files.iter().position(|known| known.name == own.name) {
            own.hides = Some(Box::new(self.files.remove(at)));
        }
        self.files.push(own);
    }

    /// The file that a preset was read from; none for those that come with the program.
    pub fn file(&self, name: &str) -> Option<&Path> {
        self.find(name).filter(|own| own.on_disk).map(|own| own.file.as_path())
    }

    /// All names, sorted.
    pub fn names(&self) -> Vec<&str> {
        let mut names: Vec<&str> = self.files.iter().map(|own| own.name.as_str()).collect();
        names.sort_unstable();
        names
    }

    /// Whether there is a preset of this name.
    pub fn has(&self, name: &str) -> bool {
        self.find(name).is_some()
    }

    /// The text of a preset as its author wrote it.
    pub fn text(&self, name: &str) -> Option<&str> {
        self.find(name).map(|own| own.text.as_ref())
    }

    /// What to do about a name that isn't there.
    pub fn remedy_for(&self, name: &str) -> String {
        keys::instead(name, self.names().into_iter())
    }

    /// The preset of this name.
    ///
    /// # Errors
    /// If there is none, if its file or one it is built on is wrong, or if presets are built on each other.
    pub fn get(&self, name: &str) -> Result<Preset> {
        self.build(name, &mut Vec::new())
    }

    fn find(&self, name: &str) -> Option<&PresetFile> {
        self.files.iter().find(|own| own.name == name)
    }

    /// `below` holds the presets that are being built on this one.
    fn build(&self, name: &str, below: &mut Vec<String>) -> Result<Preset> {
        let Some(own) = self.find(name) else {
            let fault = Fault::new(Class::Usage, format!("there is no preset {}", shown(name)));
            return Err(fault.remedy(self.remedy_for(name)).into());
        };
        self.build_from(own, below)
    }

    fn build_from(&self, own: &PresetFile, below: &mut Vec<String>) -> Result<Preset> {
        let name = own.name.as_str();
        if let Some(faults) = &own.broken {
            return Err(faults.clone());
        }
        let mut reader = Reader::new(&own.file);
        let mut room = String::new();
        let (table, whole) = reader.parse(&own.text, &mut room);
        let mut entries = Entries::new();
        let wrong = reader.table(&table, Section::Preset, &[], &mut entries);
        let base = self.base(&entries, own, below, &mut reader)?;
        if whole && !wrong.contains(&key!("preset.from")) {
            for path in missing(&entries, base.is_some()).into_iter().filter(|path| !wrong.contains(path)) {
                let name = path.trim_start_matches("preset.");
                reader.whole(
                    Class::Scene,
                    format!("the preset has no `{name}`"),
                    keys::find(path).map(|key| key.wanted()).unwrap_or_default(),
                );
            }
        }
        if let [Some(visibility), Some(clear)] =
            [key!("preset.visibility"), key!("preset.clear")].map(|path| entries.get(path)?.value.number())
            && clear < visibility
        {
            reader.fault(
                Class::Scene,
                &entries[key!("preset.clear")].place,
                format!("`clear` is {clear}, less than `visibility`, {visibility}: outside the fog one sees at least as far as within it"),
                format!("Give `clear` at least {visibility}."),
            );
        }
        let faults = reader.finish();
        if !faults.is_empty() {
            return Err(Faults { list: faults, sources: Vec::new() }.with_source(&own.file, &own.text));
        }
        assemble(name, entries, base)
    }

    /// The preset that this one is built on, if any.
    fn base(
        &self,
        entries: &Entries,
        own: &PresetFile,
        below: &mut Vec<String>,
        reader: &mut Reader<'_>,
    ) -> Result<Option<Preset>> {
        let Some(entry) = entries.get(key!("preset.from")) else { return Ok(None) };
        let from = entry.value.text().unwrap_or_default();
        let hidden = own.hides.as_ref().filter(|_| from == own.name);
        below.push(own.name.clone());
        if hidden.is_none() && below.iter().any(|known| known == from) {
            let chain = [below.as_slice(), &[from.to_owned()]].concat().join(" from ");
            reader.fault(
                Class::Scene,
                &entry.place,
                format!("presets are built on each other: {}", chain.chars().take(400).collect::<String>()),
                "Remove `from` in one of them.",
            );
            return Ok(None);
        }
        if !self.has(from) {
            let remedy = self.remedy_for(from);
            reader.fault(Class::Scene, &entry.place, format!("there is no preset {}", shown(from)), remedy);
            return Ok(None);
        }
        if below.len() >= LONGEST_CHAIN {
            reader.fault(
                Class::Limit,
                &entry.place,
                format!("more than {LONGEST_CHAIN} presets are built on each other"),
                "Use a shorter chain, and copy the numbers that matter.",
            );
            return Ok(None);
        }
        match hidden {
            Some(hidden) => self.build_from(hidden, below).map(Some),
            None => self.build(from, below).map(Some),
        }
    }
}

/// The preset of a scene that names none.
pub(crate) fn default_preset() -> String {
    let default = keys::find(key!("preset")).and_then(Key::default);
    default.and_then(|value| value.text().map(str::to_owned)).unwrap_or_default()
}

/// Folders of presets besides the program's own, in the order in which they hide each other: the user's, the project's and the scene's.
#[cfg(feature = "scene")]
pub fn folders(scene: Option<&Path>, limits: &Limits) -> Vec<PathBuf> {
    let project = scene.and_then(|scene| Project::of_scene(scene, limits).ok()?.shelf);
    beside(scene, project)
}

/// The same, with the folder of a project that is known.
#[cfg(feature = "scene")]
fn beside(scene: Option<&Path>, project: Option<PathBuf>) -> Vec<PathBuf> {
    let absolute = |name: &str| std::env::var_os(name).map(PathBuf::from).filter(|path| path.is_absolute());
    // XDG Base Directory Specification 0.8; elsewhere the system's own place.
    let config = absolute("XDG_CONFIG_HOME")
        .or_else(|| absolute("HOME").map(|home| home.join(".config")))
        .or_else(|| absolute("APPDATA"));
    let own = config.map(|config| config.join("fogweft").join("presets"));
    own.into_iter().chain(project).chain(scene.map(|scene| scene.with_file_name("presets"))).collect()
}

/// Most files of a folder that are looked at.
const MOST_FILES: usize = 4000;

/// Paths of the head's keys that must be given and aren't.
fn missing(entries: &Entries, built_on: bool) -> Vec<&'static str> {
    let optional = |path: &str| {
        path == key!("preset.from")
            || path == key!("preset.clear")
            || (built_on && path != key!("preset.title"))
    };
    let given = |path: &str| entries.contains_key(path);
    // A base that can't be read has its own fault; nothing is missing for it.
    if given(key!("preset.from")) && !built_on {
        return Vec::new();
    }
    keys::of(Section::Preset).map(|key| key.path).filter(|path| !optional(path) && !given(path)).collect()
}

/// The preset that `entries` make over `base`.
fn assemble(name: &str, entries: Entries, base: Option<Preset>) -> Result<Preset> {
    let (mut head, mut numbers, mut built_on) = (Resolved::default(), Resolved::default(), Vec::new());
    if let Some(mut base) = base {
        (head, numbers) = (base.head, base.numbers);
        built_on.push(base.name);
        built_on.append(&mut base.built_on);
    }
    for (path, entry) in entries {
        let step = keys::find(path).is_some_and(Key::is_step);
        let all = if step { &mut numbers } else { &mut head };
        all.set(path, entry.value, Layer::Preset(name.to_owned()));
    }
    let text = |path| head.need(path, Value::text).map(str::to_owned);
    Ok(Preset {
        name: name.to_owned(),
        title: text(key!("preset.title"))?,
        word: text(key!("preset.word"))?,
        about: text(key!("preset.about"))?,
        definition: text(key!("preset.definition"))?,
        source: text(key!("preset.source"))?,
        anchor: head.need(key!("preset.anchor"), |value| Anchor::from_word(value.text()?))?,
        visibility: head.need(key!("preset.visibility"), Value::number)?,
        // Where none is given there is no air.
        clear: head.value(key!("preset.clear")).and_then(Value::number).unwrap_or(f64::INFINITY),
        built_on,
        numbers,
        head,
    })
}
