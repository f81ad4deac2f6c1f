use super::*;

/// Presses letters a second apart; `\n` is Enter, `\x08` Backspace, `\x1b` Escape.
fn press(keys: &mut KeyReader, text: &str) -> Vec<Wish> {
    let from = keys.pressed.map_or(0.0, |(_, s)| s);
    let press = |(k, c): (usize, char)| {
        let code = match c {
            '\n' => KeyCode::Enter,
            '\x08' => KeyCode::Backspace,
            '\x1b' => KeyCode::Esc,
            c => KeyCode::Char(c),
        };
        keys.press(KeyEvent::new(code, KeyModifiers::NONE), from + 1.0 + k as f64)
    };
    text.chars().enumerate().filter_map(press).collect()
}

fn marks(keys: &mut KeyReader, text: &str) -> Vec<String> {
    let words = |wish: Wish| match wish {
        Wish::Mark(words) => words,
        other => format!("{other:?}"),
    };
    press(keys, text).into_iter().map(words).collect()
}

#[test]
fn each_key_writes_what_its_last_press_did_not() {
    let mut keys = KeyReader::new(false);
    let want = "cap off|cap on|cap off|engine off|engine on|hoses swapped|hoses direct|tee on|tee off|on carb1|on carb2|on carb1";
    assert_eq!(marks(&mut keys, "cCceehhttooo").join("|"), want);
    // Every one of them is read with a meaning.
    for words in want.split('|') {
        assert_ne!(Mark::read(Seconds(0.0), words).meaning, Meaning::Other, "{words}");
    }
}

#[test]
fn the_page_says_on_which_side_the_one_sensor_is() {
    let mut keys = KeyReader::new(false);
    let on = |words: &str| Press::Mark { words: words.into() };
    assert_eq!(keys.sensor_side(), None);
    assert!(keys.pressed(&on("on carb2")).is_err());
    assert_eq!(keys.pressed(&on("on carb1")), Ok(Wish::Mark("on carb1".into())));
    assert_eq!(keys.sensor_side(), Some(0));
    assert!(keys.pressed(&on("on carb1")).is_err());
    assert_eq!(keys.pressed(&on("on carb2")), Ok(Wish::Mark("on carb2".into())));
    assert_eq!(keys.sensor_side(), Some(1));
    assert_eq!(keys.pressed(&Press::Undo), Ok(Wish::Mark("mistake on carb2".into())));
    assert_eq!((keys.sensor_side(), keys.writes('o').as_deref()), (Some(0), Some("on carb2")));
}

#[test]
fn what_the_guide_marks_turns_the_keys_too() {
    let mut keys = KeyReader::new(true);
    keys.saw("cap off");
    keys.saw("seal breather hose");
    keys.saw("note hoses swapped");
    assert_eq!(marks(&mut keys, "cph"), ["cap on", "release breather hose", "hoses swapped"]);
}

#[test]
fn screws_jets_suspects_and_notes_are_typed() {
    let mut keys = KeyReader::new(false);
    for (typed, want, meaning) in [
        ("s1 +0.25\n", "screw 1 +0.25", Meaning::Screw { side: 1, turns: 0.25 }),
        ("s2 -1/6\n", "screw 2 -0.1667", Meaning::Screw { side: 2, turns: -0.1667 }),
        ("s1 0,5\n", "screw 1 +0.5", Meaning::Screw { side: 1, turns: 0.5 }),
        ("s1 x\x080.5\n", "screw 1 +0.5", Meaning::Screw { side: 1, turns: 0.5 }),
        ("j1,5 mm\n", "known leak 1.5 mm", Meaning::KnownLeak(crate::units::Millimetres(1.5))),
        ("j", "known leak closed", Meaning::KnownLeakClosed),
        ("pdip stick\n", "seal dip stick", Meaning::Seal("dip stick".into())),
        ("p", "release dip stick", Meaning::Release("dip stick".into())),
        ("nfan, cut  in\n", "note fan, cut in", Meaning::Note("fan, cut in".into())),
    ] {
        assert_eq!(marks(&mut keys, typed), [want]);
        assert_eq!(Mark::read(Seconds(0.0), want).meaning, meaning);
        assert_eq!(keys.line(), None);
    }
}

#[test]
fn what_cannot_be_is_said_and_typed_on() {
    for (typed, said) in [
        ("s3 1\n", "side 3?"),
        ("s1\n", "side, a blank, turns"),
        ("s1 1/0\n", "turns as a number"),
        ("s1 NaN\n", "turns as a number"),
        ("s1 25\n", "25 turns?"),
        ("s2 0\n", "0 turns?"),
        ("j0\n", "a diameter of 0.1"),
        ("j9 mm\n", "a diameter of 0.1"),
    ] {
        let mut keys = KeyReader::new(false);
        assert_eq!(press(&mut keys, typed), []);
        let line = keys.line().unwrap();
        assert!(line.contains(said), "{line}");
        assert!(press(&mut keys, "\x1b").is_empty() && keys.line().is_none());
    }
    let mut keys = KeyReader::new(false);
    assert_eq!(press(&mut keys, &format!("n{}\n", "é".repeat(500))).len(), 1);
    assert!(press(&mut keys, "n \n").is_empty(), "an empty note is none");
}

#[test]
fn letters_while_typing_are_letters() {
    let mut keys = KeyReader::new(true);
    assert_eq!(marks(&mut keys, "ncap off, quick\nc"), ["note cap off, quick", "cap off"]);
}

#[test]
fn a_held_key_counts_once() {
    let mut keys = KeyReader::new(true);
    let mut hold = |code: KeyCode, from: f64| {
        let at = |k: u32| from + if k == 0 { 0.0 } else { 0.66 + 0.033 * f64::from(k) };
        let key = KeyEvent::new(code, KeyModifiers::NONE);
        (0..60).filter_map(|k| keys.press(key, at(k))).count()
    };
    assert_eq!(hold(KeyCode::Char('c'), 0.0), 1);
    assert_eq!(hold(KeyCode::Enter, 10.0), 1);
    assert_eq!(hold(KeyCode::Char('q'), 20.0), 0, "a held q does not end the work");
    assert_eq!(marks(&mut keys, "c"), ["cap on"]);
}

#[test]
fn ending_is_asked_unless_by_control_c() {
    let mut keys = KeyReader::new(false);
    assert_eq!(press(&mut keys, "q"), []);
    assert!(keys.line().unwrap().contains("y ends it"));
    assert_eq!(marks(&mut keys, "cy"), ["cap off"], "another key is no");
    assert_eq!(press(&mut keys, "qn"), []);
    assert_eq!(keys.line(), None, "the answer no asks for no note");
    assert_eq!(press(&mut keys, "qqqy"), [Wish::End]);
    let control = KeyEvent::new(KeyCode::Char('c'), KeyModifiers::CONTROL);
    press(&mut keys, "nhalf a no");
    assert_eq!(keys.press(control, 99.0), Some(Wish::End));
    let z = KeyEvent::new(KeyCode::Char('s'), KeyModifiers::CONTROL);
    assert_eq!(keys.press(z, 99.0), None);
}

#[test]
fn a_mark_is_regretted_and_never_taken_back() {
    let mut keys = KeyReader::new(false);
    assert_eq!(press(&mut keys, "u"), [], "nothing to regret");
    let got = marks(&mut keys, "cucuu");
    assert_eq!(got, ["cap off", "mistake cap off", "cap off", "mistake cap off"]);
    for words in
        ["cap off", "hoses direct", "known leak closed", "seal x", "release x", "engine on"]
    {
        let mut keys = KeyReader::new(false);
        keys.saw(words);
        let before = keys.keys();
        let noted = marks(&mut keys, "u");
        let mut marks: Vec<Mark> =
            [words, &noted[0]].iter().map(|words| Mark::read(Seconds(0.0), words)).collect();
        assert_eq!(Mark::set_aside(&mut marks).0.len(), 1, "{noted:?}");
        assert_eq!(marks[0].meaning, Meaning::SetAside);
        assert_ne!(keys.keys(), before, "{words}");
    }
}

#[test]
fn the_keys_of_a_guide_are_its_alone() {
    assert_eq!(press(&mut KeyReader::new(true), "\nak"), [Wish::Done, Wish::Again, Wish::Skip]);
    assert_eq!(press(&mut KeyReader::new(false), "ak"), []);
    let shown: Vec<&str> = KeyReader::new(false).keys().iter().map(|key| key.0).collect();
    assert_eq!(shown, ["c", "e", "h", "t", "o", "s", "p", "j", "n", "q"]);
}
