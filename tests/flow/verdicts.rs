use crate::scene::Scene;
use crate::tables::Tally;
#[test]
#[ignore]
fn debug() {
    let usual = Scene { ratio: 1.03, ..Scene::default() };
    for swap in [false, true] {
        for (name, wander, hunting) in [
            ("none", (0.0, 1.0), 0.01),
            ("none, calm", (0.0, 1.0), 1e-4),
            ("1 %, 0.2 s", (0.01, 0.2), 0.01),
            ("1 %, 0.5 s", (0.01, 0.5), 0.01),
            ("1 %, 1 s", (0.01, 1.0), 0.01),
            ("2 % .5 s", (0.02, 0.5), 0.01),
        ] {
            let scene = Scene {
                wander,
                swap,
                hunting,
                constant: if swap { 0.02 } else { 0.0 },
                zero_pa: 10.0,
                ..usual.clone()
            };
            let t = Tally::of(&scene, 300);
            println!(
                "{swap} {name}: {:.1} half {:.2} err {:.2} {} {}",
                100.0 * t.held as f64 / t.logs as f64,
                t.half_percent / 300.0,
                t.error_percent / 300.0,
                t.silent,
                t.split
            );
        }
    }
}
