//! What somebody did, and when.

use crate::units::{Millimetres, Seconds};

/// What a mark in a log means.
#[derive(Debug, Clone, PartialEq)]
pub enum Meaning {
    /// The engine is stopped; both sensors see the atmosphere.
    EngineOff,
    /// The engine runs again.
    EngineOn,
    /// The oil filler cap has been taken off.
    CapOff,
    /// The oil filler cap is back on.
    CapOn,
    /// The two hoses have changed places.
    HosesSwapped,
    /// The two hoses are back in their own places.
    HosesDirect,
    /// Both hoses are on one tap through a T-piece.
    TeeOn,
    /// The T-piece is gone.
    TeeOff,
    /// The two airflow meters have changed places.
    MetersSwapped,
    /// The two airflow meters are back in their own places.
    MetersDirect,
    /// A suspect is sealed or pinched.
    Seal(String),
    /// A suspect is released.
    Release(String),
    /// A drilled jet of this diameter is open.
    KnownLeak(Millimetres),
    /// The drilled jet is closed.
    KnownLeakClosed,
    /// A stop screw has been turned (turns, open positive).
    Screw {
        /// Carburettor 1 or 2.
        side: u8,
        /// Turns, open positive.
        turns: f64,
    },
    /// The one sensor is on this side: its name, or `carb1`, `carb2`.
    On(String),
    /// The cable went silent.
    LinkLost,
    /// The cable speaks again.
    LinkBack,
    /// An earlier mark of these words was pressed by mistake: nothing of the kind was done.
    Mistake(String),
    /// A mark that a later one calls a mistake: kept and shown, and without effect.
    SetAside,
    /// Free text.
    Note(String),
    /// Any other mark: kept and shown.
    Other,
}

/// A mark: what somebody did and when.
#[derive(Debug, Clone, PartialEq)]
pub struct Mark {
    /// Log time.
    pub at: Seconds,
    /// The words as they stand in the log.
    pub text: String,
    /// What the words mean.
    pub meaning: Meaning,
}

impl Mark {
    /// Reads the words of a mark; case and spacing do not matter.
    ///
    /// ```
    /// use evenbreath::sample::{Mark, Meaning};
    /// use evenbreath::units::Seconds;
    /// assert_eq!(Mark::read(Seconds(3.0), " Cap  OFF ").meaning, Meaning::CapOff);
    /// ```
    pub fn read(at: Seconds, text: &str) -> Self {
        let words: Vec<&str> = text.split_whitespace().collect();
        let meaning = match meaning(&words) {
            Meaning::Other => phrase(&plain(text)),
            known => known,
        };
        Mark { at, text: words.join(" "), meaning }
    }

    /// The marks with a meaning, for people.
    pub const KNOWN: &str = "engine off, engine on, cap off, cap on, hoses swapped, hoses direct, tee on, tee off, meters swapped, meters direct, \
        seal NAME, release NAME, known leak 1.5 mm, known leak closed, screw 1 +0.25, \
        on carb1, on carb2, mistake MARK, note TEXT";

    /// Sets aside the marks that later ones call a mistake (`mistake cap off`): of each the last
    /// before it that has its meaning. Gives their times and the times of mistakes for which there
    /// is none, s. `marks` stand in the order of time.
    ///
    /// ```
    /// use evenbreath::sample::{Mark, Meaning};
    /// use evenbreath::units::Seconds;
    /// let at = |s: f64, words: &str| Mark::read(Seconds(s), words);
    /// let mut marks = vec![at(3.0, "cap off"), at(5.0, "mistake cap off"), at(9.0, "cap off")];
    /// assert_eq!(Mark::set_aside(&mut marks), (vec![3.0], vec![]));
    /// assert_eq!(marks[0].meaning, Meaning::SetAside);
    /// assert_eq!(marks[2].meaning, Meaning::CapOff);
    /// ```
    pub fn set_aside(marks: &mut [Mark]) -> (Vec<f64>, Vec<f64>) {
        let (mut aside_s, mut unmatched_s) = (Vec::new(), Vec::new());
        for k in 0..marks.len() {
            let Meaning::Mistake(words) = &marks[k].meaning else { continue };
            let regretted = Mark::read(marks[k].at, words).meaning;
            let at_s = marks[k].at.0;
            let found = marks[..k].iter_mut().rfind(|mark| mark.meaning == regretted);
            match found.filter(|_| regretted != Meaning::Other) {
                Some(mark) => {
                    mark.meaning = Meaning::SetAside;
                    aside_s.push(mark.at.0);
                }
                None => unmatched_s.push(at_s),
            }
        }
        (aside_s, unmatched_s)
    }

    /// True where the words speak of something that marks are about and yet have no meaning, so
    /// that somebody most likely meant one.
    ///
    /// ```
    /// use evenbreath::sample::Mark;
    /// use evenbreath::units::Seconds;
    /// assert!(Mark::read(Seconds(3.0), "hoses swaped").is_missed());
    /// assert!(!Mark::read(Seconds(3.0), "choke in").is_missed());
    /// ```
    pub fn is_missed(&self) -> bool {
        const STARTS: [&str; 11] = [
            "hose", "swap", "meter", "screw", "seal", "leak", "engine", "schlauch", "deckel",
            "bouchon", "tuyau",
        ];
        let words = plain(&self.text);
        let about = |word: &str| match word {
            "tee" | "tpiece" | "cap" | "caps" | "capped" | "uncapped" | "capoff" | "capon" => true,
            word => STARTS.iter().any(|start| word.starts_with(start)),
        };
        self.meaning == Meaning::Other && words.split(' ').any(about)
    }
}

/// Small letters without accents, one blank between words, no signs.
fn plain(text: &str) -> String {
    let mut kept = String::new();
    for c in text.chars().flat_map(char::to_lowercase) {
        match c {
            'à' | 'á' | 'â' | 'ä' => kept.push('a'),
            'è' | 'é' | 'ê' | 'ë' => kept.push('e'),
            'ô' | 'ö' | 'ó' => kept.push('o'),
            'ù' | 'ú' | 'û' | 'ü' => kept.push('u'),
            c if c.is_alphanumeric() => kept.push(c),
            _ => kept.push(' '),
        }
    }
    kept.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// What people type in place of the words of the format, where it can mean only one thing. A
/// German `Deckel auf` is left out: it is said of a lid that is open and of one that is put on.
fn phrase(plain: &str) -> Meaning {
    match plain {
        "engine stopped" | "motor aus" | "moteur arrete" | "moteur coupe" => Meaning::EngineOff,
        "engine running" | "motor an" | "motor lauft" | "moteur en marche" => Meaning::EngineOn,
        "cap off" | "capoff" | "oil cap off" | "filler cap off" | "oil filler cap off"
        | "cap removed" | "oil cap removed" | "cap open" | "cap opened" | "deckel ab"
        | "oldeckel ab" | "oeldeckel ab" | "deckel offen" | "bouchon ote" | "bouchon enleve"
        | "bouchon retire" => Meaning::CapOff,
        "cap on" | "capon" | "oil cap on" | "filler cap on" | "oil filler cap on"
        | "cap back on" | "oil cap back on" | "cap closed" | "deckel zu" | "oldeckel zu"
        | "oeldeckel zu" | "deckel drauf" | "bouchon remis" => Meaning::CapOn,
        "hose swap"
        | "hose swapped"
        | "hoses swap"
        | "hoses swapped"
        | "swap"
        | "swapped"
        | "swap hoses"
        | "swapped hoses"
        | "hoses crossed"
        | "schlauche getauscht"
        | "schlauche vertauscht"
        | "schlaeuche getauscht"
        | "schlaeuche vertauscht"
        | "tuyaux inverses"
        | "tuyaux croises" => Meaning::HosesSwapped,
        "hose direct" | "hoses direct" | "hose back" | "hoses back" | "hose normal"
        | "hoses normal" | "swap back" | "swapped back" | "hoses swapped back"
        | "schlauche zuruck" | "schlaeuche zurueck" | "schlauche normal" | "schlaeuche normal"
        | "tuyaux remis" | "tuyaux normaux" => Meaning::HosesDirect,
        "meter swapped" | "meters swap" | "swap meters" | "swapped meters" | "meters crossed" => {
            Meaning::MetersSwapped
        }
        "meter direct" | "meters back" | "meters normal" | "meters swapped back" => {
            Meaning::MetersDirect
        }
        "engine off" => Meaning::EngineOff,
        "engine on" => Meaning::EngineOn,
        _ => Meaning::Other,
    }
}

fn meaning(words: &[&str]) -> Meaning {
    let lower: Vec<String> = words.iter().map(|w| w.to_lowercase()).collect();
    let lower: Vec<&str> = lower.iter().map(String::as_str).collect();
    let rest = |from: usize| words[from..].join(" ");
    match lower.as_slice() {
        ["engine", "off"] => Meaning::EngineOff,
        ["engine", "on"] => Meaning::EngineOn,
        ["cap", "off"] => Meaning::CapOff,
        ["cap", "on"] => Meaning::CapOn,
        ["hoses", "swapped"] => Meaning::HosesSwapped,
        ["hoses", "direct"] => Meaning::HosesDirect,
        ["meters", "swapped"] => Meaning::MetersSwapped,
        ["meters", "direct"] => Meaning::MetersDirect,
        ["tee", "on"] => Meaning::TeeOn,
        ["tee", "off"] => Meaning::TeeOff,
        ["link", "lost"] => Meaning::LinkLost,
        ["link", "back"] => Meaning::LinkBack,
        ["known", "leak", "closed"] => Meaning::KnownLeakClosed,
        ["known", "leak", size @ ..] => known_leak(size),
        ["screw", side, turns] => screw(side, turns),
        ["seal", _, ..] => Meaning::Seal(rest(1)),
        ["release", _, ..] => Meaning::Release(rest(1)),
        ["on", _, ..] => Meaning::On(rest(1)),
        ["note", ..] => Meaning::Note(rest(1)),
        ["mistake", _, ..] => Meaning::Mistake(rest(1)),
        _ => Meaning::Other,
    }
}

fn known_leak(size: &[&str]) -> Meaning {
    let joined = size.concat();
    joined
        .strip_suffix("mm")
        .and_then(|number| number.parse::<f64>().ok())
        .filter(|mm| mm.is_finite() && *mm > 0.0)
        .map_or(Meaning::Other, |mm| Meaning::KnownLeak(Millimetres(mm)))
}

fn screw(side: &str, turns: &str) -> Meaning {
    match (side, turns.parse::<f64>()) {
        ("1", Ok(turns)) if turns.is_finite() => Meaning::Screw { side: 1, turns },
        ("2", Ok(turns)) if turns.is_finite() => Meaning::Screw { side: 2, turns },
        _ => Meaning::Other,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(text: &str) -> Meaning {
        Mark::read(Seconds(1.0), text).meaning
    }

    #[test]
    fn what_people_type_is_read_where_it_means_one_thing() {
        for (meaning, texts) in [
            (
                Meaning::HosesSwapped,
                "hose swapped|hoses swap|swap|Swapped.|HOSES-SWAPPED|Schläuche getauscht|Schlaeuche getauscht|tuyaux inversés",
            ),
            (Meaning::HosesDirect, "hoses back|hoses normal|Schläuche zurück|hoses swapped back"),
            (
                Meaning::CapOff,
                "cap-off|capoff|cap_off|oil cap off|cap removed|Deckel ab|bouchon ôté|Öldeckel ab",
            ),
            (Meaning::CapOn, "cap-on|oil cap on|cap back on|Deckel zu|bouchon remis"),
            (Meaning::EngineOff, "engine-off|Motor aus|moteur arrêté"),
        ] {
            for text in texts.split('|') {
                assert_eq!(of(text), meaning, "{text}");
            }
        }
    }

    #[test]
    fn a_mistake_sets_aside_one_mark_and_the_nearest_before_it() {
        let aside = |words: &[&str]| {
            let read = |(k, words): (usize, &&str)| Mark::read(Seconds(k as f64), words);
            let mut marks: Vec<Mark> = words.iter().enumerate().map(read).collect();
            Mark::set_aside(&mut marks)
        };
        let two = ["cap off", "cap on", "cap off", "Mistake  CAP OFF", "mistake oil cap off"];
        assert_eq!(aside(&two), (vec![2.0, 0.0], vec![]));
        assert_eq!(aside(&["mistake cap off", "cap off"]), (vec![], vec![0.0]));
        assert_eq!(aside(&["cap off", "mistake cap on"]), (vec![], vec![1.0]));
        assert_eq!(aside(&["seal a", "seal b", "mistake seal a"]), (vec![0.0], vec![]));
        assert_eq!(aside(&["what", "mistake what"]), (vec![], vec![1.0]), "no meaning, no effect");
        assert_eq!(of("mistake"), Meaning::Other);
        assert!(!Mark::read(Seconds(0.0), "mistake cap off").is_missed());
    }

    #[test]
    fn what_may_mean_two_things_has_no_meaning_and_is_missed() {
        for text in
            ["Deckel auf", "hoses swaped", "hose", "cap?", "screw left a bit", "known leak", "leak"]
        {
            let mark = Mark::read(Seconds(1.0), text);
            assert_eq!(mark.meaning, Meaning::Other, "{text}");
            assert!(mark.is_missed(), "{text}");
        }
        for text in
            ["choke in", "escape", "capture 3", "note hose is old", "seal breather", "cap off"]
        {
            assert!(!Mark::read(Seconds(1.0), text).is_missed(), "{text}");
        }
        assert_eq!(of("seal Left-Hose"), Meaning::Seal("Left-Hose".into()));
        assert_eq!(of("screw 1 -0.25"), Meaning::Screw { side: 1, turns: -0.25 });
    }
}
