//! Loops of frames: fog flows along its way, and neither its amount nor its contrast pulses.

use crate::util::{mean, near, presets, spec, texels, thorough};
use fogweft::base::exp::opacity;
use fogweft::plan::{Job, Plan};
use fogweft::steps::field::{FieldSpec, Sampling};

const SECONDS: f64 = 16.0;
const SIZE: [u32; 2] = [2048, 540];
/// Optical depth along the line: most of a sheet's shape shows.
const TAU: f32 = 1.5;

/// The opacities of a sheet at a place of its loop.
fn opacities(spec: &FieldSpec, time: f64) -> Vec<Vec<f64>> {
    let rows = texels(&spec.at(time, SECONDS), Sampling::Reduced);
    let seen = |density: f32| f64::from(opacity(TAU * density.max(0.0)));
    rows.into_iter().map(|row| row.into_iter().map(seen).collect()).collect()
}

fn swing(values: impl Iterator<Item = f64>) -> f64 {
    let (least, most) = values.fold((f64::MAX, f64::MIN), |(a, b), value| (a.min(value), b.max(value)));
    most - least
}

fn some() -> Vec<String> {
    let all = presets();
    if thorough() {
        return all;
    }
    all.into_iter()
        .filter(|name| ["fog-bank", "sea-fret", "steam-fog", "stratocumulus"].contains(&name.as_str()))
        .collect()
}

/// The bars are our own: a swing of 5 % of the mean, and of 0.05 of the opacity deep inside, can't be told by eye from a still.
#[test]
fn the_amount_stays_over_a_loop() {
    for name in some() {
        let spec = spec(&name, SIZE, 3);
        let frames: Vec<_> = (0..6).map(|at| opacities(&spec, f64::from(at) / 6.0)).collect();
        let means: Vec<f64> = frames.iter().map(|rows| mean(rows.iter().flatten().copied())).collect();
        let pulse = swing(means.iter().copied()) / means[0];
        // 120 scene px inside.
        let deep = (spec.line.0 - spec.open * 60.0).clamp(0.0, 539.0) as usize;
        let inside = swing(frames.iter().map(|rows| mean(rows[deep].iter().copied())));
        let texel = mean((0..2048).map(|col| swing(frames.iter().map(|rows| rows[deep][col]))));
        println!("{name:16} mean {:.1} %, inside {inside:.4}, a texel inside {texel:.3}", 100.0 * pulse);
        assert!(pulse <= 0.05, "{name}: the mean swings by {:.1} %", 100.0 * pulse);
        assert!(inside <= 0.05, "{name}: deep inside, opacity swings by {inside:.3}");
        // Contrast doesn't pulse either: the deviation along rows stays within about a quarter; most swings that of `mist`, by 25.4 %.
        let contrast = |rows: &Vec<Vec<f64>>| {
            mean(rows.iter().map(|row| {
                let middle = mean(row.iter().copied());
                mean(row.iter().map(|value| (value - middle).powi(2)))
            }))
            .sqrt()
        };
        let contrasts: Vec<f64> = frames.iter().map(contrast).collect();
        let pulse = swing(contrasts.iter().copied()) / contrasts[0];
        println!("    contrast {:.1} %", 100.0 * pulse);
        assert!(pulse <= 0.26, "{name}: contrast swings by {:.1} %", 100.0 * pulse);
    }
}

/// How far the picture `b` has moved from `a`, texels right and down: the greatest correlation of both, less their row means.
fn moved(a: &[Vec<f64>], b: &[Vec<f64>], reach: i64) -> [i64; 2] {
    let plain = |rows: &[Vec<f64>]| -> Vec<Vec<f64>> {
        let less = |row: &Vec<f64>| {
            let middle = mean(row.iter().copied());
            row.iter().map(|value| value - middle).collect()
        };
        rows.iter().map(less).collect()
    };
    let (a, b) = (plain(a), plain(b));
    let score = |[right, down]: [i64; 2]| -> f64 {
        let rows = reach..a.len() as i64 - reach;
        rows.map(|y| {
            let (from, to) = (&a[y as usize], &b[(y + down) as usize]);
            (0..from.len())
                .map(|x| from[x] * to[(x as i64 + right).rem_euclid(to.len() as i64) as usize])
                .sum::<f64>()
        })
        .sum()
    };
    let places = (-reach..=reach).flat_map(|right| (-reach..=reach).map(move |down| [right, down]));
    places.max_by(|a, b| score(*a).total_cmp(&score(*b))).unwrap()
}

/// Successive frames correlate most where the flow has carried one onto the other, and not in place.
#[test]
fn fog_flows_along_its_way() {
    for (name, angle, want) in
        [("fog-bank", 0.0, [6, 0]), ("fog-bank", 180.0, [-6, 0]), ("steam-fog", 90.0, [0, -6])]
    {
        let mut spec = spec(name, [1024, 270], 3);
        // Along x a body's own line; up, the bands alone: no falloff holds them in place.
        if want[0] == 0 {
            spec.recipe.falloff.height.0 = f64::INFINITY;
            spec.recipe.falloff.beyond.0 = f64::INFINITY;
        }
        (spec.recipe.bands.flow.0, spec.recipe.bands.flow_angle) = (6.0, angle);
        for at in [0.0, 4.0, 8.0, 12.0] {
            let [a, b] = [at, at + 1.0].map(|second| opacities(&spec, second / SECONDS));
            let got = moved(&a, &b, 9);
            println!("{name} to {angle}, second {at}: {got:?}");
            for axis in 0..2 {
                assert!(
                    (got[axis] - want[axis]).abs() <= 2,
                    "{name} to {angle}, second {at}: {got:?} for {want:?}"
                );
            }
        }
    }
}

/// Every preset flows about as fast as the drift that is suggested, 12 px a second, steam upward; a loop closes and begins with the still.
#[test]
fn presets_say_how_they_flow() {
    for name in presets() {
        let (_, recipe) = crate::util::preset(&name);
        let bands = &recipe.bands;
        assert!((6.0..=24.0).contains(&bands.flow.0), "{name}: {}", bands.flow.0);
        let up = if name == "steam-fog" { 60.0..=90.0 } else { 0.0..=30.0 };
        assert!(up.contains(&bands.flow_angle), "{name}: {}", bands.flow_angle);
        let spec = spec(&name, [512, 270], 5);
        let [start, end] = [0.0, 1.0].map(|time| texels(&spec.at(time, SECONDS), Sampling::Reduced));
        assert_eq!(start, texels(&spec, Sampling::Reduced), "{name}");
        assert_eq!(start, end, "{name}");
    }
}

/// The loop has no jump, where noises start anew either.
#[test]
fn nothing_jumps_or_flashes() {
    for name in some() {
        let spec = spec(&name, [1024, 270], 7);
        let at = |time: f64| opacities(&spec, time.rem_euclid(1.0));
        for start in [0.0, 0.25, 0.5, 0.75] {
            let changes = |apart: f64| {
                let [a, b] = [start - 0.5 * apart, start + 0.5 * apart].map(at);
                let mut all: Vec<f64> =
                    a.iter().flatten().zip(b.iter().flatten()).map(|(a, b)| (a - b).abs()).collect();
                all.sort_unstable_by(f64::total_cmp);
                all
            };
            let (jumps, twelfth) = (changes(1e-5), changes(1.0 / 12.0 / SECONDS));
            let (jump, change) = (jumps[jumps.len() - 1], twelfth[twelfth.len() * 999 / 1000]);
            println!("{name} at {start}: jump {jump:.4}, change in a twelfth of a second {change:.3}");
            assert!(jump < 0.01, "{name}: a texel jumps by {jump:.3} at {start}");
            assert!(
                change < 0.15,
                "{name}: texels change by {change:.3} in a twelfth of a second at {start}"
            );
        }
        // WCAG 2.2, 2.3.1 (general flash): no more than three pairs of opposing changes of relative luminance by 0.1 within a second.
        // White fog on black has the luminance of its opacity, where the renderer mixes light.
        let second: Vec<_> = (0..=6).map(|part| at(0.4 + f64::from(part) / 6.0 / SECONDS)).collect();
        let flashes = |place: [usize; 2]| {
            let changes =
                second.windows(2).map(|pair| pair[1][place[0]][place[1]] - pair[0][place[0]][place[1]]);
            let large: Vec<f64> = changes.filter(|change| change.abs() >= 0.1).collect();
            large.windows(2).filter(|pair| pair[0] * pair[1] < 0.0).count()
        };
        let places = (0..270).flat_map(|y| (0..1024).map(move |x| [y, x]));
        assert_eq!(places.map(flashes).max(), Some(0), "{name}");
    }
}

/// The coarse grid of a moment is held to the reference, as that of still fog is: within half a code.
#[test]
fn moments_are_as_exact_as_the_still() {
    for name in ["fog-bank", "stratocumulus", "steam-fog"] {
        let spec = spec(name, [512, 270], 2).at(0.3, SECONDS);
        let [fast, full] = [Sampling::Reduced, Sampling::Full].map(|sampling| texels(&spec, sampling));
        let seen = |density: f32| f64::from(opacity(density.max(0.0)));
        let off = fast.iter().flatten().zip(full.iter().flatten()).map(|(a, b)| (seen(*a) - seen(*b)).abs());
        let rms = mean(off.clone().map(|off| off * off)).sqrt();
        println!("{name}: rms {:.2} codes, most {:.2}", 255.0 * rms, 255.0 * off.fold(0.0, f64::max));
        assert!(255.0 * rms < 0.5, "{name}: {}", 255.0 * rms);
    }
}

/// A moment of a plan has the same crop-invariant sheets, and drifts by what the manifest says.
#[test]
fn a_plan_at_a_moment_has_flowed_and_drifted() {
    let scene = crate::util::scene_with(
        "view = [192, 108]\n[air]\ndrift = -8\nloop_seconds = 10\n[[slot]]\nname = \"far\"\ndepth = 96\n",
        &[],
    );
    let plan = crate::util::plan(&scene, &Default::default());
    let moments = plan.moments(24);
    assert_eq!(moments.len(), 5);
    let [rest, moment]: [&Plan; 2] = [&plan, &plan.at(0.25, 3.0)];
    let [Job::Fog(before), Job::Fog(after)] = [rest, moment].map(|plan| &plan.files[0]) else {
        panic!("no sheet")
    };
    near(after.placing.rect.x.0 - before.placing.rect.x.0, -8.0 * 0.5 * 3.0, 1e-9);
    // It flows along the drift, to the left.
    assert!(after.spec.field.moment.way[0] < -1.0);
    assert!(moments.iter().all(|[time, _]| (time * 24.0).fract() == 0.0));
}
