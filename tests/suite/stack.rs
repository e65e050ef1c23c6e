//! The first law: a flat scene's still, and its files put together by other code, are the product law.

use crate::util::{
    Decoded, compose, decode, decode_file, flat_png, near, plan, scene, to_encoded, to_linear,
};
use fogweft::base::law;
use fogweft::base::limits::Limits;
use fogweft::base::raster::Owned;
use fogweft::base::units::Camera;
use fogweft::base::words::{Bits, Blending};
use fogweft::output::Effort;
use fogweft::output::pictures::still_png;
use fogweft::scene::Scene;
use fogweft::scene::pictures::{Pictures, Source};
use fogweft::stack::{Stack, values};
use fogweft::store::run::{self, Options};
use proptest::prelude::*;

/// One step of 16 bits is 1; exact values are rounded to half of it, and single precision strays by a little for each sheet.
const HALF_STEP: f64 = 0.5 + 0.1;

const SIZE: [u32; 2] = [24, 16];

#[derive(Clone, Debug)]
struct Flat {
    linear: bool,
    haze: [u8; 3],
    backdrop: [u8; 3],
    visibility: f64,
    beyond: f64,
    camera: f64,
    /// Depth, own haze, smear's length, softening, colour of a flat art over the left half.
    slots: Vec<(f64, Option<[u8; 3]>, f64, f64, Option<[u8; 4]>)>,
    at: f64,
}

fn flat(own_hazes: bool) -> impl Strategy<Value = Flat> {
    let own = if own_hazes { proptest::option::of(any::<[u8; 3]>()).boxed() } else { Just(None).boxed() };
    let slot =
        (-0.9..20.0_f64, own, 0.0..60.0_f64, 0.0..8.0_f64, proptest::option::weighted(0.4, any::<[u8; 4]>()));
    (
        any::<bool>(),
        any::<[u8; 3]>(),
        any::<[u8; 3]>(),
        0.2..30.0_f64,
        0.0..30.0_f64,
        10.0..2000.0_f64,
        proptest::collection::vec(slot, 1..6),
        0.0..300.0_f64,
    )
        .prop_map(|(linear, haze, backdrop, visibility, beyond, camera, mut slots, at)| {
            for slot in &mut slots {
                slot.0 *= camera;
            }
            let (visibility, beyond) = (visibility * camera, beyond * camera);
            Flat { linear, haze, backdrop, visibility, beyond, camera, slots, at }
        })
}

fn hex(colour: &[u8]) -> String {
    format!("#{:02x}{:02x}{:02x}", colour[0], colour[1], colour[2])
}

impl Flat {
    fn text(&self) -> String {
        let mut text = format!(
            "view = [{}, {}]\ntravel = 300\ncamera = {:?}\nbackdrop = \"{}\"\nbands.amount = 0\n\
             falloff = {{ height = inf, beyond = inf }}\ngrade.lit = 0\nrim.separation = 0\n\
             [air]\nhaze = \"{}\"\nvisibility = {:?}\nbeyond = {:?}\nblending = \"{}\"\n",
            SIZE[0],
            SIZE[1],
            self.camera,
            hex(&self.backdrop),
            hex(&self.haze),
            self.visibility,
            self.beyond,
            if self.linear { "linear" } else { "encoded" },
        );
        for (at, (depth, haze, smear, sigma, art)) in self.slots.iter().enumerate() {
            text += &format!(
                "[[slot]]\nname = \"s{at}\"\ndepth = {depth:?}\nsmear.length = {smear:?}\nsoften.sigma = {sigma:?}\n"
            );
            if let Some(haze) = haze {
                text += &format!("haze = \"{}\"\nhaze_share = 1\n", hex(haze));
            }
            if art.is_some() {
                // Wide enough to stay in view wherever the camera is; it repeats, and nothing of it differs.
                text += "art = \"flat.png\"\nx = 0\ny = 0\nrepeat = true\n";
            }
        }
        text
    }

    fn pictures(&self) -> Pictures {
        let mut pictures = Pictures::default();
        for (at, slot) in self.slots.iter().enumerate() {
            if let Some(colour) = slot.4 {
                let bytes = flat_png([SIZE[0], 8], colour);
                pictures.add(
                    &format!("s{at}"),
                    Source::from_bytes("flat.png", bytes, &Limits::default()).unwrap(),
                );
            }
        }
        pictures
    }

    fn enter(&self, code: u8) -> f64 {
        let value = f64::from(code) / 255.0;
        if self.linear { to_linear(value) } else { value }
    }

    /// The colour of a view row by the law, slot by slot from far to near, in steps of 16 bits.
    fn expected(&self, covered: bool) -> [f64; 3] {
        let mut order: Vec<_> = self.slots.iter().enumerate().collect();
        order.sort_by(|(a, x), (b, y)| y.0.total_cmp(&x.0).then(a.cmp(b)));
        std::array::from_fn(|channel| {
            let mut colour = self.enter(self.backdrop[channel]);
            let mut farther = order[0].1.0 + self.beyond;
            for (_, (depth, own, _, _, art)) in &order {
                let haze = self.enter(own.unwrap_or(self.haze)[channel]);
                // Koschmieder 1924, with the extinction of a meteorological optical range (CIE e-ILV 17-31-018).
                let left = libm::exp(libm::log(0.05) / self.visibility * (farther - depth));
                colour = colour * left + haze * (1.0 - left);
                farther = *depth;
                if let (true, Some(art)) = (covered, art) {
                    // Porter & Duff 1984, source-over.
                    let alpha = f64::from(art[3]) / 255.0;
                    colour = colour * (1.0 - alpha) + self.enter(art[channel]) * alpha;
                }
            }
            65535.0 * if self.linear { to_encoded(colour) } else { colour }
        })
    }
}

/// Rows that the pictures (8 texels high) cover, then those that they don't.
fn check_sixteen(texels: &[[u16; 4]], flat: &Flat, error: f64) -> Result<(), TestCaseError> {
    let want = [flat.expected(true), flat.expected(false)];
    for (at, texel) in texels.iter().enumerate() {
        let want = want[usize::from(at >= 8 * SIZE[0] as usize)];
        for channel in 0..3 {
            let off = (f64::from(texel[channel]) - want[channel]).abs();
            prop_assert!(off <= error, "texel {at}: {texel:?} for {want:?}");
        }
        prop_assert_eq!(texel[3], u16::MAX);
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(160))]

    /// Koschmieder 1924: to half a step of 16 bits at every texel; of 8 bits, which are dithered, in the mean of every tile of
    /// 8 by 8, and to one step at every texel. Both blendings.
    #[test]
    fn the_still_of_a_flat_scene_is_the_product_law(flat in flat(true)) {
        let (scene, pictures) = (scene(&flat.text()), flat.pictures());
        let plan = plan(&scene, &pictures);
        let stack = Stack::new(&plan, &pictures, &Limits::default()).unwrap();
        let still = stack.still(Camera::new(flat.at, 0.0));
        let deep = decode(&still_png(&still, Bits::Sixteen, Effort::Fast));
        prop_assert_eq!(deep.size, SIZE);
        check_sixteen(&deep.texels, &flat, HALF_STEP)?;

        // What the program writes is drawn strip by strip, and is that still.
        let size = still.size;
        let shown = stack.shown(Camera::new(flat.at, 0.0), Bits::Sixteen);
        let same = shown.texels == Owned::Sixteen { size, samples: still.sixteen() };
        prop_assert!(same, "16 bits");
        let shown = stack.shown(Camera::new(flat.at, 0.0), Bits::Eight);
        let same = shown.texels == Owned::Eight { size, samples: still.eight() };
        prop_assert!(same, "8 bits");
        let greys: Vec<u8> = values::view(&still).chunks_exact(4).map(|texel| texel[0]).collect();
        prop_assert!(shown.greys == greys, "the value view");

        let eight = decode(&still_png(&still, Bits::Eight, Effort::Fast));
        let want = [flat.expected(true), flat.expected(false)].map(|colour| colour.map(|value| value / 257.0));
        for tile in 0..SIZE[0] / 8 * SIZE[1] / 8 {
            let (left, top) = (tile % (SIZE[0] / 8) * 8, tile / (SIZE[0] / 8) * 8);
            let want = want[usize::from(top >= 8)];
            for channel in 0..3 {
                let mut sum = 0.0;
                for (x, y) in (0..64).map(|at| (left + at % 8, top + at / 8)) {
                    let code = f64::from(eight.texels[(y * SIZE[0] + x) as usize][channel]) / 257.0;
                    prop_assert!((code - want[channel]).abs() < 1.0, "{code} for {}", want[channel]);
                    sum += code;
                }
                prop_assert!((sum / 64.0 - want[channel]).abs() <= 0.5, "{} for {}", sum / 64.0, want[channel]);
                // The dither's own bound is far tighter: 1/128 of a step.
                prop_assert!((sum / 64.0 - want[channel]).abs() <= 1.0 / 128.0 + 1e-3);
            }
        }
    }

    /// With one haze, all that lies in front of a picture acts as one slab: exp(-sum tau), whatever the slots between.
    #[test]
    fn slots_between_change_nothing(flat in flat(false)) {
        let mut flat = flat;
        for slot in &mut flat.slots {
            slot.4 = None;
        }
        let whole = flat.slots.iter().map(|slot| slot.0).fold(f64::MIN, f64::max) + flat.beyond
            - flat.slots.iter().map(|slot| slot.0).fold(f64::MAX, f64::min);
        let tau = law::extinction(flat.visibility) * whole;
        let want: [f64; 3] = std::array::from_fn(|channel| {
            let colour = law::airlight(flat.enter(flat.backdrop[channel]), flat.enter(flat.haze[channel]), tau);
            65535.0 * if flat.linear { to_encoded(colour) } else { colour }
        });
        let scene = scene(&flat.text());
        let plan = plan(&scene, &Pictures::default());
        let still = Stack::new(&plan, &Pictures::default(), &Limits::default()).unwrap().still(Camera::new(flat.at, 0.0));
        for texel in decode(&still_png(&still, Bits::Sixteen, Effort::Fast)).texels {
            for channel in 0..3 {
                let off = (f64::from(texel[channel]) - want[channel]).abs();
                prop_assert!(off <= HALF_STEP, "{texel:?} for {want:?}");
            }
        }
    }
}

/// Renders a scene with 16 bits into a folder of its own; the still, and what `compose` makes of the other files.
fn rendered(scene: &Scene, pictures: &Pictures, camera: f64) -> (Decoded, Vec<[f64; 3]>) {
    let folder = tempfile::tempdir().unwrap();
    let options = Options {
        bits: Bits::Sixteen,
        camera: Some(Camera::new(camera, 0.0)),
        effort: Effort::Fast,
        ..Options::new(folder.path())
    };
    run::render(scene, pictures, &options).unwrap_or_else(|faults| panic!("{faults}"));
    let still = decode_file(&folder.path().join("still.png"));
    (still, compose::stack(folder.path(), scene.backdrop.to_codes(), camera))
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// The files, put together by what the manifest alone says, are the product law too. Each layer's opacity and colour were
    /// rounded to half a step of 16 bits, which linear light stretches by up to 12.92 where it is encoded.
    #[test]
    fn the_files_of_a_flat_scene_are_the_product_law(flat in flat(true)) {
        let (still, composed) = rendered(&scene(&flat.text()), &flat.pictures(), flat.at);
        check_sixteen(&still.texels, &flat, HALF_STEP)?;
        let want = [flat.expected(true), flat.expected(false)];
        let layers = flat.slots.len() as f64;
        let error = if flat.linear { 12.92 * layers } else { layers };
        for (at, colour) in composed.iter().enumerate() {
            let want = want[usize::from(at >= 8 * SIZE[0] as usize)];
            for channel in 0..3 {
                prop_assert!((colour[channel] - want[channel]).abs() <= error, "{colour:?} for {want:?}");
            }
        }
    }
}

/// Opacity `alpha` of `haze` over `backdrop`, drawn as a sheet.
fn sheet_over(backdrop: &str, layers: &[(&str, f64)]) -> [f64; 3] {
    let mut text = format!(
        "view = [8, 8]\nbackdrop = \"{backdrop}\"\nbands.amount = 0\nfalloff = {{ height = inf, beyond = inf }}\n\
         grade.lit = 0\n[air]\nvisibility = {:?}\nclear = inf\nbeyond = 1\n",
        law::DEPTH_OF_VISIBILITY
    );
    for (at, (haze, alpha)) in layers.iter().enumerate() {
        // One depth unit of air has an optical depth of 1.
        text += &format!(
            "[[slot]]\nname = \"s{at}\"\ndepth = {}\nhaze = \"{haze}\"\nhaze_share = 1\ngrade.thickness = {:?}\n",
            layers.len() - at,
            -libm::log(1.0 - alpha),
        );
    }
    let scene = scene(&text);
    let plan = plan(&scene, &Pictures::default());
    let still = Stack::new(&plan, &Pictures::default(), &Limits::default()).unwrap().still(Camera::default());
    still.colours[0].map(f64::from)
}

/// W3C Compositing and Blending Level 1, worked examples of source-over.
#[test]
fn source_over_examples() {
    // Half blue over opaque red: (0.5, 0, 0.5).
    for (got, want) in sheet_over("#f00", &[("#00f", 0.5)]).into_iter().zip([0.5, 0.0, 0.5]) {
        near(got, want, 1e-7);
    }
    // Half red, then half blue: together (1/3, 0, 2/3) at alpha 0.75, whatever lies behind.
    for backdrop in ["#000", "#fff", "#3c8"] {
        let got = sheet_over(backdrop, &[("#f00", 0.5), ("#00f", 0.5)]);
        let behind = fogweft::base::colour::Srgb::parse_hex(backdrop).unwrap().0;
        for ((got, behind), both) in got.into_iter().zip(behind).zip([1.0 / 3.0, 0.0, 2.0 / 3.0]) {
            near(got, 0.75 * both + 0.25 * f64::from(behind), 1e-7);
        }
    }
    // Equal layers of alpha 0.2: 0.83222784 after eight.
    near(sheet_over("#000", &[("#fff", 0.2); 8])[0], 0.83222784, 5e-7);
}

/// The two spaces differ widely: on codes (W3C Compositing, no decoding) and on linear light (W3C PNG, alpha processing).
#[test]
fn both_blendings_of_art() {
    let rows = [
        (128, 255, 0, 128.0, 187.845),
        (64, 255, 0, 64.0, 137.207),
        (128, 200, 50, 125.294, 150.184),
        (191, 200, 50, 162.353, 177.175),
    ];
    for (alpha, front, behind, on_codes, on_light) in rows {
        for (blending, want) in [(Blending::Encoded, on_codes), (Blending::Linear, on_light)] {
            let mut scene = scene(
                "view = [8, 8]\n[[slot]]\nname = \"a\"\ndepth = 0\nfog = false\nart = \"a.png\"\nx = 0\ny = 0\n",
            );
            scene.air.blending = blending;
            scene.backdrop = fogweft::base::colour::Srgb::from_codes([behind; 3]);
            let mut pictures = Pictures::default();
            let bytes = flat_png([8, 8], [front, front, front, alpha]);
            pictures.add("a", Source::from_bytes("a.png", bytes, &Limits::default()).unwrap());
            let plan = plan(&scene, &pictures);
            let still = Stack::new(&plan, &pictures, &Limits::default()).unwrap().still(Camera::default());
            near(f64::from(still.sixteen()[0]) / 257.0, want, 0.5e-3 + 0.5 / 257.0);
        }
    }
}
