//! Two JSON documents side by side: numbers within a tolerance, everything else exactly.

use serde_json::Value;

/// Numbers agree when they differ by at most this share of the larger one. The program prints six
/// digits or more; another machine's rounding of sine and logarithm stays far below this.
pub const RELATIVE: f64 = 1e-6;

/// What differs, each with its place in the document.
pub fn differences(expected: &Value, found: &Value) -> Vec<String> {
    let mut out = Vec::new();
    walk("", expected, found, &mut out);
    out
}

fn walk(place: &str, expected: &Value, found: &Value, out: &mut Vec<String>) {
    match (expected, found) {
        (Value::Number(a), Value::Number(b)) => {
            let (a, b) = (a.as_f64().unwrap(), b.as_f64().unwrap());
            if (a - b).abs() > RELATIVE * a.abs().max(b.abs()) {
                out.push(format!("{place}: expected {a}, found {b}"));
            }
        }
        (Value::Array(a), Value::Array(b)) => {
            if a.len() != b.len() {
                out.push(format!("{place}: expected {} entries, found {}", a.len(), b.len()));
            }
            for (k, (a, b)) in a.iter().zip(b).enumerate() {
                walk(&format!("{place}[{k}]"), a, b, out);
            }
        }
        (Value::Object(a), Value::Object(b)) => {
            for (key, a) in a {
                match b.get(key) {
                    Some(b) => walk(&format!("{place}.{key}"), a, b, out),
                    None => out.push(format!("{place}.{key}: expected, not found")),
                }
            }
            for key in b.keys().filter(|key| !a.contains_key(*key)) {
                out.push(format!("{place}.{key}: found, not expected"));
            }
        }
        (a, b) if a == b => {}
        (a, b) => out.push(format!("{place}: expected {a}, found {b}")),
    }
}

/// Places of the document that hold `null`.
pub fn absent(document: &Value) -> Vec<String> {
    fn walk(place: &str, value: &Value, out: &mut Vec<String>) {
        match value {
            Value::Null => out.push(place.to_string()),
            Value::Array(list) => list.iter().for_each(|value| walk(place, value, out)),
            Value::Object(block) => {
                block.iter().for_each(|(key, value)| walk(&format!("{place}.{key}"), value, out));
            }
            _ => {}
        }
    }
    let mut out = Vec::new();
    walk("", document, &mut out);
    out
}

#[test]
fn a_changed_document_is_seen() {
    use serde_json::json;
    let one = json!({ "a": 1.0, "b": ["x", 2], "c": null });
    assert_eq!(differences(&one, &json!({ "a": 1.0000005, "b": ["x", 2], "c": null })).len(), 0);
    for other in [
        json!({ "a": 1.000002, "b": ["x", 2], "c": null }),
        json!({ "a": 1.0, "b": ["X", 2], "c": null }),
        json!({ "a": 1.0, "b": ["x"], "c": null }),
        json!({ "a": 1.0, "b": ["x", 2] }),
        json!({ "a": 1.0, "b": ["x", 2], "c": 0 }),
        json!({ "a": 1.0, "b": ["x", 2], "c": null, "d": 1 }),
    ] {
        assert_eq!(differences(&one, &other).len(), 1, "{other}");
    }
    assert_eq!(absent(&one), [".c"]);
}
