//! The text of the property tree: replies over TCP, rows over UDP.

/// What a line of a reply is.
#[derive(Debug, Clone, PartialEq)]
pub enum Reply {
    /// `PATH = VALUE`.
    Value(String, f64),
    /// A value that is not a finite number.
    NoNumber(String),
    /// The other side does not know the property asked for.
    Unknown,
    /// A set has been taken, which does not mean that it has changed anything.
    Taken,
    /// A greeting, a prompt, or talk.
    Other,
}

/// Longest path, bytes.
pub const MAX_PATH: usize = 200;

/// Whether a path can be sent as one word.
pub fn is_path(path: &str) -> bool {
    !path.is_empty() && path.len() <= MAX_PATH && path.bytes().all(|b| b.is_ascii_graphic() && b != b'=')
}

/// Reads a line of a reply, with or without the prompt before it.
pub fn reply(line: &str) -> Reply {
    let line = line.rsplit("> ").next().unwrap_or(line).trim();
    if let Some((path, value)) = line.split_once(" = ") {
        let (path, value) = (path.trim(), value.trim());
        if !is_path(path) {
            return Reply::Other;
        }
        return match value.parse::<f64>() {
            Ok(n) if n.is_finite() => Reply::Value(path.to_string(), n),
            _ => Reply::NoNumber(path.to_string()),
        };
    }
    match line {
        "Unknown property" => Reply::Unknown,
        "set successful" => Reply::Taken,
        _ => Reply::Other,
    }
}

/// The line that asks for a value.
pub fn get(path: &str) -> String {
    format!("get {path}\n")
}

/// The line that sets a value.
pub fn set(path: &str, value: f64) -> String {
    format!("set {path} {value}\n")
}

/// What a datagram is.
#[derive(Debug, Clone, PartialEq)]
pub enum Row {
    /// Names of the columns: passed over, since the link file says them.
    Labels,
    /// Values, the clock first. One that is not finite is `None`.
    Values(Vec<Option<f64>>),
    /// Not a row, or not of this many columns: what is wrong.
    Bad(String),
}

/// Reads a datagram with `columns` values.
pub fn row(bytes: &[u8], columns: usize, separator: char) -> Row {
    let Ok(text) = std::str::from_utf8(bytes) else { return Row::Bad("not text".into()) };
    let text = text.trim();
    if text.starts_with("<LABELS>") {
        return Row::Labels;
    }
    let fields: Vec<&str> = text.split(separator).map(str::trim).collect();
    if fields.len() != columns {
        return Row::Bad(format!("{} columns where the link file has {columns}", fields.len()));
    }
    let mut values = Vec::with_capacity(columns);
    for field in fields {
        match field.parse::<f64>() {
            Ok(n) => values.push(n.is_finite().then_some(n)),
            Err(_) => return Row::Bad("a column that is no number".into()),
        }
    }
    Row::Values(values)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn replies_are_read() {
        let check = |line: &str, want: Reply| assert_eq!(reply(line), want, "{line}");
        check("velocities/vc-kts =     0.815469", Reply::Value("velocities/vc-kts".into(), 0.815469));
        check("Sim> gear/gear-cmd-norm =            0", Reply::Value("gear/gear-cmd-norm".into(), 0.0));
        check("Sim> Sim> a/b = -1e-3", Reply::Value("a/b".into(), -0.001));
        check("a/b = nan", Reply::NoNumber("a/b".into()));
        check("Sim> Unknown property", Reply::Unknown);
        check("Sim> set successful", Reply::Taken);
        check("Connected to a server", Reply::Other);
        check("Sim> ", Reply::Other);
        check("", Reply::Other);
    }

    #[test]
    fn rows_are_read() {
        let check = |text: &str, want: Row| assert_eq!(row(text.as_bytes(), 3, ','), want, "{text}");
        check("<LABELS> ,Time,vc-kts,h\n", Row::Labels);
        check("  0.0499,   0.95,  5\n", Row::Values(vec![Some(0.0499), Some(0.95), Some(5.0)]));
        check("1,nan,-inf", Row::Values(vec![Some(1.0), None, None]));
        check("1,2", Row::Bad("2 columns where the link file has 3".into()));
        check("1,2,x", Row::Bad("a column that is no number".into()));
        assert_eq!(row(&[0xff], 1, ','), Row::Bad("not text".into()));
    }

    proptest! {
        #[test]
        fn nothing_panics(bytes in proptest::collection::vec(any::<u8>(), 0..200), columns in 0usize..8) {
            row(&bytes, columns, ',');
            reply(&String::from_utf8_lossy(&bytes));
        }

        #[test]
        fn a_value_that_is_set_is_read_back_exactly(n in any::<f64>().prop_filter("finite", |n| n.is_finite())) {
            let line = set("a/b", n).replace("set a/b", "a/b =");
            prop_assert_eq!(reply(&line), Reply::Value("a/b".into(), n));
        }
    }
}
