//! Untrusted files are read in processes of their own: the program itself, started again, bounded by the system in what it may take. What
//! breaks or lingers there is a fault here.
//!
//! A program switches that on with [`read_apart`]; a library that nobody switches it on in reads in its own process. A reader stands until
//! the program ends and is asked again: starting one takes longer than reading a small picture.

mod bounds;
mod serve;
mod wire;

pub(in crate::scene) use bounds::allow;
pub use serve::serve;
pub use wire::Head;
pub(crate) use wire::{Drawn, TakeRows};

use crate::base::fault::{Class, Fault, Faults, Result};
use crate::base::limits::Limits;
use crate::base::picture::Picture;
use crate::base::room;
use crate::scene::layered::Layered;
use std::ffi::OsString;
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, ChildStdout, Command, ExitStatus, Stdio};
use std::sync::mpsc::{self, RecvTimeoutError};
use std::sync::{Mutex, OnceLock, PoisonError};
use std::time::Duration;
use wire::{Answer, Job, Request, receive, receive_picture, send};

/// By the clock a reader may take so many times its processor time: other programs may keep the processors busy.
const BUSY: u64 = 15;

/// Stack of the thread that watches the clock, bytes.
const WATCH: usize = 64 << 10;

/// How a reader is started.
#[derive(Clone, Debug)]
pub struct Program {
    /// The program.
    pub file: PathBuf,
    /// What makes it call `serve` with its standard input and output.
    pub args: Vec<OsString>,
}

static PROGRAM: OnceLock<Program> = OnceLock::new();

/// Readers that nobody asks at the moment.
static IDLE: Mutex<Vec<Reader>> = Mutex::new(Vec::new());

/// From now on, pictures and layered files are read by processes of `program`.
pub fn read_apart(program: Program) {
    let _ = PROGRAM.set(program);
}

/// Whether they are.
pub(in crate::scene) fn is_on() -> bool {
    PROGRAM.get().is_some()
}

/// What a picture of this content is.
pub(in crate::scene) fn head(file: &Path, content: &[u8], limits: &Limits) -> Result<Head> {
    match ask(file, file, Job::Head, content, limits, bounds::seconds(limits, 0.0, 0.0))? {
        (Answer::Head(head), _) => Ok(head),
        _ => Err(garbled(file).into()),
    }
}

/// The picture of this content and natural size, drawn.
pub(in crate::scene) fn draw(
    file: &Path,
    content: &[u8],
    natural: [f64; 2],
    drawn: Drawn,
    limits: &Limits,
) -> Result<Picture> {
    let (size, area) = (drawn.texels, drawn.texels.map(|side| side as usize).iter().product());
    let (mut is_deep, mut texels) = (false, Vec::new());
    room::reserve(&mut texels, area, "a picture").map_err(|fault| fault.in_file(file))?;
    let mut take = |deep: bool, rows: &mut [[u16; 4]]| {
        is_deep = deep;
        texels.extend_from_slice(rows);
    };
    draw_rows(file, content, natural, drawn, limits, &mut take)?;
    Ok(Picture { size, deep: is_deep, texels })
}

/// The same, handed to `take` some rows at a time.
pub(in crate::scene) fn draw_rows(
    file: &Path,
    content: &[u8],
    natural: [f64; 2],
    drawn: Drawn,
    limits: &Limits,
    take: &mut TakeRows<'_>,
) -> Result<()> {
    let area = f64::from(drawn.texels[0]) * f64::from(drawn.texels[1]);
    let seconds = bounds::seconds(limits, area, natural[0] * natural[1]);
    match ask_rows(file, file, Job::Draw(drawn), content, limits, seconds, take)? {
        (Answer::Picture { .. }, _) => Ok(()),
        _ => Err(garbled(file).into()),
    }
}

/// What the text of a `stack.xml` says.
pub(in crate::scene) fn stack(
    file: &Path,
    text: &str,
    limits: &Limits,
) -> std::result::Result<Layered, Fault> {
    layered(file, Job::Stack, text.as_bytes(), limits)
}

/// What a layered file says of itself.
pub(in crate::scene) fn layered_file(file: &Path, limits: &Limits) -> std::result::Result<Layered, Fault> {
    layered(file, Job::Layered, file.as_os_str().as_encoded_bytes(), limits)
}

fn layered(file: &Path, job: Job, bytes: &[u8], limits: &Limits) -> std::result::Result<Layered, Fault> {
    match ask(file, file, job, bytes, limits, bounds::seconds(limits, 0.0, 0.0)) {
        Ok((Answer::Layered(layered), _)) => Ok(layered),
        Ok(_) => Err(garbled(file)),
        // A layered file has one.
        Err(mut faults) => Err(faults.list.pop().unwrap_or_else(|| garbled(file))),
    }
}

/// The picture of the layer `name` of a layered file, as a file would hold it; `place` is what messages call it.
pub(in crate::scene) fn layer(
    file: &Path,
    name: &str,
    place: &Path,
    limits: &Limits,
) -> Result<(Head, Vec<u8>)> {
    let job = Job::Layer { name: name.to_owned() };
    let seconds = bounds::seconds(limits, 0.0, limits.unpacked as f64);
    match ask(file, place, job, file.as_os_str().as_encoded_bytes(), limits, seconds)? {
        (Answer::Layer(head), Body::Bytes(bytes)) => Ok((head, bytes)),
        _ => Err(garbled(place).into()),
    }
}

/// What comes behind an answer.
enum Body {
    None,
    Bytes(Vec<u8>),
}

/// Asks a reader that is idle, or a new one, for what has no rows.
fn ask(
    file: &Path,
    place: &Path,
    job: Job,
    bytes: &[u8],
    limits: &Limits,
    seconds: u64,
) -> Result<(Answer, Body)> {
    ask_rows(file, place, job, bytes, limits, seconds, &mut |_, _| {})
}

/// The same for any answer; rows of a picture are handed to `take`.
fn ask_rows(
    file: &Path,
    place: &Path,
    job: Job,
    bytes: &[u8],
    limits: &Limits,
    seconds: u64,
    take: &mut TakeRows<'_>,
) -> Result<(Answer, Body)> {
    let request = Request { limits: *limits, seconds, job };
    let idle = IDLE.lock().unwrap_or_else(PoisonError::into_inner).pop();
    let patience = Duration::from_secs(seconds.saturating_mul(BUSY));
    let asked = match idle.map(|mut reader| (reader.ask(&request, bytes, patience, take), reader)) {
        // It was ended by somebody while it was idle.
        None | Some((Err(Broken::Unheard), _)) => {
            let mut reader = Reader::start().map_err(|error| unstartable(file, &error))?;
            (reader.ask(&request, bytes, patience, take), reader)
        }
        Some(asked) => asked,
    };
    let (answer, reader) = match asked {
        (Ok(answer), reader) => (answer, reader),
        (Err(broken), reader) => return Err(reader.why(broken, place, &request).into()),
    };
    IDLE.lock().unwrap_or_else(PoisonError::into_inner).push(reader);
    if let Answer::Refused(faults) = answer.0 {
        let list = faults.into_iter().map(|told| told.fault(file, place)).collect();
        return Err(Faults { list, sources: Vec::new() });
    }
    Ok(answer)
}

/// A process that reads.
struct Reader {
    child: Child,
    input: ChildStdin,
    output: ChildStdout,
}

/// Why there is no answer.
enum Broken {
    /// The request wasn't taken.
    Unheard,
    /// It ended, or what it said can't be understood.
    Ended,
    /// It took too long by the clock.
    Late,
    /// This process has no memory for the answer.
    Room(Fault),
}

impl Reader {
    fn start() -> io::Result<Reader> {
        let program = PROGRAM.get().ok_or(io::ErrorKind::NotFound)?;
        let mut command = Command::new(&program.file);
        command.args(&program.args).stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::null());
        // What ends the program from its terminal ends its readers through their closed input, not before.
        #[cfg(unix)]
        std::os::unix::process::CommandExt::process_group(&mut command, 0);
        let mut child = command.spawn()?;
        match (child.stdin.take(), child.stdout.take()) {
            (Some(input), Some(output)) => Ok(Reader { child, input, output }),
            _ => Err(io::ErrorKind::BrokenPipe.into()),
        }
    }

    /// The answer, unless the reader breaks or takes longer than `patience`, when it is ended.
    fn ask(
        &mut self,
        request: &Request,
        bytes: &[u8],
        patience: Duration,
        take: &mut TakeRows<'_>,
    ) -> std::result::Result<(Answer, Body), Broken> {
        let Reader { child, input, output } = self;
        let (done, waiting) = mpsc::channel::<()>();
        std::thread::scope(|scope| {
            let watch = std::thread::Builder::new().stack_size(WATCH).spawn_scoped(scope, move || {
                let late = waiting.recv_timeout(patience) == Err(RecvTimeoutError::Timeout);
                if late {
                    let _ = child.kill();
                }
                late
            });
            let watch = watch.map_err(|error| {
                Broken::Room(
                    Fault::new(Class::Limit, format!("no thread can be started: {error}"))
                        .remedy("Close other programs."),
                )
            })?;
            let answer = exchange(input, output, request, bytes, take);
            drop(done);
            if watch.join().unwrap_or(false) { Err(Broken::Late) } else { answer }
        })
    }

    /// Why a reader broke, as a fault.
    fn why(mut self, broken: Broken, place: &Path, request: &Request) -> Fault {
        drop((self.input, self.output));
        let seconds = request.seconds;
        let fault = match broken {
            Broken::Room(fault) => {
                let _ = self.child.kill();
                let _ = self.child.wait();
                return fault.in_file(place);
            }
            Broken::Late => too_long(format!("{} seconds", seconds.saturating_mul(BUSY)), request),
            Broken::Unheard | Broken::Ended => match self.child.wait() {
                Ok(status) if is_out_of_time(status) => {
                    too_long(format!("{seconds} seconds of processor time"), request)
                }
                Ok(status) if status.code() == Some(i32::from(Class::Limit.exit_code())) => {
                    too_large(request)
                }
                _ => Fault::new(
                    Class::Picture,
                    "the picture crashes the decoder; the file is probably damaged",
                )
                .remedy("Save it again."),
            },
        };
        let _ = self.child.wait();
        fault.in_file(place)
    }
}

/// Says what is asked for and reads the answer.
fn exchange(
    input: &mut ChildStdin,
    output: &mut ChildStdout,
    request: &Request,
    bytes: &[u8],
    take: &mut TakeRows<'_>,
) -> std::result::Result<(Answer, Body), Broken> {
    let ended = |_| Broken::Ended;
    send(input, request, bytes).map_err(|_| Broken::Unheard)?;
    let (answer, length) = receive::<Answer>(output).map_err(ended)?.ok_or(Broken::Ended)?;
    let body = match (&answer, &request.job) {
        (Answer::Picture { deep }, Job::Draw(drawn)) => {
            if !receive_picture(output, length, (*deep, drawn.texels), take).map_err(ended)? {
                return Err(Broken::Ended);
            }
            Body::None
        }
        (Answer::Layer(_), _) => {
            let mut bytes = room::zeroed(usize::try_from(length).unwrap_or(usize::MAX), "a layer")
                .map_err(Broken::Room)?;
            output.read_exact(&mut bytes).map_err(ended)?;
            Body::Bytes(bytes)
        }
        _ if length > 0 => return Err(Broken::Ended),
        _ => Body::None,
    };
    Ok((answer, body))
}

#[cfg(unix)]
fn is_out_of_time(status: ExitStatus) -> bool {
    /// SIGXCPU, on every system that has the limit.
    const OUT_OF_TIME: i32 = 24;
    std::os::unix::process::ExitStatusExt::signal(&status) == Some(OUT_OF_TIME)
}

#[cfg(not(unix))]
fn is_out_of_time(_status: ExitStatus) -> bool {
    false
}

fn too_long(time: String, request: &Request) -> Fault {
    let more = request.limits.read_seconds.saturating_mul(4);
    Fault::new(Class::Limit, format!("reading the picture takes longer than {time}"))
        .remedy(format!("Simplify it, save it as PNG, or raise the limit: --limit read-seconds={more}."))
}

fn too_large(request: &Request) -> Fault {
    let limit = request.limits.read_memory;
    let more = limit.saturating_mul(4);
    Fault::new(Class::Limit, format!("reading the picture takes more than {} MB of memory", limit >> 20))
        .remedy(format!("Simplify it, save it as PNG, or raise the limit: --limit read-memory={more}."))
}

fn unstartable(file: &Path, error: &io::Error) -> Fault {
    Fault::new(Class::Limit, format!("the process that reads pictures can't be started: {error}"))
        .in_file(file)
        .remedy("Close other programs.")
}

fn garbled(file: &Path) -> Fault {
    Fault::new(Class::Picture, "the picture confuses its reader; the file is probably damaged")
        .in_file(file)
        .remedy("Save it again.")
}
