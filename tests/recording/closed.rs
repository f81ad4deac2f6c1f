//! A session that is closed before anybody is told.

use crate::recorder::folder;
use evenbreath::log::{ReadOptions, read_path};
use evenbreath::recording::readings::Said;
use evenbreath::recording::session::{Session, Wanted};
use evenbreath::sources::event::{Columns, Event, Sample};
use evenbreath::units::STANDARD_ATMOSPHERE;

const COLUMNS: Columns =
    Columns { absolute: false, crank: false, named: true, one_sensor: None, ticks_per_s: 1.0 };

fn sample(k: u32) -> Event {
    let time_s = 0.005 * f64::from(k);
    let readings = [Some(57.0), Some(56.0), None];
    Event::Sample(Sample { time_s, host_s: time_s, seq: None, rpm: Some(850.0), readings })
}

#[test]
fn a_closed_session_has_written_all_that_it_took_and_takes_no_more() {
    let path = folder("session-closed").join("log.csv");
    let (head, said) = (Vec::new(), Said::default());
    let wanted = Wanted { path: path.clone(), head, said, baro: STANDARD_ATMOSPHERE };
    let mut session = Session::new(wanted);
    session.take(Event::Columns(COLUMNS)).unwrap();
    session.mark("engine on", 0.0);
    (0..100).for_each(|k| session.take(sample(k)).unwrap());
    session.mark("cap off", 0.5);
    // No tick has let the journal write.
    assert_eq!(session.not_written(), 100);

    session.close();
    let log = read_path(&path, &ReadOptions::default()).unwrap();
    let marks: Vec<&str> = log.track.marks.iter().map(|mark| mark.text.as_str()).collect();
    assert_eq!((log.rows, marks), (100, vec!["engine on", "cap off"]));
    assert_eq!(session.not_written(), 0);

    session.mark("cap on", 0.6);
    session.take(sample(100)).unwrap();
    session.close();
    let finished = session.finish();
    assert_eq!(finished.path.as_deref(), Some(path.as_path()));
    assert_eq!(finished.closed.map(|closed| (closed.rows, closed.not_written)), Some((101, 0)));
    assert_eq!(finished.tally.marks, 2);
    assert_eq!(read_path(&path, &ReadOptions::default()).unwrap().rows, 100);
}
