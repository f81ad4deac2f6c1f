//! Where a record ends when fields may hold line breaks in quotation marks.

/// The most lines one record may span; a quotation mark that never closes must not swallow a log.
const MOST_LINES: usize = 20;

/// The extent of the first record of a text.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Extent {
    /// The record with its line end: bytes and lines.
    Complete {
        /// Bytes with the line end.
        bytes: usize,
        /// Lines.
        lines: usize,
    },
    /// A quotation mark opens and does not close: the record is its first line only.
    Unclosed {
        /// Bytes of that line with its line end.
        bytes: usize,
    },
    /// More text is needed to tell.
    Unknown,
}

/// Measures the first record of `text`; `last` says that no more text follows.
pub(super) fn extent(text: &[u8], delimiter: u8, last: bool) -> Extent {
    let (mut from, mut lines, mut open) = (0, 0, false);
    let mut first = None;
    while let Some(length) = line_length(&text[from..], last) {
        open = open_after(&text[from..from + length], delimiter, open);
        from += length;
        lines += 1;
        first.get_or_insert(from);
        if !open {
            return Extent::Complete { bytes: from, lines };
        }
        if lines == MOST_LINES {
            break;
        }
    }
    match first {
        Some(bytes) if lines == MOST_LINES || last => Extent::Unclosed { bytes },
        _ => Extent::Unknown,
    }
}

/// Length of the first line with its line end; `None` where it is not complete.
fn line_length(text: &[u8], last: bool) -> Option<usize> {
    match text.iter().position(|b| *b == b'\n') {
        Some(at) => Some(at + 1),
        None => (last && !text.is_empty()).then_some(text.len()),
    }
}

/// Whether a quoted field is open after this line, given whether it was before. As in RFC 4180 a
/// quotation mark opens only at the start of a field, and a doubled one stands for itself.
fn open_after(line: &[u8], delimiter: u8, mut open: bool) -> bool {
    let mut start = true;
    let mut at = 0;
    while at < line.len() {
        let byte = line[at];
        if open {
            if byte == b'"' && line.get(at + 1) == Some(&b'"') {
                at += 1;
            } else if byte == b'"' {
                open = false;
            }
        } else if byte == b'"' && start {
            open = true;
        }
        start = !open && byte == delimiter;
        at += 1;
    }
    open
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn records_end_where_quotes_are_closed() {
        let one = |text: &str| extent(text.as_bytes(), b',', true);
        assert_eq!(one("1,2\n3,4\n"), Extent::Complete { bytes: 4, lines: 1 });
        assert_eq!(one("1,\"a\nb\"\n3\n"), Extent::Complete { bytes: 8, lines: 2 });
        assert_eq!(one("1,\"a \"\"b\"\"\"\n"), Extent::Complete { bytes: 12, lines: 1 });
        assert_eq!(one("1,5\" hose\n2\n"), Extent::Complete { bytes: 10, lines: 1 });
        assert_eq!(one("1,\"cap\n2,3\n4,5\n"), Extent::Unclosed { bytes: 7 });
        assert_eq!(extent(b"1,\"cap\n2,3\n", b',', false), Extent::Unknown);
        assert_eq!(extent(b"1,2", b',', false), Extent::Unknown);
        let long = format!("1,\"a\n{}", "2,3\n".repeat(100));
        assert_eq!(extent(long.as_bytes(), b',', false), Extent::Unclosed { bytes: 5 });
    }
}
