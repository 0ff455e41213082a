#![no_main]
//! What a journal holds of an input is written again exactly as it was read.

use antiphon::core::crew::io::Input;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| {
    let Ok(input) = serde_json::from_slice::<Input>(data) else { return };
    let text = serde_json::to_string(&input).expect("what was read can be written");
    let again: Input = serde_json::from_str(&text).expect("what was written can be read");
    assert_eq!(serde_json::to_string(&again).expect("and written again"), text);
});
