//! The font, and how wide its words are.

use super::ChartError;
use crate::units::PressureUnit;
use ab_glyph::{Font, FontRef};
use plotters::style::{FontStyle, register_font};
use std::sync::OnceLock;

/// Name under which the font is known to plotters. It is written into SVG files as it stands, so
/// it names successors of like widths for machines that lack the first.
pub(super) const FAMILY: &str = "DejaVu Sans, Verdana, sans-serif";

/// From one line of text to the next, in em.
pub(super) const LINE: f64 = 1.32;

/// The two faces of the font.
pub(super) struct Fonts {
    regular: FontRef<'static>,
    bold: FontRef<'static>,
}

/// The fonts, registered with plotters at the first call.
///
/// # Errors
/// [`ChartError::Drawing`] when the built-in font cannot be read.
pub(super) fn fonts() -> Result<&'static Fonts, ChartError> {
    static FONTS: OnceLock<Option<Fonts>> = OnceLock::new();
    FONTS
        .get_or_init(load)
        .as_ref()
        .ok_or_else(|| ChartError::Drawing("the built-in font cannot be read".into()))
}

fn load() -> Option<Fonts> {
    let (regular, bold): (&[u8], &[u8]) =
        (include_bytes!("fonts/DejaVuSans.ttf"), include_bytes!("fonts/DejaVuSans-Bold.ttf"));
    register_font(FAMILY, FontStyle::Normal, regular).ok()?;
    register_font(FAMILY, FontStyle::Bold, bold).ok()?;
    Some(Fonts {
        regular: FontRef::try_from_slice(regular).ok()?,
        bold: FontRef::try_from_slice(bold).ok()?,
    })
}

impl Fonts {
    fn face(&self, bold: bool) -> &FontRef<'static> {
        if bold { &self.bold } else { &self.regular }
    }

    /// Height of a face (ascent and descent together), in em.
    pub fn height(&self, bold: bool) -> f64 {
        let face = self.face(bold);
        f64::from(face.height_unscaled() / face.units_per_em().unwrap_or(2048.0))
    }

    /// Width of a line of text, in em.
    pub fn width(&self, text: &str, bold: bool) -> f64 {
        let face = self.face(bold);
        let mut units = 0.0;
        let mut previous = None;
        for c in text.chars() {
            let glyph = face.glyph_id(c);
            units += face.h_advance_unscaled(glyph);
            units += previous.map_or(0.0, |p| face.kern_unscaled(p, glyph));
            previous = Some(glyph);
        }
        f64::from(units / face.units_per_em().unwrap_or(2048.0))
    }

    /// How far the outlines of a line of text reach above and below its baseline, in em.
    pub fn reach(&self, text: &str, bold: bool) -> (f64, f64) {
        let face = self.face(bold);
        let (mut above, mut below) = (0.0_f32, 0.0_f32);
        for outline in text.chars().filter_map(|c| face.outline(face.glyph_id(c))) {
            // Units of a font count upwards.
            let (y, z) = (outline.bounds.min.y, outline.bounds.max.y);
            above = above.max(y.max(z));
            below = below.max(-y.min(z));
        }
        let em = face.units_per_em().unwrap_or(2048.0);
        (f64::from(above / em), f64::from(below / em))
    }

    /// Breaks text at its blanks into lines of at most `width` em; a longer word is cut. A number
    /// and its unit stay together.
    pub fn wrap(&self, text: &str, bold: bool, width: f64) -> Vec<String> {
        let mut lines: Vec<String> = Vec::new();
        for word in unbroken(text) {
            let word = self.shorten(&word, bold, width);
            match lines.last_mut() {
                Some(line) if self.width(&format!("{line} {word}"), bold) <= width => {
                    line.push(' ');
                    line.push_str(&word);
                }
                _ => lines.push(word),
            }
        }
        lines
    }

    /// As [`Fonts::wrap`], with lines of like length: no last line of one lost word.
    pub fn wrap_evenly(&self, text: &str, bold: bool, width: f64) -> Vec<String> {
        let lines = self.wrap(text, bold, width);
        let (mut narrow, mut wide) = (0.5 * width, width);
        for _ in 0..8 {
            let middle = 0.5 * (narrow + wide);
            if self.wrap(text, bold, middle).len() > lines.len() {
                narrow = middle;
            } else {
                wide = middle;
            }
        }
        if lines.len() < 2 { lines } else { self.wrap(text, bold, wide) }
    }

    /// The text, or as much of its beginning as fits in `width` em with an ellipsis after it.
    pub fn shorten(&self, text: &str, bold: bool, width: f64) -> String {
        if self.width(text, bold) <= width {
            return text.to_owned();
        }
        let mut kept = String::new();
        for c in text.chars() {
            if self.width(&format!("{kept}{c}\u{2026}"), bold) > width {
                break;
            }
            kept.push(c);
        }
        kept.truncate(kept.trim_end().len());
        kept.push('\u{2026}');
        kept
    }
}

/// The words of a text; a number and the unit after it count as one.
fn unbroken(text: &str) -> Vec<String> {
    let mut words: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        let bare = word.trim_end_matches(|c: char| ".,;:)".contains(c));
        let unit = ["rev/min", "%", "s", "min"].contains(&bare)
            || PressureUnit::ALL.iter().any(|unit| unit.symbol() == bare);
        match words.last_mut() {
            Some(number) if unit && number.ends_with(|c: char| c.is_ascii_digit()) => {
                number.push(' ');
                number.push_str(word);
            }
            _ => words.push(word.to_owned()),
        }
    }
    words
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn wrapped_lines_keep_every_word_and_the_width() {
        let fonts = fonts().unwrap();
        let say =
            "Front pulls 2.4 kPa more vacuum than Rear at 850 rev/min: open the throttle of Front";
        let lines = fonts.wrap(say, true, 20.0);
        assert!(lines.len() > 2);
        assert!(lines.iter().all(|line| fonts.width(line, true) <= 20.0));
        assert_eq!(lines.join(" "), say);
        let even = fonts.wrap_evenly(say, true, 40.0);
        assert_eq!(even.len(), fonts.wrap(say, true, 40.0).len());
        assert_eq!(even.join(" "), say);
        let widths: Vec<f64> = even.iter().map(|line| fonts.width(line, true)).collect();
        assert!(widths[1] > 0.6 * widths[0], "{even:?}");
    }

    #[test]
    fn a_number_keeps_its_unit() {
        let words = unbroken("drops by 46 rev/min (5.4 %), or 2 kPa.");
        assert_eq!(words, ["drops", "by", "46 rev/min", "(5.4 %),", "or", "2 kPa."]);
    }

    #[test]
    fn a_word_without_blanks_is_cut() {
        let fonts = fonts().unwrap();
        let short = fonts.shorten(&"W".repeat(500), false, 10.0);
        assert!(short.ends_with('\u{2026}') && fonts.width(&short, false) <= 10.0);
    }

    #[test]
    fn the_cut_down_faces_are_the_whole_ones_where_they_have_a_glyph() {
        let fonts = fonts().unwrap();
        for (bold, whole) in [(false, dejavu::sans::regular()), (true, dejavu::sans::bold())] {
            let whole = FontRef::try_from_slice(whole).unwrap();
            let own = fonts.face(bold);
            let there = |c: &char| own.glyph_id(*c).0 != 0;
            let chars: Vec<char> = ('!'..='\u{fffd}').filter(there).collect();
            assert!(chars.len() > 1900, "{}", chars.len());
            for c in "azAZ09äéßñœŁžΔμωЖя—…°±×÷²³½≤≥≈→←↑↓Ω√∑∞€£".chars()
            {
                assert!(there(&c), "{c}");
            }
            for (k, c) in chars.iter().enumerate() {
                let (small, large) = (own.glyph_id(*c), whole.glyph_id(*c));
                assert_eq!(own.h_advance_unscaled(small), whole.h_advance_unscaled(large), "{c}");
                let outlines = [own.outline(small), whole.outline(large)];
                let [small_box, large_box] =
                    outlines.map(|o| o.map(|o| (o.bounds, o.curves.len())));
                assert_eq!(format!("{small_box:?}"), format!("{large_box:?}"), "{c}");
                let next = chars[(k * 7 + 3) % chars.len()];
                let kern = own.kern_unscaled(small, own.glyph_id(next));
                assert_eq!(kern, whole.kern_unscaled(large, whole.glyph_id(next)), "{c}{next}");
            }
            let kern = |pair: [char; 2]| {
                let [a, b] = pair.map(|c| own.glyph_id(c));
                own.kern_unscaled(a, b)
            };
            assert!(kern(['A', 'V']) < 0.0, "pairs are kerned");
        }
    }
}
