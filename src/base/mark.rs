//! The mark by which a file by itself proves that this program wrote it and that nobody edited it since: a hash of all the rest of
//! its content. In a PNG it is a text chunk with the keyword `fogweft` before the end; in a text the first line, a comment.

use flate2::Crc;
use std::fs;
use std::io::Read;
use std::path::Path;

/// What kind of file is marked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    /// A PNG.
    Png,
    /// Text whose comments begin with `#`.
    Make,
    /// Source of a man page.
    Roff,
    /// A web page.
    Page,
}

/// How comments begin and end in marked texts.
const COMMENTS: [(&str, &str); 3] = [("# ", ""), (".\\\" ", ""), ("<!-- ", " -->")];

/// What a mark says before its hash.
const WORDS: &str = "written by fogweft; blake3 of the rest: ";

/// Keyword of the text chunk, with the zero that ends it (PNG 11.3.3.2).
const KEYWORD: &str = "fogweft\0";

/// The last chunk of every PNG (PNG 11.2.5).
const END: [u8; 12] = [0, 0, 0, 0, b'I', b'E', b'N', b'D', 0xae, 0x42, 0x60, 0x82];

/// Most bytes of a file that is looked at for its mark.
const MOST_BYTES: u64 = 1 << 30;

/// `content` with its mark. What can't bear one, a PNG without an end, comes back as it is.
pub fn marked(form: Form, content: &[u8]) -> Vec<u8> {
    match form {
        Form::Make => marked_text(COMMENTS[0], content),
        Form::Roff => marked_text(COMMENTS[1], content),
        Form::Page => marked_text(COMMENTS[2], content),
        Form::Png => match content.strip_suffix(&END) {
            Some(head) => [head, &chunk(head), &END].concat(),
            None => content.to_vec(),
        },
    }
}

fn marked_text((begins, ends): (&str, &str), content: &[u8]) -> Vec<u8> {
    let line = format!("{begins}{WORDS}{}{ends}\n", blake3::hash(content).to_hex());
    [line.as_bytes(), content].concat()
}

/// The text chunk that marks the chunks `head` and an end after them.
fn chunk(head: &[u8]) -> Vec<u8> {
    let hash = blake3::Hasher::new().update(head).update(&END).finalize();
    let body = format!("tEXt{KEYWORD}{WORDS}{}", hash.to_hex()).into_bytes();
    let mut crc = Crc::new();
    crc.update(&body);
    let length = (body.len() - 4) as u32;
    [&length.to_be_bytes()[..], &body, &crc.sum().to_be_bytes()].concat()
}

/// Whether `content` bears the mark that it was given.
pub fn is_whole(content: &[u8]) -> bool {
    if let Some(rest) = content.strip_suffix(&END) {
        // All marks of PNGs are of one length.
        let Some(at) = rest.len().checked_sub(chunk(&[]).len()) else { return false };
        return chunk(&rest[..at]) == rest[at..];
    }
    let Some(end) = content.iter().position(|byte| *byte == b'\n') else { return false };
    let (line, text) = (&content[..end], &content[end + 1..]);
    let is_of = |(begins, ends): &(&str, &str)| {
        line.strip_prefix(begins.as_bytes())
            .and_then(|line| line.strip_suffix(ends.as_bytes()))
            .and_then(|line| line.strip_prefix(WORDS.as_bytes()))
            .is_some_and(|hash| hash == blake3::hash(text).to_hex().as_bytes())
    };
    COMMENTS.iter().any(is_of)
}

/// Whether the file at `path` bears its mark.
pub fn is_marked(path: &Path) -> bool {
    let Ok(data) = fs::symlink_metadata(path) else { return false };
    if !data.is_file() || data.len() > MOST_BYTES {
        return false;
    }
    let mut content = Vec::new();
    let read = fs::File::open(path).and_then(|file| file.take(MOST_BYTES).read_to_end(&mut content));
    read.is_ok() && is_whole(&content)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn any_other_byte_breaks_the_mark() {
        let png = [b"\x89PNG\r\n\x1a\n and chunks".as_slice(), &END].concat();
        for (form, content) in [
            (Form::Png, png.as_slice()),
            (Form::Make, b"a: b\n"),
            (Form::Page, b"<!doctype html>\n"),
            (Form::Roff, b".TH a\n"),
            (Form::Make, b""),
        ] {
            let whole = marked(form, content);
            assert!(is_whole(&whole) && !is_whole(content), "{form:?}");
            for at in 0..whole.len() {
                let mut other = whole.clone();
                other[at] ^= 1;
                assert!(!is_whole(&other), "{form:?}, {at}");
                assert!(!is_whole(&whole[..at]), "{form:?}, cut at {at}");
            }
            assert!(!is_whole(&[&whole[..], b"\n"].concat()), "{form:?}");
        }
    }
}
