//! Links that are lost and found, and boxes that begin anew.

use crate::bench_box::BenchBox;
use crate::recorder::{Recorder, folder, seqs, until};
use evenbreath::log::{ReadOptions, read_path};
use evenbreath::sample::Meaning;
use std::time::Duration;

#[test]
fn a_port_that_vanishes_and_returns_under_another_name_fifty_times() {
    let folder = folder("fifty");
    let mut the_box = BenchBox::new(&folder, 1_000);
    the_box.plug("port-0");
    let pattern = folder.join("port-*");
    let mut recorder = Recorder::on_port(&folder.join("log.csv"), &pattern);
    the_box.introduce();
    the_box.send(500);
    recorder.holds_sentence(400);
    for time in 1..=50 {
        the_box.send(97);
        the_box.unplug();
        // The box counts on while nobody listens.
        for _ in 0..(time * 13) {
            the_box.sentence();
        }
        the_box.plug(&format!("port-{time}"));
        let from = the_box.sent;
        until("the port to be found again", || {
            the_box.run(Duration::from_millis(20));
            seqs(&recorder.log).last().is_some_and(|last| *last >= from)
        });
        assert!(recorder.is_running());
    }
    let last = the_box.sent - 1;
    recorder.holds_sentence(last);
    let log = recorder.log.clone();
    let ended = recorder.interrupt();
    println!("50 times under another name: sent {}, {}", the_box.sent, ended.summary);
    ended.makes_up(the_box.sent);
    assert_eq!((ended.code, ended.count("links_lost")), (Some(0), 50));
    assert_eq!(ended.count("restarts"), 0);
    // The gaps in the file are the counted ones.
    let seqs = seqs(&log);
    let gaps: u64 = seqs.windows(2).map(|pair| pair[1] - pair[0] - 1).sum();
    assert_eq!((seqs.len() as u64, gaps), (ended.count("rows"), ended.count("lost")));
    let read = read_path(&log, &ReadOptions::default()).unwrap();
    assert_eq!((read.rows as u64, read.bad_rows), (ended.count("rows"), 0));
    let marks = |meaning| read.track.marks.iter().filter(|mark| mark.meaning == meaning).count();
    assert_eq!((marks(Meaning::LinkLost), marks(Meaning::LinkBack)), (50, 50));
}

#[test]
fn the_same_name_again_and_a_box_that_begins_anew() {
    let folder = folder("anew");
    let mut the_box = BenchBox::new(&folder, 1_000);
    let port = the_box.plug("port");
    let recorder = Recorder::on_port(&folder.join("log.csv"), &port);
    the_box.introduce();
    the_box.send(2_000);
    recorder.holds_sentence(1_999);
    the_box.unplug();
    let before = the_box.sent;
    the_box.sent = 0;
    the_box.plug("port");
    the_box.introduce();
    until("the port to be found again", || {
        the_box.run(Duration::from_millis(20));
        seqs(&recorder.log).len() as u64 > before
    });
    recorder.holds_sentence(before + the_box.sent - 1);
    let ended = recorder.interrupt();
    ended.makes_up(before + the_box.sent);
    assert_eq!((ended.count("links_lost"), ended.count("restarts")), (1, 1));
}

#[test]
fn the_second_interrupt_ends_at_once_and_leaves_a_sound_file() {
    let folder = folder("twice");
    let mut the_box = BenchBox::new(&folder, 1_000);
    let port = the_box.plug("port");
    let recorder = Recorder::on_port(&folder.join("log.csv"), &port);
    the_box.introduce();
    the_box.send(1_000);
    recorder.holds_sentence(999);
    let log = recorder.log.clone();
    recorder.signal("INT");
    recorder.signal("TERM");
    let ended = recorder.wait();
    // The first may have been quick enough to end in good order.
    assert!(matches!(ended.code, Some(0 | 130)), "{ended:?}");
    let read = read_path(&log, &ReadOptions::default()).unwrap();
    assert_eq!((read.rows, read.bad_rows), (1_000, 0));
}

#[test]
fn an_open_port_that_falls_silent_is_a_lost_link() {
    let folder = folder("silent-later");
    let mut the_box = BenchBox::new(&folder, 1_000);
    let port = the_box.plug("port");
    let recorder = Recorder::on_port(&folder.join("log.csv"), &port);
    the_box.introduce();
    the_box.send(1_000);
    recorder.holds_sentence(999);
    let text = || std::fs::read_to_string(&recorder.log).unwrap();
    until("the silence to be noticed", || text().contains("link lost"));
    the_box.send(100);
    recorder.holds_sentence(1_099);
    assert!(text().contains("link back"));
    let ended = recorder.interrupt();
    ended.makes_up(1_100);
    assert_eq!((ended.count("lost"), ended.count("links_lost")), (0, 1));
}
