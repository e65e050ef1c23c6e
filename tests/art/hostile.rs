//! Input that is cut, altered, or made to exhaust the machine: always a fault or a picture, soon, never a panic.

use crate::made::{self, Made, RGBA, chunk, rgba, scattered, stored};
use crate::{fault, read};
use fogweft::base::limits::Limits;
use fogweft::base::words::Blending;
use fogweft::scene::pictures::Source;
use proptest::prelude::*;
use std::time::{Duration, Instant};

fn svg(inside: &str) -> String {
    format!(
        r##"<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" width="64" height="64">{inside}</svg>"##
    )
}

/// Reads and draws; what matters is that it ends.
fn attempt(name: &str, bytes: impl AsRef<[u8]>) -> Option<String> {
    let mut limits = Limits::default();
    limits.side = 4096;
    limits.texels = 1 << 22;
    limits.file_bytes = 1 << 26;
    limits.slots = 1;
    let outcome = Source::from_bytes(name, bytes.as_ref().to_vec(), &limits)
        .and_then(|source| source.draw([64, 64], false, false, Blending::Encoded, &limits));
    outcome.err().map(|faults| {
        assert!(!faults.list[0].remedy.is_empty() && faults.list[0].file.is_some());
        format!("{:?}: {}", faults.list[0].class, faults.list[0].message)
    })
}

/// Ends with a fault that has the word, within seconds.
fn refused(what: &str, bytes: impl AsRef<[u8]>, word: &str) {
    let start = Instant::now();
    let message = attempt(what, bytes).unwrap_or_else(|| panic!("{what} was drawn"));
    assert!(message.contains(word), "{what}: {message}");
    assert!(start.elapsed() < Duration::from_secs(20), "{what} took {:?}", start.elapsed());
}

/// Ends, either way, within seconds.
fn soon(what: &str, bytes: impl AsRef<[u8]>) {
    let start = Instant::now();
    let outcome = attempt(what, bytes);
    assert!(start.elapsed() < Duration::from_secs(30), "{what} took {:?}: {outcome:?}", start.elapsed());
}

#[test]
fn a_png_cut_anywhere_is_told_as_cut_or_damaged() {
    let texels: Vec<[u8; 4]> = (0..48).map(|at| [at; 4]).collect();
    let whole = rgba([8, 6], &texels);
    // The last chunk, IEND, adds nothing to the pixels.
    for length in 0..whole.len() - 12 {
        let message =
            attempt("cut.png", &whole[..length]).unwrap_or_else(|| panic!("{length} bytes were enough"));
        assert!(message.starts_with("Picture"), "{length}: {message}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn an_altered_png_never_panics(changes in prop::collection::vec((0usize..400, any::<u8>()), 1..6)) {
        let samples: Vec<u16> = scattered(1).take(7 * 5 * 4).map(|sample| sample & 255).collect();
        let mut file = Made { size: [7, 5], colour: RGBA, depth: 8, interlaced: true, between: vec![], samples: &samples }.file();
        for (at, byte) in changes {
            let at = at % file.len();
            file[at] = byte;
        }
        attempt("altered.png", file);
    }

    #[test]
    fn an_altered_svg_never_panics(changes in prop::collection::vec((0usize..4000, 32u8..127), 1..8)) {
        let mut text = svg(r##"<defs><filter id="f"><feGaussianBlur stdDeviation="2"/><feMorphology radius="1"/></filter>
            <pattern id="p" width="4" height="4" patternUnits="userSpaceOnUse"><circle r="2"/></pattern>
            <mask id="m"><rect width="9" height="9" fill="url(#p)"/></mask><linearGradient id="g"><stop offset=".3"/></linearGradient>
            <marker id="k" viewBox="0 0 1 1"><path d="M0 0h1"/></marker></defs><g filter="url(#f)" transform="rotate(9 2 2)">
            <path d="M1 1C2 3 4 5 6 7Z" stroke="url(#g)" stroke-dasharray="1 2" marker-end="url(#k)"/></g>
            <use xlink:href="#q" mask="url(#m)" opacity=".4"/><rect id="q" x="2" width="5" height="6"/>"##).into_bytes();
        for (at, byte) in changes {
            let at = at % text.len();
            text[at] = byte;
        }
        attempt("altered.svg", text);
    }
}

#[test]
fn a_png_that_claims_to_be_huge_is_refused_before_any_memory_is_taken() {
    let head = |width: u32, height: u32| {
        let mut data = Vec::new();
        data.extend(width.to_be_bytes());
        data.extend(height.to_be_bytes());
        data.extend([16, RGBA, 0, 0, 0]);
        let mut file = b"\x89PNG\r\n\x1a\n".to_vec();
        file.extend(chunk(b"IHDR", &data));
        file.extend(chunk(b"IDAT", &stored(&[0])));
        file
    };
    assert!(fault(read("wide.png", head(2_000_000_000, 1))).starts_with("Limit"));
    assert!(fault(read("large.png", head(32_000, 32_000))).contains("268435456 texels"));
    // PNG 11.2.1: zero is an invalid value.
    assert!(fault(read("none.png", head(0, 8))).starts_with("Picture"));
}

/// The faults of the public PNG suite's broken files (PngSuite, "corrupted files"; the list is from memory), each made in a sound
/// file of our own.
#[test]
fn the_faults_of_the_public_suite_are_told() {
    let head = |depth: u8, colour: u8, size: u32| {
        let sides = [size, size].map(u32::to_be_bytes).concat();
        chunk(b"IHDR", &[&sides[..], &[depth, colour, 0, 0, 0]].concat())
    };
    let body = chunk(b"IDAT", &stored(&[0, 9, 9, 9, 9, 0, 9, 9, 9, 9, 0, 9, 9, 9, 9, 0, 9, 9, 9, 9]));
    let end = chunk(b"IEND", &[]);
    const SIGNATURE: &[u8] = b"\x89PNG\r\n\x1a\n";
    let whole = |signature: &[u8], head: Vec<u8>, body: &[u8]| [signature, &head, body, &end].concat();
    let sound = whole(SIGNATURE, head(8, 0, 4), &body);
    assert_eq!(attempt("sound.png", &sound), None);
    let damaged = |mut file: Vec<u8>, at: usize| {
        file[at] ^= 0x10;
        file
    };
    let without =
        |at: usize| SIGNATURE.iter().enumerate().filter(move |(byte, _)| *byte != at).map(|(_, byte)| *byte);
    let faults = [
        ("first byte of the signature wrong", damaged(sound.clone(), 0)),
        ("second byte of the signature wrong", damaged(sound.clone(), 1)),
        ("fourth byte of the signature wrong", damaged(sound.clone(), 3)),
        ("seventh byte of the signature wrong", damaged(sound.clone(), 6)),
        ("carriage returns added", whole(b"\x89PNG\r\r\n\x1a\r\n", head(8, 0, 4), &body)),
        ("carriage returns lost", whole(&without(4).collect::<Vec<u8>>(), head(8, 0, 4), &body)),
        ("line feeds lost", whole(&without(5).collect::<Vec<u8>>(), head(8, 0, 4), &body)),
        ("no texels at all", whole(SIGNATURE, head(8, 0, 0), &body)),
        ("colour type 1", whole(SIGNATURE, head(8, 1, 4), &body)),
        ("colour type 9", whole(SIGNATURE, head(8, 9, 4), &body)),
        ("depth 0", whole(SIGNATURE, head(0, 0, 4), &body)),
        ("depth 3", whole(SIGNATURE, head(3, 0, 4), &body)),
        ("depth 99", whole(SIGNATURE, head(99, 0, 4), &body)),
        ("no image data", whole(SIGNATURE, head(8, 0, 4), &[])),
        // The check stands in a chunk's last four bytes.
        ("the header's check wrong", damaged(sound.clone(), 8 + 8 + 13)),
        ("the image data's check wrong", damaged(sound.clone(), 8 + 25 + body.len() - 1)),
    ];
    for (what, file) in faults {
        let message = attempt("broken.png", file).unwrap_or_else(|| panic!("{what}: it was drawn"));
        assert!(message.starts_with("Picture"), "{what}: {message}");
    }
}

#[test]
fn limits_are_told_with_their_number() {
    let mut limits = Limits::default();
    limits.side = 100;
    limits.texels = 5000;
    limits.file_bytes = 1000;
    let source = Source::from_bytes("a.png", rgba([1, 1], &[[9; 4]]), &limits).unwrap();
    let over =
        |size| source.draw(size, false, false, Blending::Encoded, &limits).unwrap_err().list[0].clone();
    assert!(over([101, 1]).message.contains("100"));
    assert!(over([80, 80]).message.contains("5000"));
    assert!(over([0, 1]).message.contains("0 x 1"));
    let long = Source::from_bytes("b.png", vec![0; 1001], &limits).unwrap_err();
    assert!(long.list[0].message.contains("1000 bytes"));
}

#[test]
fn only_ordinary_files_are_opened() {
    let folder = tempfile::tempdir().unwrap();
    let missing = Source::open(folder.path().join("none.png"), &Limits::default()).unwrap_err();
    assert!(missing.list[0].message.contains("doesn't exist"), "{missing:?}");
    let open = Source::open(folder.path(), &Limits::default()).unwrap_err();
    assert!(open.list[0].message.contains("folder"), "{open:?}");
    #[cfg(unix)]
    {
        let zero = Source::open("/dev/zero", &Limits::default()).unwrap_err();
        assert!(zero.list[0].message.contains("device"), "{zero:?}");
        let pipe = folder.path().join("pipe.png");
        let made =
            std::process::Command::new("mkfifo").arg(&pipe).status().is_ok_and(|status| status.success());
        if made {
            let fault = Source::open(&pipe, &Limits::default()).unwrap_err();
            assert!(fault.list[0].message.contains("pipe"), "{fault:?}");
        }
    }
    let long = folder.path().join("long.png");
    std::fs::write(&long, vec![0; 100]).unwrap();
    let mut limits = Limits::default();
    limits.file_bytes = 99;
    assert!(Source::open(&long, &limits).unwrap_err().list[0].message.contains("99 bytes"));
}

#[test]
fn a_png_profile_that_swells_is_bounded() {
    // An iCCP chunk of 60 MB of zeros, stored.
    let mut profile = b"p\0\0".to_vec();
    profile.extend(stored(&vec![0; 60 << 20]));
    let samples = [0; 4];
    let between = vec![made::chunk(b"iCCP", &profile)];
    let file = Made { size: [1, 1], colour: RGBA, depth: 8, interlaced: false, between, samples: &samples };
    soon("profile.png", file.file());
}

#[test]
fn entities_that_swell_are_refused() {
    // Ten times ten times ...: each entity holds ten of the one before.
    let mut laughs = String::from("<!ENTITY a0 \"ha\">");
    for level in 1..10 {
        laughs += &format!("<!ENTITY a{level} \"{}\">", format!("&a{};", level - 1).repeat(10));
    }
    let text = format!(
        "<!DOCTYPE svg [{laughs}]><svg xmlns='http://www.w3.org/2000/svg' width='8' height='8'><text>&a9;</text></svg>"
    );
    refused("laughs.svg", text, "entities");
    let long = "x".repeat(100_000);
    let many = "&a;".repeat(100_000);
    let text = format!(
        "<!DOCTYPE svg [<!ENTITY a '{long}'>]><svg xmlns='http://www.w3.org/2000/svg' width='8' height='8'><desc>{many}</desc></svg>"
    );
    refused("quadratic.svg", text, "entities");
}

#[test]
fn elements_that_multiply_are_refused() {
    let mut uses = String::from("<rect id='u0' width='1' height='1'/>");
    for level in 1..12 {
        let inner = format!("<use xlink:href='#u{}'/>", level - 1).repeat(10);
        uses += &format!("<g id='u{level}'>{inner}</g>");
    }
    refused("uses.svg", svg(&uses), "elements");
    let mut masks = String::new();
    for level in 1..12 {
        let inner = format!("<rect width='9' height='9' mask='url(#m{})'/>", level - 1).repeat(10);
        masks += &format!("<mask id='m{level}'>{inner}</mask>");
    }
    refused(
        "masks.svg",
        svg(&format!(
            "<mask id='m0'><rect width='9' height='9'/></mask>{masks}<rect width='9' height='9' mask='url(#m11)'/>"
        )),
        "elements",
    );
}

#[test]
fn deep_elements_and_circles_neither_overflow_nor_hang() {
    let deep = format!("{}{}", "<g>".repeat(100_000), "</g>".repeat(100_000));
    refused("deep.svg", svg(&deep), "levels deep");
    let fine = format!(
        "{}<rect width='9' height='9' opacity='.5'/>{}",
        "<g opacity='.9'>".repeat(500),
        "</g>".repeat(500)
    );
    soon("fine.svg", svg(&fine));
    for (name, property) in
        [("mask", "mask"), ("clipPath", "clip-path"), ("pattern", "fill"), ("marker", "marker-mid")]
    {
        let mut chain = String::new();
        for at in 0..50_000 {
            chain += &format!(
                "<{name} id='c{at}'><path d='M0 0L1 1L1 0z' {property}='url(#c{})'/></{name}>",
                at + 1
            );
        }
        refused(&format!("{name}-chain.svg"), svg(&chain), "levels deep");
        let mut circle = String::new();
        for at in 0..5 {
            circle += &format!(
                "<{name} id='c{at}' width='9' height='9'><path d='M0 0L9 9L9 0z' {property}='url(#c{})'/></{name}>",
                (at + 1) % 5
            );
        }
        circle += &format!("<path d='M0 0L9 9L9 0z' {property}='url(#c0)'/>");
        refused(&format!("{name}-circle.svg"), svg(&circle), "refers to itself");
        let styled =
            circle.replace(&format!("{property}='url("), "class='x' data-was='url-").replace(")'/>", "'/>");
        let sheet = format!("<style>.x {{ {property}: url(#c3) }}</style>");
        refused(&format!("{name}-styled.svg"), svg(&format!("{sheet}{styled}")), "refers to itself");
    }
    let inherited = "<g fill='url(#p)'><pattern id='p' width='9' height='9'><rect width='9' height='9'/></pattern><rect width='9' height='9'/></g>";
    refused("inherited.svg", svg(inherited), "refers to itself");
    let image = "<filter id='f'><feImage href='#r'/></filter><g id='r'><rect width='9' height='9' filter='url(#f)'/></g>";
    refused("image.svg", svg(image), "refers to itself");
}

#[test]
fn filters_are_bounded_in_memory() {
    let filter = |inside: &str| {
        svg(&format!(
            "<filter id='f' x='-1000' y='-1000' width='1e6' height='1e6'>{inside}</filter><rect width='64' height='64' filter='url(#f)'/>"
        ))
    };
    refused("primitives.svg", filter(&"<feFlood/>".repeat(90_000)), "too");
    soon("radius.svg", filter("<feMorphology operator='dilate' radius='1e9'/>"));
    soon("blur.svg", filter("<feGaussianBlur stdDeviation='1e9'/>"));
    soon("region.svg", filter("<feOffset dx='1e30'/><feTile/>"));
    let turned = "<g transform='rotate(45) scale(3)' filter='url(#f)'>".repeat(60);
    let nested = format!(
        "<filter id='f' x='-9' y='-9' width='20' height='20'><feOffset/></filter>{turned}<rect width='64' height='64'/>{}",
        "</g>".repeat(60)
    );
    soon("turned.svg", svg(&nested));
}

#[test]
fn odd_numbers_are_bounded() {
    soon(
        "viewbox.svg",
        "<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 1e38 1e38'><rect width='1e38' height='1e38'/></svg>",
    );
    soon(
        "tiny.svg",
        "<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 1e-30 1e-30'><rect width='1' height='1'/></svg>",
    );
    soon(
        "size.svg",
        "<svg xmlns='http://www.w3.org/2000/svg' width='1e30' height='1'><rect width='1e30' height='1' stroke='red' stroke-dasharray='1e-9'/></svg>",
    );
    soon(
        "pattern.svg",
        svg(
            "<pattern id='p' width='1e7' height='1e7' patternUnits='userSpaceOnUse'><rect width='5' height='5'/></pattern><rect width='64' height='64' fill='url(#p)'/>",
        ),
    );
    let attributes: String = (0..20_000).map(|at| format!(" a{at}=''")).collect();
    soon("attributes.svg", svg(&format!("<g{attributes}/>")));
    let unknown = "<x/>".repeat(200_000);
    soon("unknown.svg", svg(&format!("<g id='a'>{unknown}</g>{}", "<use xlink:href='#a'/>".repeat(100_000))));
}

#[test]
fn layers_inside_each_other_are_bounded_in_memory() {
    // 400 layers of 2000 x 2000 texels of 4 bytes: 6.4 GB at the same time.
    let nested =
        format!("{}<rect width='64' height='64'/>{}", "<g opacity='.9'>".repeat(400), "</g>".repeat(400));
    let source = read("layers.svg", svg(&nested)).unwrap();
    let draw = |side| source.draw([side, side], false, false, Blending::Encoded, &Limits::default());
    let fault = draw(2000).unwrap_err().list[0].clone();
    assert!(fault.message.contains("memory") && !fault.remedy.is_empty(), "{fault:?}");
    assert!(draw(100).is_ok());
}

/// The library's arithmetic fails on it with a panic inside a panic, which nothing can contain.
#[test]
fn a_shape_that_reaches_absurdly_far_is_refused() {
    for number in ["-7874622810161373394", "3e12", "1e38"] {
        refused(number, svg(&format!("<path d=\"M0 0L{number} 5L3 9Z\"/>")), "extends beyond");
        refused(
            number,
            svg(&format!("<path d=\"M1 1L5 5L3 9Z\" transform=\"translate({number})\"/>")),
            "extends beyond",
        );
    }
}
