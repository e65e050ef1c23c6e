//! Lamps: their light against the published integral, its ends, and what is told of wrong ones.

use crate::util::{near, plan, scene};
use fogweft::base::limits::Limits;
use fogweft::base::units::Px;
use fogweft::plan::{Job, LampJob, Plan};
use fogweft::scene::pictures::Pictures;
use fogweft::scene::read;
use fogweft::stack::Stack;
use std::path::Path;

/// Intensity of a lamp of strength 1, in squares of the camera's distance: what the README's default is.
const INTENSITY: f64 = 0.1;

const SCENE: &str = "view = [320, 180]\ntravel = 200\ncamera = 160\n[air]\nbeyond = 300\nvisibility = VIS\n\
    [[slot]]\nname = \"far\"\ndepth = 80\nfog = FOG\n[[slot]]\nname = \"near\"\ndepth = 0\nfog = false\n\
    [[lamp]]\nname = \"post\"\nslot = \"far\"\nx = 100\ny = 90\nstrength = 4\ncore = 3\n";

fn text(visibility: f64, fog: bool) -> String {
    SCENE.replace("VIS", &format!("{visibility:?}")).replace("FOG", &fog.to_string())
}

fn lamps<'a>(plan: &'a Plan) -> Vec<(usize, &'a LampJob)> {
    let of =
        |(at, job): (usize, &'a Job)| if let Job::Lamp(job) = job { Some((at, job.as_ref())) } else { None };
    plan.files.iter().enumerate().filter_map(of).collect()
}

/// Opacities of the lamp's picture, with its width and its left and top in scene px.
fn drawn(text: &str) -> (Vec<f64>, usize, [f64; 2]) {
    let pictures = Pictures::default();
    let plan = plan(&scene(text), &pictures);
    let (at, job) = lamps(&plan)[0];
    let stack = Stack::new(&plan, &pictures, &Limits::default()).expect("no pictures");
    let alphas = stack.sixteen(at).chunks(4).map(|texel| f64::from(texel[3]) / 65535.0).collect();
    (alphas, job.spec.size[0] as usize, [job.placing.rect.x.0, job.placing.rect.y.0])
}

/// Light that single scattering sends toward the eye: the integrand of Sun, Ramamoorthi, Narasimhan & Nayar (SIGGRAPH 2005) with
/// isotropic scattering, the way to the eye left to the stack; by the midpoint rule along the ray.
fn integrated(extinction: f64, distance: f64, angle: f64) -> f64 {
    let (along, least) = (distance * libm::cos(angle), distance * libm::sin(angle));
    let side = |reach: f64| {
        let (mut at, mut sum) = (0.0, 0.0);
        while at < reach {
            let step = (2e-3 * (least + at)).min(reach - at);
            let r = libm::hypot(least, at + step / 2.0);
            sum += step * extinction * libm::exp(-extinction * r) / (4.0 * std::f64::consts::PI * r * r);
            at += step;
        }
        sum
    };
    side(along) + side(40.0 / extinction + 1e4 * least)
}

#[test]
fn a_profile_is_the_published_integral_at_five_visibilities() {
    // Stronger in thin air, so that all of the profile is well over a code.
    for (visibility, strength) in [(60.0, 2.0), (200.0, 2.0), (900.0, 5.0), (3000.0, 10.0), (9000.0, 30.0)] {
        let text = text(visibility, false).replace("strength = 4", &format!("strength = {strength}"));
        let (alphas, width, [left, top]) = drawn(&text);
        for away in [4.5, 8.5, 20.5, 40.5] {
            let at = (90.0 - top) as usize * width + (100.0 + away - 0.5 - left) as usize;
            // The middle of the row of texels is half a texel below the lamp's; the lamp itself is 3 px.
            let off = (away * away + 0.25 + 9.0_f64).sqrt() / 160.0;
            let light = integrated(-libm::log(0.05) / visibility, 240.0, libm::atan(off));
            let depth = strength * INTENSITY * 160.0 * 160.0 * light;
            let want = 1.0 - libm::exp(-(depth - 1.0 / 255.0).max(0.0));
            assert!(want > 0.006, "{visibility} {away}: {want}");
            near(alphas[at], want, 0.01 * want);
        }
    }
}

#[test]
fn light_ends_without_a_step() {
    let (alphas, width, [left, _]) = drawn(&text(60.0, true));
    assert!(left > 0.0 && width < 300, "it ends within the strip: {left} {width}");
    let height = alphas.len() / width;
    for x in 0..width {
        for y in [0, height - 1] {
            assert!(alphas[y * width + x] <= 0.5 / 255.0);
        }
    }
}

#[test]
fn a_slots_lamps_share_one_picture_that_holds_just_their_light() {
    let lamp = |x: u32| format!("[[lamp]]\nslot = \"far\"\nx = {x}\ny = 90\n");
    let one = text(60.0, true).replace("strength = 4", "strength = 1");
    let found = |text: &str| {
        let plan = plan(&scene(text), &Pictures::default());
        let all: Vec<(String, usize, [f64; 2])> = lamps(&plan)
            .iter()
            .map(|(_, job)| {
                let rect = job.placing.rect;
                (job.placing.path.clone(), job.lamps, [rect.x.0, rect.x.0 + rect.width.0])
            })
            .collect();
        all
    };
    let alone = found(&one);
    let (path, count, [left, right]) = &alone[0];
    assert_eq!((alone.len(), path.as_str(), *count), (1, "far.lamp.png", 1));
    let both = found(&(one.clone() + &lamp(300)));
    assert_eq!(both, [("far.lamp.png".to_owned(), 2, [*left, right + 200.0])]);
    let out = found(&one.replace("strength = 1", "strength = 0"));
    assert_eq!(out, []);
}

#[test]
fn wrong_lamps_are_told_together_with_remedies() {
    let text = text(60.0, true)
        + "[[lamp]]\nslot = \"fat\"\nx = 1\ny = 1\n[[lamp]]\nslot = \"far\"\nx = 5000\ny = 1\n\
           [[lamp]]\nslot = \"far\"\nx = 1\ncolour = \"warm\"\n[mood.dusk.lamp.pots]\nstrength = 2\n";
    let limits = Limits::default();
    let faults = read::read_text(Path::new("scene.toml"), &text, &[], &limits, false).expect_err("faults");
    let told = faults.to_string();
    for part in [
        "no slot \"fat\"",
        "\"far\"",
        "off its slot's strip: its x is 5000",
        "has no `y`",
        "colour",
        "no lamp \"pots\"",
        "\"post\"",
    ] {
        assert!(told.contains(part), "{part} in:\n{told}");
    }
    assert_eq!(faults.list.len(), 5, "{told}");
}

#[test]
fn a_lamp_is_changed_by_its_name() {
    let sets = ["lamp.post.x=41.25", "lamp.post.strength=3", "lamp.post.core=9", "lamp.post.colour=#123456"];
    let sets = sets.map(str::to_owned);
    let limits = Limits::default();
    let read = read::read_text(Path::new("scene.toml"), &text(60.0, true), &sets, &limits, false);
    let lamp = &read.unwrap_or_else(|faults| panic!("{faults}")).lamps[0];
    assert_eq!((lamp.x, lamp.strength, lamp.core), (Px(41.25), 3.0, Px(9.0)));
    assert_eq!(lamp.colour.to_hex(), "#123456");
}
