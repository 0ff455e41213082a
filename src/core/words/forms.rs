//! The typed slots as grammar text: exactly the spoken forms that [`super::value`] understands, less unit words and the
//! other spellings of a word ([`super::variants`]).

use super::SlotKind;

/// The types that stand ready in every book, by the name a wording uses.
pub const BUILT_IN: &[(&str, SlotKind)] = &[
    ("altitude", SlotKind::Altitude),
    ("frequency", SlotKind::Frequency),
    ("heading", SlotKind::Heading),
    ("letter", SlotKind::Letter),
    ("level", SlotKind::Level),
    ("number", SlotKind::Number),
    ("qnh", SlotKind::Qnh),
    ("runway", SlotKind::Runway),
    ("speed", SlotKind::Speed),
    ("squawk", SlotKind::Squawk),
];

/// Rules in grammar text: one for each built-in type under its own name, and the pieces that they share.
pub const FORMS: &[(&str, &str)] = &[
    ("nine", "nine | niner"),
    ("low", "zero | one | two | three | four | five"),
    ("octal", "$low | six | seven"),
    ("from_one", "one | two | three | four | five | six | seven | eight | $nine"),
    ("digit", "zero | $from_one"),
    ("teen", "eleven | twelve | thirteen | fourteen | fifteen | sixteen | seventeen | eighteen | nineteen"),
    ("tens", "twenty | thirty | forty | fifty | sixty | seventy | eighty | ninety"),
    ("below_hundred", "$from_one | ten | $teen | $tens [$from_one]"),
    ("below_thousand", "$below_hundred | $from_one hundred [[and] $below_hundred]"),
    (
        "heading",
        "zero zero $from_one | zero $from_one $digit | (one | two) $digit <2> | three $low $digit | three six zero",
    ),
    (
        "altitude",
        "zero | $from_one hundred \
         | ($from_one | (one | two | three | four | five) $digit | ten | $teen | (twenty | thirty | forty | fifty) [$from_one]) \
           thousand [$from_one hundred] \
         | (six zero | sixty) thousand \
         | $from_one [$digit] zero zero | (one | two | three | four | five) $digit <2> zero zero | six zero zero zero zero",
    ),
    (
        "level",
        "(one | two | three | four | five | six) hundred | [zero] $from_one $digit \
         | (one | two | three | four | five) $digit <2> | six zero zero",
    ),
    ("speed", "$digit | $from_one $digit <1-2>"),
    (
        "channel_end",
        "zero (zero | five) | one (zero | five) | two five | three (zero | five) | four zero | five (zero | five) \
         | six (zero | five) | seven five | eight (zero | five) | $nine zero",
    ),
    (
        "frequency",
        "one (one (eight | $nine) | two $digit | three ($low | six)) (decimal | point) \
         ($digit | $digit (two | five | seven) | $digit $channel_end)",
    ),
    ("squawk", "$octal <4> | (one | two | three | four | five | six | seven) thousand"),
    (
        "runway",
        "([zero] $from_one | (one | two) $digit | three (zero | one | two | three | four | five | six)) \
         [left | right | centre | center]",
    ),
    (
        "qnh",
        "eight (five | six | seven | eight | $nine) $digit | $nine $digit <2> | one thousand \
         | one zero ((zero | one | two | three | four | five | six | seven) $digit | eight $low)",
    ),
    (
        "number",
        "$digit | $from_one $digit <1-5> | $below_thousand \
         | ($below_thousand | $from_one $digit <1-2>) thousand [$below_thousand | and $below_hundred]",
    ),
    (
        "letter",
        "alfa | bravo | charlie | delta | echo | foxtrot | golf | hotel | india | juliett | kilo | lima | mike | november \
         | oscar | papa | quebec | romeo | sierra | tango | uniform | victor | whiskey | x-ray | yankee | zulu",
    ),
];
