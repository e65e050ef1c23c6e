//! Rims, measured on the files that a run writes: by arithmetic of the tests' own, from the manifest up.

mod common;

use common::{Drawn, Edge, Pixels, draw, lightness, manifest, outline, render, scene};
use std::path::Path;
use std::process::Command;

/// Numbers from a seed, for scenes by chance.
struct Dice(u64);

impl Dice {
    fn roll(&mut self) -> f64 {
        self.0 = fogweft::base::seed::hash(self.0, 1, 2);
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.roll()
    }
}

const VIEW: [usize; 2] = [480, 270];

/// A silhouette of one muted tone: a ridge, a hull on posts, or a row of trunks.
fn silhouette(dice: &mut Dice, tone: f64) -> Pixels {
    let (a, b, c) = (dice.roll(), dice.roll(), dice.roll());
    let kind = (dice.roll() * 3.0) as usize;
    let base = dice.between(95.0, 170.0);
    let paint = [tone, tone * dice.between(0.9, 1.0), tone * dice.between(0.85, 1.15), 1.0];
    let left = dice.between(60.0, 220.0);
    Pixels::new(VIEW[0], VIEW[1], |x, y| {
        let (x, y) = (x as f64, y as f64);
        let wave = |length: f64, phase: f64| libm::sin(x / length + phase * 6.3);
        let inside = match kind {
            0 => y > base + 22.0 * wave(61.0, a) + 9.0 * wave(23.0, b) + 3.0 * wave(9.0, c),
            1 => {
                let hull = (x - left).abs() < 70.0 && (y - base).abs() < 34.0 - 0.2 * (x - left).abs();
                hull || (y > base
                    && y < base + 80.0
                    && ((x - left) / 22.0).rem_euclid(1.0) < 0.2
                    && (x - left).abs() < 60.0)
            }
            _ => (x / (40.0 + 30.0 * a) + b).rem_euclid(1.0) < 0.35 + 0.1 * wave(17.0, c) && y > 60.0,
        };
        if inside { paint } else { [paint[0], paint[1], paint[2], 0.0] }
    })
}

/// A file of a run with its pixels.
struct Layer {
    drawn: Drawn,
    pixels: Pixels,
}

fn layers(folder: &Path) -> Vec<Layer> {
    manifest(folder).into_iter().map(|drawn| Layer { pixels: Pixels::read(&drawn.path), drawn }).collect()
}

/// Steps of L* along one outline: with nothing, with the rim, with 98 % of its optical depth, and whether fog can give the wanted.
struct Steps {
    bare: f64,
    with: f64,
    less: f64,
    attainable: bool,
}

fn over(under: [f64; 3], [r, g, b, alpha]: [f64; 4], share: f64) -> [f64; 3] {
    // The same share of the optical depth.
    let alpha = 1.0 - libm::pow(1.0 - alpha, share);
    let colour = [r, g, b];
    std::array::from_fn(|at| under[at] + (colour[at] - under[at]) * alpha)
}

fn steps(layers: &[Layer], backdrop: [f64; 3], slot: &str, wanted: f64, most: f64) -> Vec<Steps> {
    let mut behind = vec![backdrop; VIEW[0] * VIEW[1]];
    let mut rim: Option<&Layer> = None;
    for layer in layers {
        let own = layer.drawn.slot == slot;
        match layer.drawn.kind.as_str() {
            "rim" if own => {
                rim = Some(layer);
                continue;
            }
            "art" if own => {
                let [left, top] = layer.drawn.corner;
                let mut found = Vec::new();
                for Edge { inside, outside } in outline(&layer.pixels) {
                    let (x, y) = (outside[0] + left, outside[1] + top);
                    if x < 0 || y < 0 || x >= VIEW[0] as i64 || y >= VIEW[1] as i64 {
                        continue;
                    }
                    let back = behind[y as usize * VIEW[0] + x as usize];
                    let air = rim.map_or([0.0; 4], |rim| {
                        rim.pixels.at(x - rim.drawn.corner[0], y - rim.drawn.corner[1])
                    });
                    let art = |at: [i64; 2]| layer.pixels.at(at[0], at[1]);
                    let step = |air: [f64; 4], share: f64| {
                        let back = over(back, air, share);
                        let seen = |texel| lightness(over(back, texel, 1.0));
                        (seen(art(outside)) - seen(art(inside))).abs()
                    };
                    let thickest = (1..=60)
                        .any(|at| step([air[0], air[1], air[2], most * f64::from(at) / 60.0], 1.0) >= wanted);
                    let bare = step([0.0; 4], 1.0);
                    found.push(Steps {
                        bare,
                        with: step(air, 1.0),
                        less: step(air, 0.98),
                        attainable: bare >= wanted || thickest,
                    });
                }
                return found;
            }
            _ => {}
        }
        draw(&mut behind, VIEW, &layer.drawn, &layer.pixels);
    }
    Vec::new()
}

fn share(steps: &[Steps], enough: impl Fn(&Steps) -> bool) -> f64 {
    let attainable: Vec<&Steps> = steps.iter().filter(|step| step.attainable).collect();
    attainable.iter().filter(|step| enough(step)).count() as f64 / attainable.len().max(1) as f64
}

fn head(separation: f64, extra: &str) -> String {
    format!(
        "view = [{}, {}]\nseed = 5\npreset = \"radiation-fog\"\nhorizon = 120\nground = 220\ncamera = 500\n{extra}\n[rim]\nseparation = {separation}\n\
         spread = 9\nmost = 0.9\n",
        VIEW[0], VIEW[1]
    )
}

/// Common practice, no source: a figure is set off from what stands behind it. 95 % of the attainable outline within 0.5 L*. A rim keeps to
/// what darkens nothing, beside a place that needs more, too: one outline of the ninety may stay at 89 %.
#[test]
fn random_stacks_reach_their_separation() {
    let mut dice = Dice(11);
    let (mut worst, mut misses) = (1.0_f64, Vec::new());
    for stack in 0..30 {
        let wanted = dice.between(4.0, 12.0);
        let count = 2 + stack % 3;
        let tones: Vec<f64> = (0..count).map(|at| dice.between(0.12, 0.5 - 0.07 * at as f64)).collect();
        let pictures: Vec<Pixels> = tones.iter().map(|tone| silhouette(&mut dice, *tone)).collect();
        let haze = dice.between(0.62, 0.9);
        let code = |value: f64| (value * 255.0 + 0.5) as u8;
        let mut text = format!("seed = {stack}\n") + &head(wanted, "").replace("seed = 5\n", "");
        text += &format!(
            "[air]\nhaze = \"#{0:02x}{0:02x}{1:02x}\"\nvisibility = {2:.0}\n",
            code(haze),
            code(haze * 0.93),
            dice.between(900.0, 6000.0)
        );
        let names: Vec<String> = (0..count).map(|at| format!("slot-{at}")).collect();
        for (at, name) in names.iter().enumerate() {
            text += &format!("[[slot]]\nname = \"{name}\"\ndepth = {}\n", 600 - 250 * at as i64);
        }
        let placed: Vec<(&str, &Pixels, [f64; 2])> =
            names.iter().zip(&pictures).map(|(name, art)| (name.as_str(), art, [0.0, 0.0])).collect();
        let (scene, pictures) = scene(&text, &placed);
        let folder = render(&scene, &pictures);
        let layers = layers(folder.path());
        let backdrop = scene.backdrop.0.map(f64::from);
        for name in &names {
            let steps = steps(&layers, backdrop, name, wanted, 0.85);
            let reached = share(&steps, |step| step.with >= wanted - 0.5);
            worst = worst.min(reached);
            if reached < 0.95 {
                let hidden =
                    steps.iter().filter(|step| step.bare >= wanted && step.with < wanted - 0.5).count();
                println!(
                    "spoiled {hidden}, attainable {}",
                    steps.iter().filter(|step| step.attainable).count()
                );
                misses.push(format!(
                    "stack {stack} {name}: {:.1} % of {} places reach {wanted:.1} (bare {:.1} %)",
                    100.0 * reached,
                    steps.len(),
                    100.0 * share(&steps, |step| step.bare >= wanted - 0.5)
                ));
            }
        }
    }
    println!("least share over 30 stacks: {:.2} %", 100.0 * worst);
    assert!(misses.len() <= 1 && worst >= 0.89, "{}", misses.join("\n"));
}

/// A dark disc on darkness, haze over both: no camera travel, everything lacks its step.
fn dark_stack(separation: f64, fog: bool) -> (Vec<Layer>, [f64; 3]) {
    let disc = Pixels::new(VIEW[0], VIEW[1], |x, y| {
        let (dx, dy) = (x as f64 - 240.0, y as f64 - 130.0);
        let solid = dx * dx + dy * dy < 60.0 * 60.0;
        [0.2, 0.2, 0.22, if solid { 1.0 } else { 0.0 }]
    });
    let text = head(separation, "backdrop = \"#333338\"")
        + "[air]\nhaze = \"#c8c0b0\"\nvisibility = 4000\nbeyond = 250\nlight = 180\n[[slot]]\nname = \"disc\"\ndepth = 0\n"
        + &format!("fog = {fog}\n");
    let (scene, pictures) = scene(&text, &[("disc", &disc, [0.0, 0.0])]);
    let folder = render(&scene, &pictures);
    (layers(folder.path()), scene.backdrop.0.map(f64::from))
}

#[test]
fn two_percent_less_fog_misses_the_separation() {
    for wanted in [4.0, 8.0, 14.0] {
        let (layers, backdrop) = dark_stack(wanted, false);
        let steps = steps(&layers, backdrop, "disc", wanted, 0.85);
        assert!(
            share(&steps, |step| step.bare >= wanted - 0.5) < 0.1,
            "the stack lacks nothing: {} of {}",
            steps[0].bare,
            steps.len()
        );
        let (with, less) = (
            share(&steps, |step| step.with >= wanted - 0.5),
            share(&steps, |step| step.less >= wanted - 0.5),
        );
        println!("wanted {wanted}: {with:.4} with the rim, {less:.4} with 2 % less");
        assert!(with >= 0.95, "{wanted}: {with}");
        assert!(less < 0.95, "{wanted}: still {less} with 2 % less");
        // As a field, it isn't wasted either: where most of it is needed, nowhere is much too much.
        let mean = steps.iter().map(|step| step.with).sum::<f64>() / steps.len() as f64;
        assert!(mean < wanted + 1.5, "{wanted}: {mean} on the mean");
    }
}

#[test]
fn no_fog_where_the_step_is_already_there() {
    // The left half of the backdrop is as dark as the bar, the right half light.
    let behind =
        Pixels::new(
            VIEW[0],
            VIEW[1],
            |x, _| if x < 240 { [0.2, 0.2, 0.2, 1.0] } else { [0.8, 0.8, 0.8, 1.0] },
        );
    let bar = Pixels::new(VIEW[0], VIEW[1], |_, y| {
        [0.18, 0.18, 0.2, if (110..150).contains(&y) { 1.0 } else { 0.0 }]
    });
    let text = head(8.0, "")
        + "[air]\nhaze = \"#c8c0b0\"\nvisibility = 4000\nbeyond = 0\n[[slot]]\nname = \"behind\"\ndepth = 1\nseparation = 0\n[[slot]]\nname = \"bar\"\ndepth = 0\nfog = false\n";
    let (scene, pictures) = scene(&text, &[("behind", &behind, [0.0, 0.0]), ("bar", &bar, [0.0, 0.0])]);
    let folder = render(&scene, &pictures);
    let layers = layers(folder.path());
    let rim = layers.iter().find(|layer| layer.drawn.kind == "rim").expect("a rim");
    let alpha = |x: i64| rim.pixels.at(x - rim.drawn.corner[0], 106 - rim.drawn.corner[1])[3];
    assert!(alpha(120) > 0.05, "{}", alpha(120));
    // Four spreads on, nothing is left.
    assert!(alpha(330) < 0.02 * alpha(120), "{} against {}", alpha(330), alpha(120));
    assert!(alpha(470) < 0.001, "{}", alpha(470));
}

/// Fastest change of L* per texel of a picture on an even ground, over texels that `counts` lets through in pairs.
fn steepest(pixels: &Pixels, ground: f64, counts: impl Fn(i64, i64) -> bool) -> f64 {
    let [width, height] = pixels.size.map(|side| side as i64);
    let tone = |x: i64, y: i64| lightness(over([ground; 3], pixels.at(x, y), 1.0));
    let mut most = 0.0_f64;
    for y in 0..height - 1 {
        for x in 0..width - 1 {
            if counts(x, y) && counts(x + 1, y) && counts(x, y + 1) {
                let own = tone(x, y);
                most = most.max(libm::hypot(tone(x + 1, y) - own, tone(x, y + 1) - own));
            }
        }
    }
    most
}

#[test]
fn no_contour_shows() {
    let (layers, _) = dark_stack(8.0, true);
    let of = |kind: &str| layers.iter().find(|layer| layer.drawn.kind == kind).expect("a file");
    let (fog, rim, art) = (of("fog"), of("rim"), of("art"));
    let [left, top] = rim.drawn.corner;
    // More than 3 px off the outline, outside the art.
    let away = |x: i64, y: i64| {
        (-3..=3).all(|dy| (-3..=3).all(|dx| art.pixels.at(x + left + dx, y + top + dy)[3] < 0.5))
    };
    for ground in [0.05, 0.2, 0.4] {
        let sheet = steepest(&fog.pixels, ground, |_, _| true);
        let own = steepest(&rim.pixels, ground, away);
        println!("on {ground}: rim {own:.3} L* per px, sheet {sheet:.3}");
        assert!(own > 0.0 && own <= sheet, "on {ground}: rim {own} L* per px, sheet {sheet}");
    }
    // Its outer end: all around its frame it has come to nothing.
    let [width, height] = rim.pixels.size.map(|side| side as i64);
    for x in 0..width {
        for y in 0..height {
            let edge =
                x == 0 || x == width - 1 || (y == 0 && top > 0) || (y == height - 1 && top + height < 270);
            assert!(!edge || rim.pixels.at(x, y)[3] < 0.002, "{x}, {y}");
        }
    }
}

#[test]
fn a_rim_lies_behind_and_ends_a_few_texels_beneath() {
    let (layers, _) = dark_stack(8.0, false);
    let kinds: Vec<&str> = layers.iter().map(|layer| layer.drawn.kind.as_str()).collect();
    assert_eq!(kinds, ["rim", "art"]);
    let rim = &layers[0];
    let alpha = |x: i64, y: i64| rim.pixels.at(x - rim.drawn.corner[0], y - rim.drawn.corner[1])[3];
    // Along a line through the disc's side: in full two texels in, nothing from twelve texels in.
    let outside = alpha(181 - 2, 130);
    assert!(outside > 0.05);
    assert!((alpha(181 + 2, 130) - outside).abs() < 0.2 * outside, "{} {outside}", alpha(183, 130));
    for (x, y) in [(193, 130), (210, 130), (240, 130), (240, 84), (240, 177)] {
        assert_eq!(alpha(x, y), 0.0, "{x}, {y}");
    }
}

/// Optical depth of a rim beneath a bar, by how many texels deep a row lies in it (-1: the row just outside), where the bar has this
/// opacity.
fn beneath_a_bar(opacity: f64) -> Vec<f64> {
    let bar = Pixels::new(VIEW[0], VIEW[1], |_, y| {
        [0.2, 0.2, 0.22, if (110..150).contains(&y) { opacity } else { 0.0 }]
    });
    let text = head(8.0, "backdrop = \"#333338\"")
        + "[air]\nhaze = \"#c8c0b0\"\nvisibility = 4000\nbeyond = 0\n[[slot]]\nname = \"bar\"\ndepth = 0\nfog = false\n";
    let (scene, pictures) = scene(&text, &[("bar", &bar, [0.0, 0.0])]);
    let folder = render(&scene, &pictures);
    let layers = layers(folder.path());
    let rim = layers.iter().find(|layer| layer.drawn.kind == "rim").expect("a rim");
    (109..130)
        .map(|y| -libm::log1p(-rim.pixels.at(240 - rim.drawn.corner[0], y - rim.drawn.corner[1])[3]))
        .collect()
}

/// A rim runs on in full for four texels beneath its art and has ended eleven texels in. Mip level 2 takes means of 4 by 4 texels,
/// so that no edge of the rim is mixed into what shows beside the art (common practice, no source).
#[test]
fn a_rim_runs_on_in_full_for_four_texels() {
    // An art that lets 4 % through has its rim beneath all of it: what the solid one's would be if it didn't end.
    let (solid, glaze) = (beneath_a_bar(1.0), beneath_a_bar(0.96));
    let share: Vec<f64> = solid.iter().zip(&glaze).map(|(solid, glaze)| solid / glaze).collect();
    println!("{share:.3?}");
    assert!(glaze.iter().all(|depth| *depth > 0.01), "{glaze:.3?}");
    // The two are solved each for itself, so their outsides differ a little.
    let outside = share[0];
    assert!((outside - 1.0).abs() < 0.1, "{outside}");
    for (deep, share) in share.iter().enumerate().skip(1) {
        let share = share / outside;
        match deep {
            1..=4 => assert!((share - 1.0).abs() < 0.02, "{deep} texels in: {share}"),
            5..=10 => assert!(share < 0.98 && share > 0.01, "{deep} texels in: {share}"),
            _ => assert_eq!(share, 0.0, "{deep} texels in"),
        }
    }
}

#[test]
fn a_rim_gathers_toward_the_anchor_and_brightens_toward_the_light() {
    let (layers, _) = dark_stack(8.0, false);
    let rim = &layers[0];
    let [left, top] = rim.drawn.corner;
    let (mut above, mut below) = (0.0, 0.0);
    let (mut lit, mut shaded) = ((0.0, 0.0), (0.0, 0.0));
    let [width, height] = rim.pixels.size.map(|side| side as i64);
    for y in 0..height {
        for x in 0..width {
            let [r, g, b, alpha] = rim.pixels.at(x, y);
            let (dx, dy) = ((x + left - 240) as f64, (y + top - 130) as f64);
            if dx.abs() < 50.0 && dy.abs() > 60.0 {
                if dy < 0.0 { above += alpha } else { below += alpha }
            }
            if dy.abs() < 30.0 && dx.abs() > 62.0 && alpha > 0.02 {
                let side = if dx < 0.0 { &mut lit } else { &mut shaded };
                side.0 += alpha * lightness([r, g, b]);
                side.1 += alpha;
            }
        }
    }
    assert!(below > 1.3 * above, "{below} below, {above} above");
    assert!(
        lit.0 / lit.1 > shaded.0 / shaded.1 + 1.0,
        "{} lit, {} shaded",
        lit.0 / lit.1,
        shaded.0 / shaded.1
    );
}

#[test]
fn lattices_get_rims_inside_and_posts_no_blob() {
    let lattice = Pixels::new(200, 120, |x, y| {
        let solid = x % 16 < 3 || y % 16 < 3;
        [0.2, 0.2, 0.22, if solid { 1.0 } else { 0.0 }]
    });
    let post = Pixels::new(2, 150, |_, _| [0.2, 0.2, 0.22, 1.0]);
    let wall = Pixels::new(150, 150, |_, _| [0.2, 0.2, 0.22, 1.0]);
    let air = "[air]\nhaze = \"#c8c0b0\"\nvisibility = 4000\nbeyond = 0\n";
    let rim_of = |art: &Pixels, x: f64| {
        let text = head(8.0, "backdrop = \"#333338\"") + air + "[[slot]]\nname = \"art\"\ndepth = 0\n";
        let (scene, pictures) = scene(&text, &[("art", art, [x, 60.0])]);
        let folder = render(&scene, &pictures);
        layers(folder.path()).into_iter().find(|layer| layer.drawn.kind == "rim").expect("a rim")
    };
    let rim = rim_of(&lattice, 140.0);
    let mut least = 1.0_f64;
    for row in 0..7 {
        for col in 0..12 {
            let (x, y) = (140 + col * 16 + 9, 60 + row * 16 + 9);
            least = least.min(rim.pixels.at(x - rim.drawn.corner[0], y - rim.drawn.corner[1])[3]);
        }
    }
    assert!(least > 0.05, "a hole with only {least}");
    // A post's fog is nowhere thicker than at the post, and there is less of it than beside a wall.
    let rim = rim_of(&post, 240.0);
    let alpha = |x: i64, y: i64| rim.pixels.at(x - rim.drawn.corner[0], y - rim.drawn.corner[1])[3];
    let across = |alpha: &dyn Fn(i64) -> f64, from: i64, to: i64| (from..to).map(alpha).sum::<f64>();
    for y in [90, 120, 160] {
        let at = alpha(238, y);
        let most = (100..380).map(|x| alpha(x, y)).fold(0.0, f64::max);
        assert!(most < 1.05 * at, "{most} against {at} at the post");
    }
    let own = across(&|x| alpha(x, 130), 242, 440) / alpha(243, 130);
    let rim = rim_of(&wall, 90.0);
    let beside = |x: i64| rim.pixels.at(x - rim.drawn.corner[0], 130 - rim.drawn.corner[1])[3];
    let wide = across(&beside, 240, 440) / beside(241);
    println!("px of full fog on one side: post {own:.1}, wall {wide:.1}");
    assert!(own < 1.8 * wide, "{own} px of fog beside a post, {wide} beside a wall");
}

#[test]
fn a_rim_darkens_only_if_it_may() {
    let disc = Pixels::new(VIEW[0], VIEW[1], |x, y| {
        let (dx, dy) = (x as f64 - 240.0, y as f64 - 130.0);
        [0.8, 0.78, 0.7, if dx * dx + dy * dy < 3600.0 { 1.0 } else { 0.0 }]
    });
    for darken in [false, true] {
        let text = head(8.0, "backdrop = \"#c8c4b4\"")
            + &format!(
                "darken = {darken}\n[air]\nhaze = \"#ccc8b4\"\nvisibility = 4000\nbeyond = 250\n[[slot]]\nname = \"disc\"\ndepth = 0\n"
            );
        let (scene, pictures) = scene(&text, &[("disc", &disc, [0.0, 0.0])]);
        let folder = render(&scene, &pictures);
        let layers = layers(folder.path());
        let steps = steps(&layers, scene.backdrop.0.map(f64::from), "disc", 8.0, 0.85);
        let reached = steps.iter().filter(|step| step.with >= 7.5).count() as f64 / steps.len() as f64;
        if darken { assert!(reached >= 0.95, "{reached}") } else { assert_eq!(reached, 0.0) }
    }
}

/// A rim that isn't needed, or can't help, isn't written, and it is said why.
#[test]
fn a_rim_with_nothing_to_do_is_not_written() {
    let folder = tempfile::tempdir().expect("a folder");
    let disc = |x: usize, y: usize| {
        let inside = (x as f64 - 32.0).hypot(y as f64 - 32.0) < 20.0;
        [0.2, 0.2, 0.2, f64::from(u8::from(inside))]
    };
    std::fs::write(folder.path().join("disc.png"), Pixels::new(64, 64, disc).png()).expect("written");
    std::fs::write(folder.path().join("clear.png"), Pixels::new(64, 64, |_, _| [0.0; 4]).png())
        .expect("written");
    // Name, haze, background; the code and a word of what is said.
    for (art, haze, behind, code, word) in [
        ("disc.png", "#cccccc", "#eeeeee", 0, "No rim is needed"),
        ("disc.png", "#343434", "#363636", 2, "--darken"),
        ("clear.png", "#cccccc", "#333333", 4, "no outline"),
    ] {
        let ran = Command::new(env!("CARGO_BIN_EXE_fogweft"))
            .current_dir(folder.path())
            .args([
                "rim",
                art,
                "--haze",
                haze,
                "--behind",
                behind,
                "--separation",
                "8",
                "--spread",
                "4",
                "--out",
                "r.png",
            ])
            .output()
            .expect("it runs");
        let said = [ran.stdout, ran.stderr].concat();
        let said = String::from_utf8_lossy(&said);
        assert_eq!(ran.status.code(), Some(code), "{art} {haze}: {said}");
        assert!(said.contains(word), "{said}");
        assert!(!folder.path().join("r.png").exists(), "{said}");
    }
}

/// The silhouette "horse" of scikit-image's data, in the public domain; here at 200 x 164 px.
#[test]
fn the_horse_is_set_off_by_the_command() {
    let folder = tempfile::tempdir().expect("a folder");
    let art = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/horse.png");
    let out = folder.path().join("horse.rim.png");
    let run = |extra: &[&str]| {
        Command::new(env!("CARGO_BIN_EXE_fogweft"))
            .args(["rim".as_ref(), art.as_os_str()])
            .args([
                "--haze",
                "#cfc8b8",
                "--separation",
                "7",
                "--behind",
                "#302e36",
                "--spread",
                "8",
                "--bits",
                "16",
                "--out",
            ])
            .arg(&out)
            .args(extra)
            .output()
            .expect("it runs")
    };
    let ran = run(&[]);
    assert!(ran.status.success(), "{}", String::from_utf8_lossy(&ran.stderr));
    let said = String::from_utf8_lossy(&ran.stdout).into_owned();
    let place =
        said.split("top-left corner at ").nth(1).expect(&said).split(" relative").next().expect(&said);
    let corner: Vec<i64> = place.split(", ").map(|part| part.parse::<f64>().expect(place) as i64).collect();
    let (horse, rim) = (Pixels::read(&art), Pixels::read(&out));
    let behind = [0x30, 0x2e, 0x36].map(|code| f64::from(code) / 255.0);
    let edges = outline(&horse);
    let reached = edges
        .iter()
        .filter(|edge| {
            let [x, y] = edge.outside;
            let back = over(behind, rim.at(x - corner[0], y - corner[1]), 1.0);
            let inside = lightness(over(back, horse.at(edge.inside[0], edge.inside[1]), 1.0));
            (lightness(back) - inside).abs() >= 6.5
        })
        .count();
    println!("the horse: {reached} of {} places", edges.len());
    assert!(reached as f64 >= 0.95 * edges.len() as f64, "{reached} of {}", edges.len());
    assert_eq!(run(&["--set", "rim.most=2"]).status.code(), Some(2));
}

/// The cost of a rim against that of its PNG, 4096 by 2048 texels. By hand: cargo test --release --test rim -- --ignored --nocapture
#[test]
#[ignore = "a measurement"]
fn cost_of_a_large_rim() {
    let art = Pixels::new(4096, 2048, |x, y| {
        let (u, v) = (x as f64, y as f64);
        let solid = v > 900.0 + 300.0 * libm::sin(u / 310.0) || (u / 60.0).rem_euclid(1.0) < 0.1 && v > 300.0;
        [0.2, 0.2, 0.22, if solid { 1.0 } else { 0.0 }]
    });
    let text = "view = [4096, 2048]\npreset = \"radiation-fog\"\nbackdrop = \"#333338\"\n[rim]\nseparation = 8\n[air]\nhaze = \"#c8c0b0\"\nvisibility = 4000\n\
                beyond = 250\n[[slot]]\nname = \"art\"\ndepth = 0\n";
    let limits = fogweft::base::limits::Limits::default();
    let time = |separation: f64| {
        let text = text.replace("separation = 8", &format!("separation = {separation}"));
        let (scene, pictures) = scene(&text, &[("art", &art, [0.0, 0.0])]);
        let plan = fogweft::plan::Plan::new(&scene, &pictures.naturals(), 1.0, &limits).expect("a plan");
        let start = std::time::Instant::now();
        let stack = fogweft::stack::Stack::new(&plan, &pictures, &limits).expect("a stack");
        let samples = stack.rims().next().map(|rim| (rim.size(), rim.eight()));
        let made = start.elapsed();
        let encode = samples.map(|(size, samples)| {
            let start = std::time::Instant::now();
            let raster = fogweft::base::raster::Raster::Eight { size, samples: &samples };
            let bytes = fogweft::output::encode(raster, Default::default());
            println!("rim {size:?} texels, {} bytes", bytes.len());
            start.elapsed()
        });
        (made, encode)
    };
    // The least of several, as others may be at work on the machine.
    let least = |separation: f64| {
        let times: Vec<_> = (0..5).map(|_| time(separation)).collect();
        (times.iter().map(|time| time.0).min().expect("some"), times.iter().filter_map(|time| time.1).min())
    };
    let (without, _) = least(0.0);
    let (with, encode) = least(8.0);
    let cost = with.saturating_sub(without);
    println!("solved and drawn {cost:?} ({without:?} to {with:?}), its PNG encoded {encode:?}");
    assert!(cost < 2 * encode.expect("a rim"), "{cost:?}");
}
