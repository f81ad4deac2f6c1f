//! Lines and tables that fit a width, counted in terminal columns.

use crate::units::PressureUnit;
use unicode_width::UnicodeWidthStr;

/// Columns that a text takes on a terminal.
pub fn columns(text: &str) -> usize {
    text.width()
}

/// Two different names, each at most `width` columns wide (at least 3), still different: cut at the
/// end, or, where that would make them one, in the middle, so that what differs is seen.
pub fn shortened(names: [&str; 2], width: usize) -> [String; 2] {
    let cut = names.map(|name| match columns(name) <= width {
        true => name.to_string(),
        false => format!("{}…", start(name, width - 1)),
    });
    if cut[0] != cut[1] {
        return cut;
    }
    let alike = names[0].chars().zip(names[1].chars()).take_while(|(a, b)| a == b).count();
    names.map(|name| {
        let tail: String = name.chars().skip(alike).collect();
        match width.checked_sub(columns(&tail) + 1) {
            Some(room) => format!("{}…{tail}", start(name, room).trim_end()),
            None => format!("…{}…", start(&tail, width - 2)),
        }
    })
}

/// As much of the start of a text as `width` columns hold.
fn start(text: &str, width: usize) -> &str {
    let fits = |end: &usize| columns(&text[..*end]) <= width;
    let end = text.char_indices().map(|(at, c)| at + c.len_utf8()).take_while(fits).last();
    &text[..end.unwrap_or(0)]
}

/// Breaks a text at blanks so that no line is wider than `width`, where its words allow it. The
/// first line starts with `first`, the others with `next`; the last line ends with a line feed.
pub fn wrap(text: &str, width: usize, first: &str, next: &str) -> String {
    let mut out = String::new();
    let mut line = String::from(first);
    let mut bare = true;
    for word in unbroken(text) {
        if !bare && columns(&line) + 1 + columns(&word) > width {
            out += line.trim_end();
            out.push('\n');
            line = String::from(next);
            bare = true;
        }
        if !bare {
            line.push(' ');
        }
        line += &word;
        bare = false;
    }
    out += line.trim_end();
    out.push('\n');
    out
}

/// The words of a text, each number together with its unit: `1.30 kPa` is never torn.
fn unbroken(text: &str) -> Vec<String> {
    let mut words: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match words.last_mut() {
            Some(last) if is_number(last) && is_unit(word) => *last = format!("{last} {word}"),
            _ => words.push(word.to_string()),
        }
    }
    words
}

fn is_number(word: &str) -> bool {
    word.trim_start_matches(['-', '(']).chars().all(|c| c.is_ascii_digit() || c == '.')
        && word.ends_with(|c: char| c.is_ascii_digit())
}

fn is_unit(word: &str) -> bool {
    let word = word.trim_end_matches([',', '.', ';', ':', ')']);
    ["s", "%", "rev/min", "Hz"].contains(&word)
        || PressureUnit::ALL.into_iter().any(|unit| unit.symbol() == word)
}

/// Where the text of a column stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Align {
    /// Words.
    Left,
    /// Numbers.
    Right,
}

#[derive(Debug, Clone)]
struct Column {
    group: usize,
    title: String,
    align: Align,
}

/// A small table. Columns stand in groups: a group has a name, its columns have titles under it.
/// A cell that is `None` is left empty, and a column without any cell is left out.
#[derive(Debug, Clone, Default)]
pub struct Table {
    groups: Vec<String>,
    columns: Vec<Column>,
    rows: Vec<Vec<Option<String>>>,
}

const GAP: usize = 2;

impl Table {
    /// Adds a group of columns with these titles.
    pub fn group(mut self, name: &str, align: Align, titles: &[&str]) -> Self {
        let group = self.groups.len();
        self.groups.push(name.to_string());
        self.columns.extend(titles.iter().map(|title| Column {
            group,
            title: title.to_string(),
            align,
        }));
        self
    }

    /// Adds a row, one cell a column.
    pub fn row(&mut self, cells: Vec<Option<String>>) {
        self.rows.push(cells);
    }

    /// Cells of a row.
    pub fn width_in_cells(&self) -> usize {
        self.columns.len()
    }

    /// The table in columns when it fits `width`, else one block of lines a row.
    pub fn draw(&self, width: usize) -> String {
        let kept = self.kept();
        let widths = self.widths(&kept);
        let total: usize = widths.iter().map(|w| w + GAP).sum::<usize>().saturating_sub(GAP);
        if total <= width { self.set(&kept, &widths) } else { self.stack(&kept, width) }
    }

    fn cell(&self, row: usize, column: usize) -> Option<&str> {
        self.rows[row].get(column).and_then(|cell| cell.as_deref())
    }

    fn kept(&self) -> Vec<usize> {
        let filled = |&column: &usize| (0..self.rows.len()).any(|r| self.cell(r, column).is_some());
        (0..self.columns.len()).filter(filled).collect()
    }

    fn widths(&self, kept: &[usize]) -> Vec<usize> {
        let mut widths: Vec<usize> = kept
            .iter()
            .map(|&c| {
                let cells = (0..self.rows.len()).filter_map(|r| self.cell(r, c));
                cells.chain([self.columns[c].title.as_str()]).map(columns).max().unwrap_or(0)
            })
            .collect();
        for (group, name) in self.groups.iter().enumerate() {
            let members: Vec<usize> =
                (0..kept.len()).filter(|&k| self.columns[kept[k]].group == group).collect();
            let have: usize = members.iter().map(|&k| widths[k] + GAP).sum();
            let lacking = (columns(name) + GAP).saturating_sub(have);
            for (turn, &k) in members.iter().enumerate() {
                widths[k] += lacking / members.len();
                widths[k] += usize::from(turn < lacking % members.len());
            }
        }
        widths
    }

    fn set(&self, kept: &[usize], widths: &[usize]) -> String {
        let titles: Vec<Option<&str>> =
            kept.iter().map(|&c| Some(self.columns[c].title.as_str())).collect();
        let mut out = self.group_line(kept, widths);
        if titles.iter().flatten().any(|title| !title.is_empty()) {
            out += &self.line(kept, widths, &titles);
        }
        for row in 0..self.rows.len() {
            let cells: Vec<Option<&str>> = kept.iter().map(|&c| self.cell(row, c)).collect();
            out += &self.line(kept, widths, &cells);
        }
        out
    }

    fn group_line(&self, kept: &[usize], widths: &[usize]) -> String {
        let mut line = String::new();
        let mut k = 0;
        while k < kept.len() {
            let group = self.columns[kept[k]].group;
            let mut span = 0;
            let first = k;
            while k < kept.len() && self.columns[kept[k]].group == group {
                span += widths[k] + GAP;
                k += 1;
            }
            let alone = k - first == 1 && self.columns[kept[first]].align == Align::Right;
            let align = if alone { Align::Right } else { Align::Left };
            line += &pad(&self.groups[group], span - GAP, align);
            line += &" ".repeat(GAP);
        }
        line.trim_end().to_string() + "\n"
    }

    fn line(&self, kept: &[usize], widths: &[usize], cells: &[Option<&str>]) -> String {
        let mut line = String::new();
        for (k, cell) in cells.iter().enumerate() {
            line += &pad(cell.unwrap_or(""), widths[k], self.columns[kept[k]].align);
            line += &" ".repeat(GAP);
        }
        line.trim_end().to_string() + "\n"
    }

    /// One block a row: `group: title cell, title cell`, or `group: cell title` when a group has
    /// one column.
    fn stack(&self, kept: &[usize], width: usize) -> String {
        let mut out = String::new();
        for row in 0..self.rows.len() {
            let mut mark = "- ";
            for (group, name) in self.groups.iter().enumerate() {
                let members: Vec<usize> =
                    kept.iter().copied().filter(|&c| self.columns[c].group == group).collect();
                let cells: Vec<String> = members
                    .iter()
                    .filter_map(|&c| Some((c, self.cell(row, c)?)))
                    .map(|(c, cell)| match (members.len(), self.columns[c].title.as_str()) {
                        (1, title) => format!("{cell} {title}"),
                        (_, title) => format!("{title} {cell}"),
                    })
                    .collect();
                if cells.is_empty() {
                    continue;
                }
                out += &wrap(&format!("{name}: {}", cells.join(", ")), width, mark, "    ");
                mark = "  ";
            }
        }
        out
    }
}

fn pad(text: &str, width: usize, align: Align) -> String {
    let blanks = " ".repeat(width.saturating_sub(columns(text)));
    match align {
        Align::Left => format!("{text}{blanks}"),
        Align::Right => format!("{blanks}{text}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn table() -> Table {
        let mut table = Table::default()
            .group("speed", Align::Right, &["rev/min"])
            .group("difference, kPa", Align::Right, &["low", "value", "high"])
            .group("swing", Align::Right, &["kPa"])
            .group("verdict", Align::Left, &[""]);
        let some = |text: &str| Some(text.to_string());
        table.row(vec![
            some("851"),
            some("-2.35"),
            some("-2.20"),
            some("-2.05"),
            None,
            some("out"),
        ]);
        table.row(vec![None, some("0.10"), some("0.20"), some("0.30"), None, some("in")]);
        table
    }

    #[test]
    fn set_in_columns_where_there_is_room() {
        let want = "  speed  difference, kPa      verdict\n\
                    rev/min    low  value   high\n\
                    \x20   851  -2.35  -2.20  -2.05  out\n\
                    \x20         0.10   0.20   0.30  in\n";
        assert_eq!(table().draw(80), want);
    }

    #[test]
    fn line_under_line_where_there_is_not() {
        let want = "- speed: 851 rev/min\n\
                    \x20 difference, kPa: low -2.35,\n\
                    \x20   value -2.20, high -2.05\n\
                    \x20 verdict: out\n\
                    - difference, kPa: low 0.10,\n\
                    \x20   value 0.20, high 0.30\n\
                    \x20 verdict: in\n";
        assert_eq!(table().draw(30), want);
    }

    #[test]
    fn wide_letters_and_accents_take_the_columns_they_take() {
        let mut table =
            Table::default().group("Größe", Align::Left, &["a"]).group("前", Align::Right, &["b"]);
        table.row(vec![Some("é".into()), Some("1".into())]);
        assert_eq!(table.draw(80), "Größe  前\na       b\né       1\n");
    }

    #[test]
    fn two_long_names_stay_apart() {
        let short = |one, two| shortened([one, two], 8);
        assert_eq!(short("Front", "Rear"), ["Front", "Rear"]);
        assert_eq!(short("Front carburettor", "Rear"), ["Front c…", "Rear"]);
        assert_eq!(short("carburettor 1", "carburettor 2"), ["carbur…1", "carbur…2"]);
        assert_eq!(short("Carburettor front", "Carburettor rear"), ["Ca…front", "Car…rear"]);
        let long = short("The carburettor at the bulkhead", "The carburettor at the radiator side");
        assert_eq!(long, ["…bulkhe…", "…radiat…"]);
        assert_eq!(short("Carburettor", "Carburettor two"), ["Carbure…", "Car… two"]);
        for name in long {
            assert!(columns(&name) <= 8, "{name}");
        }
        let wide = short("気化器の前の方です", "気化器の前の後です");
        assert!(wide[0] != wide[1] && wide.iter().all(|name| columns(name) <= 8), "{wide:?}");
    }

    #[test]
    fn wrapping_keeps_words_and_width() {
        let text = "one two three four five six seven eight nine ten";
        let wrapped = wrap(text, 12, "- ", "  ");
        assert!(wrapped.lines().all(|line| columns(line) <= 12), "{wrapped}");
        assert_eq!(wrapped.split_whitespace().skip(1).collect::<Vec<_>>().join(" "), text);
        assert_eq!(wrap("about 1.30 kPa", 10, "", ""), "about\n1.30 kPa\n");
        assert_eq!(wrap("unbreakablyLongWord", 5, "", ""), "unbreakablyLongWord\n");
        assert_eq!(wrap("", 5, "", ""), "\n");
    }
}
