//! How many fields a row has, against how many headings there are.

use super::dialect::{Dialect, commonest};
use super::plan::Widths;
use super::{ReadError, ReadOptions};
use crate::sample::Remark;

/// The fewest sample rows from which a habit of the logger is believed.
const FEWEST: usize = 3;

/// Compares rows and headings. Where all rows differ from the headings in the same way, the logger
/// does it: they are read from the left. Where single rows differ, those rows are bad.
///
/// Errors: [`ReadError::Shape`] where every row holds more values than there are headings: nobody
/// can tell which value has no heading.
pub(super) fn widths(
    layout: &Dialect,
    options: &ReadOptions,
    remarks: &mut Vec<Remark>,
) -> Result<Widths, ReadError> {
    let headings = layout.headings.len();
    let rows: Vec<usize> = layout.samples.iter().map(Vec::len).collect();
    let plain = Widths { usual: headings, headings, trailing: false };
    let Some(usual) = commonest(&rows) else { return Ok(plain) };
    let habit = rows.iter().filter(|width| **width == usual).count();
    if usual == headings || habit < FEWEST || habit * 10 < rows.len() * 9 {
        return Ok(plain);
    }
    if usual < headings {
        let lacking = headings - usual;
        let unnamed = layout.headings[usual..].iter().all(String::is_empty);
        if !unnamed {
            let text = format!(
                "every row has {usual} fields under {headings} headings; read from the left, so that the last {lacking} headings have no values"
            );
            remarks.push(Remark::new("field_count", habit, &[], text));
        }
        return Ok(Widths { usual, headings, trailing: false });
    }
    let full = layout.samples.iter().filter(|row| row.len() == usual);
    let filled = full.filter(|row| row[headings..].iter().any(|field| !field.is_empty())).count();
    if filled == 0 {
        let text = format!(
            "every row has {usual} fields under {headings} headings, those beyond them empty; they were passed over"
        );
        remarks.push(Remark::new("field_count", habit, &[], text));
        return Ok(Widths { usual, headings, trailing: true });
    }
    if !options.lenient {
        let decimal_commas = layout.delimiter == b',' && 2 * usual >= 3 * headings;
        let cause = if decimal_commas {
            "decimal commas between commas cannot be told apart, so export it with semicolons or decimal points"
        } else {
            "name every column in the heading row, or read the fields from the left with --lenient"
        };
        let detail = format!(
            "rows hold {usual} values under {headings} headings, so that no value is sure of its heading; {cause}"
        );
        return Err(ReadError::Shape { name: options.name.clone(), detail });
    }
    let text = format!(
        "every row has {usual} fields under {headings} headings; read from the left because of --lenient: check the figures"
    );
    remarks.push(Remark::new("field_count", habit, &[], text));
    Ok(Widths { usual, headings, trailing: false })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::log::dialect::dialect;

    fn of(text: &str, lenient: bool) -> Result<(Widths, usize), String> {
        let mut remarks = Vec::new();
        let options = ReadOptions { lenient, ..ReadOptions::default() };
        widths(&dialect(text, true), &options, &mut remarks)
            .map(|w| (w, remarks.len()))
            .map_err(|e| e.to_string())
    }

    #[test]
    fn habits_of_the_logger_are_read_from_the_left() {
        let (w, remarks) = of("t,a\n0,1,\n1,1,\n2,1,\n", false).unwrap();
        assert_eq!((w.usual, w.trailing, remarks), (3, true, 1));
        assert!(w.fit(3) && !w.fit(2));
        let (w, remarks) = of("t,a,b\n0,1\n1,1\n2,1\n", false).unwrap();
        assert_eq!((w.usual, remarks), (2, 1));
        assert!(w.fit(2) && w.fit(3));
        let (w, remarks) = of("t,a,b\n0,1,2\n1,1,2\n2,1\n3,1,2\n", false).unwrap();
        assert_eq!((w.usual, remarks), (3, 0));
        assert!(!w.fit(2));
    }

    #[test]
    fn values_without_headings_are_refused() {
        let text = "t,a\n0,1,7\n1,1,7\n2,1,7\n";
        assert!(of(text, false).unwrap_err().contains("3 values under 2 headings"));
        assert_eq!(of(text, true).unwrap().0.usual, 3);
        assert!(
            of("t,a,b\n0,0,1,1,5,2\n0,1,1,1,5,2\n0,2,1,1,5,2\n", false)
                .unwrap_err()
                .contains("decimal commas")
        );
    }
}
