//! A source file, with what is not code blanked out.

use std::fmt;

/// A rule that is broken.
#[derive(Debug, Clone, PartialEq)]
pub struct Fault {
    pub place: String,
    pub line: usize,
    pub what: String,
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}: {}", self.place, self.line, self.what)
    }
}

/// A source file: its text with comments and literals blanked out (line breaks kept), and for each
/// line whether it belongs to a test.
pub struct Source {
    pub place: String,
    pub room: String,
    pub code: Vec<String>,
    pub test: Vec<bool>,
    /// The whole file is declared under `#[cfg(test)]`.
    pub all_test: bool,
}

impl Source {
    pub fn new(place: &str, text: &str) -> Self {
        let room = place.split('/').next().unwrap_or(place).trim_end_matches(".rs").to_string();
        let code: Vec<String> = blank(text).lines().map(str::to_string).collect();
        let test = tests_among(&code);
        Source { place: place.into(), room, code, test, all_test: false }
    }

    /// Modules between the root and this file, itself included.
    pub fn depth(&self) -> usize {
        self.place.trim_end_matches("/mod.rs").split('/').count()
    }

    /// Files that this one declares under `#[cfg(test)]`.
    pub fn test_files(&self) -> Vec<String> {
        let folder = match self.place.strip_suffix("mod.rs") {
            Some(folder) => folder.to_string(),
            None if self.place == "lib.rs" => String::new(),
            None => format!("{}/", self.place.trim_end_matches(".rs")),
        };
        (0..self.code.len())
            .filter(|&line| self.test[line])
            .filter_map(|line| {
                let declared = self.code[line].trim().strip_prefix("mod ")?.strip_suffix(';')?;
                Some(format!("{folder}{declared}"))
            })
            .flat_map(|stem| [format!("{stem}.rs"), format!("{stem}/mod.rs")])
            .collect()
    }

    pub fn fault(&self, line: usize, what: impl Into<String>) -> Fault {
        Fault { place: self.place.clone(), line: line + 1, what: what.into() }
    }

    pub fn live_lines(&self) -> impl Iterator<Item = (usize, &str)> {
        let kept = |(line, text): (usize, &'_ String)| !self.test[line] && !text.is_empty();
        self.code
            .iter()
            .enumerate()
            .filter(move |pair| kept(*pair))
            .map(|(line, text)| (line, text.as_str()))
    }

    pub fn find(&self, words: &[&str], what: &str) -> Vec<Fault> {
        self.live_lines()
            .filter_map(|(line, text)| {
                let word = words.iter().find(|word| has_word(text, word))?;
                Some(self.fault(line, format!("{what}: {word}")))
            })
            .collect()
    }
}

/// True when `word` stands in `text` and is not the tail of a longer name.
pub fn has_word(text: &str, word: &str) -> bool {
    text.match_indices(word).any(|(at, _)| {
        let before = text[..at].chars().next_back();
        let starts_inside = word.starts_with(|c: char| c.is_alphanumeric())
            && before.is_some_and(|c| c.is_alphanumeric() || c == '_');
        !starts_inside
    })
}

/// Replaces comments, strings and character literals by blanks; line breaks stay.
pub fn blank(text: &str) -> String {
    let chars: Vec<char> = text.chars().collect();
    let mut out = String::with_capacity(text.len());
    let mut i = 0;
    while i < chars.len() {
        let end = literal_end(&chars, i);
        if end > i {
            out.extend(chars[i..end].iter().map(|&c| if c == '\n' { '\n' } else { ' ' }));
            i = end;
        } else {
            out.push(chars[i]);
            i += 1;
        }
    }
    out
}

/// End of the comment or literal that starts at `i`; `i` itself when none does.
fn literal_end(chars: &[char], i: usize) -> usize {
    let at = |k: usize| chars.get(k).copied().unwrap_or('\0');
    let named = i > 0 && (chars[i - 1].is_alphanumeric() || chars[i - 1] == '_');
    match (at(i), at(i + 1)) {
        ('/', '/') => (i..chars.len()).find(|&k| chars[k] == '\n').unwrap_or(chars.len()),
        ('/', '*') => block_comment_end(chars, i),
        ('r', '"' | '#') if !named => raw_string_end(chars, i),
        ('"', _) => quoted_end(chars, i),
        ('\'', '\\') => quoted_end(chars, i),
        ('\'', _) if at(i + 2) == '\'' => i + 3,
        _ => i,
    }
}

fn block_comment_end(chars: &[char], from: usize) -> usize {
    let (mut depth, mut k) = (0usize, from);
    while k + 1 < chars.len() {
        match (chars[k], chars[k + 1]) {
            ('/', '*') => (depth, k) = (depth + 1, k + 2),
            ('*', '/') => (depth, k) = (depth - 1, k + 2),
            _ => k += 1,
        }
        if depth == 0 {
            return k;
        }
    }
    chars.len()
}

fn raw_string_end(chars: &[char], from: usize) -> usize {
    let hashes = chars[from + 1..].iter().take_while(|&&c| c == '#').count();
    if chars.get(from + 1 + hashes) != Some(&'"') {
        return from;
    }
    let mut k = from + 2 + hashes;
    while k < chars.len() {
        let closes = chars[k] == '"'
            && chars[k + 1..].iter().take(hashes).filter(|&&c| c == '#').count() == hashes;
        if closes {
            return k + 1 + hashes;
        }
        k += 1;
    }
    chars.len()
}

fn quoted_end(chars: &[char], from: usize) -> usize {
    let mut k = from + 1;
    while k < chars.len() && chars[k] != chars[from] {
        k += if chars[k] == '\\' { 2 } else { 1 };
    }
    (k + 1).min(chars.len())
}

/// Which lines stand under `#[cfg(test)]`.
fn tests_among(code: &[String]) -> Vec<bool> {
    let mut test = vec![false; code.len()];
    let mut line = 0;
    while line < code.len() {
        if code[line].contains("#[cfg(test)]") {
            let end = block_end(code, line);
            test[line..=end].fill(true);
            line = end;
        }
        line += 1;
    }
    test
}

/// Last line of the item that starts at `from`: where its braces close, or its semicolon.
pub fn block_end(code: &[String], from: usize) -> usize {
    let mut depth = 0i64;
    let mut opened = false;
    for (line, text) in code.iter().enumerate().skip(from) {
        for c in text.chars() {
            match c {
                '{' => (depth, opened) = (depth + 1, true),
                '}' => depth -= 1,
                ';' if !opened && depth == 0 => return line,
                // `[f64; 4]` in a signature holds a semicolon that ends nothing.
                '[' | '(' => depth += 1,
                ']' | ')' => depth -= 1,
                _ => {}
            }
            if opened && depth == 0 && c == '}' {
                return line;
            }
        }
    }
    code.len().saturating_sub(1)
}
