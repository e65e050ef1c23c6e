//! Who gets in: RFC 9112 requests by hand, as another site's page or another program on this machine might send them.

use crate::client::{SCENE, Tune};
use std::net::TcpStream;

fn lines(lines: &[&str]) -> Vec<String> {
    lines.iter().map(|line| (*line).to_owned()).collect()
}

#[test]
fn the_page_comes_to_who_knows_the_token_and_nobody_else() {
    let tune = Tune::start(SCENE);
    let host = format!("Host: {}", tune.host());
    let own = lines(&[&host]);
    let path = format!("/{}/", tune.token);
    assert!(tune.token.len() >= 32 && tune.token.chars().all(|c| c.is_ascii_hexdigit()));
    let (code, page) = tune.request("GET", &path, &own);
    assert_eq!(code, 200);
    // Content Security Policy Level 3 (W3C).
    assert!(page.contains("Content-Security-Policy: default-src 'none'") && !page.contains("unsafe"));
    for name in ["page.css", "parts.css", "main.js", "section.js"] {
        assert_eq!(tune.request("GET", &format!("{path}{name}"), &own).0, 200, "{name}");
    }
    let mut wrong = tune.token.clone().into_bytes();
    wrong[0] = if wrong[0] == b'0' { b'1' } else { b'0' };
    let wrong = String::from_utf8(wrong).unwrap();
    for other in [
        "/",
        "//",
        "/index.html",
        &format!("/{wrong}/"),
        &format!("/{}", tune.token),
        &format!("/{}0/", tune.token),
    ] {
        let (code, answer) = tune.request("GET", other, &own);
        assert_eq!(code, 404, "{other}");
        assert!(!answer.contains(&tune.token) && !answer.contains("<html"), "{other}");
    }
}

#[test]
fn no_path_leads_to_a_file() {
    let tune = Tune::start(SCENE);
    let own = vec![format!("Host: {}", tune.host())];
    for path in [
        "scene.toml",
        "../scene.toml",
        "..%2fscene.toml",
        "sky.png",
        "/etc/passwd",
        "..\\scene.toml",
        "./page.css/../../x",
    ] {
        assert_eq!(tune.request("GET", &format!("/{}/{path}", tune.token), &own).0, 404, "{path}");
    }
    for method in ["POST", "PUT", "DELETE", "OPTIONS", "HEAD"] {
        assert_eq!(tune.request(method, &format!("/{}/", tune.token), &own).0, 405, "{method}");
    }
}

#[test]
fn other_hosts_and_origins_are_refused() {
    let tune = Tune::start(SCENE);
    let path = format!("/{}/", tune.token);
    let host = format!("Host: {}", tune.host());
    let local = format!("Host: localhost:{}", tune.port);
    assert_eq!(tune.request("GET", &path, &[local]).0, 200);
    // A name that another site has turned to this machine.
    for other in ["Host: example.org", "Host: 127.0.0.1", "Host: 127.0.0.1.example.org:80", "X: y"] {
        assert_eq!(tune.request("GET", &path, &lines(&[other])).0, 403, "{other}");
    }
    assert_eq!(tune.request("GET", &path, &lines(&[&host, "Host: example.org"])).0, 403);
    for origin in ["http://example.org", "null", "https://127.0.0.1", "http://127.0.0.1:1"] {
        assert_eq!(
            tune.request("GET", &path, &lines(&[&host, &format!("Origin: {origin}")])).0,
            403,
            "{origin}"
        );
    }
}

#[test]
fn the_socket_opens_only_to_the_page_itself() {
    let tune = Tune::start(SCENE);
    let path = format!("/{}/socket", tune.token);
    let shake = |host: &str, origin: Option<&str>| {
        let mut all = lines(&[
            &format!("Host: {host}"),
            "Connection: Upgrade",
            "Upgrade: websocket",
            "Sec-WebSocket-Version: 13",
            "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==",
        ]);
        all.extend(origin.map(|origin| format!("Origin: {origin}")));
        all
    };
    let own = format!("http://{}", tune.host());
    let (code, answer) = tune.request("GET", &path, &shake(&tune.host(), Some(&own)));
    assert_eq!(code, 101);
    // The example of RFC 6455, section 1.3.
    assert!(answer.contains("Sec-WebSocket-Accept: s3pPLMBiTxaQ9kYGzzhZRbK+xOo="), "{answer}");
    for (host, origin) in [
        (tune.host(), Some("http://example.org")),
        (tune.host(), Some("null")),
        (tune.host(), None),
        ("example.org".to_owned(), Some(own.as_str())),
    ] {
        let code = tune.request("GET", &path, &shake(&host, origin)).0;
        assert!(code == 403 || code == 400, "{host} {origin:?}: {code}");
    }
    let wrong = format!("/{}/socket", "0".repeat(tune.token.len()));
    assert_eq!(tune.request("GET", &wrong, &shake(&tune.host(), Some(&own))).0, 404);
}

#[test]
fn it_listens_on_this_machine_alone_and_picks_another_port_where_one_is_taken() {
    let first = Tune::start(SCENE);
    let second = Tune::with(SCENE, &["--port", &first.port.to_string()]);
    assert_ne!(first.port, second.port);
    assert_ne!(first.token, second.token);
    // Loopback has many addresses; only the one is listened at.
    assert!(TcpStream::connect(("127.0.0.2", first.port)).is_err());
    let own = vec![format!("Host: {}", second.host())];
    assert_eq!(second.request("GET", &format!("/{}/", second.token), &own).0, 200);
}

#[test]
fn rubbish_and_long_heads_end_a_connection_and_nothing_else() {
    let tune = Tune::start(SCENE);
    let long = vec![format!("Host: {}", tune.host()), format!("X: {}", "x".repeat(40_000))];
    let code = tune.request("GET", &format!("/{}/", tune.token), &long).0;
    assert!(code == 431 || code == 0, "{code}");
    assert_eq!(tune.request("\u{1}\u{2}", "\u{0}", &[]).0, 400);
    let own = vec![format!("Host: {}", tune.host())];
    assert_eq!(tune.request("GET", &format!("/{}/", tune.token), &own).0, 200);
}
