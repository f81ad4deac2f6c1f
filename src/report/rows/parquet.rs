//! Rows as an Apache Parquet file: typed columns, some thousand rows in a group.
//!
//! The columns are written by themselves, without Arrow: the table is flat, and every cell is either
//! there or not (definition level 1 or 0).

use super::{Cell, Heading, Kind, Row};
use parquet::data_type::{ByteArray, ByteArrayType, DoubleType, Int64Type};
use parquet::errors::Result;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::{SerializedColumnWriter, SerializedFileWriter};
use parquet::schema::parser::parse_message_type;
use std::io::Write;
use std::sync::Arc;

pub use parquet::errors::ParquetError;

/// Rows kept in memory before they are written as a group.
const GROUP: usize = 2000;

/// A Parquet file under work.
pub struct Sheet<W: Write + Send> {
    writer: SerializedFileWriter<W>,
    headings: Vec<Heading>,
    rows: Vec<Row>,
}

impl<W: Write + Send> Sheet<W> {
    /// Begins a file with these columns.
    ///
    /// # Errors
    /// The file cannot be written to.
    pub fn new(out: W, headings: Vec<Heading>) -> Result<Self> {
        let schema = Arc::new(parse_message_type(&schema(&headings))?);
        let made_by = concat!("evenbreath ", env!("CARGO_PKG_VERSION"));
        let properties = WriterProperties::builder().set_created_by(made_by.into()).build();
        let writer = SerializedFileWriter::new(out, schema, Arc::new(properties))?;
        Ok(Sheet { writer, headings, rows: Vec::new() })
    }

    /// Adds a row.
    ///
    /// # Errors
    /// The file cannot be written to.
    pub fn push(&mut self, row: Row) -> Result<()> {
        self.rows.push(row);
        if self.rows.len() < GROUP { Ok(()) } else { self.write_group() }
    }

    /// Writes what is left, and the foot of the file, without which nobody can read it.
    ///
    /// # Errors
    /// The file cannot be written to.
    pub fn close(mut self) -> Result<()> {
        self.write_group()?;
        self.writer.close().map(|_| ())
    }

    fn write_group(&mut self) -> Result<()> {
        if self.rows.is_empty() {
            return Ok(());
        }
        let mut group = self.writer.next_row_group()?;
        for (at, heading) in self.headings.iter().enumerate() {
            let Some(mut column) = group.next_column()? else { break };
            write_column(&mut column, heading.kind, self.rows.iter().map(|row| &row[at]))?;
            column.close()?;
        }
        group.close()?;
        self.rows.clear();
        Ok(())
    }
}

fn write_column<'a>(
    column: &mut SerializedColumnWriter<'_>,
    kind: Kind,
    cells: impl Iterator<Item = &'a Cell> + Clone,
) -> Result<()> {
    let there: Vec<i16> = cells.clone().map(|cell| i16::from(*cell != Cell::Nothing)).collect();
    let there = Some(&there[..]);
    match kind {
        Kind::Text => {
            let values: Vec<ByteArray> = cells
                .filter_map(|cell| match cell {
                    Cell::Text(text) => Some(ByteArray::from(text.as_str())),
                    _ => None,
                })
                .collect();
            column.typed::<ByteArrayType>().write_batch(&values, there, None)?;
        }
        Kind::Count => {
            let values: Vec<i64> = cells
                .filter_map(|cell| match cell {
                    Cell::Count(count) => Some(*count),
                    _ => None,
                })
                .collect();
            column.typed::<Int64Type>().write_batch(&values, there, None)?;
        }
        Kind::Number => {
            let values: Vec<f64> = cells
                .filter_map(|cell| match cell {
                    Cell::Number(value) => Some(*value),
                    _ => None,
                })
                .collect();
            column.typed::<DoubleType>().write_batch(&values, there, None)?;
        }
    }
    Ok(())
}

/// The table in the schema language of Parquet; every column may be absent in a row.
fn schema(headings: &[Heading]) -> String {
    let column = |heading: &Heading| match heading.kind {
        Kind::Text => format!("optional binary {} (UTF8);", heading.name),
        Kind::Count => format!("optional int64 {};", heading.name),
        Kind::Number => format!("optional double {};", heading.name),
    };
    format!("message logs {{ {} }}", headings.iter().map(column).collect::<Vec<_>>().join(" "))
}

#[cfg(test)]
mod tests {
    use super::*;
    use parquet::file::reader::{FileReader, SerializedFileReader};
    use parquet::record::RowAccessor;

    #[test]
    fn rows_come_back_over_several_groups() {
        let heading = |name, kind| Heading { name, kind };
        let headings = vec![
            heading("log", Kind::Text),
            heading("rows", Kind::Count),
            heading("low_kpa", Kind::Number),
        ];
        let path = std::env::temp_dir().join(format!("evenbreath-{}.parquet", std::process::id()));
        let mut sheet = Sheet::new(std::fs::File::create(&path).unwrap(), headings).unwrap();
        let count = 2 * GROUP + 5;
        for k in 0..count {
            let low = if k % 3 == 0 { Cell::Nothing } else { Cell::Number(k as f64 / 8.0) };
            sheet.push(vec![Cell::Text(format!("é {k}")), Cell::Count(k as i64), low]).unwrap();
        }
        sheet.close().unwrap();
        let reader = SerializedFileReader::new(std::fs::File::open(&path).unwrap()).unwrap();
        assert_eq!(reader.num_row_groups(), 3);
        let rows = reader.get_row_iter(None).unwrap().map(std::result::Result::unwrap);
        let mut seen = 0;
        for (k, row) in rows.enumerate() {
            assert_eq!(row.get_string(0).unwrap(), &format!("é {k}"));
            assert_eq!(row.get_long(1).unwrap(), k as i64);
            let low = (k % 3 != 0).then_some(k as f64 / 8.0);
            assert_eq!(row.get_double(2).ok(), low);
            seen += 1;
        }
        assert_eq!(seen, count);
        std::fs::remove_file(path).unwrap();
    }
}
