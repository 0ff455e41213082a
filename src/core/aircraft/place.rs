//! Names of the places at which the built-in aircraft can begin; books and scripts name them.

/// A place: its name, and from where to where it may say its miles, if it may.
pub type PlaceName = (&'static str, Option<(f64, f64)>);

/// All of them.
pub const PLACES: &[PlaceName] = &[
    ("stand", None),
    ("lined_up", None),
    ("climb", None),
    ("cruise", None),
    ("approach", Some((6.0, 22.0))),
    ("final_approach", Some((1.0, 14.0))),
    ("landed", None),
];

/// What is wrong with a place as somebody wrote it, in one sentence; `None` if there is such a place.
pub fn wrong_place(text: &str) -> Option<String> {
    let mut words = text.split_whitespace();
    let name = words.next().unwrap_or_default();
    let Some((_, miles)) = PLACES.iter().find(|(n, _)| *n == name) else {
        return Some(format!("There is no place `{text}`."));
    };
    let far = words.next();
    match (miles, far.map(str::parse::<f64>), words.next()) {
        (_, None, _) => None,
        (Some((low, high)), Some(Ok(nm)), None) if (*low..=*high).contains(&nm) => None,
        (Some((low, high)), ..) => Some(format!("`{name}` may say its miles, a number from {low} to {high}.")),
        (None, ..) => Some(format!("`{name}` stands alone, without miles.")),
    }
}

#[cfg(test)]
mod tests {
    use super::wrong_place;

    #[test]
    fn places_are_known_with_their_miles() {
        for good in ["stand", "lined_up", "approach", "approach 13", "final_approach 1.3", "landed"] {
            assert_eq!(wrong_place(good), None, "{good}");
        }
        for bad in ["", "stnad", "stand 3", "approach far", "approach 3", "final_approach 20", "approach 13 14"] {
            assert!(wrong_place(bad).is_some(), "{bad}");
        }
    }
}
