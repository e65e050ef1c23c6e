//! SVG files. Sources: Compositing and Blending Level 1, SVG 2 (both W3C).

use crate::{draw, fault, read};
use fogweft::base::picture::Picture;
use fogweft::base::words::Blending;
use fogweft::scene::pictures::Kind;

fn drawn(text: &str, size: [u32; 2]) -> Picture {
    draw(&read("art.svg", text).unwrap(), size, false, Blending::Encoded)
}

fn codes(texel: [u16; 4]) -> [f64; 4] {
    texel.map(|sample| f64::from(sample) / 257.0)
}

#[test]
fn source_over_of_two_halves() {
    // Compositing 1, 5.1: co = as Cs + (1 - as) ab Cb, ao = as + ab (1 - as). Cs blue, Cb red, both alpha 0.5:
    // ao = 0.75, Co = (1/3, 0, 2/3).
    let text = r##"<svg xmlns="http://www.w3.org/2000/svg" width="8" height="8">
        <rect width="8" height="8" fill="#f00" fill-opacity="0.5"/>
        <rect width="8" height="8" fill="#00f" fill-opacity="0.5"/></svg>"##;
    let [r, g, b, a] = codes(drawn(text, [8, 8]).texels[27]);
    assert!((a - 191.25).abs() <= 1.0, "{a}");
    // 8-bit premultiplied values under alpha 0.75: two thirds of a step, twice.
    assert!((r - 85.0).abs() <= 1.5 && g == 0.0 && (b - 170.0).abs() <= 1.5, "{r} {g} {b}");
}

#[test]
fn it_fills_the_asked_size_whatever_its_shape() {
    let text = r##"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 20 10">
        <rect width="10" height="10" fill="#123456"/></svg>"##;
    let source = read("art.svg", text).unwrap();
    assert_eq!((source.kind, source.natural), (Kind::Svg, [20.0, 10.0]));
    let picture = draw(&source, [6, 40], false, Blending::Encoded);
    for row in picture.texels.chunks(6) {
        let alphas: Vec<u16> = row.iter().map(|texel| texel[3]).collect();
        assert_eq!(alphas, [65535, 65535, 65535, 0, 0, 0]);
        // The clear half has the colour beside it.
        assert!(row.iter().all(|texel| texel[..3] == [0x1212, 0x3434, 0x5656]), "{row:?}");
    }
    let limits = fogweft::base::limits::Limits::default();
    let mirrored = source.draw([6, 40], true, false, Blending::Encoded, &limits).unwrap();
    assert!(mirrored.texels.chunks(6).all(|row| row[0][3] == 0 && row[5][3] == 65535));
}

#[test]
fn a_soft_edge_keeps_its_colour() {
    let text = r##"<svg xmlns="http://www.w3.org/2000/svg" width="40" height="40">
        <circle cx="20.3" cy="19.8" r="15.1" fill="#c83232"/></svg>"##;
    for texel in drawn(text, [40, 40]).texels {
        let [r, g, b, a] = codes(texel);
        // One premultiplied step under alpha a is 255 / a codes; the neighbours settle it to less than a code.
        assert!(
            (r - 200.0).abs() <= 1.0 && (g - 50.0).abs() <= 1.0 && (b - 50.0).abs() <= 1.0,
            "{r} {g} {b} {a}"
        );
    }
}

#[test]
fn nothing_but_the_file_is_read() {
    // Common practice, no source: a drawing is data, so what it names on the disk stays unread.
    let folder = tempfile::tempdir().unwrap();
    let inside = folder.path().join("inside.svg");
    std::fs::write(&inside, r##"<svg xmlns="http://www.w3.org/2000/svg" width="8" height="8"><rect width="8" height="8"/></svg>"##).unwrap();
    for link in [inside.display().to_string(), format!("file://{}", inside.display()), "inside.svg".into()] {
        let text = format!(
            r##"<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" width="8" height="8">
            <image width="8" height="8" href="{link}"/>
            <image width="8" height="8" xlink:href="{link}"/><use href="{link}#a"/></svg>"##
        );
        let outer = folder.path().join("outer.svg");
        std::fs::write(&outer, text).unwrap();
        let source = fogweft::scene::pictures::Source::open(&outer, &Default::default()).unwrap();
        assert_eq!(source.warnings.len(), 2, "{:?}", source.warnings);
        assert!(source.warnings[0].contains("outer.svg") && source.warnings[0].contains("line 2"));
        assert!(draw(&source, [8, 8], false, Blending::Encoded).texels.iter().all(|texel| texel[3] == 0));
    }
}

#[test]
fn what_is_not_drawn_is_told_with_its_line() {
    let text = r##"<svg xmlns="http://www.w3.org/2000/svg" width="8" height="8"><script>alert(1)</script>
        <text> </text>
        <text y="4">reeds</text>
        <image href="data:image/png;base64,iVBORw0KGgo="/>
        <foreignObject/><rect width="1" height="1"><animate attributeName="x" to="5"/></rect></svg>"##;
    let warnings = read("signs.svg", text).unwrap().warnings;
    let expect = [
        "text is not drawn (line 3): convert it to paths",
        "picture is not drawn (line 4)",
        "foreign object",
        "animation",
    ];
    assert_eq!(warnings.len(), expect.len(), "{warnings:?}");
    for (warning, expected) in warnings.iter().zip(expect) {
        assert!(warning.starts_with("signs.svg: ") && warning.contains(expected), "{warning}");
    }
}

#[test]
fn faults_name_the_cause() {
    let broken = [
        ("<svg xmlns='http://www.w3.org/2000/svg' width='8' height='8'><g>", "malformed"),
        ("<svg xmlns='http://www.w3.org/2000/svg' width='0' height='8'/>", "no size"),
        ("<?xml version='1.0'?><page/>", "malformed"),
    ];
    for (text, word) in broken {
        let message = fault(read("bad.svg", text));
        assert!(message.starts_with("Picture") && message.contains(word), "{message}");
    }
    assert!(fault(read("bad.svg", b"<svg \xff/>")).contains("UTF-8"));
}

#[test]
fn ordinary_references_are_no_circles() {
    // A layer clipped by a shape of its own, styles by class, a gradient from a gradient, entities as some drawing
    // programs write them.
    let text = r##"<?xml version="1.0"?><!DOCTYPE svg [<!ENTITY ns "http://www.w3.org/2000/svg">]>
        <svg xmlns="&ns;" width="8" height="8"><style>.a, path.b { fill: url(#warm) } #deep { clip-path: url(#cut) }</style>
        <linearGradient id="base"><stop stop-color="#f00"/></linearGradient><linearGradient id="warm" href="#base"/>
        <g id="deep"><clipPath id="cut"><use href="#shape"/></clipPath><rect id="shape" class="a" width="8" height="8"/></g>
        <a href="#deep"><path class="b" d="M0 0h8v8z"/></a></svg>"##;
    let source = read("fine.svg", text).unwrap();
    assert!(source.warnings.is_empty(), "{:?}", source.warnings);
    assert_eq!(draw(&source, [8, 8], false, Blending::Encoded).texels[9], [65535, 0, 0, 65535]);
}
