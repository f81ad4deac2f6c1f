//! Reading an SVG document strictly enough to know that it is well-formed, and where its words are.

use ab_glyph::{Font, FontRef};
use std::collections::BTreeMap;

/// One element: name, attributes, text inside.
#[derive(Debug, Default, Clone)]
pub struct Element {
    pub name: String,
    pub attributes: BTreeMap<String, String>,
    pub text: String,
}

impl Element {
    pub fn number(&self, key: &str) -> f64 {
        let value = self.attributes.get(key).map_or("", String::as_str);
        value.parse().unwrap_or_else(|_| panic!("{key} of {self:?}"))
    }
}

/// All elements of a document in their order.
///
/// Panics where the document is not well-formed XML (of the kind without comments, declarations
/// and sections of characters).
pub fn elements(document: &str) -> Vec<Element> {
    let mut found: Vec<Element> = Vec::new();
    let mut open: Vec<usize> = Vec::new();
    let mut rest = document;
    while let Some(start) = rest.find('<') {
        let words = plain(&rest[..start]);
        match open.last() {
            Some(parent) => found[*parent].text.push_str(&words),
            None => assert!(words.trim().is_empty(), "words outside the root: {words:?}"),
        }
        let end = rest[start..].find('>').expect("a tag that ends") + start;
        let tag = &rest[start + 1..end];
        rest = &rest[end + 1..];
        if let Some(name) = tag.strip_prefix('/') {
            let last = open.pop().expect("an element to close");
            assert_eq!(found[last].name, name, "closed in the wrong order");
            continue;
        }
        assert!(found.is_empty() || !open.is_empty(), "a second root: {tag}");
        let (inner, closed) = tag.strip_suffix('/').map_or((tag, false), |t| (t, true));
        found.push(element(inner));
        if !closed {
            open.push(found.len() - 1);
        }
    }
    assert!(open.is_empty(), "never closed");
    assert!(rest.trim().is_empty(), "words after the root");
    assert_eq!(found[0].name, "svg");
    found
}

fn element(tag: &str) -> Element {
    let (name, mut rest) = tag.split_once(char::is_whitespace).unwrap_or((tag, ""));
    assert!(name.bytes().all(|b| b.is_ascii_alphabetic()), "element name {name:?}");
    let mut attributes = BTreeMap::new();
    while !rest.trim().is_empty() {
        let (key, after) = rest.trim_start().split_once("=\"").expect("key=\"value\"");
        let (value, after) = after.split_once('"').expect("a value that ends");
        assert!(key.bytes().all(|b| b.is_ascii_alphabetic() || b == b'-'), "attribute {key:?}");
        let fresh = attributes.insert(key.to_owned(), plain(value)).is_none();
        assert!(fresh, "attribute {key} given twice");
        rest = after;
    }
    Element { name: name.to_owned(), attributes, text: String::new() }
}

/// Characters with their entities resolved.
fn plain(text: &str) -> String {
    let mut out = String::new();
    let mut rest = text;
    while let Some(at) = rest.find('&') {
        out.push_str(&rest[..at]);
        let end = rest[at..].find(';').expect("an entity that ends") + at;
        out.push(match &rest[at..=end] {
            "&lt;" => '<',
            "&gt;" => '>',
            "&amp;" => '&',
            "&quot;" => '"',
            "&apos;" => '\'',
            other => panic!("entity {other}"),
        });
        rest = &rest[end + 1..];
    }
    out.push_str(rest);
    assert!(out.chars().all(|c| c == '\n' || !c.is_control()), "a control character in {out:?}");
    out
}

/// The box that a line of text fills.
#[derive(Debug, Clone)]
pub struct Words {
    pub text: String,
    pub em: f64,
    pub left: f64,
    pub right: f64,
    pub top: f64,
    pub bottom: f64,
}

impl Words {
    pub fn overlaps(&self, other: &Words) -> bool {
        self.left < other.right
            && other.left < self.right
            && self.top < other.bottom
            && other.top < self.bottom
    }

    pub fn holds(&self, (x, y): (f64, f64)) -> bool {
        self.left < x && x < self.right && self.top < y && y < self.bottom
    }
}

/// The boxes of all text elements, from ascent to descent of the face.
pub fn words(elements: &[Element]) -> Vec<Words> {
    let regular = FontRef::try_from_slice(dejavu::sans::regular()).expect("the regular face");
    let bold = FontRef::try_from_slice(dejavu::sans::bold()).expect("the bold face");
    let texts = elements.iter().filter(|e| e.name == "text");
    texts
        .map(|e| {
            let heavy = e.attributes.get("font-weight").is_some_and(|w| w == "bold");
            boxed(e, if heavy { &bold } else { &regular })
        })
        .collect()
}

fn boxed(element: &Element, face: &FontRef) -> Words {
    let em = element.number("font-size");
    let unit = em / f64::from(face.units_per_em().expect("units in an em"));
    let text = element.text.trim().to_owned();
    let mut width = 0.0;
    let mut previous = None;
    for c in text.chars() {
        let glyph = face.glyph_id(c);
        assert_ne!(glyph.0, 0, "no glyph for {c:?} in {text:?}");
        width += f64::from(face.h_advance_unscaled(glyph));
        width += previous.map_or(0.0, |p| f64::from(face.kern_unscaled(p, glyph)));
        previous = Some(glyph);
    }
    let width = width * unit;
    let drop = element.attributes["dy"].strip_suffix("em").expect("dy in em");
    let baseline = element.number("y") + em * drop.parse::<f64>().expect("a number of em");
    let x = element.number("x");
    let left = match element.attributes["text-anchor"].as_str() {
        "start" => x,
        "middle" => x - 0.5 * width,
        "end" => x - width,
        other => panic!("anchor {other}"),
    };
    Words {
        em,
        left,
        right: left + width,
        top: baseline - unit * f64::from(face.ascent_unscaled()),
        bottom: baseline - unit * f64::from(face.descent_unscaled()),
        text,
    }
}

/// The points of all lines.
pub fn lines(elements: &[Element]) -> Vec<Vec<(f64, f64)>> {
    let lines = elements.iter().filter(|e| e.name == "polyline");
    lines
        .map(|line| {
            let pairs = line.attributes["points"].split_whitespace();
            pairs
                .map(|pair| {
                    let (x, y) = pair.split_once(',').expect("x,y");
                    (x.parse().expect("x"), y.parse().expect("y"))
                })
                .collect()
        })
        .collect()
}
