//! Drafts against stills.

use crate::base::limits::Limits;
use crate::stack::Stack;
use crate::store::cache::Store;
use crate::store::maker::{Maker, Request};
use crate::tune::board::Easel;
use crate::tune::draw::layers::{Draft, plan, scales};
use crate::tune::hub::View;
use crate::tune::session::Session;
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
        let meant = Arc::clone(session.meant());
        let store = Store::in_memory(0);
        let draft = Draft::new(&store, &meant, &limits).unwrap();
        let plan = plan(&meant, scales(&meant)[0], &limits).unwrap();
        let mut stack = Stack::empty(&plan);
        let request = Request::all(&plan, &meant.arts, &[]);
        assert!(Maker::new(&store, &limits).fill(&mut stack, &request).unwrap());
        let mut easel = Easel::default();
        for camera in [0.0, 333.0, 960.5, 1920.0] {
            let view = View { camera, ..View::default() };
            let board = draft.board(&mut easel, &view, &store);
            let size = board.size;
            let (drawn, exact) = (board.still(), stack.still(camera.min(plan.travel)));
            assert_eq!(size, exact.size);
            let off = |at: usize| -> f32 {
                let pair = drawn.colours[at].iter().zip(&exact.colours[at]);
                pair.map(|(a, b)| 255.0 * (a - b).abs()).fold(0.0, f32::max)
            };
            let mut all: Vec<f32> = (0..drawn.colours.len()).map(off).collect();
            all.sort_unstable_by(f32::total_cmp);
            let (mean, most) = (all.iter().sum::<f32>() / all.len() as f32, all[all.len() * 999 / 1000]);
            println!("{blending} at {camera}: {mean} codes off in the mean, {most} but for a thousandth");
            assert!(mean < 1.0 && most < 18.0, "{blending} at {camera}: {mean}, {most}");
        }
    }
}

#[test]
fn what_an_easel_keeps_changes_no_draft() {
    let limits = Limits::default();
    let (_folder, mut session) = marsh("encoded");
    let (store, mut easel) = (Store::in_memory(1 << 20), Easel::default());
    for (turn, visibility) in [(0, "900"), (1, "900"), (2, "500"), (3, "500"), (4, "500"), (5, "900")] {
        session.set(None, "air.visibility", visibility, None).unwrap();
        let draft = Draft::new(&store, session.meant(), &limits).unwrap();
        for camera in [100.0 * f64::from(turn), 700.0, 1919.0 - f64::from(turn)] {
            let view = View { camera, ..View::default() };
            let kept = draft.board(&mut easel, &view, &store).lean();
            let fresh = draft.board(&mut Easel::default(), &view, &store).lean();
            // Of a row that is only just to be seen more may be here, or less.
            let off = kept.iter().zip(&fresh).map(|(a, b)| a.abs_diff(*b)).max().unwrap();
            assert!(off <= 1, "turn {turn}, camera {camera}: {off}");
        }
    }
}
