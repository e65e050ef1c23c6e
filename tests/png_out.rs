//! PNG files out. Sources: PNG Specification, third edition (W3C, 2025), read back with two other decoders.

use fogweft::base::raster::Raster;
use fogweft::output::{Effort, encode};
use image::{DynamicImage, ImageReader};
use proptest::prelude::*;
use std::io::Cursor;

/// A chunk's name and data.
type Chunk<'a> = (&'a [u8], &'a [u8]);

fn chunks(file: &[u8]) -> Vec<Chunk<'_>> {
    assert_eq!(&file[..8], b"\x89PNG\r\n\x1a\n");
    let mut rest = &file[8..];
    let mut chunks = Vec::new();
    while !rest.is_empty() {
        let length = u32::from_be_bytes(rest[..4].try_into().unwrap()) as usize;
        chunks.push((&rest[4..8], &rest[8..8 + length]));
        rest = &rest[12 + length..];
    }
    chunks
}

/// Bit depth and colour type (PNG 11.2.1).
fn form(file: &[u8]) -> (u8, u8) {
    let chunks = chunks(file);
    assert_eq!(chunks[0].0, b"IHDR");
    (chunks[0].1[8], chunks[0].1[9])
}

fn decoded(file: &[u8]) -> DynamicImage {
    let mut reader = ImageReader::new(Cursor::new(file));
    reader.set_format(image::ImageFormat::Png);
    reader.decode().expect("the file can be decoded")
}

fn eight(size: [u32; 2], texels: &[[u8; 4]], effort: Effort) -> Vec<u8> {
    let file = encode(Raster::Eight { size, samples: texels.as_flattened() }, effort);
    let back = decoded(&file);
    assert_eq!([back.width(), back.height()], size);
    assert_eq!(back.into_rgba8().into_raw(), texels.as_flattened());
    file
}

fn sixteen(size: [u32; 2], texels: &[[u16; 4]]) -> Vec<u8> {
    let file = encode(Raster::Sixteen { size, samples: texels.as_flattened() }, Effort::Fast);
    assert_eq!(decoded(&file).into_rgba16().into_raw(), texels.as_flattened());
    file
}

/// Rasters of each kind that has a form of its own.
fn rasters() -> impl Strategy<Value = ([u32; 2], Vec<[u8; 4]>)> {
    let texel = prop_oneof![
        Just((0..2u8).prop_map(|v| [v * 255, v * 255, v * 255, 255]).boxed()),
        Just((0..4u8).prop_map(|v| [v * 85, v * 85, v * 85, 255]).boxed()),
        Just((0..16u8).prop_map(|v| [v * 17, v * 17, v * 17, 255]).boxed()),
        Just(any::<u8>().prop_map(|v| [v, v, v, 255]).boxed()),
        Just(any::<[u8; 2]>().prop_map(|[v, a]| [v, v, v, a]).boxed()),
        Just(any::<u8>().prop_map(|a| [201, 210, 222, a]).boxed()),
        Just((0..3u8).prop_map(|v| [v, 7, 9 * v, 255 - v]).boxed()),
        Just((0..13u8).prop_map(|v| [v, 7, 9 * v, 255 - v % 2]).boxed()),
        Just(any::<[u8; 3]>().prop_map(|[r, g, b]| [r, g, b, 255]).boxed()),
        Just(any::<[u8; 4]>().boxed()),
    ];
    (1u32..24, 1u32..24, texel).prop_flat_map(|(width, height, texel)| {
        let count = (width * height) as usize;
        (Just([width, height]), prop::collection::vec(texel, count))
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn every_raster_comes_back_exactly((size, texels) in rasters(), small in any::<bool>()) {
        eight(size, &texels, if small { Effort::Small } else { Effort::Balanced });
        // PNG 12.4: code v of 8 bits is v * 257 of 16.
        let wide: Vec<[u16; 4]> = texels.iter().map(|texel| texel.map(|code| u16::from(code) * 257)).collect();
        prop_assert_eq!(form(&sixteen(size, &wide)).0, 16);
    }
}

/// Opaque grey comes as one sample a texel too; the file is that of the same texels as RGBA.
#[test]
fn greys_are_written_as_their_texels_are() {
    for (count, step) in [(1_usize, 0), (2, 255), (3, 40), (4, 85), (9, 28), (16, 17), (17, 15), (256, 1)] {
        let size = [37_u32, 90];
        let greys: Vec<u8> = (0..37 * 90_usize).map(|at| (at * at / 11 % count * step % 256) as u8).collect();
        let texels: Vec<[u8; 4]> = greys.iter().map(|grey| [*grey, *grey, *grey, 255]).collect();
        for effort in [Effort::Fast, Effort::Balanced, Effort::Small] {
            let file = encode(Raster::Grey { size, samples: &greys }, effort);
            assert!(file == eight(size, &texels, effort), "{count} greys, {effort:?}");
        }
    }
}

#[test]
fn the_form_has_no_channel_that_says_nothing() {
    // Colour types: 0 grey, 2 colour, 3 indexed, 4 grey with alpha, 6 colour with alpha (PNG 11.2.1).
    let of = |make: &dyn Fn(u8) -> [u8; 4]| {
        let texels: Vec<[u8; 4]> = (0..=255).map(make).collect();
        form(&eight([16, 16], &texels, Effort::Balanced))
    };
    assert_eq!(of(&|v| [v, v, v, 255]), (8, 0));
    assert_eq!(of(&|v| [9, 9, 9, v / 128]), (8, 3));
    assert_eq!(of(&|v| [9, 8, 7, v]), (8, 3));
    let many = |make: &dyn Fn(u32) -> [u8; 4]| {
        let texels: Vec<[u8; 4]> = (0..1024).map(make).collect();
        form(&eight([32, 32], &texels, Effort::Balanced))
    };
    assert_eq!(many(&|v| [v as u8, v as u8, v as u8, (v / 4) as u8]), (8, 4));
    assert_eq!(many(&|v| [v as u8, (v / 4) as u8, 3, 255]), (8, 2));
    assert_eq!(many(&|v| [v as u8, (v / 4) as u8, 3, (v / 2) as u8]), (8, 6));
    let deep = |texel: [u16; 4]| form(&sixteen([1, 1], &[texel]));
    assert_eq!(deep([1000, 1000, 1000, 65535]), (16, 0));
    assert_eq!(deep([1000, 1000, 1000, 65534]), (16, 4));
    assert_eq!(deep([1000, 1001, 1000, 65535]), (16, 2));
    assert_eq!(deep([1000, 1001, 1000, 5]), (16, 6));
}

#[test]
fn samples_of_16_bits_are_big_endian() {
    // PNG 7.1: the most significant byte first. Read as raw bytes, without any conversion.
    let file = sixteen([1, 1], &[[0x0102, 0x0304, 0x0506, 0x0708]]);
    let mut reader = png::Decoder::new(Cursor::new(&file)).read_info().unwrap();
    let mut bytes = [0; 8];
    reader.next_frame(&mut bytes).unwrap();
    assert_eq!(bytes, [1, 2, 3, 4, 5, 6, 7, 8]);
}

#[test]
fn the_file_says_srgb_before_anything_that_depends_on_it() {
    // PNG 5.6 (order of chunks) and 11.3.2.5 (values of gAMA and cHRM beside sRGB).
    let indexed: Vec<[u8; 4]> = (0..64).map(|v| [9, 8, 7, v]).collect();
    let file = eight([8, 8], &indexed, Effort::Balanced);
    let chunks = chunks(&file);
    let names: Vec<&str> = chunks.iter().map(|(name, _)| std::str::from_utf8(name).unwrap()).collect();
    assert_eq!(names, ["IHDR", "sRGB", "gAMA", "cHRM", "PLTE", "tRNS", "IDAT", "IEND"]);
    assert_eq!(chunks[1].1, [0]);
    assert_eq!(chunks[2].1, 45455u32.to_be_bytes());
    let chromaticities = [31270u32, 32900, 64000, 33000, 30000, 60000, 15000, 6000];
    assert_eq!(chunks[3].1, chromaticities.map(u32::to_be_bytes).as_flattened());
}

#[test]
fn translucent_entries_come_first_and_opaque_ones_take_no_room() {
    // PNG 11.3.1.1: tRNS may be shorter than the palette; the rest is opaque.
    let texels: Vec<[u8; 4]> = (0..200u8).map(|v| [v, 1, 2, if v < 190 { 255 } else { v }]).collect();
    let file = eight([20, 10], &texels, Effort::Balanced);
    let chunks = chunks(&file);
    let data = |name: &[u8]| chunks.iter().find(|chunk| chunk.0 == name).unwrap().1;
    assert_eq!((data(b"PLTE").len(), data(b"tRNS").len()), (600, 10));
    let opaque: Vec<[u8; 4]> = (0..200u8).map(|v| [v, 1, 2, 255]).collect();
    let file = eight([20, 10], &opaque, Effort::Balanced);
    assert!(self::chunks(&file).iter().all(|chunk| chunk.0 != b"tRNS"));
}

#[test]
fn colours_under_alpha_0_are_kept() {
    // PNG 12.3 would allow to clear them; a mask's colours should stay.
    let texels = [[10, 20, 30, 0], [40, 50, 60, 0], [70, 80, 90, 255], [1, 2, 3, 4]];
    eight([4, 1], &texels, Effort::Balanced);
}

/// Fog as it is written: one colour, smooth alpha, ordered dither of 8 x 8 (Bayer 1973).
fn fog(size: [u32; 2]) -> Vec<[u8; 4]> {
    let bayer = |x: u32, y: u32| {
        let bit = |v: u32, at: u32| v >> at & 1;
        (0..3).fold(0, |rank, at| rank << 2 | bit(x ^ y, at) << 1 | bit(y, at))
    };
    let texel = |at: u32| {
        let (x, y) = (at % size[0], at / size[0]);
        let (u, v) = (f64::from(x) * 0.01, f64::from(y) / f64::from(size[1]));
        let alpha = 255.0 * v * (0.6 + 0.25 * libm::sin(u + 3.0 * v) * libm::cos(0.7 * u));
        [203, 211, 224, (alpha + (f64::from(bayer(x, y)) + 0.5) / 64.0) as u8]
    };
    (0..size[0] * size[1]).map(texel).collect()
}

#[test]
fn fog_takes_a_fraction_of_its_raw_size() {
    let size = [600, 216];
    let texels = fog(size);
    let raw = texels.len();
    let [fast, balanced, small] =
        [Effort::Fast, Effort::Balanced, Effort::Small].map(|effort| eight(size, &texels, effort).len());
    // One byte for each texel raw; measured: 0.17, 0.10, 0.09 of that.
    assert!(small <= balanced && balanced <= fast, "{small} {balanced} {fast}");
    assert!(balanced * 4 < raw, "{balanced} of {raw}");
}

#[test]
fn the_same_texels_give_the_same_bytes() {
    let texels = fog([300, 100]);
    let again = || eight([300, 100], &texels, Effort::Balanced);
    assert!((0..3).all(|_| again() == again()));
}

/// Bytes and seconds at each effort, for fog sheets of full size. Run with `--ignored --nocapture`.
#[test]
#[ignore = "takes a minute; prints measurements"]
fn measure() {
    let size = [3000, 1080];
    let one = fog(size);
    let tinted = |at: usize, [r, g, b, a]: [u8; 4]| {
        let t = (at / 3000 / 108) as u8;
        [r - t, g - t / 2, b + t / 3, a]
    };
    let many: Vec<[u8; 4]> = one.iter().enumerate().map(|(at, texel)| tinted(at, *texel)).collect();
    for (name, texels) in [("one colour", &one), ("tinted", &many)] {
        for effort in [Effort::Fast, Effort::Balanced, Effort::Small] {
            let start = std::time::Instant::now();
            let file = encode(Raster::Eight { size, samples: texels.as_flattened() }, effort);
            println!("{name} {effort:?}: {} bytes, {:.2} s", file.len(), start.elapsed().as_secs_f64());
        }
    }
}
