//! Ranges that are always finite and never empty, axes and their ticks.

/// A finite, non-empty range of values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Range {
    low: f64,
    high: f64,
}

impl Range {
    /// Beyond this size a value is taken for damage and not drawn: a span of such values would
    /// overflow, and no quantity of this program comes near it.
    const LIMIT: f64 = 1e12;

    /// The range of all drawable values; `None` when there is none. One value, or many equal ones,
    /// give a range around it.
    pub fn of(values: impl IntoIterator<Item = f64>) -> Option<Range> {
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for value in values.into_iter().filter(|v| Self::drawable(*v)) {
            low = low.min(value);
            high = high.max(value);
        }
        (low <= high).then(|| Range { low, high }.opened())
    }

    /// True for a value that has a place on an axis.
    pub fn drawable(value: f64) -> bool {
        value.is_finite() && value.abs() <= Self::LIMIT
    }

    /// Lower end.
    pub fn low(self) -> f64 {
        self.low
    }

    /// Upper end.
    pub fn high(self) -> f64 {
        self.high
    }

    /// Upper less lower end; positive.
    pub fn span(self) -> f64 {
        self.high - self.low
    }

    /// True when it holds all of the other.
    pub fn holds(self, other: Range) -> bool {
        self.low <= other.low && other.high <= self.high
    }

    /// The smallest range that holds both.
    pub fn join(self, other: Option<Range>) -> Range {
        other.map_or(self, |o| Range { low: self.low.min(o.low), high: self.high.max(o.high) })
    }

    /// Widened around its middle to `span`, so that noise of the last digit does not fill a panel.
    pub fn at_least(self, span: f64) -> Range {
        let lack = 0.5 * (span - self.span());
        if lack > 0.0 { Range { low: self.low - lack, high: self.high + lack } } else { self }
    }

    /// Widened by this fraction of its span at either end.
    pub fn padded(self, fraction: f64) -> Range {
        let pad = fraction * self.span();
        Range { low: self.low - pad, high: self.high + pad }
    }

    /// Opened where it is empty or narrower than the numbers can resolve.
    fn opened(self) -> Range {
        let size = self.low.abs().max(self.high.abs());
        if self.span() > 1e-9 * size && self.span() > 1e-12 {
            return self;
        }
        let half = if size > 1e-9 { 0.01 * size } else { 1.0 };
        Range { low: self.low - half, high: self.high + half }
    }
}

/// A tick: where, and what is written there.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Tick {
    /// Value on the axis.
    pub value: f64,
    /// The value as text.
    pub text: String,
}

/// Round ticks (1, 2 or 5 times a power of ten) inside the range: as many as there are up to `most`,
/// or a few more where there would be less than two.
pub(super) fn ticks(range: Range, most: usize) -> Vec<Tick> {
    let most = most.max(2);
    let mut step = round_step(range.span() / (most + 1) as f64);
    let mut found = multiples(range, step);
    while found.len() > most {
        let wider = round_step(1.5 * step);
        let fewer = multiples(range, wider);
        if fewer.len() < 2 {
            break;
        }
        (step, found) = (wider, fewer);
    }
    let decimals = (-(step.log10() + 1e-9).floor()).clamp(0.0, 12.0) as usize;
    found.into_iter().map(|value| Tick { value, text: number(value, decimals) }).collect()
}

/// The next of 1, 2, 5 times a power of ten that is not smaller.
fn round_step(least: f64) -> f64 {
    let power = 10f64.powf(least.log10().floor());
    let lead = least / power;
    let round = [1.0, 2.0, 5.0].into_iter().find(|r| lead <= r * (1.0 + 1e-9)).unwrap_or(10.0);
    round * power
}

fn multiples(range: Range, step: f64) -> Vec<f64> {
    let first = (range.low() / step - 1e-9).ceil();
    (0..64)
        .map(|k| (first + f64::from(k)) * step)
        .take_while(|value| *value <= range.high() + 1e-9 * step)
        .collect()
}

/// A number with a real minus sign and no negative zero.
pub(super) fn number(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    match text.strip_prefix('-') {
        Some(digits) if digits.bytes().all(|b| b == b'0' || b == b'.') => digits.to_owned(),
        Some(digits) => format!("\u{2212}{digits}"),
        None => text,
    }
}

/// As [`number`], with a plus sign on what is above zero.
pub(super) fn signed(value: f64, decimals: usize) -> String {
    let text = number(value, decimals);
    let zero = text.bytes().all(|b| b == b'0' || b == b'.');
    if value > 0.0 && !zero { format!("+{text}") } else { text }
}

/// A straight map from values to pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Axis {
    /// What it shows.
    pub range: Range,
    /// Pixel of the lower end.
    pub from: f64,
    /// Pixel of the upper end.
    pub to: f64,
}

impl Axis {
    /// The pixel of a value; values outside the range fall on its nearer end.
    pub fn px(&self, value: f64) -> f64 {
        self.at(self.share(value).clamp(0.0, 1.0))
    }

    /// The pixel of a value, beyond the ends of the axis for a value outside the range.
    pub fn open_px(&self, value: f64) -> f64 {
        self.at(self.share(value))
    }

    fn share(&self, value: f64) -> f64 {
        (value - self.range.low()) / self.range.span()
    }

    fn at(&self, share: f64) -> f64 {
        self.from + share * (self.to - self.from)
    }
}

/// How log time is written on an axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Clock {
    origin_s: f64,
    unit_s: f64,
    /// Label of the axis.
    pub label: &'static str,
}

impl Clock {
    /// Log time as it stands; minutes for long logs, and from the start of the log where its times
    /// are so large (seconds of the epoch) that they cannot be read.
    pub fn of(range_s: Range) -> Clock {
        let far = range_s.low().abs() > 1e5;
        let long = range_s.span() > 1200.0;
        Clock {
            origin_s: if far { range_s.low() } else { 0.0 },
            unit_s: if long { 60.0 } else { 1.0 },
            label: match (far, long) {
                (false, false) => "Time (s)",
                (false, true) => "Time (min)",
                (true, false) => "Time from the start of the log (s)",
                (true, true) => "Time from the start of the log (min)",
            },
        }
    }

    /// Symbol of the unit of the axis.
    pub fn unit(&self) -> &'static str {
        if self.unit_s > 1.0 { "min" } else { "s" }
    }

    /// Log time in the unit of the axis.
    pub fn at(&self, seconds: f64) -> f64 {
        (seconds - self.origin_s) / self.unit_s
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ranges_are_finite_and_never_empty() {
        assert_eq!(Range::of([]), None);
        assert_eq!(Range::of([f64::NAN, f64::INFINITY, 1e300]), None);
        for values in [vec![5.0], vec![0.0, 0.0], vec![1e9, 1e9 + 1e-4], vec![-3.0, f64::NAN]] {
            let range = Range::of(values.clone()).unwrap();
            assert!(range.span() > 0.0 && range.span().is_finite(), "{values:?}");
            assert!(ticks(range, 5).len() >= 2, "{values:?} {:?}", ticks(range, 5));
        }
    }

    #[test]
    fn ticks_are_round_and_inside() {
        let texts = |low, high, most| {
            let range = Range::of([low, high]).unwrap();
            ticks(range, most).into_iter().map(|t| t.text).collect::<Vec<_>>()
        };
        assert_eq!(texts(-1.3, 1.3, 6), ["\u{2212}1.0", "\u{2212}0.5", "0.0", "0.5", "1.0"]);
        assert_eq!(texts(812.0, 877.0, 4), ["820", "840", "860"]);
        assert_eq!(texts(0.0, 60.0, 7), ["0", "10", "20", "30", "40", "50", "60"]);
        assert_eq!(
            texts(0.0004, 0.0009, 6),
            ["0.0004", "0.0005", "0.0006", "0.0007", "0.0008", "0.0009"]
        );
    }

    #[test]
    fn signs_are_written_only_where_there_is_one() {
        assert_eq!(signed(-0.001, 2), "0.00");
        assert_eq!(signed(0.001, 2), "0.00");
        assert_eq!(signed(1.25, 1), "+1.2");
        assert_eq!(signed(-1.26, 1), "\u{2212}1.3");
    }
}
