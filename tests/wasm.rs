//! The library as a WebAssembly module: it renders what the native one does, to the same bytes.

use fogweft::SceneInMemory;
use fogweft::scene::start::DEMO;
use sha2::{Digest, Sha256};
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

const TARGET: &str = "wasm32-unknown-unknown";

/// What a command says, or why it can't be run.
fn output(command: &mut Command) -> Option<Output> {
    command.output().ok()
}

/// Whether what the test needs is here; if `FOGWEFT_CI_TOOLS` is 1, it has to be.
fn is_ready() -> bool {
    let node = output(Command::new("node").arg("--version")).is_some_and(|output| output.status.success());
    let lib = output(Command::new("rustc").args(["--print", "target-libdir", "--target", TARGET]));
    let lib = lib.map(|output| PathBuf::from(String::from_utf8_lossy(&output.stdout).trim()));
    let target = lib.is_some_and(|folder| folder.is_dir());
    if node && target {
        return true;
    }
    let missing = if node { "the target wasm32-unknown-unknown" } else { "node" };
    assert_ne!(std::env::var("FOGWEFT_CI_TOOLS").as_deref(), Ok("1"), "{missing} is missing");
    println!("skipped: {missing} is missing");
    false
}

/// The module, built where builds of this test alone are kept.
fn module(root: &Path) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("wasm");
    let mut cargo = Command::new(env!("CARGO"));
    cargo.current_dir(root).env("CARGO_TARGET_DIR", &folder).env_remove("CARGO_ENCODED_RUSTFLAGS");
    // The stack of the one thread, which SVGs are read on, too.
    cargo.env("RUSTFLAGS", "-C link-arg=-zstack-size=8388608");
    cargo.args(["build", "--release", "--locked", "--package", "fogweft-wasm-test", "--target", TARGET]);
    // Soon built; the bytes are the same at every level.
    cargo.args(["--config", "profile.release.opt-level=1", "--config", "profile.release.codegen-units=16"]);
    let built = cargo.output().expect("cargo runs");
    assert!(built.status.success(), "{}", String::from_utf8_lossy(&built.stderr));
    folder.join(TARGET).join("release/fogweft_wasm_test.wasm")
}

#[test]
fn the_marsh_in_a_wasm_module_has_the_bytes_of_the_native_library() {
    if !is_ready() {
        return;
    }
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut node = Command::new("node");
    node.arg(root.join("tests/wasm/run.mjs")).arg(module(root));
    let output = node.output().expect("node runs");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let text = String::from_utf8(output.stdout).expect("text");
    let (scene, pictures) = DEMO.split_first().expect("files");
    let scene = SceneInMemory::from_text(String::from_utf8_lossy(scene.1));
    let scene = pictures.iter().fold(scene, |scene, (name, bytes)| scene.with_picture(*name, *bytes));
    let native = scene.scales([0.25]).render().expect("rendered");
    let hash =
        |bytes: &[u8]| Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect::<String>();
    let native: Vec<String> =
        native.files.iter().map(|file| format!("{} {}", file.name, hash(&file.bytes))).collect();
    assert!(native.len() > 15, "{native:?}");
    assert_eq!(text.lines().collect::<Vec<_>>(), native);
}
