use super::*;

/// The two files of signal names and the aircraft name the same signals with the same types.
#[test]
fn publishes_exactly_the_books_signals() {
    let files = [
        include_str!("../../../phrasebooks/common/signals.toml"),
        include_str!("../../../phrasebooks/saltmarsh-t2/signals.toml"),
    ];
    let mut wanted = BTreeMap::new();
    for text in files {
        let table: toml::Table = toml::from_str(text).unwrap();
        for (name, signal) in table["signals"].as_table().unwrap() {
            let kind = match &signal["kind"] {
                toml::Value::String(s) if s == "number" => ValueKind::Number,
                toml::Value::String(s) if s == "bool" => ValueKind::Bool,
                toml::Value::String(s) if s == "word" => ValueKind::Word(vec![]),
                toml::Value::Array(words) => {
                    ValueKind::Word(words.iter().map(|w| w.as_str().unwrap().to_owned()).collect())
                }
                other => panic!("{name}: {other}"),
            };
            assert!(wanted.insert(name.clone(), kind).is_none(), "{name} twice");
        }
    }
    let aircraft = Aircraft::tarn_t2(1);
    let shown: BTreeMap<String, ValueKind> =
        aircraft.signals().iter().map(|s| (s.name.to_owned(), s.kind.clone())).collect();
    assert_eq!(shown, wanted);
    for (name, value) in aircraft.read() {
        assert!(value.fits(&shown[&name]), "{name} = {value}");
        assert_eq!(aircraft.get(&name), Some(value));
    }
}
