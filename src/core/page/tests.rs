use super::layout::Layout;
use super::wording::{Piece, pieces};
use super::*;
use crate::core::book::load::{Folder, SourceFile, load};
use crate::core::book::schema::Source;
use crate::core::crew::io::{Arrangement, Engine};
use crate::core::crew::{Crew, glance};
use crate::core::grammar::CallId;
use crate::core::matcher::match_text;
use crate::core::time::SimTime;
use serde_json::Value as Json;
use std::path::Path;

fn book() -> Arc<Book> {
    let folder = |id: &str| {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("phrasebooks").join(id);
        let mut paths: Vec<_> = std::fs::read_dir(path).ok()?.map(|e| e.expect("an entry").path()).collect();
        paths.retain(|p| p.extension().is_some_and(|e| e == "toml"));
        paths.sort();
        let file = |p: &std::path::PathBuf| SourceFile {
            name: p.file_name().expect("a name").to_string_lossy().into(),
            text: std::fs::read_to_string(p).expect("text"),
        };
        Some(Folder { id: id.into(), files: paths.iter().map(file).collect() })
    };
    let loaded = load(&folder("saltmarsh-t2").expect("a folder"), &folder);
    assert!(!loaded.failed(), "{:#?}", loaded.problems);
    Arc::new(loaded.book)
}

/// A crew with a page looking on.
struct Bench {
    crew: Crew,
    model: Model,
    at: i64,
}

impl Bench {
    fn new(phase: &str) -> Bench {
        let book = book();
        let model = Model::new(book.clone(), Rooms::default());
        let mut b = Bench { crew: Crew::new(book), model, at: 0 };
        let phase = Some(phase.to_string());
        b.feed(Input::Begin { arrangement: Arrangement::default(), phase, sheet: BTreeMap::new() });
        b
    }

    fn feed(&mut self, input: Input) {
        self.at += 50_000;
        let (at, sim) = (SessionTime(self.at), SimTime(self.at));
        let step = self.crew.handle(at, sim, &input);
        self.model.saw(at, &input, &step.actions);
        // A voice that says everything at once.
        for action in step.actions {
            if let Action::Say(s) = action {
                self.feed(Input::SpeechStarted { id: s.id });
                self.feed(Input::SpeechEnded { id: s.id, cut: false });
            }
        }
    }

    fn say(&mut self, words: &str) {
        let book = self.model.book.clone();
        let at = SessionTime(self.at);
        let heard = match_text(&book.graph, &self.model.live.0, words, 1, (at, at));
        self.feed(Input::Heard { heard });
    }

    fn section(&self, name: &str) -> Json {
        let glance = self.crew.glance(self.model.signals()).expect("it has begun");
        let all = self.model.sections(&glance);
        let text = &all.iter().find(|(n, _)| *n == name).expect("a section").1;
        serde_json::from_str(text).expect("JSON")
    }
}

#[test]
fn the_built_in_layout_can_be_read() {
    let all: Layout = toml::from_str(include_str!("../../../phrasebooks/page.toml")).expect("TOML");
    assert!(all.figures.len() > 4 && all.speeds.len() > 2);
    assert!(Layout::built_in(&book()).figures.len() > 4);
}

#[test]
fn every_wording_is_a_sentence_of_its_call() {
    let book = book();
    let mut blanks = 0;
    for (i, call) in book.calls.iter().enumerate() {
        let Some(first) = call.say.first() else { continue };
        let way = pieces(&book.graph, CallId(i as u16), first);
        assert!(!way.is_empty(), "{}: {first}", call.id);
        let words: Option<Vec<&str>> = way
            .iter()
            .map(|p| match p {
                Piece::Words(w) => Some(w.as_str()),
                Piece::Blank { .. } => None,
            })
            .collect();
        match words {
            Some(words) => {
                let said: Vec<&str> = words.iter().flat_map(|w| w.split(' ')).collect();
                let meant = crate::core::grammar::accepts(&book.graph, CallId(i as u16), &said);
                assert!(!meant.is_empty(), "{}: {said:?}", call.id);
            }
            None => blanks += 1,
        }
    }
    assert!(blanks > 5);
}

#[test]
fn an_item_is_a_row_with_both_voices_and_the_aircraft() {
    let mut b = Bench::new("before_start");
    let delta = [("parking_brake".to_string(), Some(true.into()))].into();
    b.feed(Input::State { delta });
    b.say("before start checklist");
    let list = b.section("list");
    assert_eq!(list["title"], "Before start checklist");
    assert_eq!((&list["due"], &list["items"][0]["state"]), (&true.into(), &"now".into()));
    assert_eq!((&list["items"][0]["agrees"], &list["items"][0]["known"]), (&true.into(), &"seen".into()));
    assert_eq!(list["answers"][1][0], "parking brake set");
    assert!(b.section("doing")["for_you"][0].as_str().expect("text").contains("Parking brake"));
    assert_eq!(b.section("can")[0]["due"], true);
    let before = b.section("lines").as_array().expect("a list").len();
    b.say("parking brake set");
    let lines = b.section("lines");
    assert_eq!((&lines[before]["side"], &lines[before]["text"]), (&"you".into(), &"parking brake set".into()));
    assert_eq!(lines[before + 1]["side"], "second");
    let item = &b.section("list")["items"][0];
    assert_eq!((&item["state"], &item["you"]), (&"agreed".into(), &"parking brake set".into()));
    // Windows are known by word only, whatever becomes of them.
    let windows = b.section("list")["items"][5].clone();
    assert_eq!((&windows["known"], &windows["shown"]), (&"heard_only".into(), &"".into()));
}

#[test]
fn a_refusal_has_its_reason_and_what_else_it_could_have_been() {
    let mut b = Bench::new("before_start");
    b.say("purple elephants");
    assert_eq!(b.section("heard")["why"], "no such call");
    assert_eq!(b.section("refused")[0]["why"], "no such call");
    assert_eq!(b.section("heard")["taken"], Json::Array(vec![]));
}

/// A callout that had no occasion is no refusal, and what is not known is told by its name.
#[test]
fn reasons_are_told_to_a_pilot_not_to_an_author() {
    let mut b = Bench::new("before_start");
    let step = |b: &mut Bench, note: Note| {
        b.model.saw(SessionTime(b.at), &Input::Tick, &[Action::Note(note)]);
        b.section("refused").as_array().expect("a list").len()
    };
    let begun = b.section("refused").as_array().expect("a list").len();
    let book = b.model.book.clone();
    let guarded = book.callouts.iter().find(|c| c.only_if.is_some()).expect("a callout with a guard");
    let why = guarded.only_if.as_ref().expect("a guard").text.clone();
    assert_eq!(step(&mut b, Note::Passed { callout: guarded.id.clone(), why }), begun);
    let why = "the aircraft made the call itself".to_string();
    assert_eq!(step(&mut b, Note::Passed { callout: guarded.id.clone(), why }), begun + 1);
    let title = |id: &str| book.signals.iter().find(|s| s.id == id).expect("a signal").title.clone();
    let unknown = "!doors_closed || ias_kt > sheet.v1 is unknown".to_string();
    step(&mut b, Note::NotDone { what: "callout to_go".into(), why: unknown });
    let told = format!("not known: {}, {}, V one", title("doors_closed"), title("ias_kt"));
    let now = b.section("refused")[0].clone();
    assert_eq!((&now["what"], &now["why"]), (&"callout to go".into(), &told.into()));
}

/// Items that are still to come show how they are answered.
#[test]
fn an_open_item_shows_its_answer() {
    let mut b = Bench::new("before_start");
    b.feed(Input::State { delta: [("parking_brake".to_string(), Some(true.into()))].into() });
    b.say("before start checklist");
    let items = b.section("list")["items"].clone();
    let row = |i: usize| (items[i]["expected"].clone(), items[i]["second_says"].clone());
    assert_eq!(row(0), ("set".into(), "".into()));
    assert_eq!(row(1), ("".into(), "Closed".into()));
    assert_eq!(row(2), ("its value".into(), "".into()));
    assert_eq!(row(5), ("closed".into(), "Closed right".into()));
}

#[test]
fn the_sheet_says_who_set_what() {
    let mut b = Bench::new("before_start");
    let by = |b: &Bench, id: &str| {
        let all = b.section("sheet");
        let found = all.as_array().expect("a list").iter().find(|e| e["id"] == id).expect("an entry").clone();
        (found["value"].as_str().expect("text").to_string(), found["by"].as_str().expect("text").to_string())
    };
    let first = by(&b, "v1").1;
    assert!(!first.contains("page"), "{first}");
    b.feed(Input::Sheet { values: [("v1".to_string(), 121.0.into())].into(), source: Source::Typed });
    let (value, who) = by(&b, "v1");
    assert!(value == "121" && who.starts_with("you, on the page"), "{value} {who}");
    b.say("v two one four two");
    let part = |b: &Bench, id: &str| {
        let all = b.section("sheet");
        all.as_array().expect("a list").iter().find(|e| e["id"] == id).expect("an entry")["part"].clone()
    };
    assert_eq!([part(&b, "v1"), part(&b, "callsign")], ["flight", "given"]);
    let (value, who) = by(&b, "v2");
    assert!(value == "142" && who.starts_with("you, by words"), "{value} {who}");
    // Who has compared it, and what cannot be right, is the engine's to say.
    let entry = |b: &Bench, id: &str| {
        let all = b.section("sheet");
        all.as_array().expect("a list").iter().find(|e| e["id"] == id).expect("an entry").clone()
    };
    assert_ne!(entry(&b, "v1")["at"], "", "when it was written");
    assert_eq!(entry(&b, "v1")["checked"], "");
    let mut now = b.crew.glance(&[]).expect("it has begun");
    let i = b.model.book.sheet.iter().position(|e| e.id == "v1").expect("an entry");
    (now.known[i].by_program, now.known[i].doubted) = (true, true);
    now.briefing = Some(glance::Briefing {
        title: "Departure".into(),
        topics: vec![("runway".into(), true), ("stop".into(), false)],
    });
    now.put_off = vec!["flaps five".into()];
    let shown = |name: &str| -> Json {
        let all = b.model.sections(&now);
        serde_json::from_str(&all.iter().find(|(n, _)| *n == name).expect("a section").1).expect("JSON")
    };
    let v1 = shown("sheet")[i].clone();
    assert_eq!((&v1["checked"], &v1["doubted"]), (&"the second pilot".into(), &true.into()));
    let doing = shown("doing");
    assert_eq!(doing["put_off"][0], "flaps five");
    assert_eq!(doing["briefing"], serde_json::json!(["Departure", [["runway", true], ["stop", false]]]));
    // What is not of its type changes nothing and is told.
    b.feed(Input::Sheet { values: [("v1".to_string(), true.into())].into(), source: Source::Typed });
    assert_eq!(by(&b, "v1").0, "121");
    assert!(b.section("refused")[0]["why"].as_str().expect("text").contains("type"));
}

#[test]
fn what_is_lost_is_not_well() {
    let mut b = Bench::new("before_start");
    b.feed(Input::State { delta: [("parking_brake".to_string(), Some(true.into()))].into() });
    assert_eq!(b.section("health")[0]["state"], "good");
    b.feed(Input::Link { up: false });
    b.feed(Input::Fault { room: "voice".into(), message: "it broke".into() });
    let health = b.section("health");
    assert_eq!((&health[0]["state"], &health[2]["text"]), (&"bad".into(), &"it broke".into()));
}
