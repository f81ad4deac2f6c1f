//! Rows of every format, taken apart by other people's readers.

use crate::run::Run;
use parquet::file::reader::{FileReader, SerializedFileReader};
use parquet::record::Field;
use serde_json::{Map, Value};
use std::fs::File;
use std::path::Path;

/// A table: headings, and a row of JSON values each.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    pub headings: Vec<String>,
    pub rows: Vec<Vec<Value>>,
}

impl Table {
    /// JSON lines.
    pub fn of_json(text: &str) -> Self {
        let objects: Vec<Map<String, Value>> =
            text.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
        // The map of serde_json is sorted; the order of the keys is that of the text.
        let first = text.lines().next().unwrap_or("");
        let mut headings: Vec<String> =
            objects.first().map_or(vec![], |first| first.keys().cloned().collect());
        headings.sort_by_key(|name| first.find(&format!("\"{name}\":")));
        let row = |object: Map<String, Value>| {
            assert_eq!(object.len(), headings.len());
            headings.iter().map(|name| object[name].clone()).collect()
        };
        let rows = objects.into_iter().map(row).collect();
        Table { headings, rows }
    }

    /// CSV; a field that reads as a number is one where `like` has a number in that column.
    pub fn of_csv(text: &[u8], like: &Table) -> Self {
        let mut reader = csv::Reader::from_reader(text);
        let headings: Vec<String> = reader.headers().unwrap().iter().map(str::to_string).collect();
        let is_text = |column: usize| like.rows.iter().any(|row| row[column].is_string());
        let value = |(column, field): (usize, &str)| match field {
            "" => Value::Null,
            text if is_text(column) => Value::from(text),
            number => serde_json::from_str(number).unwrap(),
        };
        let rows = reader
            .records()
            .map(|record| record.unwrap().iter().enumerate().map(value).collect())
            .collect();
        Table { headings, rows }
    }

    /// A Parquet file.
    pub fn of_parquet(path: &Path) -> Self {
        let reader = SerializedFileReader::new(File::open(path).unwrap()).unwrap();
        let columns = reader.metadata().file_metadata().schema_descr().columns().to_vec();
        let headings = columns.iter().map(|column| column.name().to_string()).collect();
        let value = |field: &Field| match field {
            Field::Null => Value::Null,
            Field::Str(text) => Value::from(text.as_str()),
            Field::Long(count) => Value::from(*count),
            Field::Double(number) => Value::from(*number),
            other => panic!("{other:?} is not a type of a row"),
        };
        let rows = reader.get_row_iter(None).unwrap();
        let row = |row: parquet::record::Row| {
            row.get_column_iter().map(|(_, field)| value(field)).collect()
        };
        Table { headings, rows: rows.map(|found| row(found.unwrap())).collect() }
    }

    /// The values of a column.
    pub fn column(&self, name: &str) -> Vec<Value> {
        let at = self.headings.iter().position(|heading| heading == name);
        let at = at.unwrap_or_else(|| panic!("no column {name} in {:?}", self.headings));
        self.rows.iter().map(|row| row[at].clone()).collect()
    }

    /// The texts of a column, empty where it has none.
    pub fn texts(&self, name: &str) -> Vec<String> {
        self.column(name).iter().map(|v| v.as_str().unwrap_or("").to_string()).collect()
    }
}

/// The rows that a run put on standard output as JSON lines.
pub fn json(run: &Run) -> Table {
    Table::of_json(&run.out)
}
