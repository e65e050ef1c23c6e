//! Kinds of pixels against each other, and places against what they stand for.

use super::*;
use crate::base::colour::Srgb;
use crate::base::placing::Kind;
use crate::base::seed;
use crate::base::units::{Camera, Px, Scale, Texel};
use crate::base::words::Anchor;
use crate::scene::recipe::layers::Resolved;
use crate::stack::still::Still;
use crate::steps::field::{FieldSpec, Sampling};
use crate::steps::sheet::SheetSpec;
use crate::steps::step5_grade::Tones;

/// How far a layer may take a draft's colour from the exact one, in codes of 16 bits: two products and two colours are rounded.
const DRAFT_ERROR: f32 = 4.0;

/// Random numbers, one after the other.
struct Random(u64);

impl Random {
    /// From `low` to `high`.
    fn between(&mut self, low: f64, high: f64) -> f64 {
        self.0 += 1;
        low + (high - low) * seed::uniform(self.0)
    }
}

fn placing(rect: [f64; 4], texels: [u32; 2], period: Option<f64>, pan_rate: f64) -> Placing {
    let (slot, path) = (String::new(), String::new());
    Placing {
        slot,
        kind: Kind::Art,
        path,
        order: 0,
        depth: 0.0,
        pan_rate,
        rect: rect.into(),
        texels,
        period: period.map(Px),
    }
}

fn picture(random: &mut Random) -> Picture {
    let size = [random.between(3.0, 70.0) as u32, random.between(3.0, 40.0) as u32];
    let texels = (0..size[0] * size[1]).map(|_| {
        let alpha = random.between(-0.6, 1.6).clamp(0.0, 1.0);
        [random.between(0.0, 1.0), random.between(0.0, 1.0), random.between(0.0, 1.0), alpha]
            .map(|value| (value * 65535.0) as u16)
    });
    Picture { size, deep: true, texels: texels.collect() }
}

fn sheet(random: &mut Random, rows: u32) -> Sheet {
    let recipe = Resolved::defaults().recipe().expect("whole");
    let size = [random.between(60.0, 200.0) as u32, rows];
    let haze = Srgb([random.between(0.0, 1.0) as f32, 0.6, random.between(0.0, 1.0) as f32]);
    Sheet::new(
        SheetSpec {
            field: FieldSpec::new(size, Anchor::Ground, Texel(0.7 * f64::from(rows)), Scale(0.3), &recipe, 5),
            tau: random.between(0.1, 3.0),
            clear: random.between(0.0, 0.3),
            // One colour: the exact pixels don't mix those of neighbouring columns.
            tones: Tones::new(haze, None, None, None, 0.0),
            light: 60.0,
        },
        Sampling::Reduced,
    )
}

#[cfg(feature = "tune")]
#[test]
fn drafts_pixels_are_the_exact_ones_but_for_what_rounding_takes_in_each_layer() {
    let size = [131, 43];
    for (turn, blending) in [Blending::Encoded, Blending::Linear].into_iter().cycle().take(40).enumerate() {
        let mut random = Random(1000 * turn as u64);
        let scale = random.between(0.2, 1.5);
        let pictures: Vec<Picture> = (0..5).map(|_| picture(&mut random)).collect();
        let sheets: Vec<Sheet> = (0..2).map(|_| sheet(&mut random, size[1])).collect();
        let mut layers = Vec::new();
        let all = pictures.iter().map(Source::Picture).chain(sheets.iter().map(Source::Sheet));
        for (at, source) in all.enumerate() {
            let own = source.size().map(|side| f64::from(side) / scale);
            let is_sheet = matches!(source, Source::Sheet(_));
            // Periods that are no whole number of texels, sheets as wide as these.
            let period = own[0] * random.between(0.8, 1.4);
            let rect = if is_sheet {
                [0.0, 0.0, own[0] * random.between(0.97, 1.03), own[1]]
            } else {
                [random.between(-90.0, 150.0), random.between(-30.0, 60.0), own[0], own[1]]
            };
            let period = if is_sheet { Some(rect[2]) } else { (at % 2 == 0).then_some(period) };
            let placing = placing(rect, source.size(), period, random.between(0.2, 1.4));
            let place = Place::new(
                &placing,
                source.size(),
                Scale(scale),
                Camera::new(random.between(0.0, 500.0), 0.0),
            );
            layers.push(Layer { source, place });
        }
        let count = layers.len() as f32;
        let compositor = Compositor {
            size: size.map(|side| side as usize),
            space: Space::new(blending),
            ground: [0.2, 0.5, 0.7, 0.0],
            layers,
        };
        let (draft, exact) = (Still::new::<Draft>(&compositor), Still::new::<Exact>(&compositor));
        for (at, (draft, exact)) in draft.colours.iter().zip(&exact.colours).enumerate() {
            let off = draft.iter().zip(exact).map(|(a, b)| (a - b).abs() * 65535.0).fold(0.0, f32::max);
            assert!(off <= DRAFT_ERROR * count, "turn {turn}, texel {at}: {off} codes, {draft:?}, {exact:?}");
        }
    }
}

#[test]
fn copies_are_seen_wherever_their_texels_are() {
    let mut random = Random(7);
    for _ in 0..2000 {
        let texels = [random.between(1.0, 40.0) as u32, 1];
        let scale = random.between(0.1, 2.0);
        let width = f64::from(texels[0]) / scale;
        let period = width * random.between(0.4, 3.0);
        let placing = placing([random.between(-99.0, 99.0), 0.0, width, 1.0], texels, Some(period), 1.0);
        let place =
            Place::new(&placing, texels, Scale(scale), Camera::new(random.between(-99.0, 999.0), 0.0));
        let mut seen = [0; 50];
        for (range, first) in place.spans(50) {
            assert!(first + range.len() <= texels[0] as usize);
            seen[range].iter_mut().for_each(|count| *count += 1);
        }
        // Far more copies than reach into the view.
        let mut wanted = [0; 50];
        for left in (-5000..=5000).map(|copy| place.left(copy)) {
            let (from, to) =
                (left.clamp(0, 50) as usize, (left + i64::from(texels[0])).clamp(0, 50) as usize);
            wanted[from..to].iter_mut().for_each(|count| *count += 1);
        }
        assert_eq!(seen, wanted);
    }
}

#[test]
fn of_a_sheet_every_column_is_the_one_that_lies_there() {
    for (stretch, left) in [(1.0, 3.0), (1.0, -250.0), (1.37, 12.0), (0.83, -77.0)] {
        let placing = placing([left, 0.0, 90.0 * stretch, 10.0], [90, 10], Some(90.0 * stretch), 1.0);
        let place = Place::new(&placing, [90, 10], Scale(1.0), Camera::default());
        assert_eq!(place.is_even(), stretch == 1.0);
        for x in 0..300 {
            let away = (x as f64 + 0.5 - left) / stretch;
            // Which of two neighbours counts at the edge between them is left open.
            if (away - away.round()).abs() > 1e-9 {
                assert_eq!(place.column(x), Some(away.rem_euclid(90.0) as usize));
            }
            let ([a, b], share) = place.between(x);
            assert_eq!(b, (a + 1) % 90);
            let middle = (a as f64 + 0.5 + f64::from(share)).rem_euclid(90.0);
            let apart = (middle - away).rem_euclid(90.0);
            assert!(!(1e-4..=90.0 - 1e-4).contains(&apart), "{stretch}, {x}: {middle}, {away}");
        }
        assert!(!place.is_even() || place.column(0) == Some(place.first()));
    }
}
