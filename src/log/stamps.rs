//! Dates and times of day as loggers write them.

use jiff::civil::Date;

/// The order of the three numbers of a date.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Order {
    /// Year, month, day.
    Ymd,
    /// Day, month, year.
    Dmy,
    /// Month, day, year.
    Mdy,
}

/// What a stamp holds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Stamp {
    /// Days since 1970-01-01; `None` for a time of day alone.
    pub days: Option<i64>,
    /// Seconds since midnight, less the offset from UTC where one is given; `None` for a date
    /// alone.
    pub seconds: Option<f64>,
    /// The time of day says whether it is before or after noon.
    pub half_named: bool,
}

/// Reads a stamp: a date, a time of day, or both with a blank or a `T` between them.
pub(super) fn stamp(text: &str, order: Order) -> Option<Stamp> {
    let text = super::numbers::bare(text);
    let (date, time) = split(text);
    let days = match date {
        Some(date) => Some(days_of(date, order)?),
        None => None,
    };
    let (seconds, half_named) = match time {
        Some(time) => {
            let (seconds, half) = seconds_of(time, days.is_some())?;
            (Some(seconds), half)
        }
        None => (None, false),
    };
    (days.is_some() || seconds.is_some()).then_some(Stamp { days, seconds, half_named })
}

/// Cuts a stamp into its date and its time of day.
fn split(text: &str) -> (Option<&str>, Option<&str>) {
    let Some(colon) = text.find(':') else {
        return (Some(text).filter(|t| !t.is_empty()), None);
    };
    let digits = text[..colon].bytes().rev().take_while(u8::is_ascii_digit).count();
    let start = colon - digits;
    // `2020-02-23T12:47` and `23.02.2020, 12:47`; a compact date needs its T.
    let date = text[..start].trim_end_matches([' ', 'T', 't', ',', '_', '-', '\u{a0}']);
    (Some(date).filter(|d| !d.is_empty()), Some(&text[start..]))
}

/// Days since 1970-01-01 of a date in the given order; a four-digit first number is a year.
fn days_of(text: &str, order: Order) -> Option<i64> {
    let text = text.trim();
    let mut parts = [""; 3];
    let mut count = 0;
    for part in text.split(['-', '/', '.', ' ', ',']) {
        if part.is_empty() {
            continue;
        }
        // A weekday in front says nothing that the date does not.
        if count == 0 && part.chars().all(char::is_alphabetic) && month_of(part).is_none() {
            continue;
        }
        *parts.get_mut(count)? = part;
        count += 1;
    }
    if count == 1 && parts[0].len() == 8 && parts[0].bytes().all(|b| b.is_ascii_digit()) {
        let whole = parts[0];
        return civil(&whole[..4], &whole[4..6], &whole[6..]);
    }
    if count != 3 {
        return None;
    }
    let [a, b, c] = parts;
    match order {
        _ if a.len() == 4 && month_of(a).is_none() => civil(a, b, c),
        _ if month_of(b).is_some_and(|m| m > 12) => None,
        _ if b.chars().all(char::is_alphabetic) => civil(c, b, a),
        _ if a.chars().all(char::is_alphabetic) => civil(c, a, b),
        Order::Ymd => civil(a, b, c),
        Order::Dmy => civil(c, b, a),
        Order::Mdy => civil(c, a, b),
    }
}

fn civil(year: &str, month: &str, day: &str) -> Option<i64> {
    let digits = |text: &str| text.bytes().all(|b| b.is_ascii_digit());
    if !digits(year) || !digits(day) || day.len() > 2 || month.len() > 9 {
        return None;
    }
    let year: i16 = match year.len() {
        4 => year.parse().ok()?,
        2 => 2000 + year.parse::<i16>().ok()?,
        _ => return None,
    };
    let month = month_of(month).or_else(|| month.parse().ok())?;
    let date = Date::new(year, i8::try_from(month).ok()?, day.parse().ok()?).ok()?;
    let epoch = Date::new(1970, 1, 1).ok()?;
    Some(i64::from(epoch.until(date).ok()?.get_days()))
}

/// The number of a month's name, English, German, French or Spanish.
fn month_of(word: &str) -> Option<u8> {
    const STARTS: [(&str, u8); 26] = [
        ("jan", 1),
        ("ene", 1),
        ("feb", 2),
        ("fev", 2),
        ("fév", 2),
        ("mar", 3),
        ("mär", 3),
        ("mrz", 3),
        ("apr", 4),
        ("avr", 4),
        ("abr", 4),
        ("may", 5),
        ("mai", 5),
        ("juin", 6),
        ("jun", 6),
        ("juil", 7),
        ("jul", 7),
        ("aug", 8),
        ("aoû", 8),
        ("ago", 8),
        ("sep", 9),
        ("oct", 10),
        ("okt", 10),
        ("nov", 11),
        ("dec", 12),
        ("dez", 12),
    ];
    if word.is_empty() || !word.chars().all(char::is_alphabetic) || word.chars().count() < 3 {
        return None;
    }
    let word = word.to_lowercase();
    if word.starts_with("déc") || word.starts_with("dic") {
        return Some(12);
    }
    STARTS.iter().find(|(start, _)| word.starts_with(start)).map(|(_, month)| *month)
}

/// Seconds since midnight, and whether AM or PM is named. After a date the hours end at 24; a time
/// alone may be a stopwatch and count on.
fn seconds_of(text: &str, dated: bool) -> Option<(f64, bool)> {
    let clock = text
        .find(|c: char| !(c.is_ascii_digit() || matches!(c, ':' | '.' | ',')))
        .unwrap_or(text.len());
    let (clock, rest) = text.split_at(clock);
    let (half, offset) = half_and_offset(rest.trim())?;
    let mut parts = clock.split(':');
    let (first, second, third) = (parts.next()?, parts.next()?, parts.next());
    let fraction = parts.next();
    let hours_first = third.is_some() || !second.contains(['.', ',']);
    let whole = |text: &str, most: f64| {
        let good = (1..=4).contains(&text.len()) && text.bytes().all(|b| b.is_ascii_digit());
        text.parse::<f64>().ok().filter(|n| good && *n <= most)
    };
    let decimal = |text: &str| {
        let text = text.replace(',', ".");
        text.parse::<f64>().ok().filter(|s| (0.0..61.0).contains(s))
    };
    if parts.next().is_some() {
        return None;
    }
    if !hours_first {
        let minutes = whole(first, 9999.0)?;
        return Some((minutes * 60.0 + decimal(second)? - offset, false));
    }
    let mut hours = whole(first, if dated { 24.0 } else { 9999.0 })?;
    let minutes = whole(second, 59.0)?;
    // A fourth part, as in `12:47:41:250`, is a fraction of a second.
    let mut seconds = third.map_or(Some(0.0), decimal)?;
    if let Some(digits) = fraction {
        seconds += whole(digits, 9999.0)? / 10f64.powi(digits.len() as i32);
    }
    if let Some(afternoon) = half {
        if !(1.0..=12.0).contains(&hours) {
            return None;
        }
        hours = hours % 12.0 + if afternoon { 12.0 } else { 0.0 };
    }
    Some((hours * 3600.0 + minutes * 60.0 + seconds - offset, half.is_some()))
}

/// AM or PM (true for PM) and the offset from UTC in seconds of what follows the digits.
fn half_and_offset(text: &str) -> Option<(Option<bool>, f64)> {
    let plain: String =
        text.chars().filter(|c| !c.is_whitespace() && *c != '.').collect::<String>().to_lowercase();
    let (half, rest) = match plain.as_str() {
        rest if rest.starts_with("am") => (Some(false), &rest[2..]),
        rest if rest.starts_with("pm") => (Some(true), &rest[2..]),
        rest => (None, rest),
    };
    let rest = rest.strip_prefix("utc").or(rest.strip_prefix("gmt")).unwrap_or(rest);
    if rest.is_empty() || rest == "z" || rest == "h" || rest == "uhr" {
        return Some((half, 0.0));
    }
    let (sign, digits) = match rest.split_at_checked(1)? {
        ("+", digits) => (1.0, digits),
        ("-", digits) => (-1.0, digits),
        _ => return None,
    };
    let digits: String = digits.chars().filter(|c| *c != ':').collect();
    if digits.is_empty() || digits.len() > 4 || !digits.bytes().all(|b| b.is_ascii_digit()) {
        return None;
    }
    let (hours, minutes) = digits.split_at(digits.len().min(2));
    let hours: f64 = hours.parse().ok()?;
    let minutes: f64 = if minutes.is_empty() { 0.0 } else { minutes.parse().ok()? };
    Some((half, sign * (hours * 3600.0 + minutes * 60.0)))
}

/// Tells the order of dates from samples, from a heading such as `Date (MM/DD/YYYY)`, and, where
/// both orders are possible, from which of the two lets the clock run forward in small steps.
pub(super) fn order_of(samples: &[&str], heading: &str) -> Order {
    let readable = |order: Order| {
        let good = |text: &&&str| stamp(text, order).is_some_and(|s| s.days.is_some());
        samples.iter().filter(good).count()
    };
    let travel = |order: Order| {
        let days: Vec<i64> = samples.iter().filter_map(|t| stamp(t, order)?.days).collect();
        days.windows(2).map(|pair| (pair[1] - pair[0]).abs()).sum::<i64>()
    };
    let heading = heading.to_lowercase();
    let named = |patterns: [&str; 3]| patterns.iter().any(|p| heading.contains(p));
    let preferred = [
        (Order::Dmy, named(["dd/mm", "dd.mm", "dd-mm"])),
        (Order::Mdy, named(["mm/dd", "mm.dd", "mm-dd-yy"])),
        (Order::Ymd, false),
    ];
    let key = |order, named: bool| (usize::MAX - readable(order), !named, travel(order));
    let best = preferred.map(|(order, named)| (key(order, named), order));
    let least = best.iter().map(|(key, _)| *key).min();
    let mut equal = best.iter().filter(|(key, _)| Some(*key) == least).map(|(_, order)| *order);
    let (Some(first), second) = (equal.next(), equal.next()) else { return Order::Ymd };
    if second.is_none() || first != Order::Dmy {
        return first;
    }
    // The twelve-hour clock and the month first go together.
    let half = samples.first().and_then(|t| stamp(t, Order::Mdy)).is_some_and(|s| s.half_named);
    if half { Order::Mdy } else { Order::Dmy }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn both(text: &str, order: Order) -> Option<(i64, f64)> {
        stamp(text, order).and_then(|s| Some((s.days?, s.seconds?)))
    }

    #[test]
    fn the_same_moment_in_many_shapes() {
        // 2020-02-24 is day 18 316 after 1970-01-01 (1 582 502 400 s, as `date -u -d` says).
        let noon = (18_316, 14.0 * 3600.0 + 34.0 * 60.0 + 18.0);
        for text in [
            "2020-02-24T14:34:18Z",
            "2020-02-24 14:34:18",
            "2020/02/24 14:34:18",
            "20200224T14:34:18",
            "2020-02-24 16:34:18+02:00",
            "24-Feb-2020 14:34:18",
            "Feb 24, 2020 2:34:18 PM",
            "Mon 24 Feb 2020 2:34:18 p.m.",
            "24 févr. 2020 14:34:18",
        ] {
            assert_eq!(both(text, Order::Dmy), Some(noon), "{text}");
        }
        for text in ["24/02/2020 14:34:18", "24.2.2020, 14:34:18", "24.02.20 14:34:18"] {
            assert_eq!(both(text, Order::Dmy), Some(noon), "{text}");
        }
        assert_eq!(both("2/24/2020 2:34:18 PM", Order::Mdy), Some(noon));
        assert_eq!(both("2/24/2020 12:00:00 AM", Order::Mdy), Some((18_316, 0.0)));
        assert_eq!(both("24.02.2020 14:34:18,250", Order::Dmy), Some((18_316, noon.1 + 0.25)));
        assert_eq!(both("2020-02-24 14:34:18:250", Order::Dmy), Some((18_316, noon.1 + 0.25)));
    }

    #[test]
    fn times_of_day_and_dates_alone() {
        let seconds = |text| stamp(text, Order::Dmy).and_then(|s| s.seconds);
        assert_eq!(seconds("00:12.5"), Some(12.5));
        assert_eq!(seconds("1:02"), Some(3720.0));
        assert_eq!(seconds("100:00:01"), Some(360_001.0));
        let date = stamp("2020-02-24", Order::Dmy).unwrap();
        assert_eq!((date.days, date.seconds), (Some(18_316), None));
    }

    #[test]
    fn what_is_no_stamp() {
        for text in [
            "",
            ":",
            "12",
            "0.02",
            "13:75:00",
            "31/02/2020 1:00:00",
            "2020-13-01",
            "a:b",
            "13:00 PM",
            "12:00 +99999",
            "1:2:3:4:5",
            "2020-02-24 25:00",
            "é:é",
            "１:２",
        ] {
            assert_eq!(stamp(text, Order::Dmy), None, "{text}");
        }
    }

    #[test]
    fn day_and_month_are_told_apart() {
        assert_eq!(order_of(&["5/06/2019 12:00", "13/06/2019 0:00"], ""), Order::Dmy);
        assert_eq!(order_of(&["2/23/2020", "2/23/2020"], ""), Order::Mdy);
        assert_eq!(order_of(&["2/3/2020", "2/3/2020"], "Date (MM/DD/YYYY)"), Order::Mdy);
        assert_eq!(order_of(&["2/3/2020 1:00", "3/3/2020 1:00"], ""), Order::Dmy);
        assert_eq!(order_of(&["2/3/2020 1:00", "2/4/2020 1:00"], ""), Order::Mdy);
        assert_eq!(order_of(&["2/3/2020 1:00 PM"], ""), Order::Mdy);
        assert_eq!(order_of(&["2/3/2020 13:00"], ""), Order::Dmy);
        assert_eq!(order_of(&["20/02/03", "20/02/28"], ""), Order::Ymd);
    }
}
