//! The chart of a hunt: words apart, hostile and long names, many suspects, nothing to draw.

use super::{check, frame, has, sides};
use evenbreath::charts::{self, ChartError, Frame};
use evenbreath::findings::hunt::{Hunt, HuntVerdict, Into, Suspect};

/// A suspect with effects of about this size.
fn suspect(name: &str, rpm: f64, air2_percent: f64) -> Suspect {
    let leaks = air2_percent < -3.0;
    Suspect {
        name: name.into(),
        trials: 2,
        effect_rpm: Some(rpm),
        low_rpm: Some(rpm - 11.0),
        high_rpm: Some(rpm + 11.0),
        effect_vac1_kpa: Some(0.1),
        low_vac1_kpa: Some(-0.3),
        high_vac1_kpa: Some(0.5),
        effect_vac2_kpa: Some(0.1),
        low_vac2_kpa: Some(-0.3),
        high_vac2_kpa: Some(0.5),
        effect_air1_percent: Some(0.1),
        low_air1_percent: Some(-0.2),
        high_air1_percent: Some(0.4),
        effect_air2_percent: Some(air2_percent),
        low_air2_percent: Some(air2_percent - 0.3),
        high_air2_percent: Some(air2_percent + 0.3),
        p_adjusted: Some(0.01),
        verdict: if leaks { HuntVerdict::Leaks } else { HuntVerdict::Sound },
        into: leaks.then_some(Into::Carb2),
        needs_trials: None,
        hole_mm: None,
        hole_low_mm: None,
        hole_high_mm: None,
        hole_budget: Vec::new(),
    }
}

fn hunt(suspects: Vec<Suspect>) -> Hunt {
    Hunt {
        idle_rpm: Some(850.0),
        limit_rpm: Some(21.3),
        limit_air_percent: Some(3.0),
        jet: None,
        verdict: HuntVerdict::Leaks,
        suspects,
        say: "servo hose leaks into the tract of Rear: 16 % of the air that it draws.".into(),
        remarks: Vec::new(),
    }
}

#[test]
fn a_hunt_is_drawn_at_all_sizes_with_any_names() {
    let long = "breather hose between rocker cover and the front carburettor ".repeat(150);
    let hostile = ["<script>alert(1)</script>", "\"&'", &long, "\u{202e}lesohc", "dipstick"];
    for count in [1usize, 2, 5, 10, 24] {
        let names = (0..count).map(|k| hostile[k % hostile.len()]);
        let effects = names.enumerate().map(|(k, name)| {
            suspect(name, 3.0 * k as f64 - 20.0, if k == 0 { -16.0 } else { 0.1 })
        });
        let finding = hunt(effects.collect());
        for width in [700, 1800, 3600] {
            let document = charts::hunt_svg(&frame(width), &finding, &sides()).unwrap();
            assert!(!document.contains("<script"), "{count} at {width}");
            let words = check(&document, width);
            assert!(has(&words, "Idle, sealed less released (rev/min)"), "{words:?}");
            assert!(has(&words, "leaks"), "{count} at {width}: {words:?}");
        }
    }
}

#[test]
fn a_hunt_without_a_trial_or_of_speed_alone() {
    let nothing = charts::hunt_svg(&Frame::default(), &hunt(Vec::new()), &sides());
    assert!(matches!(nothing, Err(ChartError::NothingToDraw(_))), "{nothing:?}");
    let blind = Suspect {
        effect_air1_percent: None,
        effect_air2_percent: None,
        ..suspect("dipstick", 40.0, -5.0)
    };
    let document = charts::hunt_svg(&Frame::default(), &hunt(vec![blind]), &sides()).unwrap();
    let words = check(&document, Frame::default().width);
    assert!(!has(&words, "Air that the tract draws"), "{words:?}");
}
