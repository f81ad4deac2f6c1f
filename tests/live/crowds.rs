//! Many who listen, many who say nothing, and those who do not read.

use crate::requests::{Listening, Recorder, connect, folder, get};
use crate::states::frame;
use evenbreath::live::{Settings, serve};
use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

fn port_of(url: &str) -> u16 {
    url.rsplit_once(':').unwrap().1.split('/').next().unwrap().parse().unwrap()
}

#[test]
fn who_comes_late_is_shown_the_last_minute_at_once() {
    let (served, _presses) = serve(Settings::default()).unwrap();
    let port = port_of(&served.addresses()[0].url);
    for k in 1..=2400 {
        served.hub().publish(frame(f64::from(k) * 0.05, 1));
    }
    let first = Listening::to(port, "").frame().unwrap();
    assert_eq!(first["anew"], true);
    let trace = first["trace"].as_array().unwrap();
    assert!((1199..=1201).contains(&trace.len()), "{} points", trace.len());
    assert!((trace[0][0].as_f64().unwrap() - 60.0).abs() < 0.1, "{}", trace[0]);
    assert_eq!(trace.last().unwrap()[0], 120.0);
    assert!(first["closing"].as_array().unwrap().len() > 1000);
}

#[test]
fn a_thousand_who_say_nothing_keep_nobody_from_listening() {
    let folder = folder("thousand");
    let log = folder.join("a.csv");
    let recorder = Recorder::start(&[log.to_str().unwrap(), "--model", "--page"]);
    let mut page = Listening::to(recorder.port, "");
    assert!(page.frame().is_some());
    // Not all may be had where few files may be open; as many as there are is what is held.
    let silent: Vec<TcpStream> =
        (0..1000).map_while(|_| TcpStream::connect(("127.0.0.1", recorder.port)).ok()).collect();
    assert!(silent.len() >= 900, "only {} connections could be made", silent.len());
    let from_s = page.frame().unwrap()["elapsed_s"].as_f64().unwrap();
    let start = Instant::now();
    let later =
        page.until("two more seconds", |frame| frame["elapsed_s"].as_f64() > Some(from_s + 2.0));
    assert!(start.elapsed() < Duration::from_secs(10), "the frames crawl: {:?}", start.elapsed());
    assert_eq!(later["link"]["lost"], 0);
    assert_eq!(get(recorder.port, "/", "").status, 200, "another page can be opened");
    drop(silent);
}

#[test]
fn half_a_request_does_not_last() {
    let (served, _presses) = serve(Settings::default()).unwrap();
    let port = port_of(&served.addresses()[0].url);
    let mut half = connect(port);
    half.write_all(b"GET / HTTP/1.1\r\nhost: ").unwrap();
    let start = Instant::now();
    let mut rest = Vec::new();
    let _ = half.read_to_end(&mut rest);
    assert!(start.elapsed() < Duration::from_secs(25), "{:?}", start.elapsed());
    assert!(!String::from_utf8_lossy(&rest).contains("200"));
}

#[test]
fn who_does_not_read_is_dropped_and_holds_nobody_up() {
    let (served, _presses) = serve(Settings::default()).unwrap();
    let port = port_of(&served.addresses()[0].url);
    served.hub().publish(frame(0.05, 1));
    let mut good = Listening::to(port, "");
    assert!(good.frame().is_some());
    let mut slow = connect(port);
    let request = format!("GET /stream HTTP/1.1\r\nhost: 127.0.0.1:{port}\r\n\r\n");
    slow.write_all(request.as_bytes()).unwrap();
    // It is a page once its head has come.
    let mut byte = [0; 1];
    slow.read_exact(&mut byte).unwrap();
    let pages = || served.hub().pages();
    let start = Instant::now();
    while pages() < 2 {
        assert!(start.elapsed() < Duration::from_secs(20), "the second page never joined");
        std::thread::yield_now();
    }
    let (mut worst, mut sent) = (Duration::ZERO, 0);
    while pages() == 2 {
        let before = Instant::now();
        served.hub().publish(frame(1.0 + 0.05 * f64::from(sent), 200));
        worst = worst.max(before.elapsed());
        sent += 1;
        // Who reads takes each one before the next is made: it is never behind.
        assert!(good.frame().is_some(), "the one who reads was dropped after {sent} frames");
        assert!(sent < 20_000, "the one who does not read is kept for ever");
    }
    assert_eq!(pages(), 1, "after {sent} frames");
    assert!(worst < Duration::from_millis(500), "a frame waited for a reader: {worst:?}");
    // Its connection is closed, not only forgotten.
    let closed = std::io::copy(&mut slow, &mut std::io::sink());
    assert!(closed.is_ok_and(|bytes| bytes > 0) || start.elapsed() < Duration::from_secs(60));
    served.hub().publish(frame(9999.0, 1));
    assert!(good.frame().is_some());
}

#[test]
fn samples_at_a_kilohertz_reach_three_pages_soon() {
    let folder = folder("latency");
    let log = folder.join("a.csv");
    let source = concat!(env!("CARGO_MANIFEST_DIR"), "/sample-logs/balance-1khz.csv");
    let recorder = Recorder::start(&[log.to_str().unwrap(), "--replay", source, "--page"]);
    let port = recorder.port;
    let listen = move || {
        let mut page = Listening::to(port, "");
        let mut waited_ms = Vec::new();
        while waited_ms.len() < 100 {
            let frame = page.frame().unwrap();
            let now_ms =
                1000.0 * SystemTime::now().duration_since(UNIX_EPOCH).unwrap().as_secs_f64();
            waited_ms.extend(frame["heard_unix_ms"].as_f64().map(|heard| now_ms - heard));
        }
        waited_ms
    };
    let pages: Vec<_> = (0..3).map(|_| std::thread::spawn(listen)).collect();
    let mut waited_ms: Vec<f64> = pages.into_iter().flat_map(|page| page.join().unwrap()).collect();
    waited_ms.sort_by(f64::total_cmp);
    let at = |share: f64| waited_ms[((waited_ms.len() - 1) as f64 * share) as usize];
    println!(
        "oldest sample of a frame to socket: median {:.1} ms, p99 {:.1} ms",
        at(0.5),
        at(0.99)
    );
    // The limit of 100 ms for p99 is measured by tests/browser on a machine that does nothing else; tests
    // run side by side, so here it is held by the median.
    assert!(at(0.5) < 100.0, "median {:.1} ms", at(0.5));
    assert!(at(0.0) > -20.0, "heard after it was shown: the clocks are mixed up");
}
