//! Who may see and who may press.

use crate::requests::{Answer, Listening, OWN, get, post, raw};
use crate::states::frame;
use evenbreath::live::{Press, Served, Settings, serve};
use std::sync::mpsc::{Receiver, channel};

fn served(share: bool) -> (Served, Receiver<Press>, u16) {
    let (served, mut pressed) = serve(Settings { port: 0, share }).unwrap();
    // A recorder that does whatever is pressed.
    let (done, presses) = channel();
    std::thread::spawn(move || {
        while let Some(pressed) = pressed.blocking_recv() {
            let _ = done.send(pressed.press().clone());
            pressed.answer(Ok(()));
        }
    });
    let address = &served.addresses()[0].url;
    let port = address.rsplit_once(':').unwrap().1.split('/').next().unwrap().parse().unwrap();
    served.hub().publish(frame(1.0, 5));
    (served, presses, port)
}

const UNDO: &str = r#"{"press":"undo"}"#;

fn refused(answer: &Answer, status: u16) {
    assert_eq!(answer.status, status, "{answer:?}");
    assert!(answer.head.contains("content-security-policy: default-src 'none'"), "{answer:?}");
}

#[test]
fn a_host_of_another_name_is_refused_everywhere() {
    let (_served, presses, port) = served(false);
    let named = |host: &str, request: &str| {
        raw(
            port,
            format!("{request} HTTP/1.1\r\nhost: {host}\r\nconnection: close\r\n{OWN}\r\n")
                .as_bytes(),
        )
    };
    for host in
        ["rebound.example", &format!("rebound.example:{port}"), "127.0.0.1", "127.0.0.1:1", ""]
    {
        for request in ["GET /", "GET /stream", "GET /page.js", "POST /press"] {
            refused(&named(host, request), 421);
        }
    }
    let twice = format!(
        "GET / HTTP/1.1\r\nhost: 127.0.0.1:{port}\r\nhost: rebound.example\r\nconnection: close\r\n\r\n"
    );
    assert_ne!(raw(port, twice.as_bytes()).status, 200);
    refused(&raw(port, b"GET / HTTP/1.0\r\n\r\n"), 421);
    assert_eq!(named(&format!("localhost:{port}"), "GET /").status, 200);
    assert!(presses.try_recv().is_err());
}

#[test]
fn every_answer_forbids_what_the_page_does_not_need() {
    let (_served, _presses, port) = served(false);
    for path in ["/", "/page.js", "/nothing", "/../Cargo.toml"] {
        let answer = get(port, path, "");
        for line in [
            "content-security-policy: default-src 'none'; script-src 'self'",
            "frame-ancestors 'none'",
            "x-content-type-options: nosniff",
            "referrer-policy: no-referrer",
            "x-frame-options: deny",
        ] {
            assert!(answer.head.contains(line), "{path}: {line} is missing: {}", answer.head);
        }
        assert!(!answer.head.contains("access-control"), "{}", answer.head);
        assert!(!answer.head.contains("unsafe-inline"));
    }
    assert_eq!(get(port, "/nothing", "").status, 404);
}

#[test]
fn another_site_may_neither_press_nor_listen() {
    let (_served, presses, port) = served(false);
    let own_origin = format!("{OWN}origin: http://127.0.0.1:{port}\r\n");
    let header = "x-evenbreath-press: here\r\n";
    for lines in [
        "".to_string(),
        "sec-fetch-site: same-origin\r\n".to_string(),
        format!("{header}origin: http://evil.example\r\n"),
        format!("{header}origin: null\r\n"),
        format!("{header}origin: http://127.0.0.1:{}\r\n", port ^ 1),
        format!("{header}sec-fetch-site: cross-site\r\n"),
        format!("{header}sec-fetch-site: same-site\r\n"),
    ] {
        refused(&post(port, &lines, UNDO), 403);
    }
    assert!(presses.try_recv().is_err(), "nothing of it has arrived");
    refused(&get(port, "/stream", "sec-fetch-site: cross-site\r\n"), 403);
    let asked = "access-control-request-method: POST\r\naccess-control-request-headers: x-evenbreath-press\r\n";
    let preflight = format!(
        "OPTIONS /press HTTP/1.1\r\nhost: 127.0.0.1:{port}\r\nconnection: close\r\norigin: http://evil.example\r\n{asked}\r\n"
    );
    refused(&raw(port, preflight.as_bytes()), 405);
    assert_eq!(post(port, &own_origin, UNDO).status, 204);
    assert_eq!(presses.try_recv().unwrap(), Press::Undo);
}

#[test]
fn a_shared_page_wants_a_code_to_see_and_another_to_press() {
    let (served, presses, port) = served(true);
    let of = |url: &str, name: &str| {
        let (_, query) = url.split_once('?').unwrap();
        query.split('&').find_map(|part| part.strip_prefix(name)).unwrap_or("").to_string()
    };
    let (see, press) =
        (of(&served.addresses()[0].url, "see="), of(&served.addresses()[0].url, "press="));
    assert!(see.len() >= 12 && press.len() >= 12 && see != press);
    assert_eq!(of(&served.addresses()[1].url, "press="), "", "the second address is for looking");
    for query in [
        "",
        "?see=",
        "?see=0",
        &format!("?see={press}"),
        &format!("?press={press}"),
        &format!("?see={}", &see[1..]),
    ] {
        refused(&get(port, &format!("/{query}"), ""), 403);
        refused(&get(port, &format!("/stream{query}"), ""), 403);
    }
    assert_eq!(get(port, &format!("/?see={see}"), "").status, 200);
    assert!(Listening::to(port, &format!("?see={see}")).frame().is_some());
    for code in ["", "here", &see, &press[1..]] {
        refused(&post(port, &format!("x-evenbreath-press: {code}\r\n"), UNDO), 403);
    }
    assert!(presses.try_recv().is_err());
    assert_eq!(post(port, &format!("x-evenbreath-press: {press}\r\n"), UNDO).status, 204);
    assert_eq!(presses.try_recv().unwrap(), Press::Undo);
}

#[test]
fn without_share_nobody_outside_is_listened_to() {
    let (served, _presses, port) = served(false);
    assert_eq!(served.addresses()[0].url, format!("http://127.0.0.1:{port}/"));
    let outward = std::net::UdpSocket::bind("0.0.0.0:0").and_then(|socket| {
        socket.connect("192.0.2.1:9")?;
        socket.local_addr()
    });
    let Ok(outward) = outward else { return };
    if !outward.ip().is_loopback() {
        let wait = std::time::Duration::from_secs(2);
        let reached = std::net::TcpStream::connect_timeout(&(outward.ip(), port).into(), wait);
        assert!(reached.is_err(), "{outward} reaches a page that is not shared");
    }
}

#[test]
fn oversized_and_malformed_messages_are_refused_and_harm_nobody() {
    let (_served, presses, port) = served(false);
    let mut page = Listening::to(port, "");
    let long = format!(r#"{{"press":"note","text":"{}"}}"#, "x".repeat(5000));
    assert_eq!(post(port, OWN, &long).status, 413);
    let endless = format!("{OWN}content-length: 99999999999\r\n");
    assert_ne!(post(port, &endless, "{}").status, 204);
    let chunks = format!(
        "POST /press HTTP/1.1\r\nhost: 127.0.0.1:{port}\r\nconnection: close\r\n{OWN}transfer-encoding: chunked\r\n\r\n"
    );
    let flood =
        [chunks.as_bytes(), "1000\r\n".as_bytes(), &[b'x'; 4096], b"\r\n0\r\n\r\n"].concat();
    assert_eq!(raw(port, &flood).status, 413);
    for wrong in [
        "",
        "{",
        "null",
        "[]",
        "\u{0}",
        r#"{"press":"erase"}"#,
        r#"{"press":"mark","words":"a\nb"}"#,
    ] {
        let answer = post(port, OWN, wrong);
        assert_eq!(answer.status, 400, "{wrong:?}: {answer:?}");
        assert!(!answer.body.is_empty(), "{wrong:?} is refused without a word");
    }
    assert_eq!(post(port, OWN, "\u{feff}{}").status, 400);
    let wide =
        format!("GET / HTTP/1.1\r\nhost: 127.0.0.1:{port}\r\nx: {}\r\n\r\n", "y".repeat(100_000));
    assert_ne!(raw(port, wide.as_bytes()).status, 200);
    assert_ne!(raw(port, &[0xff; 3000]).status, 200);
    assert_ne!(raw(port, b"GET / HTTP/9.9\r\n\r\n").status, 200);
    assert!(presses.try_recv().is_err());
    assert!(page.frame().is_some(), "who listens goes on listening");
    assert_eq!(get(port, "/", "").status, 200);
}

#[test]
fn a_port_that_is_taken_says_what_to_do() {
    let (_served, _presses, port) = served(false);
    let wrong = serve(Settings { port, share: false }).unwrap_err().to_string();
    assert!(
        wrong.contains(&format!("127.0.0.1:{port}")) && wrong.contains("--page=PORT"),
        "{wrong}"
    );
}
