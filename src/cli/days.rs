//! The day on which a log was made.

use crate::log::Head;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{Timestamp, Unit};

/// The day that the header of a log names as its start.
pub fn started(head: &Head) -> Option<Date> {
    head.started.as_deref().and_then(|started| started.trim().get(..10)?.parse().ok())
}

/// The day of a log: that of its header, else today (UTC).
pub fn of_log(head: &Head) -> Date {
    started(head).unwrap_or_else(|| Timestamp::now().to_zoned(TimeZone::UTC).date())
}

/// Days from one to the other.
pub fn between(from: Date, to: Date) -> Option<i64> {
    Some(i64::from(from.until((Unit::Day, to)).ok()?.get_days()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_header_says_the_day_and_today_stands_in() {
        let head = |started: &str| Head { started: Some(started.into()), ..Head::default() };
        let day = of_log(&head("2026-03-14T09:30:00+01:00"));
        assert_eq!(day.to_string(), "2026-03-14");
        let now = Timestamp::now().to_zoned(TimeZone::UTC).date();
        for silent in [head("yesterday"), head("2026"), Head::default()] {
            assert!((0..=1).contains(&between(now, of_log(&silent)).unwrap()));
        }
        assert_eq!(between("2025-03-14".parse().unwrap(), day), Some(365));
    }
}
