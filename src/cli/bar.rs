//! What a run shows while it works: a bar on a terminal, a line for each folder where the output is piped, nothing when it is to be quiet.

use super::clock::Clock;
use super::heap;
use fogweft::base::progress::{Progress, Stage};
use fogweft::base::report::escape;
use indicatif::{HumanDuration, ProgressBar, ProgressDrawTarget, ProgressState, ProgressStyle};
use std::fmt;
use std::io::{IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

/// The progress of the runs of one command, on standard error. Several levels may be at work; one bar shows them all.
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
    /// How many runs it shows now.
    runs: usize,
    /// Levels that are done, and all; in words where there are several.
    levels: [usize; 2],
}

/// The progress of one level, a run after the other.
pub struct Level<'a> {
    bar: &'a Bar,
    run: Mutex<Run>,
}

#[derive(Default)]
struct Run {
    done: usize,
    outputs: usize,
    folder: PathBuf,
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

    /// Whether it takes the time of every stage.
    pub fn is_timed(&self) -> bool {
        self.clock.is_some()
    }

    /// So many levels follow.
    pub fn levels(&self, count: usize) {
        self.shown().levels = [0, count];
    }

    /// One of them.
    pub fn level(&self) -> Level<'_> {
        Level { bar: self, run: Mutex::default() }
    }

    /// The times that it took.
    pub fn timings(&self) -> Option<String> {
        self.clock.as_ref().map(Clock::table)
    }

    fn shown(&self) -> MutexGuard<'_, Shown> {
        // A thread that panicked meanwhile has left nothing behind that matters.
        self.shown.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn with(&self, show: impl FnOnce(&ProgressBar)) {
        if let Some(bar) = &self.shown().bar {
            show(bar);
        }
    }
}

impl Shown {
    /// Which of several levels are done, in words.
    fn prefix(&self) -> String {
        let [done, all] = self.levels;
        if all > 1 { format!("{done} of {all} levels: ") } else { String::new() }
    }

    /// Makes room for a run's work.
    fn begin(&mut self, work: u64) {
        self.runs += 1;
        if let Some(bar) = &self.bar {
            bar.inc_length(work);
            return;
        }
        let bar = ProgressBar::with_draw_target(Some(work), ProgressDrawTarget::stderr());
        // The template is a constant; were it wrong, the plain style would do.
        if let Ok(style) = ProgressStyle::with_template("{bar:24} {percent:>3} %{left}  {prefix}{wide_msg}") {
            bar.set_style(style.progress_chars("=> ").with_key("left", left));
        }
        bar.set_prefix(self.prefix());
        bar.enable_steady_tick(Duration::from_millis(200));
        self.bar = Some(bar);
    }

    /// A run is done; the bar goes with the last.
    fn end(&mut self) {
        self.runs = self.runs.saturating_sub(1);
        if self.runs == 0
            && let Some(bar) = self.bar.take()
        {
            bar.finish_and_clear();
        }
    }
}

impl Level<'_> {
    /// It is done, as far as it could be.
    pub fn is_done(&self) {
        let mut shown = self.bar.shown();
        shown.levels[0] += 1;
        let prefix = shown.prefix();
        if let Some(bar) = &shown.bar {
            bar.set_prefix(prefix);
        }
    }

    fn run(&self) -> MutexGuard<'_, Run> {
        self.run.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Time left, once there is something to judge it by.
fn left(state: &ProgressState, text: &mut dyn fmt::Write) {
    if state.pos() > 0 {
        let _ = write!(text, ", {:#} left", HumanDuration(state.eta()));
    }
}

impl Progress for Level<'_> {
    fn enters(&self, stage: Stage, path: &str) {
        if let Some(clock) = &self.bar.clock {
            clock.enters(stage, path);
        }
    }

    fn leaves(&self, stage: Stage) {
        if matches!(stage, Stage::Rims | Stage::Still) {
            // What outlines were measured by, and what strips were composed in, lies in many small pieces, which nothing after them takes up
            // again.
            heap::trim();
        }
        if let Some(clock) = &self.bar.clock {
            clock.leaves();
        }
    }

    fn begins(&self, folder: &Path, outputs: usize, work: u64) {
        *self.run() = Run { done: 0, outputs, folder: folder.to_path_buf() };
        if !self.bar.quiet && self.bar.terminal {
            self.bar.shown().begin(work);
            self.bar.with(|bar| bar.set_message(escape(&folder.to_string_lossy())));
        }
    }

    fn worked(&self, path: &str, texels: u64) {
        self.bar.with(|bar| {
            bar.set_message(escape(path));
            bar.inc(texels);
        });
    }

    fn makes(&self, path: &str) {
        self.bar.with(|bar| bar.set_message(escape(path)));
    }

    fn made(&self, path: &str, texels: u64) {
        self.run().done += 1;
        self.worked(path, texels);
    }

    fn ends(&self) {
        let run = std::mem::take(&mut *self.run());
        if self.bar.quiet || run.outputs == 0 {
            return;
        }
        if self.bar.terminal {
            self.bar.shown().end();
        } else if run.done > 0 {
            let folder = escape(&run.folder.to_string_lossy());
            let _ = writeln!(std::io::stderr(), "made {} of {} files in {folder}", run.done, run.outputs);
        }
    }

    fn stopped(&self) -> bool {
        self.bar.stop.load(Ordering::Relaxed)
    }
}
