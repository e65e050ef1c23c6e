//! The key in the page's address. It is kept for the scene, so that the address of an open page is good again after a restart.

use crate::base::fault::{Class, Fault, Result};
use crate::base::files::{self, Over};
use std::path::{Path, PathBuf};

/// Bytes of the key.
const LENGTH: usize = 16;

/// The key that is kept for `scene`; where none is, or it can't be kept, a new one.
///
/// # Errors
/// Class `Usage`: the system provides no random numbers.
pub(super) fn of(scene: &Path) -> Result<String> {
    let file = file_of(scene);
    let kept =
        file.as_ref().filter(|file| is_private(file)).and_then(|file| std::fs::read_to_string(file).ok());
    if let Some(kept) = kept.filter(|kept| is_key(kept)) {
        return Ok(kept);
    }
    let mut bytes = [0; LENGTH];
    getrandom::fill(&mut bytes).map_err(|error| {
        Fault::new(Class::Usage, format!("the system provides no random numbers: {error}"))
    })?;
    let key: String = bytes.iter().map(|byte| format!("{byte:02x}")).collect();
    if let Some(file) = file {
        // Without it the next run has another address, which is no loss.
        let _ = keep(&file, &key);
    }
    Ok(key)
}

fn is_key(text: &str) -> bool {
    text.len() == 2 * LENGTH && text.bytes().all(|byte| byte.is_ascii_hexdigit())
}

fn keep(file: &Path, key: &str) -> Result<()> {
    if let Some(folder) = file.parent() {
        make_private(folder).map_err(|error| Fault::new(Class::Output, error.to_string()).in_file(folder))?;
    }
    if is_private(file) { files::put(file, key.as_bytes(), Over::Any).map(drop) } else { Ok(()) }
}

/// Makes a folder that only its owner can look into.
fn make_private(folder: &Path) -> std::io::Result<()> {
    let mut builder = std::fs::DirBuilder::new();
    builder.recursive(true);
    #[cfg(unix)]
    std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
    builder.create(folder)
}

/// Whether nobody but its owner can look into a file's folder.
fn is_private(file: &Path) -> bool {
    let folder = file.parent().and_then(|folder| std::fs::metadata(folder).ok());
    #[cfg(unix)]
    let private =
        folder.is_some_and(|data| std::os::unix::fs::PermissionsExt::mode(&data.permissions()) & 0o077 == 0);
    #[cfg(not(unix))]
    let private = folder.is_some();
    private
}

/// Where the key of a scene is kept: in the user's folder of states (XDG Base Directory Specification 0.8), never beside the scene, where
/// others would get it with the level.
fn file_of(scene: &Path) -> Option<PathBuf> {
    let absolute = |name: &str| std::env::var_os(name).map(PathBuf::from).filter(|path| path.is_absolute());
    let state = absolute("XDG_STATE_HOME")
        .or_else(|| absolute("HOME").map(|home| home.join(".local/state")))
        .or_else(|| absolute("LOCALAPPDATA"))?;
    let scene = std::fs::canonicalize(scene).ok()?;
    let name = blake3::hash(scene.as_os_str().as_encoded_bytes()).to_hex();
    Some(state.join("fogweft").join("addresses").join(&name.as_str()[..32]))
}
