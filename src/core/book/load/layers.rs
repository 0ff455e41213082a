//! What a book takes in, and which entry stands where: `common` first, then the base book, then the book itself.

use super::reader::Reader;
use super::tree::{self, Entry, Node, Span, Tree};
use super::{Cx, Folder, SourceFile};
use crate::core::book::problem::nearest;
use crate::core::book::rules;

/// Sections that hold a table an id.
const TABLES: &[&str] = &[
    "signals",
    "controls",
    "calls",
    "flows",
    "checklists",
    "callouts",
    "limits",
    "phases",
    "sheet",
    "figures",
    "slots",
    "briefings",
    "surprises",
    "clearances",
    "practice",
];
/// Sections that hold a string an id, in the long form a table with `say`.
const STRINGS: &[&str] = &["rules", "wording"];
/// Sections that are one table.
const SINGLE: &[&str] = &["book", "roles", "manners"];

/// An entry of a section.
#[derive(Debug, Clone)]
pub struct Item {
    /// Its id.
    pub id: String,
    /// Where the id stands.
    pub at: Span,
    /// What it says.
    pub node: Node,
    layer: usize,
}

/// All sections, merged.
#[derive(Debug, Default)]
pub struct Sections {
    all: Vec<(&'static str, Vec<Item>)>,
    /// The layer of the book itself.
    top: usize,
}

impl Sections {
    /// The entries of a section in order.
    pub fn items(&self, section: &str) -> &[Item] {
        self.all.iter().find(|(s, _)| *s == section).map_or(&[], |(_, i)| i.as_slice())
    }
    /// Whether an entry came unchanged from what the book takes in.
    pub fn inherited(&self, item: &Item) -> bool {
        item.layer < self.top
    }
    /// The one table of `[book]` or `[roles]`: the topmost layer's.
    pub fn single(&self, section: &str) -> Option<&Item> {
        self.items(section).last()
    }
}

struct Layer {
    files: Vec<Vec<Entry>>,
}

struct Gather<'a> {
    cx: &'a Cx,
    fetch: &'a dyn Fn(&str) -> Option<Folder>,
    sources: Vec<SourceFile>,
    layers: Vec<Layer>,
    common: bool,
}

/// Parses the book and everything that it takes in, and merges them.
pub fn gather(cx: &Cx, folder: &Folder, fetch: &dyn Fn(&str) -> Option<Folder>) -> (Sections, Vec<SourceFile>) {
    let mut g = Gather { cx, fetch, sources: Vec::new(), layers: Vec::new(), common: false };
    g.take(folder, &mut Vec::new());
    (merge(cx, &g.layers), g.sources)
}

impl Gather<'_> {
    fn take(&mut self, folder: &Folder, chain: &mut Vec<String>) {
        chain.push(folder.id.clone());
        if folder.files.is_empty() {
            let text = format!("The book `{}` has no `*.toml` file.", folder.id);
            self.cx.raise_whole(rules::MISSING_FILE, text, Some("name a folder that holds a phrasebook".into()));
        }
        let mut files = Vec::new();
        for f in &folder.files {
            let index = self.sources.len().min(u16::MAX as usize) as u16;
            self.sources.push(f.clone());
            files.push(tree::parse(self.cx, index, &f.text));
        }
        let heads: Vec<Entry> = files.iter().flatten().filter(|e| e.key == "book").cloned().collect();
        if let [_, second, ..] = heads.as_slice() {
            let text = "`[book]` is written twice.".to_string();
            self.cx.raise(rules::DUPLICATE_ID, second.at, text, Some("keep one".into()));
        }
        match heads.first() {
            Some(head) => self.includes(head, chain),
            None if !folder.files.is_empty() && folder.id != "common" => {
                let text = format!("The book `{}` has no `[book]`.", folder.id);
                let hint = "add `[book]` with `title`, and `use = [\"common\"]`".to_string();
                self.cx.raise_whole(rules::MISSING_KEY, text, Some(hint));
            }
            None => {}
        }
        self.layers.push(Layer { files });
        chain.pop();
    }

    fn includes(&mut self, head: &Entry, chain: &mut Vec<String>) {
        let r = Reader { cx: self.cx, what: "the head of the book", at: head.at, entries: head.value.entries() };
        for (name, node) in r.texts("use") {
            if name != "common" {
                let text = format!("A book cannot take in `{name}`.");
                self.cx.raise(rules::INCLUDE_OUTSIDE, node.at, text, Some("only \"common\" can be used".into()));
            } else if !self.common {
                self.common = true;
                self.fetch(name, node, chain);
            }
        }
        let Some(node) = r.node("extends") else { return };
        let Some(name) = r.text("extends") else { return };
        let plain = !name.is_empty() && name.chars().all(|c| c.is_ascii_alphanumeric() || c == '-' || c == '_');
        if !plain {
            let last = name.rsplit(['/', '\\']).next().unwrap_or(name);
            let text = format!("A book cannot extend `{name}`: that is not the plain name of a book.");
            self.cx.raise(rules::INCLUDE_OUTSIDE, node.at, text, Some(format!("write \"{last}\"")));
        } else if chain.iter().any(|c| c == name) {
            let text = format!("The books extend each other in a circle: {} → {name}.", chain.join(" → "));
            self.cx.raise(rules::EXTENDS_CYCLE, node.at, text, Some("take one `extends` away".into()));
        } else {
            self.fetch(name, node, chain);
        }
    }

    fn fetch(&mut self, name: &str, node: &Node, chain: &mut Vec<String>) {
        match (self.fetch)(name) {
            Some(folder) => self.take(&folder, chain),
            None => {
                let text = format!("There is no book `{name}` here.");
                let hint = format!("put the folder `{name}` beside this book's, or correct the name");
                self.cx.raise(rules::MISSING_FILE, node.at, text, Some(hint));
            }
        }
    }
}

fn merge(cx: &Cx, layers: &[Layer]) -> Sections {
    let names = || SINGLE.iter().chain(TABLES).chain(STRINGS).copied();
    let mut sections =
        Sections { all: names().map(|s| (s, Vec::new())).collect(), top: layers.len().saturating_sub(1) };
    for (layer, l) in layers.iter().enumerate() {
        for e in l.files.iter().flatten() {
            let Some((section, items)) = sections.all.iter_mut().find(|(s, _)| *s == e.key) else {
                let hint = match nearest(&e.key, names()) {
                    Some(n) => format!("did you mean `{n}`?"),
                    None => format!("the parts of a book are {}", names().collect::<Vec<_>>().join(", ")),
                };
                cx.raise(rules::UNKNOWN_SECTION, e.at, format!("A book has no part `{}`.", e.key), Some(hint));
                continue;
            };
            if !matches!(e.value.tree, Tree::Table(_)) {
                cx.wrong_type(&e.value, &e.key, "a table");
            } else if *section == "book" {
                // Every layer has its own; the topmost counts, and what it lacks comes from below. A second one in a layer
                // has been reported.
                if items.last().is_none_or(|o| o.layer < layer) {
                    items.push(Item { id: e.key.clone(), at: e.at, node: e.value.clone(), layer });
                }
            } else if SINGLE.contains(section) {
                put(cx, section, items, Item { id: e.key.clone(), at: e.at, node: e.value.clone(), layer });
            } else {
                for x in e.value.entries() {
                    if well_named(cx, section, x) {
                        put(cx, section, items, Item { id: x.key.clone(), at: x.at, node: x.value.clone(), layer });
                    }
                }
            }
        }
    }
    for (section, items) in &mut sections.all {
        if items.len() > 60_000 {
            cx.raise_whole(rules::TOO_MANY, format!("There are more than 60,000 {section}."), None);
            items.truncate(60_000);
        }
    }
    sections
}

fn put(cx: &Cx, section: &str, items: &mut Vec<Item>, item: Item) {
    let replaces = matches!(item.node.get("replaces").map(|e| &e.value.tree), Some(Tree::Truth(true)));
    if let Some(e) = item.node.get("replaces").filter(|e| !matches!(e.value.tree, Tree::Truth(_))) {
        cx.wrong_type(&e.value, "replaces", "true or false");
    }
    if matches!(item.node.get("drop").map(|e| &e.value.tree), Some(Tree::Truth(true))) {
        return drop_entry(cx, section, items, &item);
    }
    let Some(i) = items.iter().position(|o| o.id == item.id) else {
        if replaces {
            let hint = match nearest(&item.id, items.iter().filter(|o| o.layer < item.layer).map(|o| o.id.as_str())) {
                Some(n) => format!("did you mean \"{n}\"?"),
                None => "take `replaces` away".to_string(),
            };
            let text = format!("There is no `{}` in {section} that this could replace.", item.id);
            cx.raise(rules::REPLACES_NOTHING, item.at, text, Some(hint));
        }
        items.push(item);
        return;
    };
    if items[i].layer < item.layer && replaces {
        items[i] = item;
    } else {
        let hint = if items[i].layer < item.layer {
            "add `replaces = true` if yours is to take its place, or rename it"
        } else {
            "rename or remove one of them"
        };
        let whose = if items[i].layer < item.layer { " in a book that this one takes in" } else { "" };
        let text = format!("`{}` is already in {section}{whose}.", item.id);
        cx.raise(rules::DUPLICATE_ID, item.at, text, Some(hint.into()));
    }
}

/// Takes an entry of a lower layer away: this book has no such thing.
fn drop_entry(cx: &Cx, section: &str, items: &mut Vec<Item>, item: &Item) {
    let r = Reader { cx, what: "what is dropped", at: item.at, entries: item.node.entries() };
    r.only(&["drop"]);
    match items.iter().position(|o| o.id == item.id && o.layer < item.layer) {
        Some(i) => {
            items.remove(i);
        }
        None => {
            let below = items.iter().filter(|o| o.layer < item.layer).map(|o| o.id.as_str());
            let hint = match nearest(&item.id, below) {
                Some(n) => format!("did you mean \"{n}\"?"),
                None => "take the entry away".to_string(),
            };
            let text = format!("There is no `{}` in {section} that this could drop.", item.id);
            cx.raise(rules::REPLACES_NOTHING, item.at, text, Some(hint));
        }
    }
}

/// Words that conditions use for themselves, and those that CEL keeps.
const TAKEN: &[&str] = &[
    "true",
    "false",
    "null",
    "in",
    "to",
    "phase",
    "sheet",
    "slot",
    "done",
    "said",
    "last",
    "abs",
    "min",
    "max",
    "as",
    "break",
    "const",
    "continue",
    "else",
    "for",
    "function",
    "if",
    "import",
    "let",
    "loop",
    "package",
    "namespace",
    "return",
    "var",
    "void",
    "while",
];

fn well_named(cx: &Cx, section: &str, e: &Entry) -> bool {
    let letters = e.key.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_');
    let taken = section == "signals" && TAKEN.contains(&e.key.as_str());
    if letters && e.key.starts_with(|c: char| c.is_ascii_lowercase()) && !taken && e.key.len() <= 64 {
        return true;
    }
    let mut better: String = e
        .key
        .to_lowercase()
        .chars()
        .map(|c| if c.is_ascii_lowercase() || c.is_ascii_digit() { c } else { '_' })
        .take(64)
        .collect();
    if !better.starts_with(|c: char| c.is_ascii_lowercase()) || taken {
        better = format!("the_{}", better.trim_start_matches('_'));
    }
    let text = if taken {
        format!("`{}` cannot be a signal: conditions use the word themselves.", e.key)
    } else {
        format!("`{}` cannot be an id.", e.key)
    };
    cx.raise(rules::BAD_ID, e.at, text, Some(format!("write `{better}`")));
    // It still counts as defined, so that one bad letter does not make every reference to it a problem.
    !e.key.is_empty() && e.key.len() <= 64 && !taken
}
