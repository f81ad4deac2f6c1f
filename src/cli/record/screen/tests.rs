use super::*;
use crate::findings::Verdict;
use crate::recording::guide::{Guide, Plan};

fn window(width: usize, height: usize) -> Window {
    Window { width, height, colour: false }
}

fn guide(work: Work, steps: u32) -> Prompt {
    let mut guide = Guide::new(&Plan::new(work)).unwrap();
    for k in 0..steps {
        guide.advance(0.02 * f64::from(k), true, Default::default());
    }
    guide.prompt()
}

fn figures() -> Figures {
    Figures {
        file: "2026-11-25-1407-ambrel.csv".into(),
        elapsed_s: 754.02,
        rate_hz: Some(49.98),
        rows: 37_688,
        lost: Some(3),
        garbled: 1,
        repeated: 0,
        unknown: 0,
        rpm: Some(871.6),
        vac_kpa: [Some(57.214), Some(55.9)],
        crank_kpa: None,
        names: ["Front".into(), "Rear".into()],
        unit: PressureUnit::Kpa,
        difference: Some(Interval { low_kpa: 1.1, value_kpa: 1.31, high_kpa: 1.52 }),
        so_far: Some(SoFar { say: "not settled.".into(), verdict: Verdict::NotSettled }),
        needs_s: Some(11.2),
        link: Link::Up,
        not_written: None,
        marks: vec![(3.0, "engine off".into()), (9.2, "engine on".into())],
        guide: None,
        typing: None,
        keys: crate::cli::record::keys::KeyReader::new(true).keys(),
    }
}

fn text(figures: &Figures, width: usize, height: usize) -> String {
    let texts: Vec<String> =
        lines(figures, window(width, height)).into_iter().map(|line| line.text).collect();
    texts.join("\n")
}

#[test]
fn eighty_columns() {
    let mut figures = figures();
    figures.guide = Some((Work::Breather, guide(Work::Breather, 3)));
    let want = "\
12:34, 50.0 samples a second, 37688 rows, 3 lost, 1 garbled
into 2026-11-25-1407-ambrel.csv

  engine          872 rev/min
  Front         57.21 kPa
  Rear          55.90 kPa
Front less Rear: 1.31 kPa, between 1.10 and 1.52 kPa
So far: not settled; 12 s more would settle it.
  0:03 engine off
  0:09 engine on

Step 4 of 19: 5 s left
> Leave the engine off: zero of the pair.

[Enter] done  [a] step again  [k] leave step out  [c] cap off  [e] engine off
[h] hoses swapped  [t] tee on  [o] on carb1  [s] screw  [p] pinch, seal
[j] jet  [n] note  [q] end";
    assert_eq!(text(&figures, 80, 40), want);
}

#[test]
fn nothing_is_wider_than_the_window_or_higher() {
    let mut figures = figures();
    figures.names = ["Carburettor at the bulkhead".into(), "気化器の前の方です".into()];
    figures.marks.push((700.0, "note ".to_string() + &"very ".repeat(40)));
    figures.marks.push((701.0, "x".repeat(300)));
    figures.typing = Some("Note: ".to_string() + &"ö".repeat(120));
    figures.not_written = Some(NotWritten { rows: 12, why: "the disk is full".into() });
    for (work, step) in [(Work::Breather, 0), (Work::Hunt, 1), (Work::Balance, 1), (Work::Match, 2)]
    {
        let plan = Plan { suspects: vec!["cap seal".into()], ..Plan::new(work) };
        let mut guide = Guide::new(&plan).unwrap();
        (0..step).for_each(|k| drop(guide.advance(f64::from(k), true, Default::default())));
        figures.guide = Some((work, guide.prompt()));
        for width in 1..=120 {
            for height in [1, 2, 5, 24, 60] {
                let lines = lines(&figures, window(width, height));
                let fits = width.saturating_sub(1).clamp(20, 100);
                for line in &lines {
                    assert!(columns(&line.text) <= fits, "{width}: {}", line.text);
                }
                assert!(lines.len() < height.max(2), "{height}: {}", lines.len());
            }
        }
    }
}

#[test]
fn dangers_and_the_step_are_there_in_a_small_window() {
    let mut figures = figures();
    for work in [Work::Breather, Work::Hunt, Work::Balance, Work::Match] {
        let plan = Plan { suspects: vec!["cap seal".into()], ..Plan::new(work) };
        figures.guide = Some((work, Guide::new(&plan).unwrap().prompt()));
        let shown = text(&figures, 40, 24).replace("\n  ", " ");
        for caution in dangers(work) {
            assert!(shown.contains(caution.text()), "{work:?}:\n{shown}");
        }
        assert!(shown.contains("> Read what is dangerous."), "{shown}");
    }
    assert!(dangers(Work::Breather).contains(&Caution::OpenFiller));
    assert!(dangers(Work::Hunt).contains(&Caution::Spray));
}

#[test]
fn a_small_window_keeps_the_newest_mark_and_the_first_keys() {
    let mut figures = figures();
    figures.marks = (1..10).map(|k| (f64::from(k), format!("note {k}"))).collect();
    let whole = text(&figures, 60, 60).lines().count();
    let shown: Vec<String> = (1..=whole).map(|less| text(&figures, 60, whole + 1 - less)).collect();
    let without = |words: &str| shown.iter().position(|text| !text.contains(words)).unwrap();
    let order = ["into 2026", "note 7", "note 8", "note 9", "[q]", "[Enter]", "12:34", "engine   "];
    let gone = order.map(without);
    assert!(gone.is_sorted_by(|a, b| a < b), "{gone:?}");
}

#[test]
fn what_is_not_known_is_not_there() {
    let bare = Figures {
        rate_hz: None,
        lost: None,
        garbled: 0,
        rpm: None,
        vac_kpa: [None, Some(0.0)],
        difference: None,
        so_far: None,
        needs_s: None,
        link: Link::Waiting(4.0),
        marks: Vec::new(),
        keys: Vec::new(),
        ..figures()
    };
    let shown = text(&bare, 80, 24);
    for absent in ["engine", "Front", "So far", "NaN", "null", "samples a second", "["] {
        assert!(!shown.contains(absent), "{absent}: {shown}");
    }
    assert!(shown.contains("losses not counted") && shown.contains("Nothing heard for 4 s"));
    let line = plain(&bare);
    assert_eq!(line, "time 754.0 s, rows 37688, vac2 0.00 kPa, link silent for 4 s");
}

#[test]
fn troubles_stand_out_in_words() {
    let mut figures = figures();
    figures.link = Link::Lost(7.4);
    figures.not_written = Some(NotWritten { rows: 12, why: "the disk is full".into() });
    let lines = lines(&figures, window(80, 24));
    let bad: Vec<&str> =
        lines.iter().filter(|l| l.tone == Some(Tone::Bad)).map(|l| l.text.as_str()).collect();
    assert!(bad[0].starts_with("Link lost 7 s ago"), "{bad:?}");
    assert_eq!(bad[1], "not written: 12 rows, the disk is full");
    let line = plain(&figures);
    assert!(line.contains("link lost for 7 s, not_written 12 (the disk is full)"), "{line}");
}

#[test]
fn the_plain_line_has_its_words_in_order_and_the_users_unit() {
    let mut figures = figures();
    figures.unit = PressureUnit::InHg;
    figures.crank_kpa = Some(0.05);
    figures.guide = Some((Work::Breather, guide(Work::Breather, 3)));
    let want = "time 754.0 s, rate 50.0 Hz, rows 37688, lost 3, garbled 1, rpm 872, \
        vac1 16.90 inHg, vac2 16.51 inHg, crankcase 0.01 inHg, \
        difference 0.39 between 0.32 and 0.45 inHg, needs 12 s, link up, \
        step 4 of 19, 5 s left: Leave the engine off: zero of the pair.";
    assert_eq!(plain(&figures), want);
}

/// A terminal of our own: it knows the few orders that the screen gives, and wraps as terminals do.
struct Terminal {
    width: usize,
    rows: Vec<String>,
    row: usize,
}

impl Terminal {
    fn take(&mut self, bytes: &[u8]) {
        let text = std::str::from_utf8(bytes).unwrap();
        let mut column = 0;
        let mut rest = text;
        while let Some(c) = rest.chars().next() {
            rest = &rest[c.len_utf8()..];
            while self.rows.len() <= self.row {
                self.rows.push(String::new());
            }
            match c {
                '\r' => column = 0,
                '\n' => self.row += 1,
                '\x1b' => {
                    let end = rest.find(|c: char| c.is_ascii_alphabetic()).unwrap();
                    let (order, tail) = rest.split_at(end + 1);
                    rest = tail;
                    let count = || order[1..order.len() - 1].parse::<usize>().unwrap();
                    match order {
                        "[K" => self.rows[self.row] = self.keep(column),
                        "[J" => {
                            self.rows[self.row] = self.keep(column);
                            self.rows.truncate(self.row + 1);
                        }
                        order if order.ends_with('A') => self.row -= count(),
                        order => assert!(order.ends_with('m'), "{order}"),
                    }
                }
                c => {
                    let mut line = self.keep(column);
                    line.push(c);
                    let after: String = self.rows[self.row].chars().skip(column + 1).collect();
                    self.rows[self.row] = line + &after;
                    column += 1;
                    assert!(column < self.width, "the terminal would wrap: {:?}", self.rows);
                }
            }
        }
    }

    fn keep(&self, column: usize) -> String {
        self.rows[self.row].chars().take(column).collect()
    }
}

#[test]
fn drawn_anew_in_place_with_nothing_left_over() {
    let mut terminal = Terminal { width: 60, rows: Vec::new(), row: 0 };
    let mut screen = Screen::default();
    let mut figures = figures();
    let look = Window { colour: true, ..window(60, 40) };
    let mut draw = |screen: &mut Screen, figures: &Figures| {
        let mut bytes = Vec::new();
        screen.draw(&mut bytes, figures, look).unwrap();
        terminal.take(&bytes);
        let mut rows = terminal.rows.clone();
        rows.pop();
        rows.join("\n")
    };
    assert_eq!(draw(&mut screen, &figures), text(&figures, 60, 40));
    figures.guide = Some((Work::Breather, guide(Work::Breather, 0)));
    assert_eq!(draw(&mut screen, &figures), text(&figures, 60, 40));
    (figures.guide, figures.marks, figures.rows) = (None, Vec::new(), 7);
    assert_eq!(draw(&mut screen, &figures), text(&figures, 60, 40));
    let mut bytes = Vec::new();
    screen.leave(&mut bytes, "a line that stays", look).unwrap();
    terminal.take(&bytes);
    let mut bytes = Vec::new();
    screen.draw(&mut bytes, &figures, look).unwrap();
    terminal.take(&bytes);
    terminal.rows.pop();
    let want = format!("a line that stays\n{}", text(&figures, 60, 40));
    assert_eq!(terminal.rows.join("\n"), want);
}

#[test]
fn what_a_cable_says_moves_no_cursor() {
    let mut figures = figures();
    figures.names[0] = "Fr\x1b[2Jont".into();
    figures.marks.push((1.0, "note \x1b[31m\u{7}red\r\n".into()));
    assert!(!text(&figures, 80, 40).contains(|c: char| c.is_control() && c != '\n'));
    assert!(!plain(&figures).contains(char::is_control));
}
