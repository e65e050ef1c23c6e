//! How long the stages of a run take, for `--timings`.

use super::table;
use cpu_time::{ProcessTime, ThreadTime};
use fogweft::base::progress::Stage;
use fogweft::base::report::escape;
use std::cell::RefCell;
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

thread_local! {
    /// The stages that have begun on this thread and not ended; a thread that waits for others takes up further work meanwhile.
    static OPEN: RefCell<Vec<Open>> = const { RefCell::new(Vec::new()) };
}

/// A stage that has begun.
struct Open {
    stage: Stage,
    path: String,
    began: Instant,
    process: ProcessTime,
    thread: ThreadTime,
    /// What stages within it took of this thread.
    within: Duration,
}

/// A stage that has ended.
struct Spent {
    stage: Stage,
    path: String,
    /// Since the clock was started.
    began: Duration,
    wall: Duration,
    processor: Duration,
    /// Bytes that the program held then.
    held: Option<usize>,
}

/// Takes the time of stages.
pub struct Clock {
    started: Instant,
    spent: Mutex<Vec<Spent>>,
}

impl Default for Clock {
    fn default() -> Clock {
        Clock { started: Instant::now(), spent: Mutex::default() }
    }
}

impl Clock {
    /// A stage begins on this thread.
    pub fn enters(&self, stage: Stage, path: &str) {
        let open = Open {
            stage,
            path: path.to_owned(),
            began: Instant::now(),
            process: ProcessTime::now(),
            thread: ThreadTime::now(),
            within: Duration::ZERO,
        };
        OPEN.with_borrow_mut(|all| all.push(open));
    }

    /// The last that began on this thread ends.
    pub fn leaves(&self) {
        let Some(open) = OPEN.with_borrow_mut(Vec::pop) else { return };
        let thread = open.thread.elapsed();
        OPEN.with_borrow_mut(|all| {
            if let Some(around) = all.last_mut() {
                around.within += thread;
            }
        });
        // Files are made side by side: of one, the time of the thread that made it is known.
        let processor = match open.stage {
            Stage::Layer | Stage::File => thread.saturating_sub(open.within),
            _ => open.process.elapsed(),
        };
        let spent = Spent {
            stage: open.stage,
            path: open.path,
            began: open.began - self.started,
            wall: open.began.elapsed(),
            processor,
            held: memory_stats::memory_stats().map(|stats| stats.physical_mem),
        };
        self.spent.lock().unwrap_or_else(PoisonError::into_inner).push(spent);
    }

    /// All that was taken, as a table: stages in the order in which they began, the dearest file of each first.
    pub fn table(&self) -> String {
        let mut spent = self.spent.lock().unwrap_or_else(PoisonError::into_inner);
        let is_file = |spent: &Spent| matches!(spent.stage, Stage::Layer | Stage::File);
        spent.sort_by_key(|spent| spent.began);
        let mut rows: Vec<Vec<String>> = Vec::new();
        for stage in spent.iter().filter(|spent| !is_file(spent)) {
            rows.push(stage.row());
            let inside = |file: &&Spent| {
                let of = if file.stage == Stage::Layer { Stage::Layers } else { Stage::Files };
                of == stage.stage && (stage.began..=stage.began + stage.wall).contains(&file.began)
            };
            let mut files: Vec<&Spent> = spent.iter().filter(|spent| is_file(spent)).filter(inside).collect();
            files.sort_by_key(|file| std::cmp::Reverse(file.processor));
            rows.extend(files.into_iter().map(Spent::row));
        }
        let end = [self.started.elapsed(), ProcessTime::now().as_duration()];
        let [wall, processor] = end.map(seconds);
        rows.push(vec!["in all".into(), String::new(), wall, processor, held()]);
        table::layout(&["stage", "file", "seconds", "processor", "memory"], &rows, 2)
    }
}

impl Spent {
    fn row(&self) -> Vec<String> {
        let held = self.held.map_or(String::new(), |held| table::bytes(held as u64));
        let [wall, processor] = [self.wall, self.processor].map(seconds);
        vec![word(self.stage).to_owned(), escape(&self.path), wall, processor, held]
    }
}

fn held() -> String {
    memory_stats::memory_stats().map_or(String::new(), |stats| table::bytes(stats.physical_mem as u64))
}

fn seconds(time: Duration) -> String {
    format!("{:.3}", time.as_secs_f64())
}

fn word(stage: Stage) -> &'static str {
    match stage {
        Stage::Shapes => "shapes",
        Stage::Layers => "layers",
        Stage::Layer => "- layer",
        Stage::Rims => "outlines, rims",
        Stage::Still => "still",
        Stage::Files => "files",
        Stage::File => "- file",
        Stage::Inspection => "check",
        Stage::Writing => "writing",
    }
}
