//! Requests: one page of files that are part of the program, and the way to its socket. No file is ever read for one.
//!
//! HTTP/1.1 (RFC 9112). Whoever doesn't know the run's token, or comes from another site's page, gets nothing: the address names this
//! machine alone, `Host` must name it too (a name that another site has turned to this machine is refused), and so must `Origin`.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant};

/// Longest head of a request.
const HEAD: usize = 16 << 10;
/// How long a head may take to arrive.
const PATIENCE: Duration = Duration::from_secs(5);

/// The page's files: name, kind, content.
const FILES: &[(&str, &str, &str)] = &[
    ("", "text/html; charset=utf-8", include_str!("page/index.html")),
    ("page.css", "text/css; charset=utf-8", include_str!("page/page.css")),
    ("parts.css", "text/css; charset=utf-8", include_str!("page/parts.css")),
    ("lamps.css", "text/css; charset=utf-8", include_str!("page/lamps.css")),
    ("places.css", "text/css; charset=utf-8", include_str!("page/places.css")),
    ("along.css", "text/css; charset=utf-8", include_str!("page/along.css")),
    ("by.js", "text/javascript; charset=utf-8", include_str!("page/by.js")),
    ("main.js", "text/javascript; charset=utf-8", include_str!("page/main.js")),
    ("wire.js", "text/javascript; charset=utf-8", include_str!("page/wire.js")),
    ("picture.js", "text/javascript; charset=utf-8", include_str!("page/picture.js")),
    ("controls.js", "text/javascript; charset=utf-8", include_str!("page/controls.js")),
    ("field.js", "text/javascript; charset=utf-8", include_str!("page/field.js")),
    ("section.js", "text/javascript; charset=utf-8", include_str!("page/section.js")),
    ("grips.js", "text/javascript; charset=utf-8", include_str!("page/grips.js")),
    ("moves.js", "text/javascript; charset=utf-8", include_str!("page/moves.js")),
    ("soon.js", "text/javascript; charset=utf-8", include_str!("page/soon.js")),
    ("keys.js", "text/javascript; charset=utf-8", include_str!("page/keys.js")),
    ("draw.js", "text/javascript; charset=utf-8", include_str!("page/draw.js")),
    ("along.js", "text/javascript; charset=utf-8", include_str!("page/along.js")),
    ("lamps.js", "text/javascript; charset=utf-8", include_str!("page/lamps.js")),
    ("places.js", "text/javascript; charset=utf-8", include_str!("page/places.js")),
    ("frames.js", "text/javascript; charset=utf-8", include_str!("page/frames.js")),
    ("view.js", "text/javascript; charset=utf-8", include_str!("page/view.js")),
    ("zoom.js", "text/javascript; charset=utf-8", include_str!("page/zoom.js")),
    ("stage.js", "text/javascript; charset=utf-8", include_str!("page/stage.js")),
    ("strokes.js", "text/javascript; charset=utf-8", include_str!("page/strokes.js")),
    ("hold.js", "text/javascript; charset=utf-8", include_str!("page/hold.js")),
    ("compare.js", "text/javascript; charset=utf-8", include_str!("page/compare.js")),
    ("numbers.js", "text/javascript; charset=utf-8", include_str!("page/numbers.js")),
    ("words.js", "text/javascript; charset=utf-8", include_str!("page/words.js")),
    ("picker.js", "text/javascript; charset=utf-8", include_str!("page/picker.js")),
    ("moods.js", "text/javascript; charset=utf-8", include_str!("page/moods.js")),
    ("level.js", "text/javascript; charset=utf-8", include_str!("page/level.js")),
    ("drift.js", "text/javascript; charset=utf-8", include_str!("page/drift.js")),
    ("recipes.js", "text/javascript; charset=utf-8", include_str!("page/recipes.js")),
    ("recovery.js", "text/javascript; charset=utf-8", include_str!("page/recovery.js")),
];

/// Who may ask: the run's port and token.
#[derive(Clone)]
pub(super) struct Access {
    pub port: u16,
    pub token: String,
}

/// A picture that a page sends.
pub(super) struct Upload {
    /// What its address says of it: `name=boat.png&depth=2`.
    pub query: String,
    /// Bytes of it.
    pub length: u64,
    /// Those that came with the request's head.
    pub begun: Vec<u8>,
    /// The port, for the answer.
    pub port: u16,
}

/// What a request comes to.
pub(super) enum Answer {
    /// It is answered.
    Done,
    /// A picture is sent: what comes after its head, and what was read of it.
    Picture(Upload),
    /// The page's socket, with the key that its handshake is to be answered with.
    Socket(String),
}

impl Access {
    /// Names of this machine that the page may have been opened by.
    fn hosts(&self) -> [String; 2] {
        ["127.0.0.1", "localhost"].map(|name| format!("{name}:{}", self.port))
    }

    /// Reads a request and answers it, unless it asks for the socket.
    pub fn answer(&self, stream: &mut TcpStream) -> std::io::Result<Answer> {
        let head = match head(stream)? {
            Some(head) => head,
            None => return refuse(stream, 431, "Request Header Fields Too Large"),
        };
        let mut headers = [httparse::EMPTY_HEADER; 64];
        let mut request = httparse::Request::new(&mut headers);
        if !matches!(request.parse(&head), Ok(httparse::Status::Complete(_))) {
            return refuse(stream, 400, "Bad Request");
        }
        let hosts = self.hosts();
        let host = values(&request, "host");
        if host.len() != 1 || !hosts.iter().any(|own| own == host[0]) {
            return refuse(stream, 403, "Forbidden");
        }
        let origins = values(&request, "origin");
        let own = hosts.map(|host| format!("http://{host}"));
        if origins.len() > 1 || !origins.iter().all(|origin| own.iter().any(|own| own == origin)) {
            return refuse(stream, 403, "Forbidden");
        }
        let path = request.path.unwrap_or_default();
        // The token comes first: who doesn't know it learns nothing of what there is.
        let Some(name) = path.strip_prefix('/').and_then(|path| self.inside(path)) else {
            return refuse(stream, 404, "Not Found");
        };
        if let (Some("POST"), Some(query)) = (request.method, name.strip_prefix("picture?")) {
            let lengths = values(&request, "content-length");
            let length = lengths.first().and_then(|text| text.parse().ok());
            let (Some(length), 1, 1) = (length, lengths.len(), origins.len()) else {
                return refuse(stream, 400, "Bad Request");
            };
            let end = head.windows(4).position(|end| end == b"\r\n\r\n").map_or(head.len(), |at| at + 4);
            let begun = head[end..].to_vec();
            return Ok(Answer::Picture(Upload { query: query.to_owned(), length, begun, port: self.port }));
        }
        if request.method != Some("GET") {
            return refuse(stream, 405, "Method Not Allowed");
        }
        if name == "socket" {
            let upgrade = values(&request, "upgrade");
            let keys = values(&request, "sec-websocket-key");
            let version = values(&request, "sec-websocket-version");
            let asks = upgrade.first().is_some_and(|word| word.eq_ignore_ascii_case("websocket"));
            if origins.len() != 1 || !asks || keys.len() != 1 || version != ["13"] {
                return refuse(stream, 400, "Bad Request");
            }
            let key = tungstenite::handshake::derive_accept_key(keys[0].as_bytes());
            return Ok(Answer::Socket(key));
        }
        match FILES.iter().find(|(file, ..)| *file == name) {
            Some((_, kind, content)) => send(stream, 200, "OK", kind, content.as_bytes(), self.port),
            None => refuse(stream, 404, "Not Found"),
        }
    }

    /// What stands behind the token in a path.
    fn inside<'a>(&self, path: &'a str) -> Option<&'a str> {
        let (token, name) = path.split_once('/')?;
        // Alike long for every wrong token of this length.
        let differs = token.bytes().zip(self.token.bytes()).fold(0, |all, (a, b)| all | (a ^ b));
        (token.len() == self.token.len() && differs == 0).then_some(name)
    }
}

/// All values of a header; one that isn't text is none that anybody asks for.
fn values<'r>(request: &httparse::Request<'_, 'r>, name: &str) -> Vec<&'r str> {
    let named = request.headers.iter().filter(|header| header.name.eq_ignore_ascii_case(name));
    named.map(|header| std::str::from_utf8(header.value).unwrap_or("\0")).collect()
}

/// The head of a request, to its empty line; none if it is too long.
fn head(stream: &mut TcpStream) -> std::io::Result<Option<Vec<u8>>> {
    stream.set_read_timeout(Some(PATIENCE))?;
    let start = Instant::now();
    let mut head = Vec::new();
    // One byte too many would belong to the socket's first message, which comes only after the answer.
    let mut some = [0; 2048];
    loop {
        if start.elapsed() > PATIENCE {
            return Err(std::io::ErrorKind::TimedOut.into());
        }
        let count = stream.read(&mut some)?;
        if count == 0 {
            return Err(std::io::ErrorKind::UnexpectedEof.into());
        }
        head.extend_from_slice(&some[..count]);
        if head.windows(4).any(|end| end == b"\r\n\r\n") {
            return Ok(Some(head));
        }
        if head.len() > HEAD {
            return Ok(None);
        }
    }
}

fn refuse(stream: &mut TcpStream, code: u16, word: &str) -> std::io::Result<Answer> {
    send(stream, code, word, "text/plain; charset=utf-8", word.as_bytes(), 0)
}

pub(super) fn send(
    stream: &mut TcpStream,
    code: u16,
    word: &str,
    kind: &str,
    content: &[u8],
    port: u16,
) -> std::io::Result<Answer> {
    // Content Security Policy Level 3 (W3C): the page runs and shows nothing but what this server sends.
    let policy = format!(
        "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self' ws://127.0.0.1:{port} ws://localhost:{port}; \
         base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    );
    let head = format!(
        "HTTP/1.1 {code} {word}\r\nContent-Type: {kind}\r\nContent-Length: {}\r\nContent-Security-Policy: {policy}\r\n\
         X-Content-Type-Options: nosniff\r\nReferrer-Policy: no-referrer\r\nCross-Origin-Opener-Policy: same-origin\r\n\
         Cross-Origin-Resource-Policy: same-origin\r\nCache-Control: no-store\r\nConnection: close\r\n\r\n",
        content.len()
    );
    stream.write_all(head.as_bytes())?;
    stream.write_all(content)?;
    stream.flush()?;
    Ok(Answer::Done)
}
