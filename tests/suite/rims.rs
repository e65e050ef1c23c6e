//! What a rim leaves alone: light that it lies before, and wires.

use crate::util::{plan, scene};
use fogweft::base::colour::{Srgb, lightness};
use fogweft::base::limits::Limits;
use fogweft::base::units::Camera;
use fogweft::scene::pictures::{Pictures, Source};
use fogweft::stack::Stack;

const WIDTH: usize = 480;

/// How much lighter rims make every texel of the still, CIE L*, of slots with these names, depths and bodies of SVG, each without fog.
fn lightened(head: &str, spread: f64, slots: &[(&str, i32, &str)]) -> Vec<f64> {
    let mut pictures = Pictures::default();
    for (name, _, body) in slots {
        let drawing =
            format!("<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"480\" height=\"272\">{body}</svg>");
        let source = Source::from_bytes(format!("{name}.svg"), drawing.into_bytes(), &Limits::default());
        pictures.add(name, source.unwrap());
    }
    let still = |separation: f64| {
        let mut text = format!(
            "view = [480, 272]\ncamera = 500\nground = 240\nhorizon = 120\npreset = \"radiation-fog\"\n{head}visibility = 20000\n\
             [rim]\nseparation = {separation:?}\nspread = {spread:?}\nmost = 0.9\n"
        );
        for (name, depth, _) in slots {
            let own = if *depth > 0 { "separation = 0\n" } else { "" };
            text += &format!(
                "[[slot]]\nname = \"{name}\"\ndepth = {depth}\nart = \"{name}.svg\"\nx = 0\ny = 0\nfog = false\n{own}"
            );
        }
        let scene = scene(&text);
        let plan = plan(&scene, &pictures);
        let still = Stack::new(&plan, &pictures, &Limits::default()).unwrap().still(Camera::default());
        let light = |[r, g, b]: &[f32; 3]| {
            lightness::from_luminance(lightness::luminance(Srgb([*r, *g, *b]).linear()))
        };
        still.colours.iter().map(light).collect::<Vec<f64>>()
    };
    still(12.0).into_iter().zip(still(0.0)).map(|(with, without)| with - without).collect()
}

/// The most of a frame: left, top, right, bottom.
fn most(of: &[f64], [left, top, right, bottom]: [usize; 4]) -> f64 {
    let rows = (top..bottom).flat_map(|row| &of[row * WIDTH + left..row * WIDTH + right]);
    rows.copied().fold(f64::NEG_INFINITY, f64::max)
}

/// A post stands half before what is as dark as it, half before what is lighter than the haze: it is set off on one side, and nothing is
/// darkened on the other.
#[test]
fn a_rim_darkens_nothing() {
    let panel = "<rect fill=\"#5c6066\" width=\"240\" height=\"272\"/>";
    let post = "<rect fill=\"#565a60\" x=\"215\" y=\"20\" width=\"50\" height=\"252\"/>";
    let head = "backdrop = \"#d8dade\"\n[air]\nhaze = \"#868b92\"\n";
    let made = lightened(head, 9.0, &[("panel", 1, panel), ("post", 0, post)]);
    let (darkest, lightest) = (made.iter().copied().fold(0.0, f64::min), most(&made, [190, 100, 215, 240]));
    println!("{darkest:.2} to {lightest:.2} L*");
    assert!(darkest > -1.0, "darker by {darkest} L*");
    assert!(lightest > 8.0, "lighter by {lightest} L* only");
}

/// A wire before darkness has no sleeve of fog; the post that it hangs on is set off.
#[test]
fn a_wire_has_no_sleeve() {
    let wire = "<rect fill=\"#3a3d42\" y=\"60\" width=\"480\" height=\"2\"/>\
                <rect fill=\"#3a3d42\" x=\"60\" y=\"60\" width=\"40\" height=\"212\"/>";
    let head = "backdrop = \"#43474c\"\n[air]\nhaze = \"#c3c9cf\"\n";
    let made = lightened(head, 26.0, &[("wire", 0, wire)]);
    let (sleeve, post) = (most(&made, [300, 30, 480, 90]), most(&made, [20, 140, 58, 230]));
    println!("a sleeve of {sleeve:.2} L*, {post:.2} at the post");
    assert!(sleeve < 1.0 && post > 6.0, "a sleeve of {sleeve} L*, {post} at the post");
}
