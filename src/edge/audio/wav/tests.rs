use super::*;
use proptest::prelude::*;

const RATE: u32 = 8_000;

/// A 440-Hz tone at half scale, 0.25 s.
fn tone() -> Vec<f32> {
    (0..RATE / 4).map(|i| 0.5 * (i as f32 * 440.0 * std::f32::consts::TAU / RATE as f32).sin()).collect()
}

/// A WAV made by `hound`.
fn file(bits: u16, float: bool, channels: u16, rate: u32, samples: &[f32]) -> Vec<u8> {
    let mut bytes = Cursor::new(Vec::new());
    let sample_format = if float { hound::SampleFormat::Float } else { hound::SampleFormat::Int };
    let spec = hound::WavSpec { channels, sample_rate: rate, bits_per_sample: bits, sample_format };
    let mut out = hound::WavWriter::new(&mut bytes, spec).unwrap();
    for s in samples {
        for _ in 0..channels {
            if float {
                out.write_sample(*s).unwrap();
            } else {
                out.write_sample((f64::from(*s) * ((1u64 << (bits - 1)) - 1) as f64) as i32).unwrap();
            }
        }
    }
    out.finalize().unwrap();
    bytes.into_inner()
}

fn load(bytes: &[u8]) -> Result<Wav, AudioError> {
    read_bytes("a.wav", bytes, Channel::Mix, None)
}

fn check(bytes: &[u8], want: &[f32], tolerance: f32, warnings: &[&str]) {
    let wav = load(bytes).unwrap();
    assert_eq!(wav.warnings, warnings);
    assert_eq!(wav.samples.len(), want.len());
    for (i, (got, want)) in wav.samples.iter().zip(want).enumerate() {
        assert!((got - want).abs() <= tolerance, "sample {i}: {got} for {want}");
    }
}

/// The data length field of a `hound` file: the four bytes before the samples.
fn set_data_length(bytes: &mut [u8], length: u32) {
    let at = bytes.windows(4).position(|w| w == b"data").unwrap() + 4;
    bytes[at..at + 4].copy_from_slice(&length.to_le_bytes());
}

#[test]
fn every_width_and_number_of_channels_is_read() {
    for (bits, float, tolerance) in
        [(8, false, 0.02), (16, false, 1e-4), (24, false, 1e-6), (32, false, 1e-6), (32, true, 0.0)]
    {
        for channels in [1, 2, 3, 8] {
            let bytes = file(bits, float, channels, RATE, &tone());
            check(&bytes, &tone(), if channels > 1 { tolerance + 1e-6 } else { tolerance }, &[]);
            let source = load(&bytes).unwrap().source;
            assert_eq!(source, Source { rate: RATE, channels, bits, float });
        }
    }
}

#[test]
fn any_rate_becomes_sixteen_thousand() {
    for rate in [8_000, 11_025, 22_050, 44_100, 48_000, 96_000] {
        let second = vec![0.0; rate as usize];
        let wav = read_bytes("a.wav", &file(16, false, 2, rate, &second), Channel::Mix, Some(EAR_RATE)).unwrap();
        assert_eq!((wav.rate, wav.samples.len(), wav.duration_s()), (16_000, 16_000, 1.0));
    }
}

#[test]
fn one_channel_of_several() {
    let mut bytes = file(16, false, 2, RATE, &[0.0; 4]);
    let data = bytes.len() - 16;
    // Left +16384, −16384 in turn, right silent.
    for (frame, value) in [16384i16, -16384, 16384, -16384].into_iter().enumerate() {
        bytes[data + frame * 4..data + frame * 4 + 2].copy_from_slice(&value.to_le_bytes());
    }
    for (channel, want) in [(Channel::Only(0), 0.5), (Channel::Only(1), 0.0), (Channel::Mix, 0.25)] {
        let wav = read_bytes("a.wav", &bytes, channel, None).unwrap();
        assert_eq!(wav.samples, [want, -want, want, -want]);
    }
    let said = read_bytes("a.wav", &bytes, Channel::Only(2), None).unwrap_err().to_string();
    insta::assert_snapshot!(said, @"a.wav has 2 channel(s), not 3; save it as a WAV with 8, 16, 24 or 32 bits");
}

#[test]
fn a_cut_file_gives_what_is_there() {
    let mut bytes = file(16, false, 1, RATE, &tone());
    bytes.truncate(bytes.len() - 2_001);
    check(&bytes, &tone()[..999], 1e-3, &["a.wav is cut short: 0.12 s of 0.25 s are there and were read"]);
}

#[test]
fn an_unfinished_header_gives_all_behind_it() {
    for length in [0, u32::MAX] {
        let mut bytes = file(16, false, 1, RATE, &tone());
        set_data_length(&mut bytes, length);
        check(&bytes, &tone(), 1e-4, &["a.wav has an unfinished header: all 0.25 s behind it were read"]);
    }
}

#[test]
fn no_samples_is_no_fault() {
    check(&file(16, false, 1, RATE, &[]), &[], 0.0, &["a.wav holds no sound"]);
}

#[test]
fn chunks_of_odd_length_before_the_sound_are_stepped_over() {
    let plain = file(16, false, 1, RATE, &tone());
    let mut bytes = plain[..12].to_vec();
    bytes.extend_from_slice(b"LIST\x03\0\0\0abc\0");
    bytes.extend_from_slice(&plain[12..]);
    check(&bytes, &tone(), 1e-4, &[]);
}

#[test]
fn not_numbers_and_offsets_are_mended() {
    let mut samples = tone();
    samples[3] = f32::NAN;
    samples[4] = f32::INFINITY;
    let wav = load(&file(32, true, 1, RATE, &samples)).unwrap();
    assert_eq!(wav.warnings, ["a.wav has 2 samples that are no numbers: taken as silence"]);
    assert!(wav.samples.iter().all(|s| s.is_finite()));

    let lifted: Vec<f32> = tone().iter().map(|s| s + 0.3).collect();
    check(&file(32, true, 1, RATE, &lifted), &tone(), 1e-3, &[]);
    // A dead input with an offset is silence, and stays recognisable as such.
    check(&file(16, false, 1, RATE, &[0.25; 100]), &[0.0; 100], 1e-6, &[]);

    let loud: Vec<f32> = tone().iter().map(|s| s * 8.0).collect();
    let wav = load(&file(32, true, 1, RATE, &loud)).unwrap();
    assert_eq!(wav.warnings, ["a.wav goes beyond full scale: turned down to fit"]);
    assert!(wav.samples.iter().all(|s| s.abs() <= 1.0));
}

#[test]
fn what_is_no_wav_is_refused_in_a_sentence() {
    let good = file(16, false, 1, RATE, &tone());
    let patched = |at: usize, with: &[u8]| {
        let mut bytes = good.clone();
        bytes[at..at + with.len()].copy_from_slice(with);
        bytes
    };
    let cases: [(Vec<u8>, &str); 9] = [
        (Vec::new(), "is empty"),
        (b"RIFF".to_vec(), "is too short to be a WAV"),
        (b"OggS the rest is not for us".to_vec(), "is no WAV"),
        (good[..20].to_vec(), "ends before its sound begins"),
        (good[..38].to_vec(), "ends before its sound begins"),
        (patched(20, &[6, 0]), "is compressed (format 6)"),
        (patched(22, &[0, 0]), "says 0 channels in 2 bytes a frame"),
        (patched(24, &[1, 0, 0, 0]), "says 1 samples a second"),
        (patched(12, b"xmt "), "does not say what its samples are"),
    ];
    for (bytes, what) in cases {
        let said = load(&bytes).unwrap_err().to_string();
        assert_eq!(said, format!("a.wav {what}; save it as a WAV with 8, 16, 24 or 32 bits"));
    }
    let said = read_16k(Path::new("there-is-no-such-file.wav")).unwrap_err().to_string();
    insta::assert_snapshot!(said, @"there-is-no-such-file.wav cannot be read (no such file); check the path and the permissions");
}

proptest! {
    #[test]
    fn damaged_files_never_panic(cut in 0usize..600, flips in prop::collection::vec((0usize..60, any::<u8>()), 0..6)) {
        let mut bytes = file(24, false, 2, RATE, &tone()[..80]);
        for (at, value) in flips {
            bytes[at] = value;
        }
        bytes.truncate(cut.min(bytes.len()));
        if let Ok(wav) = load(&bytes) {
            prop_assert!(wav.samples.iter().all(|s| s.is_finite() && s.abs() <= 1.0));
        }
    }
}
