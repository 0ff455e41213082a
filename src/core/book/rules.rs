//! The table of everything that can be wrong with a book; `docs/diagnostics.md` is generated from it.

use super::problem::Severity;

/// One kind of problem.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rule {
    /// Stable name.
    pub id: &'static str,
    /// How bad.
    pub severity: Severity,
    /// What it means, and why it matters.
    pub means: &'static str,
    /// What to do.
    pub mend: &'static str,
}

macro_rules! rules {
    ($($name:ident $id:literal $severity:ident $means:literal $mend:literal)*) => {
        $(
            #[doc = $means]
            pub const $name: &Rule = &Rule { id: $id, severity: Severity::$severity, means: $means, mend: $mend };
        )*
        /// Every kind of problem, by id.
        pub const RULES: &[&Rule] = &[$($name),*];
    };
}

rules! {
    ANSWER_NEVER_DUE "answer-never-due" Warning
        "A call is marked `answer_only`, but no step, callout or checklist waits for it: it can never be heard."
        "Name it in the `calls` of a step that asks, or take `answer_only` away."
    BAD_ID "bad-id" Error
        "An id is not made of lower case letters, digits and `_` beginning with a letter, or it is a word that conditions need for themselves."
        "Rename it; the hint has a spelling that works."
    CALL_DOES_NOTHING "call-does-nothing" Warning
        "A call has no `does`, and nothing waits for it as an answer: saying it changes nothing."
        "Give it a `does`, or name it in the `calls` of a step that asks."
    CHECKLIST_NEVER_READ "checklist-never-read" Warning
        "No call and no step starts this checklist."
        "Add a call with `does = { checklist = \"…\" }` or a step with `read = \"…\"`."
    CONDITION_NOT_ALLOWED "condition-not-allowed" Error
        "A condition uses a part of CEL that phrasebooks do not have: `matches`, list functions, timestamps, maps, indexes, `%`, `has` or an unknown function. Conditions must stay cheap, typed and explainable."
        "Use `&& || ! == != < <= > >= + - * / ?: in [..] abs min max`; time and edges are keys such as `for_s`."
    CONDITION_SYNTAX "condition-syntax" Error
        "A condition is not well-formed CEL."
        "Mend it at the place shown; words stand in quotes, equality is `==`, and is `&&`, or is `||`."
    CONDITION_TOO_LONG "condition-too-long" Error
        "A condition is longer than 2,000 bytes or nested more than 24 deep."
        "Split it into several entries."
    CONDITION_TYPE "condition-type" Error
        "The parts of a condition do not fit together, or the whole is not of the type that is wanted here: a truth for `when`, the control's type for `to`."
        "Compare numbers with numbers and words with words; a truth stands for itself: `beacon`, `!beacon`."
    DUPLICATE_ID "duplicate-id" Error
        "The same id is written twice. Which one is meant must not depend on the order of files."
        "Rename one, or, to change an entry of `common` or of the base book, write `replaces = true` in yours."
    EMPTY_WORDING "empty-wording" Error
        "A wording may be nothing at all: silence would be a call."
        "Make at least one word necessary."
    EXTENDS_CYCLE "extends-cycle" Error
        "Books extend each other in a circle."
        "Take one `extends` away."
    FLOW_NEVER_STARTS "flow-never-starts" Warning
        "No call, step or `start` begins this flow."
        "Add a call with `does = { flow = \"…\" }`, a step with `run = \"…\"`, or a `start`."
    HURRIED_ITEM "hurried-item" Warning
        "An item is asked again so soon that nothing may come between (Degani & Wiener 1990, NASA CR-177549: lists need room for interruption)."
        "Give `within_s` four seconds or more, or leave it out."
    INCLUDE_OUTSIDE "include-outside" Error
        "A book may take in only `common` and the one book it extends, both by plain name: an include never leaves those folders."
        "Write the folder's name without a path, as in `extends = \"saltmarsh-t2\"`."
    INTRINSIC_NOT_ALWAYS "intrinsic-not-always" Warning
        "Hold, disregard, negative, correction and say again must be heard at every moment, but this call is not `always`."
        "Add `always = true`."
    KILLER_LATE "killer-late" Warning
        "A killer item comes after an item that is none: a list that is broken off early leaves it out (Degani & Wiener 1990, NASA CR-177549: the most critical items first, whatever the panel)."
        "Move it to the top. An item that has to wait for somebody (`waits_for`) may stand where it can be answered."
    KILLER_NOT_SEEN "killer-not-seen" Warning
        "A killer item has no `verify`: the pilot's word alone settles it."
        "Add a `verify` that reads the aircraft."
    KILLER_ONCE "killer-once" Warning
        "A killer item about a lever stands in one list only, though the lever may be moved again on new information (Degani & Wiener 1990, NASA CR-177549: critical items are duplicated)."
        "Let it stand in a second list, after the moment at which it may have been changed."
    LEFT_RECURSION "left-recursion" Error
        "A rule leads back to itself, so its wording would have no end. The message shows the circle."
        "Repeat with bounds instead, as in `word<0-3>`."
    LONG_CHECKLIST "long-checklist" Warning
        "A list has more than ten items (Degani & Wiener 1990, NASA CR-177549: long lists are split into parts that belong together)."
        "Split it."
    MISSING_CALL "missing-call" Warning
        "The book has no call for something that a pilot must always be able to say."
        "Take in `common`, or write a call with `always = true` and the `engine` effect named."
    MISSING_FILE "missing-file" Error
        "A book that is named does not exist or has no `*.toml` file."
        "Check the name; books are folders beside each other."
    MISSING_KEY "missing-key" Error
        "A key that this entry must have is not there."
        "Add it; `docs/phrasebook.md` has an example of every entry."
    MISSING_WORDING "missing-wording" Error
        "One of the engine's own sentences is not in `[wording]`."
        "Take in `common`, or write the sentence."
    NO_FLIGHT_ROLES "no-flight-roles" Warning
        "A duty is that of `pf` or `pm`, but the book has no phase in which these mean the flight roles: they are the captain and the first officer everywhere, whoever flies."
        "Name the phases in `flight_roles_in` of `[roles]`, or write `captain` and `first_officer`."
    NO_PHASE "no-phase" Error
        "The book has no phase, so no session can begin."
        "Add at least one `[phases.ID]`."
    NOT_ONE_OF "not-one-of" Error
        "An entry must say exactly one of several things, and says none or more than one."
        "Keep one of the keys that the message lists."
    NUMBER_RANGE "number-range" Error
        "A number is outside of what makes sense for this key."
        "Use a value in the range that the message gives."
    OWNED_CONTROL "owned-control" Error
        "The control is the pilot's own hardware (`kind = \"owned\"`): it is asked for and watched, never set."
        "Ask for it and wait for its signal instead."
    PHASE_DEAD_END "phase-dead-end" Warning
        "A phase does not say what follows it: a session that gets there stays there."
        "Add `next`; where the book ends, write `next = []`."
    REPLACES_NOTHING "replaces-nothing" Error
        "`replaces = true` or `drop = true`, but neither `common` nor the base book has an entry of this id: probably it is misspelt."
        "Correct the id or take `replaces` away."
    RESPONSE_WITHOUT_VALUE "response-without-value" Warning
        "The item is verified to be equal to a number, but a response says none: “set” sounds right whatever the number is. Challenge-and-response lists should state the actual value (Degani & Wiener 1990, NASA CR-177549)."
        "Give every wording a slot, as in `respond = \"$flap:value\"`, and compare `slot.value` in `verify`."
    SAME_WORDING "same-wording" Error
        "One wording has two meanings while both are live: the program could not know which is meant."
        "Change one of them, or give them phases that do not overlap."
    SHEET_CIRCLE "sheet-circle" Error
        "An entry of the flight sheet is computed from itself, directly or by way of others."
        "Take the circle apart: one of its entries must be given."
    SILENT_ROLE "silent-role" Warning
        "An item has words for one of the two pilots only. Roles change with seat, rank and who flies: where the other one has this role, the second pilot says nothing, or answers in the pilot's place."
        "Give the item both `respond` (the pilot's words) and `say` (the second pilot's)."
    SLOT_MISUSE "slot-misuse" Error
        "A slot is used in a way that cannot work: twice under one name in one sentence, under one name with two types, inside of another slot, without any value, or with a range that it cannot have."
        "Give each its own name, as in `$heading:now then $heading:next`."
    SLOT_NOT_EVERYWHERE "slot-not-everywhere" Warning
        "A flow or an answer uses a slot, but one of the calls that lead there has no such slot: then the value is unknown and the step is not done."
        "Give all of those calls the slot, or use another flow for the others."
    SYNTAX "syntax" Error
        "The file is not well-formed TOML."
        "Mend it at the place shown. Only the first fault of a statement is told."
    TEMPLATE_SYNTAX "template-syntax" Error
        "A sentence has a brace without its partner, or nothing between braces."
        "Write `{value}` or `{value:format}`; a brace itself is `{{` or `}}`."
    TOO_MANY "too-many" Error
        "There are more entries of one sort than the program can number."
        "Split the book."
    TRUTH_IN_SENTENCE "truth-in-sentence" Error
        "A sentence holds a truth, which has no words of its own."
        "Choose words for it: `{beacon ? 'on' : 'off'}`."
    UNFILLED_ROLE "unfilled-role" Error
        "A role is named that nobody can fill: both pilots for what one does, a pilot for what ground or cabin do, or both for an item with words for one."
        "Do as the hint says."
    UNKNOWN_BRIEFING "unknown-briefing" Error
        "A name is not that of a briefing of this book."
        "Take the name that the hint offers, or write the briefing."
    UNKNOWN_CALL "unknown-call" Error
        "No call has this id."
        "Use the name in the hint, or define `[calls.ID]`."
    UNKNOWN_CALLOUT "unknown-callout" Error
        "No callout has this id."
        "Use the name in the hint, or define `[callouts.ID]`."
    UNKNOWN_CHECKLIST "unknown-checklist" Error
        "No checklist has this id."
        "Use the name in the hint, or define `[checklists.ID]`."
    UNKNOWN_CONTROL "unknown-control" Error
        "No control has this id."
        "Use the name in the hint, or define `[controls.ID]`."
    UNKNOWN_FIGURE "unknown-figure" Error
        "`compute` names no `[figures.ID]`, or an output that its function does not give."
        "Write `compute = \"FIGURE.OUTPUT\"`; docs/phrasebook.md lists the functions with what they give."
    UNKNOWN_FLOW "unknown-flow" Error
        "No flow has this id."
        "Use the name in the hint, or define `[flows.ID]`."
    UNKNOWN_FORMAT "unknown-format" Error
        "A sentence asks for a way of speaking that does not exist, or that does not fit the value."
        "Use one of the formats of `docs/phrasebook.md`."
    UNKNOWN_HOLE "unknown-hole" Error
        "A sentence of `[wording]` uses a hole that the engine does not fill there."
        "Use only the holes in the table of `docs/phrasebook.md`."
    UNKNOWN_KEY "unknown-key" Error
        "A key does not exist here."
        "Use the key in the hint, or take it away."
    UNKNOWN_NAME "unknown-name" Error
        "A condition uses a name that is not available at this place."
        "`docs/phrasebook.md` lists which names can be used where."
    UNKNOWN_PHASE "unknown-phase" Error
        "No phase has this id."
        "Use the name in the hint, or define `[phases.ID]`."
    UNKNOWN_PLACE "unknown-place" Error
        "The built-in aircraft has no place of this name, or not with these miles."
        "Use the name in the hint; `approach` and `final_approach` may say their miles, as in `\"final_approach 4\"`."
    UNKNOWN_RADIO "unknown-radio" Error
        "The radio phrasebook has no such scene, station, item or value."
        "Use the name in the hint; `phrasebooks/radio` has them all."
    UNKNOWN_RULE "unknown-rule" Error
        "A wording uses `$name`, but there is no rule, slot or built-in slot type of that name."
        "Use the name in the hint, or define it in `[rules]` or `[slots]`."
    UNKNOWN_SECTION "unknown-section" Error
        "A book has no part of this name."
        "Use the name in the hint."
    UNKNOWN_SHEET "unknown-sheet" Error
        "The flight sheet has no entry of this id."
        "Use the name in the hint, or define `[sheet.ID]`."
    UNKNOWN_SIGNAL "unknown-signal" Error
        "No signal has this id: the condition could never be known."
        "Use the name in the hint, or define `[signals.ID]`."
    UNKNOWN_SLOT "unknown-slot" Error
        "A condition uses a slot that the call in question does not have."
        "Use the name in the hint; a slot is called as its binding (`$flap:to` is `slot.to`), or as its type if it has none."
    UNKNOWN_VALUE "unknown-value" Error
        "A key that takes one of a few words has another."
        "Use the word in the hint."
    UNKNOWN_WORD "unknown-word" Error
        "A condition compares with a word that the value can never be, or sets one."
        "Use the word in the hint, or add it to the `kind` of the signal."
    UNREACHABLE_PHASE "unreachable-phase" Error
        "No way leads from the first phase to this one: what is written for it can never happen."
        "List it in the `next` of a phase, or name it in a call, step, checklist or callout."
    UNUSED_PHRASE "unused-phrase" Warning
        "A rule or slot is never used in a wording."
        "Use it or take it away."
    WORDING_SYNTAX "wording-syntax" Error
        "A wording is not a well-formed expansion."
        "Words are lower case without punctuation or figures; `[optional]`, `(this | that)`, `word<0-2>`, `$rule`, `$type:name`."
    WRONG_STATION "wrong-station" Error
        "A control is moved by somebody it does not belong to: what is ground's or the cabin's is moved only by `make` in a flow of that station, and what is ours only by `set`."
        "Use the other key, or correct `station`."
    WRONG_TYPE "wrong-type" Error
        "A value is not of the type that this key takes."
        "Write it as the message says."
}

/// The rule of this id.
pub fn rule(id: &str) -> Option<&'static Rule> {
    RULES.iter().copied().find(|r| r.id == id)
}

/// The page `docs/diagnostics.md`, from the table.
pub fn page() -> String {
    let mut page = String::from(
        "# What can be wrong with a phrasebook\n\nGenerated from `src/core/book/rules.rs`; a test compares. `antiphon check --explain ID` prints one entry.\n\
         An *error* keeps a book from being flown; a *warning* does not.\n",
    );
    for r in RULES {
        page.push('\n');
        page.push_str(&entry(r));
    }
    page
}

/// One entry of the page.
pub fn entry(r: &Rule) -> String {
    let severity = match r.severity {
        Severity::Error => "error",
        Severity::Warning => "warning",
    };
    format!("## {}\n\n*{severity}.* {}\n\n**Mend it:** {}\n", r.id, r.means, r.mend)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ids_are_sorted_unique_and_kebab_case() {
        assert!(RULES.windows(2).all(|w| w[0].id < w[1].id), "keep the table in order of ids");
        for r in RULES {
            assert!(r.id.chars().all(|c| c.is_ascii_lowercase() || c == '-'), "{}", r.id);
            assert!(rule(r.id) == Some(r) && r.means.ends_with('.') && r.mend.ends_with('.'), "{}", r.id);
        }
    }

    #[test]
    fn the_page_in_docs_is_the_generated_one() {
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/docs/diagnostics.md");
        let file = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/docs/diagnostics.md"));
        assert_eq!(file, page(), "write the output of `antiphon check --explain all` into {path}");
    }
}
