//! What a host says to the box, and what it answers.

use crate::drive::Drive;
use crate::heard::sentence;
use crate::workshop::{firmware, has_tools, play};

/// A box at work to which these texts are sent.
fn told(lasts_s: f64, texts: &[(f64, String)]) -> Drive {
    let drive = Drive::even(lasts_s, [4_600.0, 2_500.0], 850.0, 2.0);
    texts.iter().fold(drive, |drive, (at_s, text)| drive.say(*at_s, text))
}

#[test]
fn commands_are_obeyed_and_answered() {
    if !has_tools("commands_are_obeyed_and_answered") {
        return;
    }
    let texts = [
        (0.503, format!("{}~", sentence("EBC,RATE,50"))),
        (1.0, format!("{}~", sentence("EBC,ZERO"))),
        (1.513, format!("{}~", sentence("EBC,RATE,100"))),
        (2.007, format!("{}~", sentence("EBC,RATE,9999"))),
        (2.5, format!("{}~", sentence("EBC,RATE,0"))),
        (3.571, format!("{}~", sentence("EBC,RATE,200"))),
    ];
    let (heard, left) =
        play("commands", &firmware("commands", &[]), &told(4.5, &texts), 0.0, |_| None);
    let answers: Vec<&str> = heard.answers.iter().map(|(_, words)| words.as_str()).collect();
    let expected =
        ["EBA,RATE,50", "EBA,ZERO", "EBA,RATE,100", "EBA,RATE,250", "EBA,RATE,10", "EBA,RATE,200"];
    assert_eq!(answers, expected);
    assert_eq!((heard.samples.len(), heard.answers.len()), (left.samples, left.answers));
    assert_eq!(heard.garbled, [""; 0]);
    let steps = heard.steps();
    assert!(steps.iter().all(|(seq, _)| *seq == 1), "a change of rate loses no sample");
    // Said in the middle of a sample, and the voltages stand still: each sample is of one rate.
    assert!(heard.samples.iter().all(|s| s.codes == [941 * 16, 511 * 16]));
    // After each answer the sample on its way is finished first; the second one after is all new.
    let periods = [20_000, 20_000, 10_000, 4_000, 100_000, 5_000];
    for ((before, words), period) in heard.answers.iter().zip(periods) {
        let (_, micros) = steps[before + 2];
        assert!(micros.abs_diff(period) <= 20, "{words}: {micros} us");
    }
}

#[test]
fn a_host_that_came_in_the_middle_is_told_who_speaks() {
    if !has_tools("a_host_that_came_in_the_middle_is_told_who_speaks") {
        return;
    }
    let texts = [(1.0, format!("{}~", sentence("EBC,INFO"))), (2.0, "$EBC,INFO*00~".to_string())];
    let (heard, left) = play("info", &firmware("info", &[]), &told(3.0, &texts), 0.0, |_| None);
    assert_eq!(heard.infos.len(), 2, "on start and when asked, not for a wrong checksum");
    assert_eq!(heard.infos[0].1, heard.infos[1].1);
    assert_eq!((heard.samples.len(), heard.answers.len()), (left.samples, 0));
}

#[test]
fn what_is_no_command_is_passed_over() {
    if !has_tools("what_is_no_command_is_passed_over") {
        return;
    }
    let noise: String = (0..200).map(|i| char::from(33 + (i * 7 % 90) as u8)).collect();
    let texts = [
        (0.1, "$EBC,RATE,50*00~".to_string()),
        (0.2, format!("{}~", sentence("EBC,RATE,"))),
        (0.3, format!("{}~", sentence("EBC,RATE,5x"))),
        (0.4, format!("{}~", sentence("EBC,RATE,-5"))),
        (0.5, format!("{}~", sentence("EBC,STOP"))),
        (0.6, format!("{}~", sentence("XYZ,RATE,50"))),
        (0.7, format!("{}~", sentence("EBC,RATE,50").trim_start_matches('$'))),
        (0.8, format!("{}~", sentence("EBC,RATE,0000000000000000000050"))),
        (0.9, format!("{}7~", sentence("EBC,RATE,50"))),
        (1.0, format!("{noise}~")),
        (1.1, format!("$~*~$*~$*00{}", sentence("EBC,RATE,50"))),
        (1.2, "$EBC,RA".into()),
        // After one that broke off, in small digits, and two in one breath.
        (1.3, format!("{}~{}~", small("EBC,ZERO"), sentence("EBC,ZERO"))),
    ];
    let (heard, left) =
        play("no-command", &firmware("no-command", &[]), &told(2.0, &texts), 0.0, |_| None);
    let answers: Vec<&str> = heard.answers.iter().map(|(_, words)| words.as_str()).collect();
    assert_eq!(answers, ["EBA,ZERO", "EBA,ZERO"]);
    assert_eq!(left.answers, 2);
    assert!(heard.steps().iter().all(|step| *step == (1, 5_000)), "sampling went on undisturbed");
}

/// A sentence whose two digits are in small letters.
fn small(words: &str) -> String {
    let sentence = sentence(words);
    let (words, digits) = sentence.split_once('*').unwrap();
    format!("{words}*{}", digits.to_lowercase())
}

#[test]
fn a_host_on_the_terminal_is_heard() {
    if !has_tools("a_host_on_the_terminal_is_heard") {
        return;
    }
    let drive = told(6.0, &[]);
    let mut asked = false;
    let (heard, left) = play("host", &firmware("host", &[]), &drive, 1.0, |line| {
        let first = line.starts_with("$EBP,") && !asked;
        asked |= first;
        first.then(|| format!("{}\r\n", sentence("EBC,RATE,50")))
    });
    assert_eq!(left.answers, 1);
    assert_eq!(heard.answers[0].1, "EBA,RATE,50");
    assert_eq!(heard.steps().last(), Some(&(1, 20_000)));
}
