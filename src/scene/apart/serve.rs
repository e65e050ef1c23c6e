//! A reader process: reads what it is asked for until nobody asks any more.

use super::bounds;
use super::wire::{Answer, Head, Job, Request, Sender, Told, receive, send};
use crate::base::fault::{Faults, Result};
use crate::base::limits::Limits;
use crate::base::room;
use crate::scene::layered::Layered;
use crate::scene::pictures::known::Facts;
use crate::scene::pictures::{Kind, Source};
use std::ffi::OsString;
use std::io::{self, ErrorKind, Read, Write};
use std::path::{Path, PathBuf};

/// The picture that was looked at last: it is likely to be drawn next, and parsing it may take longer than drawing it.
type Last = Option<Source>;

/// Answers requests from `input` until it ends; `at_rest` runs after each.
///
/// # Errors
/// What comes can't be understood, or nobody takes the answers.
pub fn serve(mut input: impl Read, mut output: impl Write, at_rest: fn()) -> io::Result<()> {
    let mut last = None;
    while let Some((request, length)) = receive::<Request>(&mut input)? {
        bounds::hold(&request.limits, request.seconds);
        let length = usize::try_from(length).unwrap_or(usize::MAX);
        bounds::allow(2 * length as u64);
        let mut bytes = Vec::new();
        if room::reserve(&mut bytes, length, "the picture file").is_err() {
            // Told by its end: what follows can't be read past.
            std::process::exit(i32::from(crate::base::fault::Class::Limit.exit_code()));
        }
        (&mut input).take(length as u64).read_to_end(&mut bytes)?;
        answer(request, bytes, &mut last, &mut output)?;
        last = last.filter(|source| source.kind == Kind::Svg);
        at_rest();
    }
    Ok(())
}

/// Does one job and says what came of it.
fn answer(request: Request, bytes: Vec<u8>, last: &mut Last, output: &mut impl Write) -> io::Result<()> {
    let Request { limits, job, .. } = request;
    // A picture's content is named by whoever asks.
    let mut file = PathBuf::new();
    let done = match job {
        Job::Head => source(bytes, last, &limits).map(|source| Answer::Head(head(source))),
        Job::Draw(drawn) => {
            let mut sender = Sender::new(output, drawn.texels);
            let mut take = |deep: bool, rows: &mut [[u16; 4]]| sender.take(deep, rows);
            let sent =
                source(bytes, last, &limits).and_then(|source| source.draw_rows(drawn, &limits, &mut take));
            match sent {
                Err(faults) if sender.is_new() => Err(faults),
                Err(_) => return Err(ErrorKind::InvalidData.into()),
                Ok(()) => return sender.finish(),
            }
        }
        Job::Stack => Layered::read(&file, &String::from_utf8_lossy(&bytes), &limits)
            .map(Answer::Layered)
            .map_err(Faults::from),
        Job::Layered => {
            file = path(bytes);
            Layered::open(&file, &limits).map(Answer::Layered).map_err(Faults::from)
        }
        Job::Layer { name } => {
            file = path(bytes);
            match Source::open_layer(&file, &name, &limits) {
                Ok(source) => return send(output, &Answer::Layer(head(&source)), &source.bytes),
                Err(faults) => Err(faults),
            }
        }
    };
    send(output, &done.unwrap_or_else(|faults| refused(faults, &file)), &[])
}

fn refused(faults: Faults, file: &Path) -> Answer {
    Answer::Refused(faults.list.into_iter().map(|fault| Told::of(fault, file)).collect())
}

/// The picture of this content, parsed once while it is asked for again and again.
fn source<'a>(bytes: Vec<u8>, last: &'a mut Last, limits: &Limits) -> Result<&'a Source> {
    let same = last.take().filter(|source| *source.bytes == *bytes);
    let source = match same {
        Some(source) => source,
        None => Source::from_bytes("", bytes, limits)?,
    };
    Ok(last.insert(source))
}

fn head(source: &Source) -> Head {
    let Facts { natural, warnings, .. } = Facts::of(source);
    Head { kind: source.kind, natural, warnings }
}

#[cfg(unix)]
fn path(bytes: Vec<u8>) -> PathBuf {
    use std::os::unix::ffi::OsStringExt;
    PathBuf::from(OsString::from_vec(bytes))
}

#[cfg(not(unix))]
fn path(bytes: Vec<u8>) -> PathBuf {
    PathBuf::from(OsString::from(String::from_utf8_lossy(&bytes).into_owned()))
}
