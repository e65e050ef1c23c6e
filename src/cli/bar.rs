//! What a run shows while it works: a bar on a terminal, a line for each folder where the output is piped, nothing when it is to be quiet.

use super::clock::Clock;
use fogweft::base::progress::{Progress, Stage};
use fogweft::base::report::escape;
use indicatif::{HumanDuration, ProgressBar, ProgressDrawTarget, ProgressState, ProgressStyle};
use std::fmt;
use std::io::{IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

/// The progress of the runs of one command, on standard error.
pub struct Bar {
    shown: Mutex<Shown>,
    quiet: bool,
    terminal: bool,
    stop: Arc<AtomicBool>,
    clock: Option<Clock>,
}

#[derive(Default)]
struct Shown {
    bar: Option<ProgressBar>,
    done: usize,
    outputs: usize,
    folder: PathBuf,
    /// Which of several levels it is, in words.
    level: String,
}

impl Bar {
    /// Shows nothing if `quiet`; ends the run early once `stop` is set.
    pub fn new(quiet: bool, stop: Arc<AtomicBool>) -> Bar {
        Bar { shown: Mutex::default(), quiet, terminal: std::io::stderr().is_terminal(), stop, clock: None }
    }

    /// Takes the time of every stage.
    pub fn timed(self) -> Bar {
        Bar { clock: Some(Clock::default()), ..self }
    }

    /// Says which of several levels follows; the first is 0.
    pub fn level(&self, at: usize, count: usize) {
        self.shown().level = if count > 1 { format!("level {} of {count}: ", at + 1) } else { String::new() };
    }

    /// The times that it took.
    pub fn timings(&self) -> Option<String> {
        self.clock.as_ref().map(Clock::table)
    }

    fn shown(&self) -> MutexGuard<'_, Shown> {
        // A thread that panicked meanwhile has left nothing behind that matters.
        self.shown.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Time left, once there is something to judge it by.
fn left(state: &ProgressState, text: &mut dyn fmt::Write) {
    if state.pos() > 0 {
        let _ = write!(text, ", {:#} left", HumanDuration(state.eta()));
    }
}

impl Progress for Bar {
    fn enters(&self, stage: Stage, path: &str) {
        if let Some(clock) = &self.clock {
            clock.enters(stage, path);
        }
    }

    fn leaves(&self, _: Stage) {
        if let Some(clock) = &self.clock {
            clock.leaves();
        }
    }

    fn begins(&self, folder: &Path, outputs: usize, work: u64) {
        let mut shown = self.shown();
        let level = std::mem::take(&mut shown.level);
        *shown = Shown { bar: None, done: 0, outputs, folder: folder.to_path_buf(), level };
        if self.quiet || !self.terminal {
            return;
        }
        let bar = ProgressBar::with_draw_target(Some(work), ProgressDrawTarget::stderr());
        // The template is a constant; were it wrong, the plain style would do.
        if let Ok(style) = ProgressStyle::with_template("{bar:24} {percent:>3} %{left}  {prefix}{wide_msg}") {
            bar.set_style(style.progress_chars("=> ").with_key("left", left));
        }
        bar.set_prefix(shown.level.clone());
        bar.set_message(escape(&folder.to_string_lossy()));
        bar.enable_steady_tick(Duration::from_millis(200));
        shown.bar = Some(bar);
    }

    fn worked(&self, path: &str, texels: u64) {
        if let Some(bar) = &self.shown().bar {
            bar.set_message(escape(path));
            bar.inc(texels);
        }
    }

    fn makes(&self, path: &str) {
        if let Some(bar) = &self.shown().bar {
            bar.set_message(escape(path));
        }
    }

    fn made(&self, path: &str, texels: u64) {
        let mut shown = self.shown();
        shown.done += 1;
        if let Some(bar) = &shown.bar {
            bar.set_message(escape(path));
            bar.inc(texels);
        }
    }

    fn ends(&self) {
        let mut shown = self.shown();
        if let Some(bar) = shown.bar.take() {
            bar.finish_and_clear();
        } else if !self.quiet && shown.done > 0 {
            let folder = escape(&shown.folder.to_string_lossy());
            let _ = writeln!(std::io::stderr(), "made {} of {} files in {folder}", shown.done, shown.outputs);
        }
        shown.done = 0;
    }

    fn stopped(&self) -> bool {
        self.stop.load(Ordering::Relaxed)
    }
}
