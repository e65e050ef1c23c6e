//! A file's tables read against the table of keys; what is wrong is gathered, nothing stops the reading.

use crate::base::fault::{Class, Fault};
use crate::scene::keys::syntax::{self, Slips};
use crate::scene::keys::{KEYS, Key, STEPS, Section, TABLES, Value, find, near, of, shown};
use std::collections::BTreeMap;
use std::ops::Range;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Where a value was written.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Place {
    /// In the file at hand, at these bytes.
    File(Range<usize>),
    /// In the table of the mood of this name in the file at hand, at these bytes.
    Mood(String, Range<usize>),
    /// In a file that the scene builds on, at these bytes; in the table of the mood of this name there, or in none.
    Base(Arc<Base>, Option<String>, Range<usize>),
    /// In a `--set` argument, as written.
    Argument(String),
}

/// A file that a scene builds on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Base {
    /// The file.
    pub file: PathBuf,
    /// Its path from the scene's folder.
    pub path: String,
}

impl Place {
    /// How far what stands here wins over what others give: the command line's over a mood's, over the scene's, over a base's.
    pub fn rank(&self) -> u8 {
        match self {
            Place::Base(_, None, _) => 0,
            Place::File(_) => 1,
            Place::Base(_, Some(_), _) | Place::Mood(..) => 2,
            Place::Argument(_) => 3,
        }
    }
}

/// A value and where it was written.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Entry {
    pub value: Value,
    pub place: Place,
}

/// Values by the path of their key.
pub(crate) type Entries = BTreeMap<&'static str, Entry>;

/// From so many faults on, near names are no longer looked for: the file is not what it should be.
const MANY: usize = 500;

/// Reads tables of one file and gathers faults.
pub(crate) struct Reader<'a> {
    file: &'a Path,
    faults: Vec<Fault>,
    slips: Slips,
    /// The mood whose tables are being read.
    pub mood: Option<String>,
    /// The file, where it is not the scene's own but one that it builds on.
    base: Option<Arc<Base>>,
}

impl<'a> Reader<'a> {
    pub fn new(file: &'a Path) -> Reader<'a> {
        Reader { file, faults: Vec::new(), slips: Slips::default(), mood: None, base: None }
    }

    /// Of a file that the scene builds on.
    pub fn of_base(base: &'a Arc<Base>) -> Reader<'a> {
        Reader { base: Some(Arc::clone(base)), ..Reader::new(&base.file) }
    }

    /// The place of these bytes of the file.
    pub fn place(&self, span: Range<usize>) -> Place {
        match (&self.base, &self.mood) {
            (Some(base), mood) => Place::Base(Arc::clone(base), mood.clone(), span),
            (None, Some(mood)) => Place::Mood(mood.clone(), span),
            (None, None) => Place::File(span),
        }
    }

    /// Adds a fault at a place.
    pub fn fault(
        &mut self,
        class: Class,
        place: &Place,
        message: impl Into<String>,
        remedy: impl Into<String>,
    ) {
        let fault = match place {
            Place::File(span) | Place::Mood(_, span) => {
                Fault::new(class, message).in_file(self.file).at(Some(span.clone()))
            }
            Place::Base(base, _, span) => {
                Fault::new(class, message).in_file(&base.file).at(Some(span.clone()))
            }
            Place::Argument(argument) => {
                Fault::new(Class::Usage, message).in_file(PathBuf::from(format!("--set {argument}")))
            }
        };
        self.faults.push(fault.remedy(remedy));
    }

    /// Adds a fault of the file as a whole.
    pub fn whole(&mut self, class: Class, message: impl Into<String>, remedy: impl Into<String>) {
        self.faults.push(Fault::new(class, message).in_file(self.file).remedy(remedy));
    }

    /// The items of a list that is written as tables `[[heading]]`, no more than `most`; where there are more, `over` says what to tell of
    /// their number, and what to do. None: it is no list.
    pub fn list<'v, 't>(
        &mut self,
        value: &'v Spanned<DeValue<'t>>,
        heading: &str,
        most: usize,
        over: impl FnOnce(usize) -> (String, &'static str),
    ) -> Option<Vec<&'v Spanned<DeValue<'t>>>> {
        let name = heading.rsplit('.').next().unwrap_or_default();
        let DeValue::Array(array) = value.get_ref() else {
            self.fault(
                Class::Scene,
                &Place::File(value.span()),
                format!("`{name}` must be a list of tables"),
                format!("Write [[{heading}]] with two brackets on each side, once for each {name}."),
            );
            return None;
        };
        if let Some(first) = array.get(most) {
            let (message, remedy) = over(array.len());
            self.fault(Class::Limit, &Place::File(first.span()), message, remedy);
        }
        Some(array.iter().take(most).collect())
    }

    /// The table of an item of such a list, which messages call `named`.
    pub fn item<'v, 't>(
        &mut self,
        item: &'v Spanned<DeValue<'t>>,
        heading: &str,
        named: &str,
    ) -> Option<&'v DeTable<'t>> {
        if let DeValue::Table(table) = item.get_ref() {
            return Some(table);
        }
        self.fault(
            Class::Scene,
            &Place::File(item.span()),
            format!("{named} must be a table"),
            format!("Write [[{heading}]] on a line of its own, with its keys under it."),
        );
        None
    }

    /// Adds faults as they are.
    pub fn add(&mut self, faults: impl IntoIterator<Item = Fault>) {
        self.faults.extend(faults);
    }

    /// How many faults there are by now.
    pub fn count(&self) -> usize {
        self.faults.len()
    }

    /// Says in all faults but the first `before` what they are about.
    pub fn prefix(&mut self, before: usize, about: &str) {
        for fault in &mut self.faults[before..] {
            fault.message = format!("{about}: {}", fault.message);
        }
    }

    /// Parses TOML, keeping what can be read; the flag says whether all could. `room` holds the text where it had
    /// to be mended.
    pub fn parse<'t>(&mut self, text: &'t str, room: &'t mut String) -> (DeTable<'t>, bool) {
        let (table, errors) = DeTable::parse_recoverable(text);
        if errors.is_empty() {
            return (table.into_inner(), true);
        }
        text.clone_into(room);
        self.slips = syntax::mend(room);
        (DeTable::parse_recoverable(room).0.into_inner(), false)
    }

    /// Reads a table of `section` and, where they may stand in it, the step tables.
    ///
    /// The names in `handled` are read by the caller. Returns the keys that are given but wrong, so that nobody
    /// calls them missing.
    pub fn table(
        &mut self,
        table: &DeTable<'_>,
        section: Section,
        handled: &[&str],
        into: &mut Entries,
    ) -> Vec<&'static str> {
        let mut wrong = Vec::new();
        let holds_steps = matches!(section, Section::Scene | Section::Slot | Section::Preset);
        for (name, value) in table.iter() {
            let key = of(section).find(|key| key.name() == name.get_ref());
            let step = STEPS.into_iter().find(|step| holds_steps && step == name.get_ref());
            if let Some(key) = key {
                if !self.value(key, value, into) {
                    wrong.push(key.path);
                }
            } else if let Some(step) = step {
                match value.get_ref() {
                    DeValue::Table(table) => {
                        self.table(table, Section::Step(step), &[], into);
                    }
                    _ => self.fault(
                        Class::Scene,
                        &Place::File(value.span()),
                        format!("`{step}` must be a table of numbers"),
                        format!("Write [{step}] on a line of its own, with the numbers under it."),
                    ),
                }
            } else if !handled.contains(&name.get_ref().as_ref()) {
                let remedy = match self.faults.len() {
                    0..MANY => remedy_for_unknown(name.get_ref(), section),
                    _ => String::new(),
                };
                let message = format!("unknown key {} in {}", shown(name.get_ref()), section_words(section));
                self.fault(Class::Scene, &Place::File(name.span()), message, remedy);
            }
        }
        wrong
    }

    /// Reads what a scene and a mood of it may hold but slots: the scene's keys, its tables and step tables. As [`Reader::table`].
    pub fn scene(&mut self, table: &DeTable<'_>, handled: &[&str], into: &mut Entries) -> Vec<&'static str> {
        let tables = TABLES.map(|(name, _)| name);
        let wrong = self.table(table, Section::Scene, &[&tables, handled].concat(), into);
        for (name, value) in table.iter() {
            let Some((name, section)) = TABLES.into_iter().find(|(own, _)| own == name.get_ref()) else {
                continue;
            };
            match value.get_ref() {
                DeValue::Table(table) => drop(self.table(table, section, &[], into)),
                _ => self.fault(
                    Class::Scene,
                    &Place::File(value.span()),
                    format!("`{name}` must be one table"),
                    format!("Write [{name}] once, on a line of its own, with its keys under it."),
                ),
            }
        }
        wrong
    }

    /// Reads one value; says whether it is right.
    fn value(&mut self, key: &'static Key, value: &Spanned<DeValue<'_>>, into: &mut Entries) -> bool {
        let place = self.place(value.span());
        match key.check(value.get_ref()) {
            Ok(value) => {
                into.insert(key.path, Entry { value, place });
                true
            }
            Err(wrong) => {
                self.fault(Class::Scene, &place, wrong.message, wrong.remedy);
                false
            }
        }
    }

    /// The faults, in the order of their places: the file as a whole first, then its lines, then those of other files, and of arguments.
    pub fn finish(mut self) -> Vec<Fault> {
        let slips = std::mem::take(&mut self.slips);
        let file = self.file;
        let own = |fault: &Fault| fault.file.as_deref() == Some(file);
        // Where a line isn't TOML, what is wrong with its value is an effect.
        self.faults
            .retain(|fault| !own(fault) || fault.span.as_ref().is_none_or(|span| !slips.covers(span.start)));
        for slip in slips.list {
            self.fault(Class::Scene, &Place::File(slip.span), slip.message, slip.remedy);
        }
        let mut faults = self.faults;
        faults.sort_by_key(|fault| match &fault.span {
            _ if !own(fault) => (2, 0),
            Some(span) => (1, span.start),
            None => (0, 0),
        });
        faults
    }
}

/// A section as messages call it.
fn section_words(section: Section) -> String {
    match section {
        Section::Scene => "a scene".into(),
        Section::Air => "[air]".into(),
        Section::Texture => "[texture]".into(),
        Section::Rim => "[rim]".into(),
        Section::Check => "[check]".into(),
        Section::Light => "[light]".into(),
        Section::Step(step) => format!("[{step}]"),
        Section::Slot => "[[slot]]".into(),
        Section::Place => "[[slot.place]]".into(),
        Section::Lamp => "[[lamp]]".into(),
        Section::Preset => "a preset".into(),
    }
}

/// Where the user may have meant to write `name`, or what may have been meant by it.
fn remedy_for_unknown(name: &str, section: Section) -> String {
    let in_preset = section == Section::Preset;
    let elsewhere: Vec<String> = KEYS
        .iter()
        .filter(|key| key.name() == name && key.section() != section)
        .filter_map(|key| match key.section() {
            Section::Scene if !in_preset => Some(format!("`{name}` at the top of the scene")),
            Section::Slot if !in_preset => Some(format!("`{name}` in a [[slot]]")),
            Section::Place if !in_preset => Some(format!("`{name}` in a [[slot.place]]")),
            Section::Lamp if !in_preset => Some(format!("`{name}` in a [[lamp]]")),
            Section::Air | Section::Rim | Section::Check | Section::Texture | Section::Light
                if !in_preset =>
            {
                Some(format!("`{}`", key.path))
            }
            Section::Step(step) => Some(format!("`{step}.{name}`")),
            _ => None,
        })
        .collect();
    if !elsewhere.is_empty() {
        return format!("Did you mean {}?", elsewhere.join(", or "));
    }
    let mut known: Vec<&str> = of(section).map(Key::name).collect();
    if matches!(section, Section::Scene | Section::Slot | Section::Preset) {
        known.extend(STEPS);
    }
    if section == Section::Slot {
        known.push("place");
    }
    if section == Section::Scene {
        known.extend(TABLES.map(|(name, _)| name));
        known.extend(["from", "slot", "lamp", "mood"]);
    }
    match near(name, known.iter().copied()) {
        Some(near) => format!("Did you mean `{near}`?"),
        None => format!("Known keys: {}.", known.join(", ")),
    }
}

/// The key that a dotted path of a step number, a scene key or an air key names.
pub(crate) fn find_general(path: &str) -> Option<&'static Key> {
    let inner = [Section::Slot, Section::Place, Section::Lamp, Section::Preset];
    find(path).filter(|key| !inner.contains(&key.section()))
}
