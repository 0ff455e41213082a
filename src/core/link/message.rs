//! The messages of the Antiphon link protocol, version 1: one JSON object a line.

use crate::core::aircraft::Value;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// The version that this program speaks.
pub const PROTOCOL: u32 = 1;

/// One message, of either side.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(tag = "type", rename_all = "snake_case")]
pub enum Message {
    /// First of each side.
    Hello {
        /// [`PROTOCOL`] of the sender.
        protocol: u32,
        /// Who speaks, for people.
        #[serde(default)]
        program: String,
        /// What the sender can do: `set`, `pause`, `rate`, `reposition`. Unknown ones are passed over.
        #[serde(default)]
        capabilities: Vec<String>,
        /// Callouts that the aircraft makes itself, by their ids in the book: the second pilot leaves them to it.
        #[serde(default)]
        callouts: Vec<String>,
    },
    /// The simulator: what there is. Later ones add.
    Describe {
        /// By name.
        signals: BTreeMap<String, Described>,
    },
    /// The simulator: what has changed.
    State {
        /// The simulator's clock, s.
        time_s: f64,
        /// Counts states up, so that a repeated one can be told.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        seq: Option<u64>,
        /// New values by signal, in the described unit; `null`: the value is no longer known.
        #[serde(default)]
        values: BTreeMap<String, Option<Value>>,
    },
    /// Antiphon: move a control.
    Set {
        /// Comes back in the result.
        id: u64,
        /// The control.
        control: String,
        /// The wanted state, in the described unit.
        value: Value,
    },
    /// The simulator: what became of a [`Message::Set`].
    Result {
        /// Its id.
        id: u64,
        /// Whether it was taken.
        ok: bool,
        /// What the control shows now.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        reads: Option<Value>,
        /// Why it was not taken.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        why: Option<String>,
    },
    /// The simulator: its clock stands, or goes again.
    Pause {
        /// Whether it stands.
        paused: bool,
    },
    /// The simulator: its clock runs this many times as fast as real time.
    Rate {
        /// More than 0.
        rate: f64,
    },
    /// The simulator: place or time have jumped; the states after this one were not lived through.
    Reposition {},
    /// Either side: are you there?
    Ping {
        /// Comes back in the pong.
        n: u64,
    },
    /// The answer.
    Pong {
        /// Of the ping.
        n: u64,
    },
    /// Either side: something is wrong with what you sent.
    Error {
        /// One sentence.
        text: String,
    },
}

/// A signal as the simulator describes it.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Described {
    /// The unit of its values; by default the one that its name says.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<String>,
    /// Whether it can be set.
    #[serde(default)]
    pub settable: bool,
}

/// Why a line is not a message.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Unread {
    /// Not a JSON object with the fields of its type.
    Unreadable(String),
    /// A type that is not known.
    Unknown(String),
}

impl Message {
    /// Reads one line.
    ///
    /// # Errors
    /// What is wrong with it; the line is to be passed over.
    pub fn read(line: &[u8]) -> Result<Message, Unread> {
        serde_json::from_slice(line).map_err(|e| {
            #[derive(Deserialize)]
            struct Kind {
                r#type: String,
            }
            let unreadable = || Unread::Unreadable(e.to_string());
            match serde_json::from_slice::<Kind>(line) {
                Ok(k) if !TYPES.contains(&k.r#type.as_str()) => Unread::Unknown(k.r#type),
                _ => unreadable(),
            }
        })
    }

    /// Writes one line, with its end. Numbers must be finite; one that is not becomes `null` and will be refused.
    pub fn write(&self) -> String {
        let mut text = serde_json::to_string(self).unwrap_or_default();
        text.push('\n');
        text
    }
}

/// Every type that is known.
pub const TYPES: &[&str] =
    &["hello", "describe", "state", "set", "result", "pause", "rate", "reposition", "ping", "pong", "error"];

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn check(line: &str, want: Result<Message, &str>) {
        match (Message::read(line.as_bytes()), want) {
            (Ok(m), Ok(w)) => assert_eq!(m, w, "{line}"),
            (Err(Unread::Unknown(k)), Err(w)) => assert_eq!(k, w, "{line}"),
            (Err(Unread::Unreadable(_)), Err("unreadable")) => {}
            (got, want) => panic!("{line}: {got:?}, wanted {want:?}"),
        }
    }

    #[test]
    fn reads_what_the_page_says() {
        check(r#"{"type":"ping","n":3}"#, Ok(Message::Ping { n: 3 }));
        check(r#"{"type":"ping","n":3,"more":[1]}"#, Ok(Message::Ping { n: 3 }));
        check(r#"{"type":"reposition"}"#, Ok(Message::Reposition {}));
        let values = [("ias_kt".to_string(), Some(Value::Number(80.5))), ("beacon".to_string(), None)].into();
        check(
            r#"{"type":"state","time_s":1.5,"values":{"ias_kt":80.5,"beacon":null}}"#,
            Ok(Message::State { time_s: 1.5, seq: None, values }),
        );
        check(r#"{"type":"greet"}"#, Err("greet"));
        for bad in ["", "{", "[]", "3", r#"{"n":1}"#, r#"{"type":"ping"}"#, r#"{"type":"state","time_s":NaN}"#] {
            check(bad, Err("unreadable"));
        }
        check(r#"{"type":"state","time_s":1e999}"#, Err("unreadable"));
        check(r#"{"type":"state","time_s":1,"values":{"a":[1]}}"#, Err("unreadable"));
    }

    /// `docs/link-protocol.schema.json` is made from these types; run with `UPDATE=1` in the environment to make it anew.
    #[test]
    fn the_schema_is_of_these_types() {
        let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/link-protocol.schema.json");
        let schema = serde_json::to_value(schemars::schema_for!(Message)).expect("a schema");
        if std::env::var_os("UPDATE").is_some() {
            std::fs::write(&path, format!("{schema:#}\n")).expect("docs can be written");
        }
        let text = std::fs::read_to_string(&path).expect("the schema is there");
        let stands: serde_json::Value = serde_json::from_str(&text).expect("JSON");
        assert_eq!(stands, schema, "make docs/link-protocol.schema.json anew with UPDATE=1");
        let types: Vec<&str> = schema["oneOf"]
            .as_array()
            .expect("types")
            .iter()
            .filter_map(|m| m["properties"]["type"]["const"].as_str())
            .collect();
        assert_eq!(types, TYPES);
    }

    proptest! {
        #[test]
        fn never_panics_and_reads_again_what_it_wrote(bytes in proptest::collection::vec(any::<u8>(), 0..200)) {
            if let Ok(m) = Message::read(&bytes) {
                prop_assert_eq!(Message::read(m.write().trim_end().as_bytes()), Ok(m));
            }
        }

        #[test]
        fn values_survive(time_s in -1e9f64..1e9, n in any::<f64>().prop_filter("finite", |n| n.is_finite()), word in ".*") {
            let values = [("a".to_string(), Some(Value::Number(n))), (word.clone(), Some(Value::Word(word)))].into();
            let m = Message::State { time_s, seq: Some(4), values };
            prop_assert_eq!(Message::read(m.write().trim_end().as_bytes()), Ok(m));
        }
    }
}
