//! Times, peaks of memory, and the table of them.

use std::io::Cursor;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// Least time and largest peak of several runs.
#[derive(Clone, Copy, Debug)]
pub struct Measured {
    /// Wall time.
    pub time: Duration,
    /// Peak of resident memory, bytes; 0 where it wasn't read.
    pub peak: u64,
}

/// The program under measurement, quiet.
pub fn program() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_fogweft"));
    command.stdout(Stdio::null()).stderr(Stdio::null());
    command
}

/// Runs a command to its end; its peak is read from the system while it runs.
pub fn run(command: &mut Command) -> Measured {
    watched(command, None).0
}

/// The same, and how long it took until `file` was there.
pub fn run_until(command: &mut Command, file: &Path) -> (Measured, Duration) {
    let (measured, there) = watched(command, Some(file));
    (measured, there.unwrap_or(measured.time))
}

fn watched(command: &mut Command, file: Option<&Path>) -> (Measured, Option<Duration>) {
    let start = Instant::now();
    let mut child = command.spawn().expect("the program starts");
    let status = format!("/proc/{}/status", child.id());
    let file = file.map(Path::to_path_buf);
    let watcher = std::thread::spawn(move || {
        let (mut peak, mut there) = (0, None);
        // The peak only grows, so the last reading before the end is the one that counts.
        while let Ok(text) = std::fs::read_to_string(&status) {
            let Some(line) = text.lines().find_map(|line| line.strip_prefix("VmHWM:")) else { break };
            let kilobytes: u64 = line.trim().trim_end_matches(" kB").parse().unwrap_or(0);
            peak = peak.max(kilobytes * 1024);
            if there.is_none() && file.as_ref().is_some_and(|file| file.exists()) {
                there = Some(start.elapsed());
            }
            std::thread::sleep(Duration::from_micros(500));
        }
        (peak, there)
    });
    let ended = child.wait().expect("the program ends");
    let time = start.elapsed();
    assert!(ended.success(), "{command:?} failed");
    let (peak, there) = watcher.join().unwrap_or_default();
    (Measured { time, peak }, there)
}

/// Times one piece of work.
pub fn timed<T>(work: impl FnOnce() -> T) -> Measured {
    let start = Instant::now();
    std::hint::black_box(work());
    Measured { time: start.elapsed(), peak: 0 }
}

/// The best of `count` runs.
pub fn best(count: usize, mut work: impl FnMut() -> Measured) -> Measured {
    let first = work();
    (1..count).map(|_| work()).fold(first, better)
}

/// The best of `count` runs each, turn by turn, so that what else the machine does falls on both.
pub fn pair(
    count: usize,
    mut one: impl FnMut() -> Measured,
    mut other: impl FnMut() -> Measured,
) -> (Measured, Measured) {
    let first = (one(), other());
    (1..count).map(|_| (one(), other())).fold(first, |a, b| (better(a.0, b.0), better(a.1, b.1)))
}

fn better(a: Measured, b: Measured) -> Measured {
    Measured { time: a.time.min(b.time), peak: a.peak.max(b.peak) }
}

/// A file's texels as 8-bit RGBA.
pub fn rgba(file: &std::path::Path) -> Vec<u8> {
    image::open(file).expect("a picture").into_rgba8().into_raw()
}

/// Encodes RGBA by crate `png` at its fast setting, in this thread; the number of bytes.
pub fn encode_fast(texels: &[u8], size: [u32; 2]) -> usize {
    let mut out = Cursor::new(Vec::new());
    let mut encoder = png::Encoder::new(&mut out, size[0], size[1]);
    encoder.set_color(png::ColorType::Rgba);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_compression(png::Compression::Fast);
    let mut writer = encoder.write_header().expect("a header");
    writer.write_image_data(texels).expect("texels");
    writer.finish().expect("an end");
    out.into_inner().len()
}

/// The table.
pub struct Table {
    rows: Vec<String>,
    notes: Vec<String>,
}

impl Table {
    /// An empty one.
    pub fn new() -> Table {
        Table { rows: Vec::new(), notes: Vec::new() }
    }

    /// A figure that should be at most `bar`.
    pub fn row(&mut self, what: &str, reached: f64, bar: f64) {
        self.push(what, reached, format!("at most {bar}"), reached <= bar);
    }

    /// A figure that should be at most `bar`, and later `goal`.
    pub fn row_to_goal(&mut self, what: &str, reached: f64, bar: f64, goal: f64) {
        self.push(what, reached, format!("at most {bar} ({goal})"), reached <= bar);
    }

    /// A figure that should be at least `bar`, and later `goal`.
    pub fn row_to_more(&mut self, what: &str, reached: f64, bar: f64, goal: f64) {
        self.push(what, reached, format!("at least {bar} ({goal})"), reached >= bar);
    }

    fn push(&mut self, what: &str, reached: f64, bar: String, met: bool) {
        let verdict = if met { "met" } else { "MISSED" };
        self.rows.push(format!("{what:<62} {reached:>8.3}   {bar:<20} {verdict}"));
    }

    /// A raw figure.
    pub fn raw(&mut self, what: &str, measured: &Measured) {
        let peak = if measured.peak > 0 {
            format!(", peak {:.1} MB", measured.peak as f64 / 1e6)
        } else {
            String::new()
        };
        self.note(&format!("{what}: {:.1} ms{peak}", 1e3 * measured.time.as_secs_f64()));
    }

    /// A line below the table.
    pub fn note(&mut self, line: &str) {
        self.notes.push(line.to_owned());
    }

    /// Prints it all, under the processor's name.
    pub fn print(&self) {
        let processor = std::fs::read_to_string("/proc/cpuinfo").unwrap_or_default();
        let name = processor.lines().find_map(|line| line.strip_prefix("model name")).unwrap_or("");
        let threads = std::thread::available_parallelism().map_or(1, usize::from);
        println!("{:<62} {:>8}   {:<20}", "measure", "reached", "bar (goal)");
        self.rows.iter().for_each(|row| println!("{row}"));
        println!(
            "\nprocessor: {}, {threads} threads; best of several runs each",
            name.trim_matches([':', ' ', '\t'])
        );
        self.notes.iter().for_each(|note| println!("{note}"));
    }
}
