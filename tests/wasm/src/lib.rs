//! Renders the salt marsh in a WebAssembly module, and lets its host read the files out of the module's memory.

use fogweft::SceneInMemory;
use fogweft::scene::start::DEMO;
use fogweft::store::run::NamedFile;
use std::sync::OnceLock;

/// Texels per scene px, as the test asks of the native library.
const SCALE: f64 = 0.25;

static FILES: OnceLock<Result<Vec<NamedFile>, String>> = OnceLock::new();

fn rendered() -> Result<Vec<NamedFile>, String> {
    let mut scene = SceneInMemory::from_text("");
    for (name, bytes) in DEMO {
        scene = match *name {
            "scene.toml" => SceneInMemory::from_text(String::from_utf8_lossy(bytes)),
            picture => scene.with_picture(picture, *bytes),
        };
    }
    match scene.scales([SCALE]).render() {
        Ok(rendered) => Ok(rendered.files),
        Err(faults) => Err(format!("{:?}", faults.list)),
    }
}

/// Name and content of a file; beyond the last there is none. A fault stands as the only file, `fault`.
fn file(at: usize) -> [&'static [u8]; 2] {
    match FILES.get_or_init(rendered) {
        Ok(files) => files.get(at).map_or([&[], &[]], |file| [file.name.as_bytes(), &file.bytes]),
        Err(text) if at == 0 => [b"fault", text.as_bytes()],
        Err(_) => [&[], &[]],
    }
}

/// Address of a file's name (`part` 0) or content (1).
#[unsafe(no_mangle)]
pub extern "C" fn address(at: usize, part: usize) -> *const u8 {
    file(at)[part].as_ptr()
}

/// Its length in bytes; 0 beyond the last file.
#[unsafe(no_mangle)]
pub extern "C" fn length(at: usize, part: usize) -> usize {
    file(at)[part].len()
}
