//! Garbage, floods, silence and the wrong speed.

use crate::bench_box::{BenchBox, framed};
use crate::recorder::{Recorder, command, ended, folder};
use rand::{Rng, SeedableRng};
use rand_pcg::Pcg64;

#[test]
fn garbage_and_torn_and_mixed_sentences_are_counted_and_cost_only_themselves() {
    let folder = folder("garbage");
    let mut the_box = BenchBox::new(&folder, 1_000);
    let mut random = Pcg64::seed_from_u64(3);
    let port = the_box.plug("port");
    let recorder = Recorder::on_port(&folder.join("log.csv"), &port);
    the_box.introduce();
    the_box.send(100);
    let (mut torn, mut mixed, mut noise, mut again) = (0, 0, 0, 0);
    for _ in 0..20_000 {
        let mut line = the_box.sentence();
        match random.random_range(0..100) {
            0..5 => {
                line.truncate(random.random_range(1..line.len()));
                torn += 1;
            }
            5..10 => {
                // The characters of two sentences in turn.
                let other = the_box.sentence();
                line = line.iter().zip(&other).flat_map(|(a, b)| [*a, *b]).collect();
                line.push(b'\n');
                mixed += 1;
            }
            10..15 => {
                line.extend((0..60).map(|_| random.random_range(0..=255_u8)));
                line.push(b'\n');
                noise += 1;
            }
            15..20 => {
                line.extend(line.clone());
                again += 1;
            }
            20..25 => line.extend(framed("IIRPM,E,1,2418.2,10.5,A")),
            _ => {}
        }
        the_box.say(&line);
    }
    the_box.say(b"\n");
    the_box.send(10);
    recorder.holds_sentence(the_box.sent - 1);
    let ended = recorder.interrupt();
    println!(
        "garbage: sent {}, torn {torn}, mixed {mixed}, noise {noise}, again {again}: {}",
        the_box.sent, ended.summary
    );
    ended.makes_up(the_box.sent);
    // A torn sentence takes the one on its line with it only where that is not whole.
    assert!(ended.count("lost") >= torn + 2 * mixed, "{ended:?}");
    assert!(ended.count("lost") <= torn + 2 * mixed + torn / 5, "{ended:?}");
    assert_eq!(ended.count("repeated"), again);
}

#[test]
fn a_flood_loses_nothing() {
    let folder = folder("flood");
    let mut the_box = BenchBox::new(&folder, 2_000);
    let port = the_box.plug("port");
    let recorder = Recorder::on_port(&folder.join("log.csv"), &port);
    the_box.introduce();
    the_box.send(150_000);
    recorder.holds_sentence(149_999);
    let ended = recorder.interrupt();
    println!("flood: sent 150000: {}", ended.summary);
    assert_eq!((ended.count("rows"), ended.count("lost")), (150_000, 0));
}

#[test]
fn silence_is_said_and_ends_with_three() {
    let folder = folder("silence");
    let mut the_box = BenchBox::new(&folder, 1_000);
    let port = the_box.plug("port");
    let recorder = Recorder::start(
        &folder.join("log.csv"),
        &["--port", port.to_str().unwrap(), "--seconds", "1"],
    );
    let log = recorder.log.clone();
    let ended = recorder.wait();
    assert_eq!(ended.code, Some(3), "{ended:?}");
    assert!(ended.err.contains("nothing was heard from"), "{}", ended.err);
    assert!(!log.exists(), "a recording of nothing leaves no file");
}

/// What a receiver at another speed makes of the line: start bit, eight data bits sampled in their
/// middles, stop bit, by the definition of asynchronous serial transmission.
fn at_another_speed(bytes: &[u8], sent_baud: f64, heard_baud: f64) -> Vec<u8> {
    let mut line = vec![true; 20];
    for byte in bytes {
        line.push(false);
        line.extend((0..8).map(|bit| byte >> bit & 1 == 1));
        line.push(true);
    }
    let level = |bit_times: f64| {
        let at = (bit_times * sent_baud / heard_baud) as usize;
        line.get(at).copied().unwrap_or(true)
    };
    let end = line.len() as f64 * heard_baud / sent_baud;
    let (mut now, mut heard) = (0.0, Vec::new());
    while now < end {
        if level(now) {
            now += 0.1;
            continue;
        }
        let bits = (0..8).map(|bit| u8::from(level(now + 1.5 + f64::from(bit))) << bit);
        heard.push(bits.sum());
        now += 9.5;
        while now < end && !level(now) {
            now += 0.1;
        }
    }
    heard
}

#[test]
fn the_wrong_speed_is_said_in_words() {
    let right = at_another_speed(b"$EBP,1,2,3,4,5*00\r\n", 115_200.0, 115_200.0);
    assert_eq!(right, b"$EBP,1,2,3,4,5*00\r\n");
    for heard_baud in [9_600.0, 57_600.0, 230_400.0] {
        let folder = folder(&format!("speed-{heard_baud}"));
        let mut the_box = BenchBox::new(&folder, 1_000);
        let port = the_box.plug("port");
        let recorder = Recorder::start(
            &folder.join("log.csv"),
            &["--port", port.to_str().unwrap(), "--seconds", "1"],
        );
        let sentences: Vec<u8> = (0..400).flat_map(|_| the_box.sentence()).collect();
        the_box.say(&at_another_speed(&sentences, 115_200.0, heard_baud));
        let ended = recorder.wait();
        assert_eq!(ended.code, Some(3), "{heard_baud}: {ended:?}");
        assert!(
            ended.err.contains("another speed than 115200 baud"),
            "{heard_baud}: {}",
            ended.err
        );
        println!("{heard_baud} baud: {}", ended.summary);
        assert_eq!(ended.count("rows"), 0);
    }
}

#[test]
fn a_port_that_is_not_there_cannot_be_used() {
    let folder = folder("no-port");
    let output =
        command(&folder.join("log.csv"), &["--port", "/dev/no-such-port"]).output().unwrap();
    let ended = ended(output);
    assert_eq!(ended.code, Some(2));
    assert!(ended.err.contains("no port matches \"/dev/no-such-port\""), "{}", ended.err);
}
