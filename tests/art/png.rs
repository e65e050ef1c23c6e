//! Every kind of PNG comes in exactly. Source: PNG Specification, third edition (W3C, 2025).

use crate::made::{self, GREY, GREY_ALPHA, INDEXED, Made, RGB, RGBA, scattered};
use crate::{draw, fault, read};
use fogweft::base::words::Blending;
use fogweft::scene::pictures::Kind;

/// PNG 12.4 (sample depth scaling): floor(in * MAXOUT / MAXIN + 0.5).
fn rescaled(sample: u16, depth: u8) -> u16 {
    let most = f64::from((1u32 << depth) - 1);
    (f64::from(sample) * 65535.0 / most + 0.5).floor() as u16
}

#[test]
fn all_colour_types_and_depths_come_in_exactly_interlaced_or_not() {
    let palette: Vec<u16> = scattered(9).take(256 * 4).map(|sample| sample & 255).collect();
    let kinds = [
        (GREY, &[1, 2, 4, 8, 16][..]),
        (RGB, &[8, 16]),
        (INDEXED, &[1, 2, 4, 8]),
        (GREY_ALPHA, &[8, 16]),
        (RGBA, &[8, 16]),
    ];
    for (colour, depths) in kinds {
        for (&depth, interlaced) in depths.iter().flat_map(|depth| [(depth, false), (depth, true)]) {
            // Sizes that leave some passes empty (1 x 1), and bytes part filled.
            for size in [[1, 1], [3, 5], [13, 9]] {
                let mut file = Made { size, colour, depth, interlaced, between: vec![], samples: &[] };
                let mask = ((1u32 << depth) - 1) as u16;
                let count = (size[0] * size[1]) as usize * file.channels();
                let samples: Vec<u16> = scattered(u32::from(depth)).map(|s| s & mask).take(count).collect();
                file.samples = &samples;
                if colour == INDEXED {
                    let entries = 1 << depth;
                    let take = |from: usize, to: usize| -> Vec<u8> {
                        let entries = palette.chunks(4).take(entries);
                        entries.flat_map(|entry| &entry[from..to]).map(|sample| *sample as u8).collect()
                    };
                    file.between = vec![made::chunk(b"PLTE", &take(0, 3)), made::chunk(b"tRNS", &take(3, 4))];
                }
                let at = |sample: u16| rescaled(sample, depth);
                let expected: Vec<[u16; 4]> = match colour {
                    GREY => samples.iter().map(|v| [at(*v), at(*v), at(*v), 65535]).collect(),
                    GREY_ALPHA => {
                        samples.chunks(2).map(|s| [at(s[0]), at(s[0]), at(s[0]), at(s[1])]).collect()
                    }
                    RGB => samples.chunks(3).map(|s| [at(s[0]), at(s[1]), at(s[2]), 65535]).collect(),
                    RGBA => samples.chunks(4).map(|s| [at(s[0]), at(s[1]), at(s[2]), at(s[3])]).collect(),
                    _ => samples
                        .iter()
                        .map(|index| [0, 1, 2, 3].map(|i| rescaled(palette[usize::from(*index) * 4 + i], 8)))
                        .collect(),
                };
                let source = read("made.png", file.file()).unwrap();
                assert_eq!((source.kind, source.natural), (Kind::Png, size.map(f64::from)));
                let picture = draw(&source, size, false, Blending::Encoded);
                assert_eq!(
                    picture.texels, expected,
                    "colour type {colour}, depth {depth}, interlaced {interlaced}"
                );
                assert_eq!(picture.deep, depth == 16);
            }
        }
    }
}

#[test]
fn a_transparent_colour_without_alpha_channel_counts() {
    // PNG 11.3.1.1: for colour type 2, tRNS holds one colour of 16-bit samples that is transparent.
    let between = vec![made::chunk(b"tRNS", &[0, 10, 0, 20, 0, 30])];
    let samples = [10, 20, 30, 10, 20, 31];
    let file = Made { size: [2, 1], colour: RGB, depth: 8, interlaced: false, between, samples: &samples };
    let picture = draw(&read("key.png", file.file()).unwrap(), [2, 1], false, Blending::Encoded);
    let codes: Vec<[u16; 4]> = picture.texels.iter().map(|texel| texel.map(|sample| sample / 257)).collect();
    assert_eq!(codes, [[10, 20, 30, 0], [10, 20, 31, 255]]);
}

#[test]
fn a_mirror_is_exact_and_keeps_colour_under_alpha_0() {
    let texels = [[1, 2, 3, 0], [4, 5, 6, 7], [8, 9, 10, 255]];
    let source = read("row.png", made::rgba([3, 1], &texels)).unwrap();
    let limits = fogweft::base::limits::Limits::default();
    let picture = source.draw([3, 1], true, false, Blending::Linear, &limits).unwrap();
    let expected: Vec<[u16; 4]> =
        texels.iter().rev().map(|t| t.map(|code: u8| u16::from(code) * 257)).collect();
    assert_eq!(picture.texels, expected);
}

#[test]
fn colour_spaces_other_than_srgb_are_told() {
    let with = |between: Vec<Vec<u8>>| {
        let samples = [0; 4];
        let file =
            Made { size: [1, 1], colour: RGBA, depth: 8, interlaced: false, between, samples: &samples };
        read("art.png", file.file()).unwrap().warnings
    };
    // PNG 11.3.2: sRGB (perceptual), gAMA 45455 and cICP 1 13 0 1 all say sRGB; gAMA 100000 and Display P3 don't.
    assert!(with(vec![]).is_empty());
    assert!(with(vec![made::chunk(b"sRGB", &[0])]).is_empty());
    assert!(with(vec![made::chunk(b"gAMA", &45455u32.to_be_bytes())]).is_empty());
    assert!(with(vec![made::chunk(b"cICP", &[1, 13, 0, 1])]).is_empty());
    let gamma = with(vec![made::chunk(b"gAMA", &100_000u32.to_be_bytes())]);
    assert!(gamma[0].contains("art.png") && gamma[0].contains("gamma"), "{gamma:?}");
    // PNG 4.3: sRGB ranks over gAMA.
    assert!(
        with(vec![made::chunk(b"sRGB", &[0]), made::chunk(b"gAMA", &100_000u32.to_be_bytes())]).is_empty()
    );
    assert_eq!(with(vec![made::chunk(b"cICP", &[12, 13, 0, 1])]).len(), 1);
}

#[test]
fn what_is_no_picture_is_told_with_what_it_looks_like() {
    // First bytes from the formats' own specifications, as far as they are published; from memory.
    let looks: [(&[u8], &str); 8] = [
        (b"\xff\xd8\xff\xe0\0\x10JFIF", "JPEG"),
        (b"GIF89a", "GIF"),
        (b"RIFF\0\0\0\0WEBPVP8 ", "WebP"),
        (b"PK\x03\x04mimetype", "ZIP"),
        (b"%PDF-1.7", "PDF"),
        (b"\x1f\x8b\x08", "gzip"),
        (b"<!doctype html><p>", "markup"),
        (b"\xff\xfe<\0s\0v\0g\0", "UTF-16"),
    ];
    for (bytes, word) in looks {
        let message = fault(read("odd.png", bytes));
        assert!(message.starts_with("Picture") && message.contains(word), "{message}");
        assert!(message.contains("Save it as"), "{message}");
    }
    assert!(fault(read("none.png", b"")).contains("empty"));
    assert!(fault(read("text.png", b"hello")).contains("not a PNG or SVG"));
    // The signature is made so that line-end conversion breaks it (PNG 5.2).
    assert!(fault(read("lines.png", b"\x89PNG\n\x1a\n\0\0\0")).contains("line endings"));
}
