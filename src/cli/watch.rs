//! `render --watch`: a run on every save.

use super::bar::Bar;
use super::inputs::Inputs;
use super::{args, print_faults, say};
use fogweft::base::fault::{Class, Fault, Result};
use fogweft::base::report;
use fogweft::store::watcher::{self, Signs};
use std::io::Write;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{self, Receiver};
use std::time::Duration;

/// How long the files must have stayed the same before a run: a save may come in several pieces.
const QUIET: Duration = Duration::from_millis(60);

/// Runs, and runs again whenever the scene, a preset or a picture is saved, until Ctrl-C. A scene that can't be used leaves the last
/// good outputs as they are.
///
/// # Errors
/// Class `Usage`: Ctrl-C can't be listened for. What is wrong with the scene is shown, and the next save waited for.
pub fn watch(args: &args::Render) -> Result<()> {
    let stop = Arc::new(AtomicBool::new(false));
    let (wake, woken) = mpsc::channel();
    let on_stop = (Arc::clone(&stop), wake.clone());
    ctrlc::set_handler(move || {
        // Who asks twice doesn't want to wait for a picture that is being made.
        if on_stop.0.swap(true, Ordering::Relaxed) {
            std::process::exit(130);
        }
        let _ = on_stop.1.send(());
    })
    .map_err(|error| Fault::new(Class::Usage, format!("Ctrl-C can't be handled: {error}")))?;
    let mut signs = Signs::new(wake);
    let bar = Bar::new(args.quiet, Arc::clone(&stop));
    let mut inputs = Inputs::default();
    while !stop.load(Ordering::Relaxed) {
        let mut fresh = Inputs::default();
        let outcome = super::render::run(args, &bar, &mut fresh);
        if outcome.is_err() {
            fresh.keep(&inputs);
        }
        inputs = fresh;
        if stop.load(Ordering::Relaxed) {
            break;
        }
        let shown: Vec<_> = args.levels.levels.iter().map(|level| level.to_string_lossy()).collect();
        let shown = report::escape(&shown.join(", "));
        match outcome {
            Ok(()) if args.quiet => {}
            Ok(()) => say(&format!("watching {shown}; press Ctrl-C to stop\n")),
            Err(faults) if faults.list.iter().any(|fault| fault.held) => {
                print_faults(&faults);
                std::thread::sleep(HELD);
                continue;
            }
            Err(faults) => {
                print_faults(&faults);
                if !args.quiet {
                    let stay = "can't be rendered; the last good outputs are kept. Waiting for the next save";
                    let _ = writeln!(std::io::stderr(), "\n{shown} {stay}");
                }
            }
        }
        signs.of(inputs.folders());
        wait(&inputs, &woken, &stop);
    }
    if !args.quiet {
        say("stopped\n");
    }
    Ok(())
}

/// How long to wait before a file that another program held open is tried again.
const HELD: Duration = Duration::from_secs(2);

/// Waits until a file looks otherwise than before it was read, and has come to rest.
fn wait(inputs: &Inputs, woken: &Receiver<()>, stop: &AtomicBool) {
    while !stop.load(Ordering::Relaxed) && !inputs.changed() {
        watcher::wait(woken);
        while woken.try_recv().is_ok() {}
    }
    let mut last = inputs.now();
    while !stop.load(Ordering::Relaxed) {
        std::thread::sleep(QUIET);
        if !last.changed() {
            break;
        }
        last = inputs.now();
    }
}
