//! Canonical JSON (keys sorted, no spaces), the running sum of a journal, and where two values first differ.

use serde_json::Value;
use sha2::{Digest, Sha256};

/// Writes `v` with sorted keys and without spaces: two texts of one value give the same bytes.
///
/// Own code rather than `serde_json::to_string`, whose order of keys depends on a feature that any dependency may switch on.
pub(super) fn canonical(v: &Value) -> String {
    let mut out = String::new();
    write(v, &mut out);
    out
}

fn write(v: &Value, out: &mut String) {
    match v {
        Value::Array(all) => {
            out.push('[');
            for (i, v) in all.iter().enumerate() {
                if i > 0 {
                    out.push(',');
                }
                write(v, out);
            }
            out.push(']');
        }
        Value::Object(map) => {
            let mut keys: Vec<&String> = map.keys().collect();
            keys.sort_unstable();
            out.push('{');
            for (i, k) in keys.into_iter().enumerate() {
                if i > 0 {
                    out.push(',');
                }
                out.push_str(&Value::from(k.as_str()).to_string());
                out.push(':');
                write(&map[k], out);
            }
            out.push('}');
        }
        plain => out.push_str(&plain.to_string()),
    }
}

/// Sum of the line whose canonical text (without its own sum) is `line`, after a line with sum `before`: eight hex digits.
///
/// Guards against a slip of the hand, not against forgery.
pub(super) fn sum(before: &str, line: &str) -> String {
    let digest = Sha256::new().chain_update(before).chain_update(b"\n").chain_update(line).finalize();
    digest[..4].iter().map(|b| format!("{b:02x}")).collect()
}

/// The first place, in canonical order, where two values differ: path (`action.text`), and each side (`None` if absent).
pub(super) fn first_difference(a: &Value, b: &Value) -> Option<(String, Option<String>, Option<String>)> {
    walk(a, b, &mut Vec::new())
}

fn walk(a: &Value, b: &Value, path: &mut Vec<String>) -> Option<(String, Option<String>, Option<String>)> {
    match (a, b) {
        (Value::Object(x), Value::Object(y)) => {
            let mut keys: Vec<&String> = x.keys().chain(y.keys()).collect();
            keys.sort_unstable();
            keys.dedup();
            step(keys.into_iter().map(|k| (k.clone(), x.get(k), y.get(k))), path)
        }
        (Value::Array(x), Value::Array(y)) => {
            step((0..x.len().max(y.len())).map(|i| (i.to_string(), x.get(i), y.get(i))), path)
        }
        (a, b) if canonical(a) == canonical(b) => None,
        (a, b) => Some((path.join("."), Some(canonical(a)), Some(canonical(b)))),
    }
}

fn step<'a>(
    pairs: impl Iterator<Item = (String, Option<&'a Value>, Option<&'a Value>)>,
    path: &mut Vec<String>,
) -> Option<(String, Option<String>, Option<String>)> {
    for (name, a, b) in pairs {
        path.push(name);
        let found = match (a, b) {
            (Some(a), Some(b)) => walk(a, b, path),
            (a, b) => Some((path.join("."), a.map(canonical), b.map(canonical))),
        };
        path.pop();
        if found.is_some() {
            return found;
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn keys_are_sorted_and_spaces_gone() {
        let v: Value = serde_json::from_str(r#"{ "b": [1, 2.50, null], "a": {"d": "x\"y", "c": true} }"#).unwrap();
        assert_eq!(canonical(&v), r#"{"a":{"c":true,"d":"x\"y"},"b":[1,2.5,null]}"#);
    }

    #[test]
    fn the_first_difference_has_a_path() {
        let check = |a: Value, b: Value, want: Option<(&str, Option<&str>, Option<&str>)>| {
            let got = first_difference(&a, &b);
            let got = got.as_ref().map(|(p, a, b)| (p.as_str(), a.as_deref(), b.as_deref()));
            assert_eq!(got, want);
        };
        check(json!({"a": 1, "b": [1, 2]}), json!({"b": [1, 2], "a": 1}), None);
        check(json!({"a": {"b": [1, 2]}}), json!({"a": {"b": [1, 3]}}), Some(("a.b.1", Some("2"), Some("3"))));
        check(json!({"a": 1}), json!({"a": 1, "z": "x"}), Some(("z", None, Some("\"x\""))));
    }
}
