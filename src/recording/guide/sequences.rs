//! The order of the work, step by step (common practice, no published source).

use super::plan::{Plan, Suspect, Work};
use super::step::{Ends, Part, Step, Wants};
use crate::engine::{Action, Side};
use crate::units::{Millimetres, Rpm};

/// Engine off before the work: both sensors see the atmosphere, s.
const ZERO_S: f64 = 5.0;
/// A started engine runs evenly after this, s.
const SETTLE_S: f64 = 10.0;
/// Idle before the first opening, s.
const IDLE_S: f64 = 15.0;
/// Cap off, and cap on again, s.
const CAP_S: f64 = 10.0;
/// A suspect sealed, and released, s.
const SUSPECT_S: f64 = 8.0;
/// Hoses direct, hoses swapped, s.
const HOSES_S: f64 = 20.0;
/// Hands off after a screw was turned, s.
const SCREW_S: f64 = 20.0;
/// A speed held for the balance off idle, s: ten to be judged, and two at the ends that the judging
/// trims.
const HELD_S: f64 = 12.0;
/// A speed held, or idle, in a tee run, s.
const TEE_S: f64 = 12.0;
/// Engine off at the end of a tee run, s.
const TEE_OFF_S: f64 = 10.0;
/// Count-down to 'now' for a person without a free hand, s.
const COUNT_DOWN_S: f64 = 5.0;

/// Speeds held for the balance off idle, rev/min.
const OFF_IDLE_RPM: [(f64, f64); 2] = [(1500.0, 2000.0), (2500.0, 3000.0)];
/// Speeds held in a tee run: they spread the vacuum, rev/min.
const TEE_RPM: [(f64, f64); 2] = [(1800.0, 2200.0), (2500.0, 3000.0)];

/// The steps of a plan that has been checked.
pub(super) fn steps(plan: &Plan) -> Vec<Step> {
    match plan.work {
        Work::Breather => breather(plan),
        Work::Balance => balance(plan),
        Work::Hunt => hunt(plan),
        Work::Match => tee_run(),
    }
}

/// The dangers, and then what must be so before the engine is measured: asked for and noted, never
/// assumed.
fn prepare(more: &[&str]) -> [Step; 2] {
    let asks = [
        "engine fully warm, choke off",
        "ignition timing and dwell set, plugs and leads sound",
        "hoses and seals looked at",
        "fan, lamps and other electrical loads off",
        "air filter: note with key n whether it is off or on",
    ];
    let asks = asks.iter().chain(more).map(|ask| ask.to_string()).collect();
    let dangers = Step::ask("Read what is dangerous. Enter when the car stands ready.");
    let list = Step::ask("Go through the list. Enter when all of it is so.");
    let mark =
        "note asked and confirmed: warm, choke off, ignition set, hoses looked at, loads off";
    [Step { cautions: true, ..dangers }, Step { asks, ..list.mark(mark) }]
}

/// Engine off, then running and settled.
fn from_rest() -> [Step; 4] {
    [
        Step::ask("Engine off, both hoses on their taps. Enter when it stands still.")
            .mark("engine off"),
        Step::stretch("Leave the engine off: zero of the pair.", ZERO_S, Wants::Rest),
        Step::ask("Start the engine and let it idle; Enter when it runs.")
            .act(Action::EngineOn)
            .ends(Ends::KeyOrRuns)
            .mark("engine on"),
        Step::stretch("Let the idle settle, foot off.", SETTLE_S, Wants::Idle),
    ]
}

/// What is opened or sealed in a trial, how it is said and how it is marked.
struct Trial {
    /// Said before it and while it lasts.
    open: [String; 2],
    /// Said before it ends and after.
    close: [String; 2],
    marks: [String; 2],
    acts: Option<[Action; 2]>,
    seconds: f64,
}

impl Trial {
    /// Opened, kept, closed, left alone: by Enter at each mark, or by count-down.
    fn steps(&self, hands_free: bool) -> [Step; 4] {
        let kept = Step::stretch(self.open[1].as_str(), self.seconds, Wants::Idle);
        let after = Step::stretch(self.close[1].as_str(), self.seconds, Wants::Idle);
        let [kept, after] = [kept.part(Part::Kept), after.part(Part::After)];
        let change = |k: usize, part: Part| {
            let what = [&self.open[0], &self.close[0]][k];
            let (say, ends) = match hands_free {
                true => (format!("{what} at zero."), Ends::CountDown(COUNT_DOWN_S)),
                false => (format!("{what} now, then Enter."), Ends::Key),
            };
            Step::ask(say).ends(ends).mark(self.marks[k].as_str()).part(part)
        };
        let act = |k: usize| self.acts.map(|acts| acts[k]);
        let (open, close) = (change(0, Part::Open), change(1, Part::Close));
        if hands_free {
            // The hands move at 'now', which is where the stretch begins.
            [open, kept.acts(act(0)), close, after.acts(act(1))]
        } else {
            [open.acts(act(0)), kept, close.acts(act(1)), after]
        }
    }
}

fn breather(plan: &Plan) -> Vec<Step> {
    let mut steps = prepare(&["oil filler cap on, dipstick in"]).to_vec();
    steps.extend(from_rest());
    steps.push(Step::stretch("Idle, hands off: the speed with the cap on.", IDLE_S, Wants::Idle));
    for turn in 1..=plan.openings {
        let of = format!("({turn} of {})", plan.openings);
        let trial = Trial {
            open: [format!("{of} Take the filler cap off"), format!("{of} Cap off, hands off.")],
            close: [format!("{of} Put the filler cap on"), format!("{of} Cap on, hands off.")],
            marks: ["cap off".into(), "cap on".into()],
            acts: Some([Action::CapOff, Action::CapOn]),
            seconds: CAP_S,
        };
        steps.extend(trial.steps(plan.hands_free));
    }
    steps
}

/// Both hoses come off and go on: on each other's taps, or back.
fn hoses(say: &str, on: Action, mark: &str) -> Step {
    Step::ask(format!("{say}, then Enter.")).act(Action::HosesOff).act(on).mark(mark)
}

fn held((low, high): (f64, f64), seconds: f64) -> Step {
    let say = format!("Hold {low:.0} to {high:.0} rev/min.");
    Step::stretch(say, seconds, Wants::Held(low, high)).act(Action::Hold(Rpm(0.5 * (low + high))))
}

fn balance(plan: &Plan) -> Vec<Step> {
    let [one, two] = &plan.carb_names;
    let mut steps =
        prepare(&["throttle linkage between the carburettors disconnected for the idle"]).to_vec();
    steps.extend(from_rest());
    let crossed = format!("Swap the hoses: sensor 1 on {two}, sensor 2 on {one}");
    let back = format!("Put the hoses back: sensor 1 on {one}, sensor 2 on {two}");
    steps.extend([
        Step::stretch("Idle, hoses on their own taps, hands off.", HOSES_S, Wants::Idle),
        hoses(&crossed, Action::HosesSwapped, "hoses swapped"),
        Step::stretch("Idle, hoses swapped, hands off.", HOSES_S, Wants::Idle),
        hoses(&back, Action::HosesDirect, "hoses direct"),
        Step {
            wants: Wants::Idle,
            ..Step::ask(
                "Read the finding. Turn a stop screw and mark it with key s, then hands off until \
                 the count is down; Enter when the idle is balanced.",
            )
            .ends(Ends::KeyWhenCalm(SCREW_S))
        },
        Step::ask("Reconnect the throttle linkage, then Enter.").mark("note linkage connected"),
        held(OFF_IDLE_RPM[0], HELD_S),
        held(OFF_IDLE_RPM[1], HELD_S),
        Step::stretch("Foot off, idle.", SETTLE_S, Wants::Idle).act(Action::Release),
    ]);
    steps
}

fn suspect_trial(suspect: &Suspect, of: &str) -> Trial {
    let name = &suspect.name;
    Trial {
        open: [format!("{of} Seal or pinch {name}"), format!("{of} Keep {name} sealed.")],
        close: [format!("{of} Release {name}"), format!("{of} {name} released, hands off.")],
        marks: [format!("seal {name}"), format!("release {name}")],
        acts: suspect.on_model,
        seconds: SUSPECT_S,
    }
}

fn known_leak(Millimetres(mm): Millimetres, of: &str) -> Trial {
    let side = Side::One;
    let leak = |mm: f64| Action::TractLeak { side, hole: Millimetres(mm) };
    Trial {
        open: [
            format!("{of} Open the {mm} mm jet on the spare tap"),
            format!("{of} Jet open, hands off."),
        ],
        close: [format!("{of} Close the jet"), format!("{of} Jet closed, hands off.")],
        marks: [format!("known leak {mm} mm"), "known leak closed".into()],
        acts: Some([leak(mm), leak(0.0)]),
        seconds: SUSPECT_S,
    }
}

/// Every suspect once, then every suspect again: a drift of the idle then falls on all alike, which
/// it does not where the trials of one come together.
fn hunt(plan: &Plan) -> Vec<Step> {
    let jet = plan.known_leak.map(|_| "drilled jet on a spare tap, closed");
    let mut steps = prepare(jet.as_slice()).to_vec();
    steps.extend(from_rest());
    steps.push(Step::stretch("Idle, hands off.", SUSPECT_S, Wants::Idle));
    for turn in 1..=plan.trials {
        let of = format!("({turn} of {})", plan.trials);
        let jet = plan.known_leak.map(|leak| known_leak(leak, &of));
        let suspects = plan.suspects.iter().map(|suspect| suspect_trial(suspect, &of));
        for trial in jet.into_iter().chain(suspects) {
            steps.extend(trial.steps(plan.hands_free));
        }
    }
    steps
}

fn tee_run() -> Vec<Step> {
    let mut steps = prepare(&["a T-piece and a hose to one tap, the other tap closed"]).to_vec();
    steps.push(
        Step::ask("Engine off: join both hoses to one tap through the T-piece, then Enter.")
            .act(Action::HosesTogether)
            .mark("tee on"),
    );
    let [mut off, leave, start, settle] = from_rest();
    off.say = "Engine off. Enter when it stands still.".into();
    steps.extend([off, leave, start, settle]);
    steps.extend([
        Step::stretch("Idle.", TEE_S, Wants::Idle),
        held(TEE_RPM[0], TEE_S),
        Step::stretch("Foot off, idle.", SETTLE_S, Wants::Idle).act(Action::Release),
        held(TEE_RPM[1], TEE_S),
        Step::stretch("Foot off, idle.", SETTLE_S, Wants::Idle).act(Action::Release),
        Step::ask("Switch the engine off. Enter when it stands still.")
            .act(Action::EngineOff)
            .mark("engine off"),
        Step::stretch("Leave the engine off.", TEE_OFF_S, Wants::Rest),
        Step::ask("Take the T-piece out, each hose on its own tap, then Enter.")
            .act(Action::HosesDirect)
            .mark("tee off"),
    ]);
    steps
}
