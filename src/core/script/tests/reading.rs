//! Reading a script from its text.

use super::*;

fn told(toml: &str) -> String {
    match parse(toml) {
        Ok(_) => "good".into(),
        Err(all) => all.iter().map(|p| p.to_string()).collect::<Vec<_>>().join("\n"),
    }
}

#[test]
fn every_mistake_has_a_line_and_a_remedy() {
    assert_snapshot!(told(""), @"line 1: `script` is missing: add it.");
    assert_snapshot!(told("[script"), @"line 1: unclosed table, expected `]`: correct the TOML here.");
    assert_snapshot!(told("[script]\ntitle = \"t\"\nbook = \"b\"\n"), @"line 1: the script has no [[steps]]: write at least one.");
    assert_snapshot!(told(&format!("{HEAD}[[steps]]\nsay = \"x\"\non_spokn = \"y\"\n")), @"line 7: `on_spokn` is not known here: write `on_spoken`.");
    assert_snapshot!(told(&format!("{HEAD}[[steps]]\nwhenever_it_rains = 1\n")), @"line 6: `whenever_it_rains` is not known here: it can be name, at, after, after_met, on_spoken, from, as_it_begins, on_phase, when, within_s, optional, delay_s, say, cut_in, move, ramp_s, set, inject, touch, expect, silent_for_s, never_spoken, never_set, never_called.");
    assert_snapshot!(told(&format!("{HEAD}[[steps]]\non_spoken = \"x\"\nfrom = \"grund\"\n")), @"line 7: `grund` is not known here: write `ground`.");
    assert_snapshot!(told(&format!("{HEAD}[[steps]]\nat = \"soon\"\n")), @r#"line 6: invalid type: string "soon", expected f64: correct the TOML here."#);
    let many = r#"
[[steps]]
at = -1
delay_s = nan
from = "ground"
on_spoken = []
say = " "
ramp_s = 2
expect = [
  {},
  { spoken = "x", set = "y" },
  { spoken = "*" },
  { item = "doors" },
  { phase = "climb", to = 5 },
  { callout = "v1", near = -1 },
  { call = "x", within_s = -2 },
]
never_spoken = ["..."]
move = { x = inf }

[[reactions]]
on_spoken = "x"

[never]
spoken = [""]
"#;
    assert_snapshot!(told(&format!("{HEAD}{many}")), @r#"
    line 6: `on_spoken` is an empty list: name at least one line, or leave the key out.
    line 6: `from` and `as_it_begins` belong to `on_spoken`: add it, or take them away.
    line 6: `at` is -1: give a number of seconds from 0.
    line 6: `say` is empty: write the words, or leave the key out.
    line 6: `move` gives x the value inf: give a finite number.
    line 6: an entry of `expect` says nothing to expect: give one of spoken, set, call, refused, item, checklist, flow, callout, phase, limit, note, when.
    line 6: an entry of `expect` has both `spoken` and `set`: make it two entries.
    line 6: `spoken` has no word in "*": write the words to look for.
    line 6: `item = "doors"` names no list: write "LIST/doors".
    line 6: in `expect`, `to` does not go with `phase`: take it away.
    line 6: `near` must be a number from 0: correct it.
    line 6: `expect.within_s` is -2: give a number of seconds from 0.
    line 6: `delay_s` is NaN: give a number of seconds from 0.
    line 6: `never_spoken` has no word in "...": write the words to look for.
    line 25: a reaction has either `say = "…"` or `say_last = true`: give one of the two.
    line 28: `spoken` has no word in "": write the words to look for.
    "#);
    let world = "[world]\noat_c = nan\n[[steps]]\n";
    assert_snapshot!(told(&format!("{HEAD}noise = {{ kind = \"cabin\", snr_db = inf }}\n{world}")), @"line 1: a number of the world or of the noise is not finite: give a finite number.");
}

#[test]
fn whole_numbers_are_numbers() {
    let s = script(
        "arrangement = { flying = false }\nsheet = { v1_kt = 131 }\n[[steps]]\nmove = { x = 5 }\nset = { y = \"up\", z = true }\n",
    );
    assert_eq!(s.sheet["v1_kt"], Value::Number(131.0));
    assert_eq!(s.steps[0].moves["x"], Value::Number(5.0));
    assert_eq!(s.steps[0].set["y"], Value::Word("up".into()));
    assert_eq!(s.steps[0].set["z"], Value::Bool(true));
    assert!(s.arrangement.captain && !s.arrangement.flying);
}

#[test]
fn the_example_of_the_readme_is_a_script() {
    let readme = include_str!("../../../../tests/sessions/README.md");
    let mut blocks = readme.split("```toml\n").skip(1).map(|b| b.split("```").next().unwrap());
    let example = blocks.next().unwrap();
    assert_eq!(told(example), "good");
    let reaction = blocks.next().unwrap();
    assert_eq!(
        told(&format!("{HEAD}[[steps]]\n{reaction}")).lines().count(),
        1,
        "the second block offers a choice in words"
    );
}

proptest::proptest! {
    #[test]
    fn the_parser_never_panics(text in "(\\[script\\]|\\[\\[steps\\]\\]|say|at|=|\"|expect|\\{|\\}|\n|[0-9]|nan| ){0,40}") {
        let _ = parse(&text);
    }
}
