use super::*;
use crate::engine::Side;

#[test]
fn a_value_is_taken_within_reach_on_a_step_as_a_person_writes_it() {
    assert_eq!(Knob::SealLeak.taken(1.4999), Some(1.5));
    assert_eq!(Knob::SealLeak.taken(99.0), Some(12.0));
    assert_eq!(Knob::Stop(Side::One).taken(93.4), Some(93.0));
    assert_eq!(Knob::Hold.taken(2049.0), Some(2000.0));
    assert_eq!(Knob::Offset(Side::Two).taken(-0.26), Some(-0.3));
    assert_eq!(Knob::Mixture.taken(f64::NAN), None);
    for knob in Knob::ALL {
        let reach = knob.reach();
        for value in [reach.least, reach.most, reach.sound] {
            assert_eq!(knob.taken(value), Some(value), "{knob:?}");
        }
    }
}

#[test]
fn a_knob_is_set_once_and_marked_as_a_note() {
    let mut lesson = Lesson::new(Begin::InTune(Layout::Six)).unwrap();
    let doing = lesson.set(Knob::TractLeak(Side::Two), 1.52).unwrap().unwrap();
    assert_eq!(doing.mark, "note leak into tract 2: 1.5 mm");
    assert_eq!(doing.controls.len(), 1);
    assert_eq!(lesson.set(Knob::TractLeak(Side::Two), 1.5), Ok(None));
    assert_eq!(lesson.set(Knob::Mixture, f64::INFINITY), Err(Refused::NoNumber));
    assert_eq!(lesson.value(Knob::TractLeak(Side::Two)), 1.5);
}

#[test]
fn no_mark_of_a_knob_is_taken_for_something_else() {
    for knob in Knob::ALL {
        for value in [knob.reach().least, knob.reach().most] {
            let mark = format!("note {}", knob.words(value));
            let read = crate::sample::Mark::read(crate::units::Seconds(0.0), &mark);
            assert!(matches!(read.meaning, Meaning::Note(_)), "{read:?}");
        }
    }
}

#[test]
fn nothing_gives_a_covered_fault_away() {
    for begin in [Begin::Scene(1), Begin::Hidden { layout: Layout::Four, seed: 3 }] {
        let mut lesson = Lesson::new(begin).unwrap();
        assert!(lesson.is_covered() && lesson.question().is_some());
        assert_eq!(lesson.answered(), None);
        assert_eq!(lesson.set(Knob::SealLeak, 0.7), Err(Refused::Covered));
        assert!(lesson.set(Knob::Hold, 2500.0).unwrap().is_some(), "a foot is no fault");
        let mark = lesson.first_marks().concat();
        assert!(!mark.contains("mm") && !mark.contains("leak") && !mark.contains('%'), "{mark}");
        assert!(lesson.answer().unwrap().starts_with("note shown: "));
        assert!(!lesson.is_covered() && lesson.answered().is_some());
        assert_eq!(lesson.answer(), None, "shown once");
        assert!(lesson.set(Knob::SealLeak, 2.2).unwrap().is_some());
    }
    assert_eq!(Lesson::new(Begin::Scene(8)), Err(Refused::NoScene));
}

#[test]
fn the_seed_stands_with_the_answer_alone() {
    let begin = Begin::Hidden { layout: Layout::Eight, seed: 4711 };
    let mut lesson = Lesson::new(begin).unwrap();
    assert!(
        !lesson.first_marks().concat().contains("4711")
            && !lesson.question().unwrap().contains("4711")
    );
    let mark = lesson.answer().unwrap();
    assert!(mark.ends_with(", seed 4711"), "{mark}");
    assert!(lesson.answered().unwrap().ends_with("Seed 4711."));
}

#[test]
fn every_kind_of_fault_is_drawn_and_stands_on_a_step() {
    let mut kinds: Vec<Option<Knob>> = Vec::new();
    for seed in 0..200 {
        let hidden = hidden::draw(seed);
        assert_eq!(hidden, hidden::draw(seed), "the same seed draws the same");
        for (knob, value) in &hidden.set {
            assert_eq!(knob.taken(*value), Some(*value), "{knob:?}");
            assert_ne!(*value, knob.reach().sound);
        }
        kinds.push(hidden.set.first().map(|(knob, _)| *knob));
    }
    for kind in [None, Some(Knob::SealLeak), Some(Knob::Breather), Some(Knob::Mixture)]
        .into_iter()
        .chain(Side::BOTH.map(|side| Some(Knob::Stop(side))))
        .chain(Side::BOTH.map(|side| Some(Knob::TractLeak(side))))
        .chain(Side::BOTH.map(|side| Some(Knob::Offset(side))))
    {
        assert!(kinds.contains(&kind), "{kind:?} is never drawn");
    }
}

#[test]
fn a_mark_does_what_it_says() {
    let mut lesson = Lesson::new(Begin::InTune(Layout::Four)).unwrap();
    assert_eq!(lesson.noticed(&Meaning::CapOff), vec![Action::CapOff.into()]);
    assert!(lesson.cap_is_off());
    assert_eq!(lesson.noticed(&Meaning::HosesSwapped), vec![Action::HosesSwapped.into()]);
    assert_eq!(lesson.hoses(), Hoses::Swapped);
    assert_eq!(lesson.noticed(&Meaning::EngineOff), vec![Action::EngineOff.into()]);
    assert!(lesson.is_stopped());
    assert_eq!(lesson.noticed(&Meaning::EngineOn), vec![Action::EngineOn.into()]);
    assert!(!lesson.is_stopped());
    let regret = Meaning::Mistake("cap off".into());
    assert_eq!(lesson.noticed(&regret), vec![Action::CapOn.into()]);
    assert!(!lesson.cap_is_off());
    assert!(lesson.noticed(&Meaning::Note("cap off".into())).is_empty());
}

#[test]
fn a_hidden_fault_is_named_at_the_end_of_its_log_unless_it_was_shown() {
    let begin = Begin::Hidden { layout: Layout::Four, seed: 3 };
    let mut lesson = Lesson::new(begin).unwrap();
    let shown = Lesson::new(begin).unwrap().answer().unwrap();
    let named = lesson.close().unwrap();
    assert_eq!(named.strip_prefix("note hidden was: "), shown.strip_prefix("note shown: "));
    assert!(named.ends_with("seed 3"), "{named}");
    assert!(!lesson.is_covered() && lesson.answered().is_some(), "the page shows it too");
    assert_eq!(lesson.close(), None);
    let mut lesson = Lesson::new(begin).unwrap();
    lesson.answer().unwrap();
    assert_eq!(lesson.close(), None, "it was shown");
    let mut scene = Lesson::new(Begin::Scene(1)).unwrap();
    assert_eq!(scene.close(), None, "a scene is named by its number");
    assert!(scene.answered().is_some());
}

#[test]
fn no_screw_is_turned_where_air_gets_in_or_the_mixture_is_wrong() {
    let mend = |scene: usize| Lesson::new(Begin::Scene(scene)).unwrap().screws_mend();
    let mended: Vec<usize> = (0..SCENES.len()).filter(|k| mend(*k)).map(|k| k + 1).collect();
    // In the first nothing is wrong, in the seventh the sensor, whose error is taken out.
    assert_eq!(mended, [1, 4, 7]);
}
