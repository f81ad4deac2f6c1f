//! The guide on the model engine: the marks in their order and times, and the verdict of the log
//! that comes of it, through the real reader, signal and findings.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should fail")]

#[path = "guide/stage.rs"]
mod stage;

use evenbreath::engine::{Action, Settings};
use evenbreath::findings::balance::{self, Balance, ZeroMethod};
use evenbreath::findings::breather::{self, Breather, BreatherVerdict};
use evenbreath::findings::pair_match::{self, MatchVerdict};
use evenbreath::findings::{Conditions, Verdict};
use evenbreath::log::{self, ReadOptions};
use evenbreath::recording::guide::{Doing, Guide, News, Plan, PlanError, Suspect, Work};
use evenbreath::sample::Meaning;
use evenbreath::signal;
use evenbreath::units::Millimetres;
use stage::{Played, Stage, Twist};

fn words(played: &Played) -> Vec<&str> {
    played.meant().into_iter().map(|(_, words)| words).collect()
}

fn at(played: &Played, words: &str) -> Vec<f64> {
    played.meant().into_iter().filter(|mark| mark.1 == words).map(|mark| mark.0).collect()
}

fn breather(played: &Played) -> Breather {
    breather::find(&played.signal(), &Conditions::default())
}

fn leaking() -> Settings {
    Settings { seal_leak_mm2: 30.0, ..Settings::default() }
}

const ENGINE: [&str; 2] = ["engine off", "engine on"];

#[test]
fn a_guided_cap_test_marks_in_order_and_gives_the_verdict() {
    for (settings, verdict) in [
        (Settings::default(), BreatherVerdict::Sealed),
        (leaking(), BreatherVerdict::NotSealedOrBlocked),
    ] {
        for hands_free in [false, true] {
            let plan = Plan { hands_free, ..Plan::new(Work::Breather) };
            let played = Stage { settings: settings.clone(), ..Stage::new(3) }.play(&plan);
            assert!(played.finished);
            assert_eq!(words(&played), [&ENGINE[..], &["cap off", "cap on"].repeat(3)].concat());
            // Five seconds at rest before the starter, ten and fifteen of idle, ten each.
            let (off, on) = (at(&played, "cap off"), at(&played, "cap on"));
            let started = played.acted(Action::EngineOn)[0];
            assert!(started - at(&played, "engine off")[0] >= 5.0);
            assert!(off[0] - at(&played, "engine on")[0] >= 25.0);
            for k in 0..3 {
                assert!((10.0..17.0).contains(&(on[k] - off[k])), "{off:?} {on:?}");
                // The mark follows the hand by a key's delay; with the count-down the hand follows.
                let late = off[k] - played.acted(Action::CapOff)[k];
                let fits = if hands_free { -1.5..-0.3 } else { 0.2..1.5 };
                assert!(fits.contains(&late), "{late}");
            }
            let found = breather(&played);
            assert_eq!(found.verdict, verdict, "hands free {hands_free}: {}", found.say);
            assert_eq!(found.openings.len(), 3);
        }
    }
}

#[test]
fn an_opening_broken_by_a_lost_link_is_closed_and_made_again() {
    for seed in 5..10 {
        let sound = Stage::new(seed).play(&Plan::new(Work::Breather));
        let second = at(&sound, "cap off")[1];
        let twists = vec![Twist::LinkLost(second + 4.0, second + 9.0)];
        let played = Stage { twists, ..Stage::new(seed) }.play(&Plan::new(Work::Breather));
        assert!(played.finished);
        assert_eq!(words(&played), [&ENGINE[..], &["cap off", "cap on"].repeat(4)].concat());
        let lost = played.prompts.iter().find(|p| p.0 >= second + 4.0).unwrap();
        let complaint = lost.1.complaint.as_deref().unwrap();
        assert!(complaint.contains("link to the box is lost"), "{complaint}");
        assert!(lost.1.say.contains("Put the filler cap on"), "{}", lost.1.say);
        assert!(!lost.1.waits_for_key, "there is no sample to mark");
        // Marked only once there are samples again, and ten whole seconds of idle behind it.
        let on = at(&played, "cap on");
        assert!(on[1] >= second + 9.0 && at(&played, "cap off")[2] - on[1] >= 10.0);
        // The openings on both sides of the gap count, the broken one does not.
        let found = breather(&played);
        let off: Vec<f64> = found.openings.iter().map(|opening| opening.off_s).collect();
        assert_eq!(off.len(), 3, "{off:?}");
        assert!(off.iter().all(|off| (off - second).abs() > 5.0), "{off:?}");
        assert_eq!(found.verdict, BreatherVerdict::Sealed, "{}", found.say);
    }
}

#[test]
fn a_stretch_of_idle_broken_by_a_lost_link_begins_again() {
    let sound = Stage::new(6).play(&Plan::new(Work::Breather));
    let first = at(&sound, "cap off")[0];
    let twists = vec![Twist::LinkLost(first - 5.0, first - 3.0)];
    let played = Stage { twists, ..Stage::new(6) }.play(&Plan::new(Work::Breather));
    assert_eq!(words(&played), words(&sound));
    let moved = at(&played, "cap off")[0] - (first - 3.0);
    assert!(moved >= 15.0, "cap off {moved} s after the link was back");
}

#[test]
fn an_engine_that_stalls_without_its_cap_gets_its_trial_again() {
    let sound = Stage::new(7).play(&Plan::new(Work::Breather));
    let first = at(&sound, "cap off")[0];
    let twists = vec![
        Twist::Act(first + 5.0, Action::EngineOff),
        Twist::Act(first + 25.0, Action::EngineOn),
    ];
    let played = Stage { twists, ..Stage::new(7) }.play(&Plan::new(Work::Breather));
    assert_eq!(words(&played), [&ENGINE[..], &["cap off", "cap on"].repeat(4)].concat());
    let said: Vec<&str> = played.prompts.iter().filter_map(|p| p.1.complaint.as_deref()).collect();
    assert!(said.iter().any(|text| text.contains("has stopped")), "{said:?}");
    assert!(at(&played, "cap off")[1] >= first + 35.0);
}

#[test]
fn an_engine_that_still_turns_is_said_to_turn() {
    let mut guide = Guide::new(&Plan::new(Work::Breather)).unwrap();
    let news = News { rpm: Some(840.0), ..News::default() };
    let mut marks = 0;
    for k in 0..1000 {
        let doing = guide.advance(0.02 * f64::from(k), k < 3, news);
        marks += doing.iter().filter(|doing| matches!(doing, Doing::Mark(_))).count();
    }
    let prompt = guide.prompt();
    assert_eq!((prompt.step, marks), (4, 2), "twenty seconds do not count while it turns");
    assert_eq!(prompt.left_s, Some(5.0));
    assert!(prompt.complaint.unwrap().contains("840 rev/min) though it should be off"));
}

#[test]
fn without_a_pick_up_the_keys_alone_lead_on() {
    let played = Stage { pickup: false, ..Stage::new(8) }.play(&Plan::new(Work::Breather));
    assert!(played.finished);
    assert_eq!(words(&played).len(), 8);
    assert!(played.prompts.iter().all(|p| p.1.complaint.is_none()));
}

#[test]
fn a_person_can_make_a_trial_again_or_leave_it_out() {
    let sound = Stage::new(9).play(&Plan::new(Work::Breather));
    let (first, on) = (at(&sound, "cap off")[0], at(&sound, "cap on")[0]);
    for again in [first + 3.0, on + 3.0] {
        let played = Stage { twists: vec![Twist::Again(again)], ..Stage::new(9) }
            .play(&Plan::new(Work::Breather));
        assert_eq!(words(&played), [&ENGINE[..], &["cap off", "cap on"].repeat(4)].concat());
        assert!(
            played.marks.iter().any(|mark| mark.1.starts_with("note") && mark.1.contains("again"))
        );
    }
    let played = Stage { twists: vec![Twist::Skip(on + 10.05)], ..Stage::new(9) }
        .play(&Plan::new(Work::Breather));
    assert_eq!(words(&played), [&ENGINE[..], &["cap off", "cap on"].repeat(2)].concat());
    assert!(played.marks.iter().any(|mark| mark.1.starts_with("note trial left out")));
}

fn balance_of(area_mm2: [f64; 2], seed: u64) -> (Played, Balance) {
    let settings = Settings { idle_area_mm2: area_mm2, ..Settings::default() };
    let played = Stage { settings, ..Stage::new(seed) }.play(&Plan::new(Work::Balance));
    let found = balance::find(&played.signal(), &Conditions::default());
    (played, found)
}

#[test]
fn a_guided_balance_takes_out_the_zero_and_gives_the_verdict() {
    let mut held = 0;
    for (area, verdict) in
        [([10.8, 10.8], Verdict::InTolerance), ([10.2, 11.4], Verdict::OutOfTolerance)]
    {
        for seed in 11..16 {
            let (played, found) = balance_of(area, seed);
            assert!(played.finished);
            let order = [&ENGINE[..], &["hoses swapped", "hoses direct"]].concat();
            assert_eq!(words(&played), order);
            let swapped = at(&played, "hoses swapped")[0];
            assert!(swapped - at(&played, "engine on")[0] >= 30.0);
            assert!(at(&played, "hoses direct")[0] - swapped >= 20.0);
            assert_eq!(found.zero.method, ZeroMethod::Swap, "{:?}", found.remarks);
            assert_eq!(found.verdict, verdict, "{}", found.say);
            let within = |low: f64, high: f64| {
                let speeds = found.plateaus.iter().filter_map(|p| p.rpm);
                usize::from(speeds.into_iter().any(|rpm| (low..high).contains(&rpm)))
            };
            assert_eq!(within(600.0, 1100.0), 1);
            held += within(1500.0, 2000.0) + within(2500.0, 3000.0);
        }
    }
    // A foot that overshoots and comes back slowly leaves now and then a speed that passes for none
    // held.
    assert!(held >= 18, "{held} of 20 held speeds were found");
}

#[test]
fn a_guided_tee_run_matches_the_pair() {
    let played = Stage::new(13).play(&Plan::new(Work::Match));
    assert!(played.finished);
    let order = ["tee on", "engine off", "engine on", "engine off", "tee off"];
    assert_eq!(words(&played), order);
    let found = pair_match::find(&played.signal(), &Conditions::default());
    assert_eq!(found.verdict, MatchVerdict::Matched, "{}", found.say);
    // Reading 1 less reading 2 against their mean, for the two lines of the stage's sensors.
    let mean_gain = 0.5 * (1.009 + 0.992);
    let (gain, offset) = (0.017 / mean_gain, 0.9 - 0.017 / mean_gain * 0.1);
    assert!(found.gain_low.unwrap() <= gain && gain <= found.gain_high.unwrap(), "{}", found.say);
    assert!(found.offset_low_kpa.unwrap() <= offset && offset <= found.offset_high_kpa.unwrap());
}

fn hunt() -> Plan {
    let mend = [0.0, 9.0].map(|mm| Action::SealLeak(Millimetres(mm)));
    let seals = Suspect { on_model: Some(mend), ..Suspect::from("all crankcase  seals") };
    Plan {
        suspects: vec![seals, "breather hose, front".into()],
        known_leak: Some(Millimetres(1.5)),
        ..Plan::new(Work::Hunt)
    }
}

#[test]
fn a_guided_hunt_alternates_and_brackets_every_trial() {
    let played = Stage { settings: leaking(), ..Stage::new(15) }.play(&hunt());
    let round = [
        "known leak 1.5 mm",
        "known leak closed",
        "seal all crankcase seals",
        "release all crankcase seals",
        "seal breather hose, front",
        "release breather hose, front",
    ];
    assert_eq!(words(&played), [&ENGINE[..], &round.repeat(3)].concat());
    let times: Vec<f64> = played.meant().iter().skip(1).map(|mark| mark.0).collect();
    assert!(times.windows(2).all(|pair| pair[1] - pair[0] >= 8.0), "{times:?}");
    played.signal();
    assert_eq!(Guide::new(&hunt()).unwrap().unplayed(), ["breather hose, front"]);
}

/// Leads a guide on with Enter wherever it waits, at 50 samples a second, until its words hold `until`.
fn lead(guide: &mut Guide, now_s: &mut f64, until: &str) {
    let rpm = |say: &str| match say {
        say if say.contains("1500") => Some(1700.0),
        say if say.contains("2500") => Some(2700.0),
        say if say.contains("ngine off") => Some(0.0),
        _ => Some(850.0),
    };
    for _ in 0..20_000 {
        let say = guide.prompt().say;
        if say.contains(until) {
            return;
        }
        *now_s += 0.02;
        guide.advance(*now_s, true, News { rpm: rpm(&say), ..News::default() });
    }
    panic!("'{until}' never came: {:?}", guide.prompt());
}

#[test]
fn a_turned_screw_makes_the_hands_off_count_begin_again() {
    let mut guide = Guide::new(&Plan::new(Work::Balance)).unwrap();
    let mut now_s = 0.0;
    lead(&mut guide, &mut now_s, "Turn a stop screw");
    let mut idle = |guide: &mut Guide, seconds: u32| {
        for _ in 0..seconds * 50 {
            now_s += 0.02;
            guide.advance(now_s, false, News { rpm: Some(850.0), ..News::default() });
        }
        guide.prompt().left_s.unwrap()
    };
    assert!((idle(&mut guide, 15) - 5.0).abs() < 0.1);
    guide.noticed(&Meaning::Note("a thought".into()));
    assert!((idle(&mut guide, 1) - 4.0).abs() < 0.1);
    guide.noticed(&Meaning::Screw { side: 1, turns: 0.25 });
    assert!((idle(&mut guide, 1) - 19.0).abs() < 0.1);
    assert_eq!(idle(&mut guide, 30), 0.0, "it waits for the person all the same");
}

#[test]
fn a_stretch_in_which_the_engine_strays_begins_again() {
    for (work, until, strays) in [
        (Work::Breather, "Leave the engine off", [0.0, 800.0]),
        (Work::Breather, "Idle, hands off", [850.0, 1600.0]),
        (Work::Breather, "Cap on", [850.0, 0.0]),
        (Work::Balance, "Hold 2500", [2700.0, 2300.0]),
        (Work::Balance, "Hold 2500", [2700.0, 3200.0]),
    ] {
        let mut guide = Guide::new(&Plan::new(work)).unwrap();
        let mut now_s = 0.0;
        lead(&mut guide, &mut now_s, until);
        let mut run = |guide: &mut Guide, seconds: f64, rpm: f64| {
            for _ in 0..(seconds * 50.0) as u32 {
                now_s += 0.02;
                guide.advance(now_s, false, News { rpm: Some(rpm), ..News::default() });
            }
            guide.prompt()
        };
        // Until it rests at what is wanted, so that the count is under way.
        let whole = guide.prompt().left_s.unwrap();
        while run(&mut guide, 0.1, strays[0]).left_s.unwrap() > whole - 2.0 {}
        let prompt = run(&mut guide, 3.0, strays[1]);
        assert!(prompt.complaint.is_some(), "{until}: {strays:?}");
        assert_eq!(prompt.left_s, Some(whole), "{until}: {strays:?}");
        assert!(prompt.say.contains(until));
    }
}

#[test]
fn what_is_open_is_closed_whatever_is_left_out() {
    let mut guide = Guide::new(&Plan::new(Work::Breather)).unwrap();
    let mut now_s = 0.0;
    lead(&mut guide, &mut now_s, "Cap off");
    let steps = guide.prompt().steps;
    assert!(
        matches!(&guide.skip()[0], Doing::Mark(words) if words.starts_with("note step left out"))
    );
    assert!(guide.prompt().say.contains("Put the filler cap on"));
    assert_eq!(guide.skip(), []);
    assert!(guide.prompt().say.contains("Put the filler cap on"));
    // Again and again is once more, not twice.
    guide.again();
    guide.again();
    assert_eq!(guide.prompt().steps, steps + 4);
    let [down, up] = [true, false].map(|link_down| News { link_down, rpm: Some(850.0) });
    guide.advance(now_s, true, down);
    assert_eq!(guide.advance(now_s, true, down), [], "there is no sample to mark");
    assert!(guide.advance(now_s + 9.0, true, up).contains(&Doing::Mark("cap on".into())));
    assert_eq!(guide.prompt().steps, steps + 4);
}

#[test]
fn a_cap_that_was_missed_is_marked_a_mistake_and_changes_nothing() {
    let plan = Plan { hands_free: true, ..Plan::new(Work::Breather) };
    let sound = Stage::new(9).play(&plan);
    let first = at(&sound, "cap off")[0];
    // The stand-in does as told, so that the hand which missed is put right by another.
    let twists =
        vec![Twist::Mistake(first + 2.0, "cap off"), Twist::Act(first + 2.0, Action::CapOn)];
    let played = Stage { twists, ..Stage::new(9) }.play(&plan);
    let order = ["cap off", "mistake cap off", "cap off", "cap on"];
    assert_eq!(words(&played), [&ENGINE[..], &order, &["cap off", "cap on"].repeat(2)].concat());
    assert!(at(&played, "cap off")[1] - first >= 5.0, "a count-down again");
    let found = breather(&played);
    assert_eq!(found.openings.len(), 3, "{}", found.say);
    assert_eq!(found.verdict, BreatherVerdict::Sealed, "{}", found.say);
}

#[test]
fn an_opening_that_never_was_keeps_a_verdict_open_until_it_is_set_aside() {
    for seed in 0..4 {
        let played = Stage::new(seed).play(&Plan::new(Work::Breather));
        let first = at(&played, "cap off")[0];
        let with = |text: &str, marks: [(f64, &str); 2]| {
            let mut text = text.to_string();
            for (before_s, words) in marks {
                let row = text.find(&format!("\n{:.3},", first - before_s)).unwrap() + 1;
                let end = row + text[row..].find('\n').unwrap();
                text.insert_str(end, words);
            }
            text
        };
        let text = with(&played.text, [(12.0, "cap off"), (6.0, "cap on")]);
        let verdict = |text: &str| {
            let read = log::read(text.as_bytes(), &ReadOptions::default()).unwrap();
            let shaken = read.remarks.iter().any(|remark| remark.code == "marks_set_aside");
            let found = breather::find(&signal::prepare(read.track, 4), &Conditions::default());
            (found.verdict, found.openings.len(), shaken)
        };
        assert_eq!(verdict(&text), (BreatherVerdict::NotSettled, 4, false));
        let text = with(&text, [(4.0, "mistake cap off"), (3.0, "mistake cap on")]);
        assert_eq!(verdict(&text), (BreatherVerdict::Sealed, 3, true));
    }
}

#[test]
fn plans_that_cannot_be_led_through_say_what_to_write() {
    let with = |suspects: &[&str]| {
        let suspects = suspects.iter().map(|name| Suspect::from(*name)).collect();
        Guide::new(&Plan { suspects, ..Plan::new(Work::Hunt) }).map(|_| ()).unwrap_err()
    };
    assert_eq!(with(&[]), PlanError::NoSuspect);
    assert_eq!(with(&["cap seal", " \n"]), PlanError::NoName);
    assert_eq!(with(&["cap seal", "Cap \t seal"]), PlanError::Twice("Cap seal".into()));
    let none = Plan { openings: 0, ..Plan::new(Work::Breather) };
    let said = Guide::new(&none).map(|_| ()).unwrap_err().to_string();
    assert!(said.contains("0 openings") && said.contains("two or three"), "{said}");
    let jet = Plan { known_leak: Some(Millimetres(f64::NAN)), ..hunt() };
    assert!(matches!(Guide::new(&jet), Err(PlanError::Jet(_))));
}
