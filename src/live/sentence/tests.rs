use super::*;

fn conditions() -> Conditions {
    Conditions { sides: Sides { one: "Front".into(), two: "Rear".into() }, ..Conditions::default() }
}

/// A stretch at idle where side 1 draws `difference` more vacuum, so side 2 passes more air.
fn steady(difference_kpa: f64, reach_kpa: f64, air1_over_air2: f64) -> PlateauBalance {
    let (low_kpa, high_kpa) = (difference_kpa - reach_kpa, difference_kpa + reach_kpa);
    let verdict = match (low_kpa, high_kpa) {
        (low, high) if low > 1.3 || high < -1.3 => Verdict::OutOfTolerance,
        (low, high) if low >= -1.3 && high <= 1.3 => Verdict::InTolerance,
        _ => Verdict::NotSettled,
    };
    PlateauBalance {
        from_s: 10.0,
        to_s: 30.0,
        rpm: Some(850.0),
        cycles: 140,
        vac1_kpa: 57.0,
        vac2_kpa: 57.0 - difference_kpa,
        ripple1_kpa: None,
        ripple2_kpa: None,
        difference_kpa,
        low_kpa,
        high_kpa,
        u_kpa: reach_kpa / 2.0,
        dof: None,
        air1_over_air2,
        air_low: air1_over_air2 - 0.02,
        air_high: air1_over_air2 + 0.02,
        verdict,
        probability_in_tolerance: None,
        open: match verdict {
            Verdict::OutOfTolerance if difference_kpa > 0.0 => Open::Carb1,
            Verdict::OutOfTolerance => Open::Carb2,
            _ => Open::None,
        },
        needs_s: None,
        budget: Vec::new(),
        air_budget: Vec::new(),
        stretches: Vec::new(),
    }
}

fn judged(steady: Option<PlateauBalance>, zero: ZeroMethod) -> Judged {
    Judged {
        newest_s: 30.0,
        zero,
        error_kpa: 0.0,
        steady,
        difference: None,
        so_far: None,
        needs_s: None,
        screws: None,
    }
}

fn said(judged: &Judged, conditions: &Conditions) -> Sentence {
    sentence(&situation(Some(judged), conditions))
}

fn situation<'a>(judged: Option<&'a Judged>, conditions: &'a Conditions) -> Situation<'a> {
    Situation {
        one_sensor: None,
        link: LinkState::Up,
        silent_s: 0.0,
        mute: false,
        disk: None,
        ended: None,
        guide: None,
        judged,
        vac_kpa: [Some(57.0), Some(56.0)],
        rpm: None,
        elapsed_s: 30.5,
        conditions,
        advises: true,
    }
}

#[test]
fn the_side_that_passes_more_air_is_closed() {
    let mut conditions = conditions();
    let front = judged(Some(steady(-2.9, 0.4, 1.06)), ZeroMethod::EngineOff);
    let text = said(&front, &conditions).text;
    assert_eq!(text, "Front passes 6 % more air: close Front a little");
    let rear = judged(Some(steady(2.9, 0.4, 1.0 / 1.12)), ZeroMethod::EngineOff);
    let text = said(&rear, &conditions).text;
    assert_eq!(text, "Rear passes 12 % more air: close Rear a little");
    conditions.idle_target_rpm = Some(900.0);
    let below = said(&front, &conditions);
    assert_eq!(below.text, "Front passes 6 % more air: open Rear a little");
    assert_eq!(below.detail.as_deref(), Some("The idle is below its target of 900."));
    conditions.idle_target_rpm = Some(850.0);
    let on = said(&front, &conditions).text;
    assert_eq!(on, "Front passes 6 % more air: close Front, open Rear");
    conditions.balance_pipe = true;
    assert!(said(&front, &conditions).text.contains("at least 6 %"));
}

#[test]
fn off_idle_it_is_the_linkage() {
    let mut fast = steady(-2.9, 0.4, 1.06);
    fast.rpm = Some(2500.0);
    let text = said(&judged(Some(fast), ZeroMethod::Swap), &conditions()).text;
    assert_eq!(text, "Front passes 6 % more air: take up the linkage of Rear");
}

#[test]
fn in_tolerance_and_the_idle_beside_its_target() {
    let mut conditions = conditions();
    let good = judged(Some(steady(0.2, 0.5, 1.0)), ZeroMethod::Swap);
    let sentence = said(&good, &conditions);
    assert_eq!((sentence.text.as_str(), sentence.tone), ("In tolerance", Tone::Good));
    assert_eq!(sentence.detail.as_deref(), Some("Front and Rear pass the same air."));
    conditions.idle_target_rpm = Some(950.0);
    let detail = said(&good, &conditions).detail;
    assert_eq!(detail.as_deref(), Some("Idle is below its target of 950: open both alike."));
}

#[test]
fn what_is_not_settled_says_what_settles_it() {
    let conditions = conditions();
    let with = |needs_s, zero, name: Option<&'static str>| {
        let mut open = steady(1.1, 0.5, 0.98);
        open.needs_s = needs_s;
        open.budget.extend(name.map(|name| crate::findings::balance::BudgetRow {
            name,
            u_kpa: 0.3,
            dof: None,
        }));
        said(&judged(Some(open), zero), &conditions).text
    };
    assert_eq!(with(Some(3.2), ZeroMethod::EngineOff, None), "Hold still, 4 s more");
    assert_eq!(with(Some(0.2), ZeroMethod::EngineOff, None), "Hold still, 1 s more");
    assert_eq!(with(None, ZeroMethod::None, None), "Zero not known: stop the engine for 5 s");
    assert!(with(None, ZeroMethod::EngineOff, None).contains("swap the two hoses"));
    assert!(with(Some(5000.0), ZeroMethod::Swap, None).starts_with("Too near the limit"));
    let in_step = with(None, ZeroMethod::EngineOff, Some(in_step::COMPONENT));
    assert!(in_step.starts_with("Change the speed a little"), "{in_step}");
}

#[test]
fn a_standing_engine_and_a_missing_sensor() {
    let conditions = conditions();
    let known = judged(None, ZeroMethod::EngineOff);
    let mut now = situation(Some(&known), &conditions);
    assert_eq!(sentence(&now).text, "Hold the speed steady");
    now.vac_kpa = [Some(0.5), Some(-0.4)];
    assert_eq!(sentence(&now).text, "Zero known: start the engine");
    now.rpm = Some(880.0);
    assert_eq!(sentence(&now).text, "No vacuum: put both hoses on");
    now.rpm = Some(0.0);
    now.judged = None;
    assert_eq!(sentence(&now).text, "Engine off: wait, the zero is being taken");
    now.vac_kpa = [Some(57.0), None];
    assert_eq!(sentence(&now).text, "No reading from Rear: look at its sensor");
}

#[test]
fn a_judgement_of_long_ago_is_not_said_of_now() {
    let conditions = conditions();
    let good = judged(Some(steady(0.2, 0.5, 1.0)), ZeroMethod::Swap);
    let mut now = situation(Some(&good), &conditions);
    now.elapsed_s = 37.0;
    assert_eq!(sentence(&now).text, "Hold the speed steady");
}

#[test]
fn what_would_lose_the_log_goes_first_then_the_guide() {
    let conditions = conditions();
    let good = judged(Some(steady(0.2, 0.5, 1.0)), ZeroMethod::Swap);
    let guide = Prompted { say: "Take the cap off.".into(), complaint: None, left_s: None };
    let mut now = situation(Some(&good), &conditions);
    now.guide = Some(&guide);
    assert_eq!(
        (sentence(&now).text.as_str(), sentence(&now).tone),
        ("Take the cap off", Tone::Act)
    );
    let moving = Prompted { complaint: Some("Hold it still.".into()), ..guide.clone() };
    now.guide = Some(&moving);
    assert_eq!(sentence(&now).text, "Hold it still");
    assert_eq!(sentence(&now).detail.as_deref(), Some("Take the cap off."));
    now.link = LinkState::Lost;
    assert_eq!(sentence(&now).text, "Link lost: look at the cable");
    now.disk = Some("the disk is full");
    assert_eq!(sentence(&now).text, "The log is not being written: the disk is full");
    assert_eq!(sentence(&now).tone, Tone::Trouble);
    now.ended = Some(Ended { file: "idle.csv", left_at: None });
    assert_eq!(sentence(&now).text, "The log may lack rows: the disk is full");
    assert_eq!(sentence(&now).tone, Tone::Trouble);
    now.disk = None;
    assert_eq!(sentence(&now).text, "Recording ended");
    assert_eq!(sentence(&now).tone, Tone::Wait);
}

/// What an ended recording is said to have come to.
fn ended<'a>(judged: Option<&'a Judged>, conditions: &'a Conditions) -> Situation<'a> {
    let ended = Some(Ended { file: "idle.csv", left_at: None });
    Situation { ended, ..situation(judged, conditions) }
}

#[test]
fn an_end_is_no_success_by_itself() {
    let conditions = conditions();
    let tone = |judged: Option<&Judged>| sentence(&ended(judged, &conditions)).tone;
    let good = judged(Some(steady(0.2, 0.5, 1.0)), ZeroMethod::Swap);
    let front = judged(Some(steady(-2.9, 0.4, 1.06)), ZeroMethod::EngineOff);
    let open = judged(Some(steady(1.1, 0.5, 0.98)), ZeroMethod::EngineOff);
    assert_eq!(
        [None, Some(&open), Some(&front), Some(&good)].map(tone),
        [Tone::Wait, Tone::Wait, Tone::Act, Tone::Good]
    );
    let said = sentence(&ended(Some(&front), &conditions));
    assert!(said.text.starts_with("Front passes 6 % more air"), "{said:?}");
    assert_eq!(said.detail.as_deref(), Some("Recording ended. The log is idle.csv."));
    let mut now = ended(Some(&good), &conditions);
    now.elapsed_s = 60.0;
    assert_eq!(sentence(&now).tone, Tone::Wait, "a verdict of long ago");
    now.elapsed_s = 30.5;
    now.link = LinkState::Lost;
    assert_eq!(sentence(&now).tone, Tone::Wait, "the link was lost");
    now.link = LinkState::Up;
    now.ended = Some(Ended { file: "idle.csv", left_at: Some((3, 9)) });
    assert_eq!(
        (sentence(&now).text.as_str(), sentence(&now).tone),
        ("Guide left at step 3 of 9", Tone::Wait)
    );
}

#[test]
fn a_source_that_is_there_and_mute_is_not_looked_for() {
    let conditions = conditions();
    let mut now = situation(None, &conditions);
    (now.link, now.mute, now.silent_s) = (LinkState::Lost, true, 4.4);
    let said = sentence(&now);
    assert_eq!(
        (said.text.as_str(), said.tone),
        ("Nothing comes: look at what sends the samples", Tone::Trouble)
    );
    assert_eq!(said.detail.as_deref(), Some("Nothing for 4 s."));
}

#[test]
fn sensors_that_are_not_matched_are_no_near_thing() {
    let conditions = conditions();
    let with = |difference_kpa, reach_kpa| {
        let open = judged(Some(steady(difference_kpa, reach_kpa, 1.0)), ZeroMethod::EngineOff);
        said(&open, &conditions).text
    };
    for (difference_kpa, reach_kpa) in [(0.1, 1.6), (-0.5, 1.0), (1.0, 1.2)] {
        assert_eq!(
            with(difference_kpa, reach_kpa),
            "Sensors not matched yet: swap the two hoses for 20 s"
        );
    }
    assert_eq!(with(1.1, 0.5), "Near the limit: swap the two hoses for 20 s");
    assert!(with(-1.9, 0.5).starts_with("Rear passes") || with(-1.9, 0.5).starts_with("Front"));
}

#[test]
fn where_no_screw_is_the_cause_none_is_named() {
    let mut conditions = conditions();
    conditions.idle_target_rpm = Some(950.0);
    let tried = [
        judged(Some(steady(-2.9, 0.4, 1.06)), ZeroMethod::EngineOff),
        judged(Some(steady(0.2, 0.5, 1.0)), ZeroMethod::Swap),
        judged(Some(steady(1.1, 0.5, 0.98)), ZeroMethod::Swap),
    ];
    for judged in &tried {
        let mut now = situation(Some(judged), &conditions);
        let words = |said: Sentence| format!("{} {}", said.text, said.detail.unwrap_or_default());
        let turns =
            |words: &str| ["open ", "close ", "closer"].iter().any(|turn| words.contains(turn));
        assert!(turns(&words(sentence(&now))), "the test looks elsewhere: {:?}", sentence(&now));
        now.advises = false;
        assert!(!turns(&words(sentence(&now))), "{:?}", sentence(&now));
    }
    let mut now = situation(Some(&tried[0]), &conditions);
    now.advises = false;
    assert_eq!(sentence(&now).text, "Front passes 6 % more air");
}

fn moved(on: Option<usize>, since_s: f64) -> Option<OneSensor> {
    Some(OneSensor { on, since_s })
}

#[test]
fn one_sensor_is_led_from_side_to_side_until_it_is_settled() {
    let conditions = conditions();
    let said = |sensor, judged: Option<&Judged>| {
        let vac_kpa = [Some(57.0), None];
        sentence(&Situation { one_sensor: sensor, vac_kpa, ..situation(judged, &conditions) })
    };
    assert_eq!(said(moved(None, f64::INFINITY), None).text, "Put the hose on Front, then mark it");
    assert_eq!(said(moved(Some(0), 2.4), None).text, "Hose on Front: hold still, 8 s more");
    let there = said(moved(Some(0), 12.0), None);
    assert_eq!(there.text, "Move the hose to Rear, mark it, wait 10 s");
    assert_eq!(there.tone, Tone::Act);
    let back = said(moved(Some(1), 12.0), None);
    assert_eq!(back.text, "Move the hose to Front, mark it, wait 10 s");
    assert_eq!(
        back.detail.as_deref(),
        Some("At one speed there, over and back: then the figures begin.")
    );
    for (needs_s, moves) in
        [(8.0, "One more move may settle it."), (35.0, "About 4 more moves settle it.")]
    {
        let open = PlateauBalance { needs_s: Some(needs_s), ..steady(1.0, 1.0, 0.98) };
        let open = judged(Some(open), ZeroMethod::OneSensor);
        let on = said(moved(Some(1), 12.0), Some(&open));
        assert_eq!(on.text, "Move the hose to Front, mark it, wait 10 s");
        assert_eq!(on.detail.as_deref(), Some(moves));
        assert_eq!(
            said(moved(Some(1), 4.5), Some(&open)).text,
            "Hose on Rear: hold still, 6 s more"
        );
    }
    let good = judged(Some(steady(0.2, 0.5, 1.0)), ZeroMethod::OneSensor);
    assert_eq!(said(moved(Some(1), 4.5), Some(&good)).text, "In tolerance");
    let out = judged(Some(steady(2.4, 0.5, 0.94)), ZeroMethod::OneSensor);
    assert_eq!(
        said(moved(Some(1), 4.5), Some(&out)).text,
        "Rear passes 6 % more air: close Rear a little"
    );
    let near = judged(Some(steady(1.2, 0.3, 0.97)), ZeroMethod::OneSensor);
    let near = said(moved(Some(1), 4.5), Some(&near)).text;
    assert_eq!(near, "Too near the limit to tell: bring both closer together");
}

#[test]
fn one_hose_in_the_hand_is_no_engine_that_stands() {
    let conditions = conditions();
    let said = |vac_kpa, rpm| {
        let one_sensor = moved(Some(0), 12.0);
        sentence(&Situation { one_sensor, vac_kpa, rpm, ..situation(None, &conditions) }).text
    };
    assert_eq!(said([Some(0.6), None], Some(850.0)), "Put the hose on Rear, then mark it");
    assert_eq!(said([Some(0.6), None], Some(0.0)), "Engine off: start it");
    assert_eq!(said([Some(0.6), None], None), "No vacuum: start the engine, or put the hose on");
    assert_eq!(said([None, None], Some(850.0)), "No reading: look at the sensor");
}
