//! The pictures: written whole or not at all, readable, with no words in one another's way.

#[path = "charts/fixture.rs"]
mod fixture;

use evenbreath::charts::{self, ChartError, Frame};
use evenbreath::findings::Sides;
use std::path::{Path, PathBuf};

fn sides() -> Sides {
    Sides { one: "Front".into(), two: "Rear".into() }
}

fn frame(width: u32) -> Frame {
    Frame { width, height: width * 2 / 3, ..Frame::default() }
}

/// A folder of its own under the build's, so that the pictures can be looked at.
fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("charts").join(name);
    std::fs::create_dir_all(&folder).unwrap();
    folder
}

#[test]
fn balance_pictures_at_both_sizes() {
    let parts = fixture::three_speeds(2.4);
    let signal = fixture::signal(&parts, 1);
    let finding = fixture::balance(&parts, &signal, 0.18, fixture::SAY_BALANCE);
    for width in [900, 1800] {
        let path = folder("balance").join(format!("balance-{width}.png"));
        charts::balance(&path, &frame(width), &signal, &finding, &sides()).unwrap();
        charts::balance(&path.with_extension("svg"), &frame(width), &signal, &finding, &sides())
            .unwrap();
    }
    let _: Option<ChartError> = None;
}
