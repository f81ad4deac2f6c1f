//! What a host says to the box, and what it answers.

use crate::drive::Drive;
use crate::heard::sentence;
use crate::workshop::{firmware, has_tools, play};

/// Says each text when the sample with its number comes in.
fn saying<'a>(texts: &'a [(u32, String)]) -> impl FnMut(&str) -> Option<String> + 'a {
    let mut next = 0;
    move |line| {
        let (seq, text) = texts.get(next)?;
        let came: u32 = line.strip_prefix("$EBP,")?.split(',').next()?.parse().ok()?;
        if came < *seq {
            return None;
        }
        next += 1;
        Some(text.clone())
    }
}

#[test]
fn commands_are_obeyed_and_answered() {
    if !has_tools("commands_are_obeyed_and_answered") {
        return;
    }
    let texts = [
        (50, sentence("EBC,RATE,50")),
        (60, sentence("EBC,ZERO")),
        (70, sentence("EBC,RATE,100").to_lowercase()),
        (80, sentence("EBC,RATE,100")),
        (100, sentence("EBC,RATE,9999")),
        (200, sentence("EBC,RATE,0")),
        (205, sentence("EBC,RATE,200").replace("\r\n", "\n")),
    ];
    let drive = Drive::even(4.0, [4_600.0, 2_500.0], 850.0, 2.0);
    let (heard, left) = play("commands", &firmware("commands", &[]), &drive, 1.0, saying(&texts));
    let answers: Vec<&str> = heard.answers.iter().map(|(_, words)| words.as_str()).collect();
    let expected =
        ["EBA,RATE,50", "EBA,ZERO", "EBA,RATE,100", "EBA,RATE,250", "EBA,RATE,10", "EBA,RATE,200"];
    assert_eq!(answers, expected);
    assert_eq!((heard.samples.len(), heard.answers.len()), (left.samples, left.answers));
    assert_eq!(heard.garbled, [""; 0]);
    let steps = heard.steps();
    assert!(steps.iter().all(|(seq, _)| *seq == 1), "a change of rate loses no sample");
    // After each answer the sample on its way is finished first; the second one after is all new.
    for ((before, words), period) in
        heard.answers.iter().zip([20_000, 20_000, 10_000, 4_000, 100_000, 5_000])
    {
        let (_, micros) = steps[before + 2];
        assert!(micros.abs_diff(period) <= 20, "{words}: {micros} us");
    }
    // The info tells the rate of its own moment; the one at the start was at 200.
    assert!(heard.infos[0].1.ends_with(",200"), "{:?}", heard.infos);
}

#[test]
fn what_is_no_command_is_passed_over() {
    if !has_tools("what_is_no_command_is_passed_over") {
        return;
    }
    let noise: String = (0..200).map(|i| char::from(33 + (i * 7 % 90) as u8)).collect();
    let texts = [
        (20, "$EBC,RATE,50*00\r\n".to_string()),
        (22, sentence("EBC,RATE,")),
        (24, sentence("EBC,RATE,5x")),
        (26, sentence("EBC,RATE,-5")),
        (28, sentence("EBC,STOP")),
        (30, sentence("XYZ,RATE,50")),
        (32, format!("{}\r\n", sentence("EBC,RATE,50").trim_start_matches('$'))),
        (34, sentence("EBC,RATE,0000000000000000000050")),
        (36, format!("{noise}\r\n")),
        (50, "$EBC,RA".into()),
        (60, sentence("EBC,ZERO")),
    ];
    let drive = Drive::even(2.0, [4_600.0, 2_500.0], 850.0, 2.0);
    let (heard, left) =
        play("no-command", &firmware("no-command", &[]), &drive, 1.0, saying(&texts));
    // Only the last one, although it follows one that broke off.
    assert_eq!(left.answers, 1);
    assert_eq!(heard.answers[0].1, "EBA,ZERO");
    assert!(heard.steps().iter().all(|step| *step == (1, 5_000)), "sampling went on undisturbed");
}
