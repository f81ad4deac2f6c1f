//! What is learned from a log, and while it is recorded.

use crate::session::{Scene, Session, play};
use evenbreath::engine::{Settings, steady};
use evenbreath::findings::balance;
use evenbreath::findings::screws::{Memory, Screws};
use evenbreath::live::so_far;
use evenbreath::recording::window::{Window, WindowRow};
use evenbreath::sample::{Column, Mark, Meaning};
use evenbreath::signal;

const SCENE: Scene = Scene { gain: 0.15, start: [0.45, -0.35], level: 1.0, wander_spread: 0.003 };

/// What a turn of a screw does to the true engine between two places of both screws, a turn.
fn true_response(at: [f64; 2], side: usize) -> (f64, f64) {
    let true_at = |screws: [f64; 2]| {
        let mut settings = Settings::default();
        for (area, turns) in settings.idle_area_mm2.iter_mut().zip(screws) {
            *area *= (1.0 + 0.5 * SCENE.gain * turns).powi(2);
        }
        steady(&settings, &[]).unwrap()
    };
    let moved = |by: f64| {
        let mut screws = at;
        screws[side] += by;
        true_at(screws)
    };
    let (less, more) = (moved(-0.25), moved(0.25));
    (2.0 * (more.difference_kpa - less.difference_kpa), 2.0 * (more.rpm - less.rpm))
}

#[test]
fn the_response_is_that_of_the_engine_within_its_limits() {
    let (mut held, mut all) = (0, 0);
    for seed in 0..6 {
        let session = play(SCENE, 3, 40 + seed);
        let screws = session.steps.last().unwrap().finding.screws.clone().unwrap();
        assert!(screws.learned_from >= 1, "{screws:?}");
        for turn in &screws.per_turn {
            let (kpa, rpm) = true_response([0.1, 0.0], usize::from(turn.side == 2));
            for (limits, truth) in [(turn.difference_kpa, kpa), (turn.speed_rpm, rpm)] {
                all += 1;
                held += usize::from((limits.low..=limits.high).contains(&truth));
            }
            // Before any turn the limits of the difference are 25 kPa apart.
            let width = turn.difference_kpa.high - turn.difference_kpa.low;
            assert!(width < 16.0, "nothing was learned: {turn:?}");
        }
    }
    // 95 % each, and the four of one session move together.
    assert!(held >= all - 4, "{held} of {all} responses held what is true");
}

#[test]
fn after_a_turn_the_plateaus_before_it_no_longer_count() {
    let session = play(SCENE, 3, 11);
    let last = &session.steps.last().unwrap().finding;
    assert!(session.steps.last().unwrap().is_good(session.target_rpm));
    assert_eq!(last.verdict, evenbreath::findings::Verdict::InTolerance, "{}", last.say);
    assert!(last.plateaus.len() > 1 && last.plateaus[0].difference_kpa.abs() > 1.3);
    let say = &last.screws.as_ref().unwrap().say;
    assert!(say.starts_with("Leave both screws alone"), "{say}");
}

/// What earlier windows have taught is not lost with their samples: judged second by second with a window that
/// holds no more than the idle of now and the zero, as a recording does it, the last word is that of the whole log.
#[test]
fn a_recording_remembers_what_its_window_has_lost() {
    // The zero's samples are kept, and with them the first turns: it takes a second round to lose anything.
    let scene = Scene { gain: 0.25, start: [0.5, -0.5], ..SCENE };
    let rounds = |session: &Session| session.steps.len() - 1;
    let session = (0..20).map(|seed| play(scene, 4, seed)).find(|session| rounds(session) >= 3);
    let session = session.expect("a session of three rounds");
    let track = &session.track;
    let whole = balance::find(&signal::prepare(track.clone(), 4), &session.conditions);
    let whole = whole.screws.unwrap();
    let turned = |mark: &&Mark| matches!(mark.meaning, Meaning::Screw { .. });
    assert!(track.marks.iter().filter(turned).count() >= 2, "{:?}", track.marks);
    let (mut memory, mut last, mut lost) = (Memory::default(), None, false);
    let (mut window, mut marks) = (Window::lasting(19.0), track.marks.iter().peekable());
    for (k, time_s) in track.time_s.iter().enumerate() {
        let of = |column: &Option<Column>| column.as_ref().map_or(f64::NAN, |column| column.at(k));
        let vac_kpa = [of(&track.vac1_kpa), of(&track.vac2_kpa)];
        window.take(WindowRow { time_s, rpm: of(&track.rpm), vac_kpa });
        while let Some(mark) = marks.next_if(|mark| mark.at.0 <= time_s) {
            window.mark(mark.clone());
        }
        if k % 50 == 0 || k + 1 == track.time_s.len() {
            let kept = window.track();
            last = so_far::judge(kept.clone(), &session.conditions, &mut memory).screws;
            let alone = so_far::judge(kept, &session.conditions, &mut Memory::default()).screws;
            let learned = |screws: &Option<Screws>| screws.as_ref().map_or(0, |s| s.learned_from);
            lost |= learned(&alone) < learned(&last);
        }
    }
    assert!(lost, "the window has lost nothing: the test looks elsewhere");
    let last = last.unwrap();
    assert_eq!(last.learned_from, whole.learned_from);
    assert_eq!(last.proposal.map(|p| p.turns), whole.proposal.map(|p| p.turns));
    for (live, whole) in last.per_turn.iter().zip(&whole.per_turn) {
        let off = (live.difference_kpa.value - whole.difference_kpa.value).abs();
        let reach = whole.difference_kpa.high - whole.difference_kpa.value;
        assert!(off < 0.2 * reach, "{live:?} {whole:?}");
    }
}
