//! `fogweft tune`: the tuning page, served until Ctrl-C.

use super::{args, heap, say, warn};
use fogweft::base::fault::{Class, Fault, Result};
use fogweft::base::files;
use fogweft::tune::{Options, Server};
use std::process::{Command, Stdio};
use std::sync::mpsc;

/// Serves the page until Ctrl-C.
///
/// # Errors
/// Those of the scene and of the server; class `Usage`: Ctrl-C can't be listened for.
pub fn tune(args: &args::Tune) -> Result<()> {
    let (stop, stopped) = mpsc::channel();
    ctrlc::set_handler(move || {
        let _ = stop.send(());
    })
    .map_err(|error| Fault::new(Class::Usage, format!("Ctrl-C can't be handled: {error}")))?;
    let server = Server::start(Options {
        scene: args.scene.clone(),
        mood: args.mood.clone(),
        port: args.port,
        limits: super::limits(),
        at_rest: heap::trim,
    })?;
    if server.port() != args.port && args.port != 0 {
        warn(&[format!("port {} is in use; using port {} instead", args.port, server.port())]);
    }
    if let Some(target) = files::link_target(&args.scene) {
        say(&format!("{} is a link; {} is saved\n", args.scene.display(), target.display()));
    }
    say(&format!(
        "{} is at\n{}\nKeep the address private; press Ctrl-C to stop\n",
        args.scene.display(),
        server.address()
    ));
    if let Some(file) = server.offered() {
        warn(&[format!(
            "{} holds unsaved changes of an earlier run; the page asks what to do with them",
            file.display()
        )]);
    }
    if args.open && !open(server.address()) {
        warn(&["no browser could be opened; open the address by hand".to_owned()]);
    }
    let _ = stopped.recv();
    match server.keep_unsaved() {
        Ok(None) => {}
        Ok(Some(file)) => warn(&[format!(
            "unsaved changes are kept in {}; the next `fogweft tune {}` offers them",
            file.display(),
            args.scene.display()
        )]),
        Err(faults) => {
            warn(&["unsaved changes were lost".to_owned()]);
            return Err(faults);
        }
    }
    say("stopped\n");
    Ok(())
}

/// Asks the system to open an address.
fn open(address: &str) -> bool {
    let ways: &[&[&str]] = if cfg!(target_os = "macos") {
        &[&["open"]]
    } else if cfg!(windows) {
        &[&["explorer"]]
    } else {
        &[&["xdg-open"], &["gio", "open"]]
    };
    ways.iter().any(|way| {
        Command::new(way[0])
            .args(&way[1..])
            .arg(address)
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .is_ok()
    })
}
