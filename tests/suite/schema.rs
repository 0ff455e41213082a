//! The JSON Schema of the journal (`docs/journal.schema.json`) against real journals: those of all session scripts, which
//! `sessions` flies.
//!
//! A small checker of our own: the few keywords of JSON Schema 2020-12 that the file uses. An unknown keyword is a failure,
//! and so is a key that the schema does not name: it would be a line shape that the documentation has missed.

use crate::sessions::root;
use serde_json::{Value, json};
use std::collections::BTreeSet;

/// The published schema.
pub fn schema() -> Value {
    let text = std::fs::read_to_string(root().join("docs/journal.schema.json")).expect("the schema is there");
    serde_json::from_str(&text).expect("the schema is JSON")
}

fn is(kind: &str, v: &Value) -> bool {
    match kind {
        "object" => v.is_object(),
        "array" => v.is_array(),
        "string" => v.is_string(),
        "boolean" => v.is_boolean(),
        "number" => v.is_number(),
        "integer" => v.is_i64() || v.is_u64(),
        "null" => v.is_null(),
        other => panic!("the schema has the type {other}"),
    }
}

/// What is wrong with `v` at `path`.
fn check(root: &Value, schema: &Value, v: &Value, path: &str) -> Result<(), String> {
    let wrong = |what: String| Err(format!("{path}: {what}: {v}"));
    for (key, want) in schema.as_object().expect("a schema is an object") {
        let size = || want.as_u64().expect("a size") as usize;
        let good = match key.as_str() {
            "$schema" | "$defs" | "title" | "description" => true,
            "$ref" => {
                let to = want.as_str().and_then(|r| root.pointer(r.strip_prefix('#')?)).expect("a definition");
                check(root, to, v, path)?;
                true
            }
            "type" => match want {
                Value::Array(all) => all.iter().any(|k| is(k.as_str().expect("a type"), v)),
                one => is(one.as_str().expect("a type"), v),
            },
            "const" => want == v,
            "enum" => want.as_array().expect("values").contains(v),
            "oneOf" => {
                let tries: Vec<_> = want.as_array().expect("schemas").iter().map(|s| check(root, s, v, path)).collect();
                match tries.iter().filter(|t| t.is_ok()).count() {
                    1 => true,
                    0 => {
                        // The branch whose tag fits and that went deepest tells the reason that helps.
                        let deepest = tries
                            .into_iter()
                            .filter_map(Result::err)
                            .max_by_key(|e| (!e.contains(": const is"), depth(e)));
                        return Err(deepest.unwrap_or_default());
                    }
                    n => return wrong(format!("{n} branches fit")),
                }
            }
            "required" => {
                match want.as_array().expect("names").iter().find(|k| v.get(k.as_str().expect("a name")).is_none()) {
                    Some(lacking) => return wrong(format!("lacks {lacking}")),
                    None => true,
                }
            }
            "properties" => {
                let named = want.as_object().expect("properties");
                for (k, inner) in v.as_object().into_iter().flatten() {
                    match named.get(k) {
                        Some(s) => check(root, s, inner, &format!("{path}.{k}"))?,
                        None => return wrong(format!("has {k}, which the schema does not name")),
                    }
                }
                true
            }
            "additionalProperties" => {
                for (k, inner) in v.as_object().into_iter().flatten() {
                    check(root, want, inner, &format!("{path}.{k}"))?;
                }
                true
            }
            "items" => {
                for (i, inner) in v.as_array().into_iter().flatten().enumerate() {
                    check(root, want, inner, &format!("{path}.{i}"))?;
                }
                true
            }
            "minimum" => !v.is_number() || v.as_f64() >= want.as_f64(),
            "minItems" => v.as_array().is_some_and(|a| a.len() >= size()),
            "maxItems" => v.as_array().is_some_and(|a| a.len() <= size()),
            "minLength" => v.as_str().is_some_and(|s| s.chars().count() >= size()),
            "maxLength" => v.as_str().is_some_and(|s| s.chars().count() <= size()),
            other => panic!("the checker does not know the keyword {other}"),
        };
        if !good {
            return wrong(format!("{key} is {want}"));
        }
    }
    Ok(())
}

fn depth(error: &str) -> usize {
    error.split(": ").next().unwrap_or_default().matches('.').count()
}

/// What of a journal the schema knows nothing of, and the kinds of lines that it holds, added to `seen`.
pub fn judge(schema: &Value, journal: &[u8], seen: &mut BTreeSet<String>) -> Result<(), String> {
    for (n, line) in (1..).zip(std::str::from_utf8(journal).expect("text").lines()) {
        let line: Value = serde_json::from_str(line).expect("JSON");
        check(schema, schema, &line, "").map_err(|e| format!("line {n}{e}"))?;
        for tag in ["/kind", "/input/in", "/action/out", "/action/note"] {
            seen.extend(line.pointer(tag).and_then(Value::as_str).map(|t| format!("{tag} {t}")));
        }
    }
    Ok(())
}

#[test]
fn what_does_not_fit_is_found() {
    let schema = schema();
    let good = json!({"kind": "in", "seq": 1, "at": 0, "sim": 0, "input": {"in": "tick"}, "sum": "00000000"});
    assert_eq!(check(&schema, &schema, &good, ""), Ok(()));
    let spoilt = |path: &str, to: Value| {
        let mut bad = good.clone();
        *bad.pointer_mut(path).expect("a place") = to;
        check(&schema, &schema, &bad, "").expect_err("does not fit")
    };
    assert!(spoilt("/seq", json!(-1)).contains("minimum"));
    assert!(spoilt("/at", json!(0.5)).contains("integer"));
    assert!(spoilt("/sum", json!("0")).contains("minLength"));
    assert!(spoilt("/input", json!({"in": "tock"})).contains("tock"));
    assert!(spoilt("/input", json!({"in": "fault", "room": "ear"})).contains("lacks"));
    assert!(spoilt("/input", json!({"in": "tick", "tone": 1})).contains("does not name"));
}
