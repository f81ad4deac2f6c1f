//! A guide played on the model engine: the rows a box would write, the marks where the guide wants
//! them. The box is our own, not that of the engine's recordings: lag, offset, gain, noise, converter.

use evenbreath::engine::{Action, Engine, Settings};
use evenbreath::log::{self, ReadOptions};
use evenbreath::recording::guide::{Doing, Guide, News, Plan, Prompt, StandIn};
use evenbreath::sample::{Mark, Meaning};
use evenbreath::signal::{self, Signal};
use evenbreath::units::Seconds;
use rand::SeedableRng;
use rand_distr::{Distribution, StandardNormal};
use rand_pcg::Pcg64;

const RATE_HZ: f64 = 50.0;
const LAG_S: f64 = 0.03;
const NOISE_KPA: f64 = 0.06;
const STEP_KPA: f64 = 0.027;
/// A pick-up reads nothing of an engine that turns more slowly, rev/min.
const PICKUP_RPM: f64 = 100.0;

/// What happens to the engine's box, or what the person does beside the guide's steps.
#[derive(Clone, Copy)]
pub enum Twist {
    /// The link is down from one time to another, s.
    LinkLost(f64, f64),
    /// Something is done to the engine that nobody asked for, at a time, s.
    Act(f64, Action),
    /// The person says 'again' at a time, s.
    Again(f64),
    /// The person marks that a mark was a mistake, at a time, s.
    Mistake(f64, &'static str),
    /// The person leaves the step out at a time, s.
    Skip(f64),
}

/// The engine, the box, and what befalls them.
pub struct Stage {
    pub settings: Settings,
    pub offset_kpa: [f64; 2],
    pub gain: [f64; 2],
    pub pickup: bool,
    pub twists: Vec<Twist>,
    pub seed: u64,
}

/// What came of it.
pub struct Played {
    /// The log as a file.
    pub text: String,
    /// The marks as the guide gave them out: log time, s, and words.
    pub marks: Vec<(f64, String)>,
    /// What the person or the twist did to the engine: log time, s.
    pub acts: Vec<(f64, Action)>,
    /// Every prompt that differed from the one before it in more than the count-down.
    pub prompts: Vec<(f64, Prompt)>,
    pub finished: bool,
}

impl Stage {
    pub fn new(seed: u64) -> Self {
        Stage {
            settings: Settings::default(),
            offset_kpa: [0.55, -0.35],
            gain: [1.009, 0.992],
            pickup: true,
            twists: Vec::new(),
            seed,
        }
    }

    pub fn play(&self, plan: &Plan) -> Played {
        let mut guide = Guide::new(plan).unwrap();
        let mut engine = Engine::new(self.settings.clone(), self.seed);
        engine.act(Action::EngineOff);
        let mut person = StandIn::new(self.seed);
        let mut random = Pcg64::seed_from_u64(self.seed);
        let mut lagged = [0.0; 2];
        let mut twists = self.twists.clone();
        let mut played = Played {
            text: "# baro_kpa: 101.3\n# cylinders: 4\ntime_s,rpm,vac1_kpa,vac2_kpa,mark\n".into(),
            marks: vec![],
            acts: vec![],
            prompts: vec![],
            finished: false,
        };
        for k in 0..(1200.0 * RATE_HZ) as u32 {
            let now_s = f64::from(k) / RATE_HZ;
            let look = engine.look();
            let rpm = Some(look.rpm).filter(|rpm| self.pickup && *rpm > PICKUP_RPM);
            let mut doing = vec![];
            let link_down = self.befall(now_s, &mut twists, &mut guide, &mut engine, &mut doing);
            let (acts, confirmed) = person.turn(now_s, &guide.prompt());
            acts.iter().for_each(|act| engine.act(*act));
            played.acts.extend(acts.iter().map(|act| (now_s, *act)));
            // While the link is down the newest sample is the last that came.
            doing.extend(guide.advance(now_s, confirmed, News { link_down, rpm }));
            person.hear(now_s, &doing);
            played.note(now_s, &guide.prompt());
            let mark = played.take(now_s, &doing);
            if !link_down {
                let mut read = |side: usize| {
                    let noise: f64 = StandardNormal.sample(&mut random);
                    let ideal = self.offset_kpa[side] + self.gain[side] * lagged[side];
                    ((ideal + NOISE_KPA * noise) / STEP_KPA).round() * STEP_KPA
                };
                let (one, two) = (read(0), read(1));
                let rpm = rpm.map_or(String::new(), |rpm| format!("{rpm:.1}"));
                played.text += &format!("{now_s:.3},{rpm},{one:.2},{two:.2},{mark}\n");
            }
            if guide.is_finished() {
                played.finished = true;
                break;
            }
            for _ in 0..(1000.0 / RATE_HZ) as u32 {
                engine.run(0.001);
                for (lagged, true_kpa) in lagged.iter_mut().zip(engine.look().at_hoses) {
                    *lagged += (true_kpa.0 - *lagged) * 0.001 / LAG_S;
                }
            }
        }
        played
    }

    /// Lets the twists happen; true while the link is down.
    fn befall(
        &self,
        now_s: f64,
        twists: &mut Vec<Twist>,
        guide: &mut Guide,
        engine: &mut Engine,
        doing: &mut Vec<Doing>,
    ) -> bool {
        twists.retain(|twist| match *twist {
            Twist::Act(at, action) if now_s >= at => {
                engine.act(action);
                false
            }
            Twist::Again(at) if now_s >= at => {
                doing.extend(guide.again());
                false
            }
            Twist::Mistake(at, words) if now_s >= at => {
                doing.push(Doing::Mark(format!("mistake {words}")));
                doing.extend(guide.noticed(&Meaning::Mistake(words.into())));
                false
            }
            Twist::Skip(at) if now_s >= at => {
                doing.extend(guide.skip());
                false
            }
            _ => true,
        });
        twists.iter().any(
            |twist| matches!(twist, Twist::LinkLost(from, to) if (*from..*to).contains(&now_s)),
        )
    }
}

impl Played {
    fn note(&mut self, now_s: f64, prompt: &Prompt) {
        let bare = |prompt: &Prompt| Prompt { left_s: None, complaint: None, ..prompt.clone() };
        let kind =
            |prompt: &Prompt| prompt.complaint.as_ref().map(|text| text.ends_with("throttle."));
        let same =
            |last: &(f64, Prompt)| bare(&last.1) == bare(prompt) && kind(&last.1) == kind(prompt);
        if !self.prompts.last().is_some_and(same) {
            self.prompts.push((now_s, prompt.clone()));
        }
    }

    /// Keeps the marks; the words for the row.
    fn take(&mut self, now_s: f64, doing: &[Doing]) -> String {
        let words: Vec<&String> = doing
            .iter()
            .filter_map(|doing| match doing {
                Doing::Mark(words) => Some(words),
                _ => None,
            })
            .collect();
        assert!(words.len() <= 1, "two marks on one row: {words:?}");
        let Some(words) = words.first() else { return String::new() };
        self.marks.push((now_s, words.to_string()));
        format!("\"{words}\"")
    }

    /// The marks with a meaning, notes left out.
    pub fn meant(&self) -> Vec<(f64, &str)> {
        let meant = self.marks.iter().filter(|(_, words)| !words.starts_with("note "));
        meant.map(|(at, words)| (*at, words.as_str())).collect()
    }

    /// The log read back and prepared.
    pub fn signal(&self) -> Signal {
        let read = log::read(self.text.as_bytes(), &ReadOptions::default()).unwrap();
        assert_eq!(read.bad_rows, 0);
        let mut want: Vec<Mark> =
            self.marks.iter().map(|(at, words)| Mark::read(Seconds(*at), words)).collect();
        Mark::set_aside(&mut want);
        assert_eq!(read.track.marks, want, "the marks of the file");
        assert!(!want.iter().any(|mark| mark.is_missed()), "{want:?}");
        signal::prepare(read.track, 4)
    }

    /// When the engine was last acted upon in this way, s.
    pub fn acted(&self, action: Action) -> Vec<f64> {
        self.acts.iter().filter(|(_, act)| *act == action).map(|(at, _)| *at).collect()
    }
}
