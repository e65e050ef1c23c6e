//! Art files in.
use fogweft::art::{Kind, Source};
use fogweft::limits::Limits;
use fogweft::out::{Effort, Raster, encode};
use fogweft::scene::Blending;

#[test]
fn a_png_comes_back_exactly_and_resizes() {
    let (w, h) = (37u32, 21u32);
    let samples: Vec<u8> = (0..w * h * 4).map(|i| (i.wrapping_mul(2654435761) >> 24) as u8).collect();
    let bytes = encode(Raster::Eight { size: [w, h], samples: &samples }, Effort::Balanced);
    let source = Source::from_bytes("a.png", bytes, &Limits::default()).unwrap();
    assert_eq!(source.kind, Kind::Png);
    let same = source.draw([w, h], false, false, Blending::Encoded, &Limits::default()).unwrap();
    let back: Vec<u8> = same.texels.iter().flatten().map(|v| (v / 257) as u8).collect();
    assert_eq!(back, samples);
    for blending in [Blending::Encoded, Blending::Linear] {
        let picture = source.draw([100, 7], true, true, blending, &Limits::default()).unwrap();
        assert_eq!(picture.texels.len(), 700);
    }
}

#[test]
fn svg_smoke() {
    let svg = br##"<svg xmlns="http://www.w3.org/2000/svg" width="20" height="10"><rect width="20" height="10" fill="#f00" fill-opacity=".5"/></svg>"##;
    let source = Source::from_bytes("a.svg", svg.to_vec(), &Limits::default()).unwrap();
    assert_eq!(source.natural, [20.0, 10.0]);
    let picture = source.draw([40, 40], false, false, Blending::Encoded, &Limits::default()).unwrap();
    assert_eq!(picture.texels[0], [65535, 0, 0, 128 * 257]);
}
