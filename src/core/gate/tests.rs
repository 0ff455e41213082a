use super::*;

const FRAME: u64 = 512;

/// Plays frames (`x` loud speech, `b` others' talk, 14 dB softer, `f` faint speech, `m` loud speech that voice activity misses, `.` noise, `0` digital silence, `[` push, `]` release, `U` button unplugged, `C` closed, `K`
/// critical, `O` open, `!` whole, `-` not whole, `E` end of sound) and tells what the gate said.
fn run(script: &str) -> Vec<String> {
    let mut gate = Gate::new(Settings::default());
    let mut told = Vec::new();
    let mut tell = |events: Vec<Event>| {
        for e in events {
            told.push(match e {
                Event::Began { at } => format!("began {}", at / FRAME),
                Event::Ask { window } => format!("ask {}-{}", window.from / FRAME, window.to.div_ceil(FRAME)),
                Event::Ended(u) => {
                    let speech = u.speech.map_or("none".into(), |s| format!("{}-{}", s.from / FRAME, s.to / FRAME));
                    let marks = [(u.pushed, " pushed"), (u.critical_only, " critical"), (u.faint, " faint")];
                    let marks: String = marks.iter().filter(|m| m.0).map(|m| m.1).collect();
                    assert!(u.window.from <= u.window.to && u.window.to <= u.at);
                    let later: String =
                        u.later.iter().flatten().map(|l| format!(" later {}", l.from / FRAME)).collect();
                    format!("{:?} {speech} from {}{later}{marks}", u.why, u.window.from / FRAME)
                }
                Event::Dead => "dead".into(),
            });
        }
    };
    let frame =
        |amplitude: f32| (0..FRAME).map(|i| if i % 2 == 0 { amplitude } else { -amplitude }).collect::<Vec<_>>();
    for c in script.chars() {
        let events = match c {
            'x' => gate.frame(&frame(0.1), 0.9),
            'b' => gate.frame(&frame(0.02), 0.9),
            'm' => gate.frame(&frame(0.1), 0.1),
            'f' => gate.frame(&frame(0.0005), 0.9),
            '.' => gate.frame(&frame(0.001), 0.02),
            '0' => gate.frame(&vec![0.0; FRAME as usize], 0.0),
            '[' => gate.push(true).into_iter().collect(),
            ']' => gate.push(false).into_iter().collect(),
            'U' => gate.unplug().into_iter().collect(),
            'C' => gate.set_opening(Opening::Closed).into_iter().collect(),
            'K' => gate.set_opening(Opening::Critical).into_iter().collect(),
            'O' => gate.set_opening(Opening::Open).into_iter().collect(),
            '!' => gate.answer(true).into_iter().collect(),
            '-' => gate.answer(false).into_iter().collect(),
            'E' => gate.finish().into_iter().collect(),
            c => panic!("{c}"),
        };
        tell(events);
    }
    told
}

fn check(script: &str, want: &[&str]) {
    assert_eq!(run(script), want, "{script}");
}

#[test]
fn what_voice_activity_noticed_late_is_part_of_the_utterance() {
    let calm = ".".repeat(40);
    let end = "..-...-...........";
    let silence = |began: u64, to: u64| {
        let from = began - 8;
        let told = [
            format!("began {began}"),
            format!("ask {from}-{}", to + 2),
            format!("ask {from}-{}", to + 5),
            format!("Silence {began}-{to} from {from}"),
        ];
        told.map(|s| s.to_string())
    };
    let check = |script: String, began: u64, to: u64| assert_eq!(run(&script), silence(began, to), "{script}");
    check(format!("{calm}xxxxx{end}"), 40, 45);
    check(format!("{calm}mmmmmmmmmmxxxxx{end}"), 40, 55);
    // A stop within a word, and a pause between two sounds.
    check(format!("{calm}mmmmm........mmmxxxxx{end}"), 40, 61);
    check(format!("{calm}mmmmm.........mmmxxxxx{end}"), 54, 62);
    // No farther back than a second and a half.
    check(format!("{calm}{}xxxxx{end}", "m".repeat(50)), 43, 95);
    // What we say ourselves is none of it, nor is the utterance before.
    let began =
        |script: String| -> Vec<String> { run(&script).into_iter().filter(|t| t.starts_with("began")).collect() };
    assert_eq!(began(format!("K{calm}mmmmmmxxO{end}")), ["began 46"]);
    assert_eq!(began(format!("{calm}xxxxx..-...!mmmxx{end}")), ["began 40", "began 50"]);
}

#[test]
fn silence_ends_an_utterance() {
    check("..........xxxxx..-...-...........", &["began 10", "ask 2-17", "ask 2-20", "Silence 10-15 from 2"]);
    check("..........xxxxx..!...........", &["began 10", "ask 2-17", "Whole 10-15 from 2"]);
    // What was not whole with little of the end may be with more of it.
    check("..........xxxxx..-...!...........", &["began 10", "ask 2-17", "ask 2-20", "Whole 10-15 from 2"]);
    // An answer that nobody asked for changes nothing.
    check("..........xxxxx!.E", &["began 10", "Cut 10-15 from 2"]);
}

#[test]
fn more_speech_asks_anew() {
    check("..........xxxxx..!xxx..!....", &["began 10", "ask 2-17", "ask 2-22", "Whole 10-20 from 2"]);
    let again = ["began 10", "ask 2-17", "ask 2-20", "ask 2-25", "ask 2-28", "Whole 10-23 from 2"];
    check("..........xxxxx.....-xxx.....!", &again);
}

#[test]
fn a_click_is_no_beginning() {
    check("..........x....x....x....", &[]);
    check("..........x.x.", &["began 10"]);
}

#[test]
fn nothing_lasts_for_ever() {
    let told = run(&"x".repeat(380));
    // Who talks on for so long does not talk to us: the next must be louder.
    assert_eq!(told, ["began 0", "TooLong 0-375 from 0"]);
}

#[test]
fn push_to_talk_ends_by_release() {
    check("....[..xxx..............xx]........", &["began 4", "Released 6-25 from 0 pushed"]);
    check("....[........]........", &["began 4", "Released none from 0 pushed"]);
    // Speech without the button is not for us.
    check("....[..]........xxxxxxx..........", &["began 4", "Released none from 0 pushed"]);
}

#[test]
fn a_late_press_and_an_early_release_lose_no_word() {
    // An open microphone until the first press: what is being said goes on, now with the button.
    check("..........xxxx[xx..]..........", &["began 10", "Released 10-16 from 2 pushed"]);
    // From the second press on the gate has heard the words begin all the same.
    let once = ["began 0", "Released none from 0 pushed"];
    let with = |more: &[&'static str]| once.iter().chain(more).copied().collect::<Vec<_>>();
    check("[..]............xxxx[xx..]..........", &with(&["began 14", "Released 14-20 from 6 pushed"]));
    // Not what was said long before, and not what was over.
    let told = run(&format!("[..]............{}[x.]..........", "x".repeat(60)));
    assert_eq!(told[2..], ["began 49", "Released 49-75 from 41 pushed"]);
    check("[..]............xx......[xxx..]..........", &with(&["began 22", "Released 22-25 from 14 pushed"]));
    // Released in the middle of a word: it is waited for, but not for ever.
    check("[...xxx]xxxxxx.............", &["began 0", "Released 3-12 from 0 pushed"]);
    let told = run(&format!("[...xxx]{}", "x".repeat(60)));
    assert_eq!(told, ["began 0", "Released 3-31 from 0 pushed"]);
}

#[test]
fn a_release_without_a_press_changes_nothing_and_a_lost_release_is_got_over() {
    check("]..........xxx................", &["began 10", "ask 2-15", "ask 2-18", "Silence 10-13 from 2"]);
    let told = run(&format!("[..xx{}[..xx]...........", ".".repeat(380)));
    assert_eq!(told, ["began 0", "TooLong 2-4 from 0 pushed", "began 384", "Released 386-388 from 376 pushed"]);
}

#[test]
fn an_unplugged_button_is_released_and_the_microphone_is_open() {
    let open = ["began 0", "Released 3-7 from 0 pushed", "began 20", "ask 12-27", "ask 12-30", "Silence 20-25 from 12"];
    check("[...xxxxU.............xxxxx....................", &open);
}

#[test]
fn a_closed_gate_hears_nothing() {
    check("CxxxxxxxO..........xxx................", &["began 17", "ask 9-22", "ask 9-25", "Silence 17-20 from 9"]);
    check("....CxxxxxxxOxxx................E", &["began 11", "ask 11-16", "ask 11-19", "Silence 11-14 from 11"]);
    check("......xxxxCxxxx", &["began 6", "Cut 6-10 from 0"]);
}

#[test]
fn speech_over_ours_is_critical_only() {
    check("......Kxxxx.....!", &["began 6", "ask 0-12", "ask 0-15", "Whole 6-10 from 0 critical"]);
    check("......xxKxx.....!", &["began 6", "ask 0-12", "ask 0-15", "Whole 6-10 from 0 critical"]);
}

#[test]
fn faint_speech_and_a_dead_microphone_are_told() {
    check("......ffff.....!", &["began 6", "ask 0-12", "ask 0-15", "Whole 6-10 from 0 faint"]);
    let dead = format!("....{}....{}", "0".repeat(200), "0".repeat(100));
    assert_eq!(run(&dead), ["dead", "dead"]);
}

#[test]
fn a_pilot_is_louder_than_others_who_talk_on() {
    let talk = "b".repeat(30);
    // The first time the talk before is part of the utterance; what is asked is what the louder one said.
    let first = ["began 0", "ask 22-42", "ask 22-45", "Silence 0-40 from 0 later 22"];
    check(&format!("{talk}{}{}", "x".repeat(10), "b".repeat(16)), &first);
    // From then on only someone louder begins.
    let then = [&first[..], &["began 80", "ask 72-92", "Whole 80-90 from 72"]].concat();
    check(&format!("{talk}{}{}{}bb!bbb", "x".repeat(10), "b".repeat(40), "x".repeat(10)), &then);
    // A pause ends the crowd: then anyone may begin.
    let anew = [&first[..], &["began 86"]].concat();
    check(&format!("{talk}{}{}{}bbb", "x".repeat(10), "b".repeat(30), ".".repeat(16)), &anew);
}

#[test]
fn one_who_grows_louder_and_softer_is_one_utterance() {
    let one = "xxxxbbxxxbbbxxxxxbbbbxxxxx".repeat(3);
    check(&format!("....{one}E"), &["began 4", "Cut 4-82 from 0"]);
}
