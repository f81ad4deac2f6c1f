//! Rows as lines of text: CSV (RFC 4180, line feeds) and JSON lines.

use super::{Cell, Heading, Row, rounded};

/// The heading line of a CSV table, with its line feed.
pub fn csv_heading(headings: &[Heading]) -> Vec<u8> {
    line(headings.iter().map(|heading| heading.name.to_string()))
}

/// A row as a line of CSV, with its line feed; what was not measured is an empty field.
pub fn csv_line(row: &Row) -> Vec<u8> {
    line(row.iter().map(|cell| match cell {
        Cell::Nothing => String::new(),
        Cell::Text(text) => text.clone(),
        Cell::Count(count) => count.to_string(),
        Cell::Number(value) => rounded(*value),
    }))
}

fn line(fields: impl Iterator<Item = String>) -> Vec<u8> {
    let mut out = Vec::new();
    for (k, field) in fields.enumerate() {
        if k > 0 {
            out.push(b',');
        }
        if field.contains([',', '"', '\n', '\r']) {
            out.extend_from_slice(format!("\"{}\"", field.replace('"', "\"\"")).as_bytes());
        } else {
            out.extend_from_slice(field.as_bytes());
        }
    }
    out.push(b'\n');
    out
}

/// A row as one JSON object on a line of its own, keys in the order of the columns; what was not
/// measured is `null`.
pub fn json_line(headings: &[Heading], row: &Row) -> Vec<u8> {
    let quoted = |text: &str| serde_json::Value::from(text).to_string();
    let value = |cell: &Cell| match cell {
        Cell::Nothing => "null".to_string(),
        Cell::Text(text) => quoted(text),
        Cell::Count(count) => count.to_string(),
        Cell::Number(value) => rounded(*value),
    };
    let pairs: Vec<String> = headings
        .iter()
        .zip(row)
        .map(|(heading, cell)| format!("{}:{}", quoted(heading.name), value(cell)))
        .collect();
    format!("{{{}}}\n", pairs.join(",")).into_bytes()
}

#[cfg(test)]
mod tests {
    use super::super::Kind;
    use super::*;

    const HEADINGS: [Heading; 4] = [
        Heading { name: "log", kind: Kind::Text },
        Heading { name: "rows", kind: Kind::Count },
        Heading { name: "low_kpa", kind: Kind::Number },
        Heading { name: "error", kind: Kind::Text },
    ];

    fn row(log: &str) -> Row {
        vec![Cell::Text(log.into()), Cell::Count(7), Cell::Number(-0.25), Cell::Nothing]
    }

    #[test]
    fn any_reader_of_csv_gets_hostile_names_back() {
        for name in ["a.csv", "a,b \"c\".csv", "a\nb.csv", "a\rb.csv", "é前", ""] {
            let mut text = csv_heading(&HEADINGS);
            text.extend(csv_line(&row(name)));
            let mut reader = csv::Reader::from_reader(&text[..]);
            let read: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
            assert_eq!(read, [vec![name, "7", "-0.25", ""]], "{name:?}");
        }
    }

    #[test]
    fn json_stays_on_its_line() {
        for name in ["a,b \"c\".csv", "a\nb.csv", "\u{1}\u{2028}"] {
            let line = String::from_utf8(json_line(&HEADINGS, &row(name))).unwrap();
            assert_eq!(line.matches('\n').count(), 1);
            let read: serde_json::Value = serde_json::from_str(&line).unwrap();
            let want = serde_json::json!({"log": name, "rows": 7, "low_kpa": -0.25, "error": null});
            assert_eq!(read, want);
        }
    }
}
