//! Columns that were taken for nothing: what they may be, and how they are told to a person.

use super::claims;
use super::clocks::Column;
use super::headings::Unit;
use crate::sample::Remark;

/// The most headings that are listed.
const LISTED: usize = 12;
/// The fewest rows by which the habits of a column are judged.
const FEWEST: usize = 10;
/// Speeds of a running engine, rev/min.
const SPEEDS: std::ops::RangeInclusive<f64> = 300.0..=7000.0;

/// True where the numbers are those of an engine's speed: in its range, changing, and no counter.
/// An engine that stands still is 0 in between or from the start.
pub(super) fn is_like_speed(column: &Column) -> bool {
    let numbers = column.numbers();
    let mut turning: Vec<f64> = numbers.iter().copied().filter(|n| *n != 0.0).collect();
    turning.sort_by(f64::total_cmp);
    let counts = numbers.len() > 1 && numbers.windows(2).all(|pair| pair[1] > pair[0]);
    match (turning.first(), turning.get(turning.len() / 2), turning.last()) {
        (Some(low), Some(middle), Some(high)) => {
            column.is_numeric() && SPEEDS.contains(middle) && low < high && !counts
        }
        _ => false,
    }
}

/// The claim of a lone `n`, the sign of a rotational speed, which may be a count of samples too.
pub(super) fn lone_sign_of_speed(column: &Column) -> i32 {
    let heading = &column.heading;
    let plain = heading.words == ["n"] && matches!(heading.unit, None | Some(Unit::Speed(_)));
    let numbers = column.numbers();
    let rests = !numbers.is_empty() && numbers.iter().all(|n| *n == 0.0);
    i32::from(plain && column.is_numeric() && (rests || is_like_speed(column)))
}

/// How sure a column is the one with the marks by its cells alone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum ByCells {
    /// A few cells hold text, the others nothing.
    Text(usize),
    /// There is nothing in it so far: marks where text follows, else nothing.
    Empty(usize),
}

/// The column with the marks among those that `free` leaves, by its cells: mostly empty and else
/// text. A column without a single entry counts where it is the only one.
pub(super) fn marks_by_cells(columns: &[Column], free: impl Fn(usize) -> bool) -> Option<ByCells> {
    let open = |field: &usize| {
        let column = &columns[*field];
        let heading = &column.heading;
        free(*field)
            && column.values.len() >= FEWEST
            && !heading.text.is_empty()
            && heading.unit.is_none()
            && claims::clock(heading) == 0
    };
    let fields: Vec<usize> = (0..columns.len()).filter(open).collect();
    let wordy = |field: &&usize| {
        let column = &columns[**field];
        let filled = column.filled();
        filled > 0 && filled * 5 <= column.values.len() && column.numbers().is_empty()
    };
    if let Some(field) = fields.iter().find(wordy) {
        return Some(ByCells::Text(*field));
    }
    let mut empty = fields.iter().filter(|field| columns[**field].filled() == 0);
    match (empty.next(), empty.next()) {
        (Some(field), None) => Some(ByCells::Empty(*field)),
        _ => None,
    }
}

/// Says which columns were not taken; `taken` tells those that were or that are told elsewhere.
/// Without an engine speed, a column that looks like one is named with what to type.
pub(super) fn columns_not_taken(
    columns: &[Column],
    taken: impl Fn(usize) -> bool,
    speed: bool,
    typed: impl Fn(usize) -> String,
) -> Option<Remark> {
    let left: Vec<usize> = (0..columns.len())
        .filter(|field| !taken(*field) && !columns[*field].heading.text.is_empty())
        .collect();
    if left.is_empty() {
        return None;
    }
    let named: Vec<String> =
        left.iter().take(LISTED).map(|field| format!("{:?}", typed(*field))).collect();
    let more = match left.len().saturating_sub(LISTED) {
        0 => String::new(),
        more => format!(" and {more} more"),
    };
    let like_speed = |field: &&usize| {
        let unit = columns[**field].heading.unit;
        !speed && matches!(unit, None | Some(Unit::Speed(_))) && is_like_speed(&columns[**field])
    };
    let hint = left.iter().find(like_speed).map_or(String::new(), |field| {
        let typed = typed(*field);
        format!("; {typed:?} looks like an engine speed: take it with --columns \"rpm={typed}\"")
    });
    let text =
        format!("not taken: {}{more}; name what is needed with --columns{hint}", named.join(", "));
    Some(Remark::new("columns_not_taken", left.len(), &[], text))
}
