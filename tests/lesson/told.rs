//! What a lesson writes into its log, and what it lets be seen.

use crate::classroom::Classroom;
use evenbreath::engine::{Layout, Side};
use evenbreath::recording::lesson::{Begin, IDLE_TARGET, Knob};

#[test]
fn every_knob_is_marked_and_reaches_the_engine() {
    let mut class = Classroom::new(Begin::InTune(Layout::Four), 5, "knobs");
    class.wait(2.0);
    class.press("engine on");
    class.wait(15.0);
    let before = class.foresight();
    class.set(Knob::TractLeak(Side::Two), 2.0);
    class.wait(0.01);
    let after = class.foresight();
    let fell = before.cap_on.means.vac_kpa[1] - after.cap_on.means.vac_kpa[1];
    assert!(fell > 5.0, "foreseen anew: {fell}");
    class.set(Knob::SealLeak, 8.0);
    class.wait(8.0);
    let flows = class.inside.seen().unwrap().flows;
    assert!(flows.tract_leak_g_per_s[1] > 0.3 && flows.tract_leak_g_per_s[0] == 0.0, "{flows:?}");
    assert!(flows.seal_leak_g_per_s > 0.3, "{flows:?}");
    class.set(Knob::SealLeak, 0.0);
    class.press("cap off");
    class.wait(8.0);
    let flows = class.inside.seen().unwrap().flows;
    assert!(flows.cap_g_per_s > 0.3 && flows.seal_leak_g_per_s == 0.0, "{flows:?}");
    class.set(Knob::Breather, 1.0);
    class.wait(4.0);
    let flows = class.inside.seen().unwrap().flows;
    assert_eq!(flows.breather_g_per_s, [0.0; 2]);
    class.set(Knob::Hold, 2500.0);
    class.wait(12.0);
    let look = class.inside.seen().unwrap().look;
    assert!((look.rpm - 2500.0).abs() < 60.0, "{look:?}");
    let prediction = class.foresight();
    let judged = class.judge(prediction);
    let want = [
        "engine off",
        "note an engine in tune",
        "engine on",
        "note leak into tract 2: 2 mm",
        "note leak of the crankcase seals 8 mm",
        "note leak of the crankcase seals 0 mm",
        "cap off",
        "note breather hose blocked",
        "note foot holds 2500 rev/min",
    ];
    assert_eq!(judged.marks, want);
}

#[test]
fn an_offset_moves_the_readings_and_not_the_engine() {
    let mut class = Classroom::new(Begin::InTune(Layout::Six), 6, "offset");
    class.set(Knob::Offset(Side::One), 2.0);
    class.set(Knob::Noise(Side::Two), 0.0);
    class.wait(7.0);
    class.press("engine on");
    class.wait(30.0);
    let prediction = class.foresight();
    let look = class.inside.seen().unwrap().look;
    assert!((look.vacuum[0].0 - look.at_hoses[0].0).abs() < 1e-9);
    let judged = class.judge(prediction);
    let zero = &judged.balance.zero;
    assert!((zero.offset_kpa - 2.0).abs() < 0.03, "{zero:?}");
    let idle = &judged.balance.plateaus[0];
    assert!(idle.difference_kpa.abs() < 0.3, "the zero takes it out: {}", idle.difference_kpa);
}

#[test]
fn a_class_that_looks_is_told_nothing_and_then_everything() {
    let mut class = Classroom::new(Begin::Hidden { layout: Layout::Four, seed: 2 }, 7, "covered");
    class.wait(3.0);
    class.press("engine on");
    class.wait(5.0);
    let shown = class.lesson.answer().unwrap();
    class.press(&shown);
    class.wait(1.0);
    let prediction = class.foresight();
    let judged = class.judge(prediction);
    assert_eq!(judged.marks.len(), 4, "{:?}", judged.marks);
    assert_eq!(judged.marks[1], "note a fault is hidden, or none");
    assert_eq!(judged.marks[3], shown);
    assert!(shown.ends_with("seed 2"), "{shown}");
}

#[test]
fn every_engine_in_tune_idles_at_the_target_of_a_lesson() {
    for layout in Layout::ALL {
        let mut class = Classroom::new(Begin::InTune(layout), 5, &format!("target-{layout:?}"));
        class.wait(2.0);
        class.press("engine on");
        class.wait(0.01);
        let rpm = class.foresight().cap_on.means.rpm;
        assert!((rpm - IDLE_TARGET.0).abs() < 10.0, "{layout:?} idles at {rpm}");
    }
}
