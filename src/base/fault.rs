//! What can go wrong, sorted by who must act, with the place and the remedy.

use std::ops::Range;
use std::path::{Path, PathBuf};

/// Who must act on a fault; each class has a fixed exit code.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Class {
    /// The command line is wrong (exit code 2).
    Usage,
    /// A scene or preset file is wrong (exit code 3).
    Scene,
    /// An input picture can't be used (exit code 4).
    Picture,
    /// An output can't be written (exit code 5).
    Output,
    /// A limit stands in the way (exit code 6).
    Limit,
}

impl Class {
    /// The exit code of the program for a fault of this class.
    pub fn exit_code(self) -> u8 {
        match self {
            Class::Usage => 2,
            Class::Scene => 3,
            Class::Picture => 4,
            Class::Output => 5,
            Class::Limit => 6,
        }
    }
}

/// One fault: what is wrong, where, and what to do about it.
#[derive(Clone, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub struct Fault {
    /// Who must act.
    pub class: Class,
    /// The file at fault, if there is one. `--set` and its like stand here as written.
    pub file: Option<PathBuf>,
    /// Byte range in the text of `file`, where a place can be shown.
    pub span: Option<Range<usize>>,
    /// One sentence: what is wrong.
    pub message: String,
    /// One sentence: the remedy. May be empty where the message says it all.
    pub remedy: String,
    /// Whether there was no room left on a disk.
    pub no_room: bool,
    /// Whether another program held the file open: a later try may go well.
    pub held: bool,
}

impl Fault {
    /// A fault without a place.
    pub fn new(class: Class, message: impl Into<String>) -> Fault {
        Fault {
            class,
            file: None,
            span: None,
            message: message.into(),
            remedy: String::new(),
            no_room: false,
            held: false,
        }
    }

    /// Names the file.
    pub fn in_file(mut self, file: impl AsRef<Path>) -> Fault {
        self.file = Some(file.as_ref().to_path_buf());
        self
    }

    /// Names the place in the file's text, as a byte range.
    pub fn at(mut self, span: Option<Range<usize>>) -> Fault {
        self.span = span;
        self
    }

    /// Says that a disk was full, if that was why `error` came.
    pub fn of_room(mut self, error: &std::io::Error) -> Fault {
        use std::io::ErrorKind::{QuotaExceeded, StorageFull};
        self.no_room = matches!(error.kind(), StorageFull | QuotaExceeded);
        self
    }

    /// Says that another program holds the file open.
    pub fn of_held(mut self) -> Fault {
        self.held = true;
        self
    }

    /// Says what to do.
    pub fn remedy(mut self, remedy: impl Into<String>) -> Fault {
        self.remedy = remedy.into();
        self
    }
}

/// All faults found in one go; never empty. `sources` holds the texts that spans point into.
#[derive(Clone, Debug, Default)]
#[non_exhaustive]
pub struct Faults {
    /// The faults, in the order of their places.
    pub list: Vec<Fault>,
    /// (file, its text) for every file that some span points into.
    pub sources: Vec<(PathBuf, String)>,
}

/// The result of anything that can fail for the user's reasons.
pub type Result<T> = std::result::Result<T, Faults>;

impl Faults {
    /// The exit code: that of the first fault.
    pub fn exit_code(&self) -> u8 {
        self.list.first().map_or(1, |fault| fault.class.exit_code())
    }

    /// Keeps the text of `file`, so that the lines at fault can be shown.
    pub fn with_source(mut self, file: impl AsRef<Path>, text: &str) -> Faults {
        self.sources.push((file.as_ref().to_path_buf(), text.to_owned()));
        self
    }

    /// All values in their order, or the faults of all that have none.
    pub fn gather<T>(results: impl IntoIterator<Item = Result<T>>) -> Result<Vec<T>> {
        let (mut faults, mut values) = (Faults::default(), Vec::new());
        for result in results {
            match result {
                Ok(value) => values.push(value),
                Err(found) => {
                    faults.list.extend(found.list);
                    faults.sources.extend(found.sources);
                }
            }
        }
        faults.or(values)
    }

    /// `Err(self)` if anything is in the list, else `Ok(value)`.
    pub fn or<T>(self, value: T) -> Result<T> {
        if self.list.is_empty() { Ok(value) } else { Err(self) }
    }
}

impl From<Fault> for Faults {
    fn from(fault: Fault) -> Faults {
        Faults { list: vec![fault], sources: Vec::new() }
    }
}

impl std::error::Error for Faults {}
