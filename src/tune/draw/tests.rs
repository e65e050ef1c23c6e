//! Drafts against stills.

use crate::base::limits::Limits;
use crate::base::picture::Picture;
use crate::base::units::Camera;
use crate::base::words::Blending;
use crate::scene::pictures::resize;
use crate::stack::Stack;
use crate::stack::compositor::{Compositor, Draft as Pixels};
use crate::stack::still::Still;
use crate::store::cache::Store;
use crate::store::maker::{Maker, Request};
use crate::tune::draw::layers::{Draft, RimPicture, Under, draft_scale, plan};
use crate::tune::draw::merged::{Drawing, Merged};
use crate::tune::frame;
use crate::tune::session::Session;
use crate::tune::view::{Ground, View};
use std::fs;
use std::path::Path;
use std::sync::Arc;

/// The demo scene without rims, in one blending or the other.
fn marsh(blending: &str) -> (tempfile::TempDir, Session) {
    let folder = tempfile::tempdir().unwrap();
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("presets/salt-marsh");
    for entry in fs::read_dir(from).unwrap().flatten() {
        fs::copy(entry.path(), folder.path().join(entry.file_name())).unwrap();
    }
    let scene = folder.path().join("scene.toml");
    let text = fs::read_to_string(&scene).unwrap();
    let other = text.replace("blending = \"encoded\"", &format!("blending = \"{blending}\""));
    assert!(blending == "encoded" || other != text);
    fs::write(&scene, other).unwrap();
    let mut session = Session::open(&scene, None, Limits::default()).unwrap();
    session.set(None, "rim.separation", "0", None).unwrap();
    (folder, session)
}

#[test]
fn a_draft_is_the_still_but_for_a_few_codes() {
    let limits = Limits::default();
    for blending in ["encoded", "linear"] {
        let (_folder, session) = marsh(blending);
        let version = session.current();
        let store = Store::in_memory(0);
        let draft = Draft::new(&store, version, 1.0, &limits).unwrap();
        let plan = plan(version, &version.pictures, draft_scale(version), &limits).unwrap();
        let mut stack = Stack::empty(&plan);
        let request = Request::without_rims(&plan, &version.pictures);
        assert!(Maker::new(&store, &limits).fill(&mut stack, &request).unwrap());
        for camera in [0.0, 333.0, 960.5, 1920.0].map(|x| Camera::new(x, 0.0)) {
            let view = View { camera, ..View::default() };
            let (layers, under) = (draft.layers(&view), Under::new(Ground::Scene, [1, 1]));
            let drawn = Still::new::<Pixels>(&draft.compositor(&view, &layers, &[], &under));
            let exact = stack.still(camera.within(plan.travel));
            assert_eq!(drawn.size, exact.size);
            let off = |at: usize| -> f32 {
                let pair = drawn.colours[at].iter().zip(&exact.colours[at]);
                pair.map(|(a, b)| 255.0 * (a - b).abs()).fold(0.0, f32::max)
            };
            let mut all: Vec<f32> = (0..exact.colours.len()).map(off).collect();
            let mean = all.iter().sum::<f32>() / all.len() as f32;
            all.sort_by(f32::total_cmp);
            let thousandth = all[all.len() * 999 / 1000];
            // Torn ends and strands hold detail that a draft's scale can't.
            assert!(mean < 1.2 && thousandth < 56.0, "{blending} {camera:?}: {mean} {thousandth}");
        }
    }
}

/// A smaller draft is the largest one shrunk, rims and all: those are solved once, and drawn from that.
#[test]
fn smaller_drafts_are_the_largest_shrunk() {
    let limits = Limits::default();
    for blending in ["encoded", "linear"] {
        let (_folder, mut session) = marsh(blending);
        session.set(None, "rim.separation", "14", None).unwrap();
        let (version, store) = (session.current(), Store::in_memory(64 << 20));
        let pictures = &version.pictures;
        let largest = plan(version, pictures, draft_scale(version), &limits).unwrap();
        let mut solved = Stack::empty(&largest);
        let cameras = largest.cameras();
        let request = Request::all(&largest, pictures, &cameras);
        assert!(Maker::new(&store, &limits).fill(&mut solved, &request).unwrap());
        let view = View { camera: Camera::new(700.0, 0.0), ..View::default() };
        let drawn = |share: f64, has_rims: bool| {
            let draft = Draft::new(&store, version, share, &limits).unwrap();
            RimPicture::put_all(&store, &draft.plan, &draft.keys, &solved).unwrap();
            let rims = if has_rims { draft.rims(&store) } else { Vec::new() };
            let (layers, under) = (draft.layers(&view), Under::new(Ground::Scene, [1, 1]));
            Still::new::<Pixels>(&draft.compositor(&view, &layers, &rims, &under))
        };
        let picture = |still: &Still| Picture {
            size: still.size,
            deep: true,
            texels: still.sixteen().as_chunks::<4>().0.to_vec(),
        };
        // What rims change, in codes of 8 bits; they are soft, so that it matters little that copies of pictures stand on whole texels.
        let change = |share: f64, size: Option<[u32; 2]>| -> Vec<f64> {
            let [with, without] = [true, false].map(|has_rims| {
                let drawn = picture(&drawn(share, has_rims));
                let size = size.unwrap_or(drawn.size);
                resize(drawn, size, false, Blending::Encoded).unwrap().texels
            });
            let pairs = with.into_iter().flatten().zip(without.into_iter().flatten());
            pairs.map(|(with, without)| (f64::from(with) - f64::from(without)) / 257.0).collect()
        };
        let mean = |all: &mut dyn Iterator<Item = f64>| {
            let (sum, count) = all.fold((0.0, 0.0), |(sum, count), value| (sum + value.abs(), count + 1.0));
            sum / count
        };
        for share in [0.8, 0.64] {
            let small = change(share, None);
            let size = drawn(share, false).size;
            let shrunk = change(1.0, Some(size));
            let (whole, off) = (
                mean(&mut shrunk.iter().copied()),
                mean(&mut small.iter().zip(&shrunk).map(|(small, shrunk)| small - shrunk)),
            );
            assert!(whole > 0.5 && off < 0.4 * whole, "{blending} {share}: {whole} and {off} codes");
        }
    }
}

/// Fog that drifts on the page flows through its loop as a run's frames do, and is at rest where that ends; still fog stays as it is.
#[test]
fn what_drifts_flows_and_comes_round() {
    let limits = Limits::default();
    let (_folder, mut session) = marsh("encoded");
    session.set(None, "air.drift", "0", None).unwrap();
    let still = |session: &Session, drift: f64| {
        let draft = Draft::new(&Store::in_memory(0), session.current(), 1.0, &limits).unwrap();
        let view = View { drift, ..View::default() };
        let (layers, under) = (draft.layers(&view), Under::new(Ground::Scene, [1, 1]));
        Still::new::<Pixels>(&draft.compositor(&view, &layers, &[], &under))
    };
    let off = |a: &Still, b: &Still| {
        let pairs = a.colours.iter().flatten().zip(b.colours.iter().flatten());
        pairs.map(|(a, b)| (a - b).abs()).fold(0.0, f32::max)
    };
    let whole = session.current().reading.scene.air.loop_seconds;
    let [rest, half, round] = [0.0, 0.5, 1.0].map(|share| still(&session, share * whole));
    assert!(off(&rest, &half) > 0.05, "{}", off(&rest, &half));
    assert!(off(&rest, &round) < 1e-4, "{}", off(&rest, &round));
    session.set(None, "bands.flow", "0", None).unwrap();
    let [rest, half] = [0.0, 0.5].map(|share| still(&session, share * whole));
    assert_eq!(off(&rest, &half), 0.0);
}

/// While a nib is held, only its line is drawn: what is seen then is what is there once the strokes are in their file and read from it, also
/// of lines over others, of such that clear, and of a dot.
#[test]
fn a_draft_of_a_held_stroke_is_that_of_the_saved_one() {
    let limits = Limits::default();
    let (_folder, mut session) = marsh("encoded");
    let store = Store::in_memory(64 << 20);
    let still = |store: &Store, session: &Session| {
        let draft = Draft::new(store, session.current(), 1.0, &limits).unwrap();
        let view = View { camera: Camera::new(300.0, 0.0), ..View::default() };
        let (layers, under) = (draft.layers(&view), Under::new(Ground::Scene, [1, 1]));
        Still::new::<Pixels>(&draft.compositor(&view, &layers, &[], &under))
    };
    let bare = still(&store, &session);
    let off = |a: &Still, b: &Still| {
        let pairs = a.colours.iter().flatten().zip(b.colours.iter().flatten());
        pairs.map(|(a, b)| 255.0 * (a - b).abs()).fold(0.0, f32::max)
    };
    let file = session.file().to_path_buf();
    for (turn, (points, strength, clear)) in [
        (vec![[500.0, 560.0], [900.0, 500.0], [1100.0, 620.0]], 0.8, false),
        (vec![[700.0, 420.0], [760.0, 700.0], [1300.0, 540.0]], 1.0, false),
        (vec![[450.0, 530.0], [1200.0, 560.0]], 0.6, true),
        (vec![[1000.0, 480.0]], 1.0, false),
    ]
    .into_iter()
    .enumerate()
    {
        // As a nib moves: ever more of the line.
        for count in 1..=points.len() {
            let stroke = serde_json::json!({
                "slot": "barge", "points": points[..count], "camera": 300.0, "width": 60.0, "strength": strength, "clear": clear,
                "gesture": format!("stroke {turn}"),
            });
            session.stroke(&serde_json::from_value(stroke).unwrap()).unwrap();
        }
        let held = still(&store, &session);
        assert!(off(&held, &bare) > 12.0, "{}: nothing was drawn", off(&held, &bare));
        // All lines drawn together, as coarsely.
        let mut whole = Session::open(&file, None, limits).unwrap();
        whole.take_over(&session.unsaved_text());
        let far = off(&held, &still(&store, &whole));
        assert!(far < 2.0, "line {turn}: {far} codes");
        // And as finely as a run draws them.
        session.save().unwrap();
        let saved = Session::open(&file, None, limits).unwrap();
        let far = off(&held, &still(&store, &saved));
        assert!(far < 10.0, "line {turn}, saved: {far} codes");
    }
    // Two steps back, with what was drawn since taken away.
    let whole = still(&store, &session);
    assert!(session.step(true) && session.step(true));
    let earlier = still(&store, &session);
    assert!(off(&earlier, &whole) > 8.0);
    assert!(session.step(false) && session.step(false));
    assert!(off(&still(&store, &session), &whole) < 1.0);
}

/// What is merged looks like its layers, in every view, as long as those stay; of others it says that they don't.
#[test]
fn merged_layers_look_like_themselves() {
    let limits = Limits::default();
    for blending in ["encoded", "linear"] {
        let (_folder, mut session) = marsh(blending);
        let store = Store::in_memory(64 << 20);
        for (x, ground) in [(0.0, Ground::Scene), (640.5, Ground::Checkerboard), (1920.0, Ground::Dark)] {
            let view = View { camera: Camera::new(x, 0.0), ground, ..View::default() };
            let mut draw = |slot: &str, value: &str| {
                session.set(Some(slot), "grade.thickness", value, None).unwrap();
                let draft = Arc::new(Draft::new(&store, session.current(), 1.0, &limits).unwrap());
                let rims = draft.rims(&store);
                Drawing { draft, rims, drafted: 0 }
            };
            let (before, after) = (draw("hut", "0.4"), draw("hut", "2.5"));
            let apart = after.differing(&before).unwrap();
            assert!(!apart.is_empty() && apart.len() < 4, "{apart:?}");
            let merged = Merged::new(&before, apart, &view).unwrap();
            assert!(merged.fits(&after));
            let layers = after.draft.layers(&view);
            let under = Under::new(ground, after.draft.plan.texels);
            let whole = after.draft.compositor(&view, &layers, &after.rims, &under);
            let [whole, quick] =
                [whole, merged.compositor(&after, &view, &layers)].map(|stack| Still::new::<Pixels>(&stack));
            let pairs = whole.colours.iter().flatten().zip(quick.colours.iter().flatten());
            let off = pairs.map(|(a, b)| 255.0 * (a - b).abs()).fold(0.0, f32::max);
            assert!(off < 0.25, "{blending} {x}: {off} codes");
            assert!(!merged.fits(&draw("bank", "2")), "another slot's fog");
            let elsewhere = Drawing { drafted: 1, ..before.clone() };
            assert!(!merged.fits(&elsewhere), "another view");
            draw("bank", "1");
        }
    }
}

/// What mixing in whole numbers of 16 bits gains a draft, by time on the processors: figures in `tests/bench/page.txt`.
#[test]
#[ignore = "a figure, printed"]
fn times_of_drafts_by_their_pixels() {
    const DRAFTS: u32 = 40;
    for blending in ["encoded", "linear"] {
        let (_folder, session) = marsh(blending);
        let draft = Draft::new(&Store::in_memory(0), session.current(), 1.0, &Limits::default()).unwrap();
        let time = |draw: &dyn Fn(&Compositor<'_>)| {
            let start = on_processors();
            for turn in 0..DRAFTS {
                let view = View { camera: Camera::new(40.0 * f64::from(turn), 0.0), ..View::default() };
                let (layers, under) = (draft.layers(&view), Under::new(Ground::Scene, [1, 1]));
                draw(&draft.compositor(&view, &layers, &[], &under));
            }
            (on_processors() - start) * 1000.0 / f64::from(DRAFTS)
        };
        let quick = time(&|stack| drop(Still::new::<Pixels>(stack)));
        let frames = time(&|stack| drop(frame::subsampled(stack)));
        // Sheets at the art's scale.
        let version = session.current();
        let plan = plan(version, &version.pictures, draft_scale(version), &Limits::default()).unwrap();
        let (store, limits) = (Store::in_memory(0), Limits::default());
        let mut stack = Stack::empty(&plan);
        let request = Request::without_rims(&plan, &version.pictures);
        assert!(Maker::new(&store, &limits).fill(&mut stack, &request).unwrap());
        let start = on_processors();
        for turn in 0..DRAFTS {
            drop(stack.still(Camera::new(40.0 * f64::from(turn), 0.0)));
        }
        let exact = (on_processors() - start) * 1000.0 / f64::from(DRAFTS);
        println!(
            "{blending}: 16 bits {quick:.1} ms, exact {exact:.1} ms; whole frames of 16 bits {frames:.1} ms"
        );
    }
}

/// Seconds that the program's threads have been on processors.
fn on_processors() -> f64 {
    let tasks = fs::read_dir("/proc/self/task").unwrap().flatten();
    let times = tasks.filter_map(|task| fs::read_to_string(task.path().join("schedstat")).ok());
    times.filter_map(|text| text.split(' ').next()?.parse::<f64>().ok()).sum::<f64>() / 1e9
}
