//! What a run depends on, in Make's format, for build systems.

use fogweft::base::door::Door;
use fogweft::base::fault::{Class, Fault, Result};
use fogweft::base::files;
use fogweft::base::mark::Form;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

/// Writes `file` through `door`: the manifests depend on its inputs. Each input is a target of its own without a recipe, so that a file which is gone
/// tomorrow doesn't stop the build.
///
/// A manifest that the run left alone because nothing in it changed gets the present time if an input is newer; else the build would
/// run for ever.
///
/// # Errors
/// Class `Output`: a path holds what Make can't be told, or the file can't be written.
pub fn write(file: &Path, manifests: &[PathBuf], door: &Door) -> Result<()> {
    let inputs = &door.inputs;
    let targets = manifests.iter().map(|path| escaped(path)).collect::<Result<Vec<String>>>()?;
    let sources = inputs.iter().map(|path| escaped(path)).collect::<Result<Vec<String>>>()?;
    let mut text = format!("{}: {}\n", targets.join(" "), sources.join(" "));
    for source in &sources {
        text += &format!("\n{source}:\n");
    }
    door.write(file, Form::Make, text.as_bytes())?;
    let newest = inputs.iter().filter_map(|path| modified(path)).max();
    for manifest in manifests {
        if modified(manifest) < newest {
            // Where it can't be set, the build makes once more than needed.
            files::touch(manifest);
        }
    }
    Ok(())
}

fn modified(path: &Path) -> Option<SystemTime> {
    fs::metadata(path).and_then(|data| data.modified()).ok()
}

/// A path as Make reads it: a space and # after a backslash (with backslashes before them doubled), $ twice.
fn escaped(path: &Path) -> Result<String> {
    let unfit = || {
        Fault::new(Class::Output, "a Make rule can't hold this path")
            .in_file(path)
            .remedy("Rename it: no line breaks, and UTF-8 only.")
    };
    let text = path.to_str().filter(|text| !text.contains(['\n', '\r'])).ok_or_else(unfit)?;
    let mut escaped = String::new();
    for c in text.chars() {
        // Make takes \ for the beginning of an escape, on a system whose folders it parts too.
        let c = if cfg!(windows) && c == '\\' { '/' } else { c };
        match c {
            ' ' | '\t' | '#' => {
                let run = escaped.len() - escaped.trim_end_matches('\\').len();
                escaped += &"\\".repeat(run + 1);
            }
            '$' => escaped.push('$'),
            _ => {}
        }
        escaped.push(c);
    }
    Ok(escaped)
}

#[cfg(test)]
mod tests {
    use super::*;

    // GNU make manual, "Rule Syntax" and "Using Wildcard Characters in File Names".
    #[test]
    fn what_make_would_read_otherwise_is_escaped() {
        let escaped = |text: &str| escaped(Path::new(text)).expect("fit");
        assert_eq!(escaped("a/b.svg"), "a/b.svg");
        assert_eq!(escaped("my art.svg"), "my\\ art.svg");
        assert_eq!(escaped("cost$#1.svg"), "cost$$\\#1.svg");
        let odd = if cfg!(windows) { "odd/\\ x" } else { "odd\\\\\\ x" };
        assert_eq!(escaped("odd\\ x"), odd);
        assert!(super::escaped(Path::new("a\nb")).is_err());
    }
}
