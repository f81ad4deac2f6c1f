//! Tables, figures between their limits, and words from outside made fit for the page.

use crate::findings::Verdict;
use crate::findings::breather::BreatherVerdict;
use crate::findings::hunt::HuntVerdict;
use crate::report::page::{Tone, fixed};
use crate::units::{Kpa, PressureUnit};
use maud::{Markup, html};

/// Longest run of letters without a blank; a longer one is cut, for no line could hold it.
const LONGEST_WORD: usize = 60;
/// Longest text from outside: a page is no place for a book.
const LONGEST_TEXT: usize = 2000;

/// Words from outside as the page shows them: control characters and those that turn the direction of
/// writing around become blanks or vanish, and what is endless is cut. Escaping is left to the template.
pub fn shown(text: &str) -> String {
    let mut out = String::new();
    let (mut run, mut length) = (0, 0);
    for c in text.chars().filter(|c| !turns_around(*c)) {
        let c = if c.is_control() { ' ' } else { c };
        if length == LONGEST_TEXT {
            out.push('…');
            break;
        }
        run = if c.is_whitespace() { 0 } else { run + 1 };
        if run == LONGEST_WORD + 1 {
            out.push('…');
        }
        if run <= LONGEST_WORD {
            out.push(c);
            length += 1;
        }
    }
    out.trim().to_string()
}

/// Longest name; a longer one would push the rest of the page off its sheet.
const LONGEST_NAME: usize = 120;

/// The same of a name: one that is a book is cut.
pub fn name(text: &str) -> String {
    let whole = shown(text);
    let mut cut: String = whole.chars().take(LONGEST_NAME).collect();
    if cut.len() < whole.len() {
        cut.push('…');
    }
    cut
}

/// Embeddings, overrides and isolates of the bidirectional algorithm (Unicode Standard Annex 9) and its
/// marks: left open, they would turn the words of the page around.
fn turns_around(c: char) -> bool {
    matches!(c, '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}' | '\u{200E}' | '\u{200F}' | '\u{061C}')
}

/// A number from the unit of the program to that of the page.
pub fn pressure(unit: PressureUnit, kpa: f64) -> String {
    minus(&fixed(unit.from_kpa(Kpa(kpa)), unit.decimals()))
}

/// A number with its decimals and a true minus sign.
pub fn number(value: f64, decimals: usize) -> String {
    minus(&fixed(value, decimals))
}

fn minus(text: &str) -> String {
    text.replace('-', "\u{2212}")
}

/// Cells for low, value and high.
pub fn interval(ends: [String; 3]) -> Markup {
    let [low, value, high] = ends;
    html! { td.num { (low) } td.num.value { (value) } td.num { (high) } }
}

/// A cell that may have nothing to say.
pub fn cell(value: Option<String>) -> Markup {
    html! { td.num { @if let Some(value) = value { (value) } } }
}

/// Headings of an interval's three columns under one.
pub fn interval_heads() -> Markup {
    html! { th.num scope="col" { "low" } th.num scope="col" { "value" } th.num scope="col" { "high" } }
}

/// A verdict in its tone; the sign repeats what the words say.
pub fn verdict(words: &str, tone: Tone) -> Markup {
    let (class, sign) = match tone {
        Tone::Good => ("good", "\u{2713}"),
        Tone::Bad => ("bad", "\u{2717}"),
        Tone::Open => ("open", "?"),
        Tone::Plain => ("plain", ""),
    };
    html! { span class=(class) { span.sign aria-hidden="true" { (sign) } " " (words) } }
}

/// A verdict of a balance.
pub fn balance(of: Verdict) -> Markup {
    verdict(crate::report::balance::words(of), crate::report::balance::tone(of))
}

/// A verdict on the breather.
pub fn breather(of: BreatherVerdict) -> Markup {
    verdict(crate::report::breather::words(of), crate::report::breather::tone(of))
}

/// A verdict on a suspect.
pub fn hunt(of: HuntVerdict) -> Markup {
    verdict(crate::report::hunt::words(of), crate::report::hunt::tone(of))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_from_outside_keep_their_letters_and_lose_their_tricks() {
        assert_eq!(shown("a\u{0}b\tc\n"), "a b c");
        assert_eq!(shown("x\u{202E}evil\u{2066}"), "xevil");
        assert_eq!(shown("\u{5D0}\u{5D1}"), "\u{5D0}\u{5D1}");
        assert_eq!(shown(&"x".repeat(10_000)).chars().count(), LONGEST_WORD + 1);
        assert_eq!(shown(&"x ".repeat(10_000)).chars().count(), LONGEST_TEXT + 1);
        assert_eq!(shown("<script>"), "<script>");
        assert_eq!(name(&"x ".repeat(10_000)).chars().count(), LONGEST_NAME + 1);
        assert_eq!(name("Front"), "Front");
    }

    #[test]
    fn a_negative_number_has_a_minus_sign_and_nil_has_none() {
        assert_eq!(number(-1.25, 2), "\u{2212}1.25");
        assert_eq!(number(-0.001, 2), "0.00");
        assert_eq!(pressure(PressureUnit::MmHg, 1.333_223_874), "10.0");
    }
}
