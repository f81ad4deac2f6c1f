use crate::scene::Scene;
#[test]
#[ignore]
fn debug() {
    let usual = Scene { swap: false, constant: 0.0, ..Scene::default() };
    let calm = Scene {
        wander: (0.0, 1.0),
        noise_pa: 0.0,
        zero_pa: 0.0,
        hunting: 0.0,
        step_pa: 1e-6,
        ..usual.clone()
    };
    for (name, scene) in [
        ("calm", calm.clone()),
        ("hunting", Scene { hunting: 0.01, ..calm.clone() }),
        ("noise", Scene { noise_pa: 2.0, ..calm.clone() }),
        ("wander", Scene { wander: (0.01, 1.5), ..calm.clone() }),
        ("zero", Scene { zero_pa: 10.0, ..calm.clone() }),
        ("500 Hz", Scene { rate_hz: 500.0, ..calm.clone() }),
        ("101 Hz", Scene { rate_hz: 101.0, ..calm.clone() }),
        ("usual", usual.clone()),
        ("usual 500 Hz", Scene { rate_hz: 500.0, ..usual.clone() }),
    ] {
        for seed in 0..4 {
            let f = scene.judged(seed);
            let Some(p) = f.plateaus.first() else {
                println!("{name} {}", f.say);
                continue;
            };
            println!(
                "{name} {:.2} {:.2} {} {:.3} % {:.3?}",
                p.from_s,
                p.to_s,
                p.cycles,
                100.0 * p.flow1_over_flow2.ln(),
                p.budget
                    .iter()
                    .map(|r| (r.name, r.u_percent, r.dof.unwrap_or(-1.0)))
                    .collect::<Vec<_>>()
            );
        }
    }
}
